"""`python -m ampsim` is the `ampsim` command."""

import sys

from .interface.commands.main import main

sys.exit(main())
