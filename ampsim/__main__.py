"""`python -m ampsim` is the `ampsim` command."""

import sys

from .cli import main

sys.exit(main())
