"""What holds for every test: generated cases are the same on every machine, unless fresh ones are asked for."""

from __future__ import annotations

import os

from hypothesis import settings

FIXED, FRESH = "fixed", "fresh"

# The cases of a test follow from its own text: a red run is red everywhere. `python -m tests.search` takes fresh ones.
settings.register_profile(FIXED, derandomize=True, database=None, deadline=None)
settings.register_profile(FRESH, derandomize=False, database=None, deadline=None)
settings.load_profile(os.environ.get("AMPSIM_CASES", FIXED))
