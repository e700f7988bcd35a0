"""What holds for every test: generated cases are the same on every machine, unless fresh ones are asked for."""

from __future__ import annotations

import os
import shutil
import tempfile

import pytest
from hypothesis import settings

FIXED, FRESH = "fixed", "fresh"

# The cases of a test follow from its own text: a red run is red everywhere. `python -m tests.search` takes fresh ones.
settings.register_profile(FIXED, derandomize=True, database=None, deadline=None)
settings.register_profile(FRESH, derandomize=False, database=None, deadline=None)
settings.load_profile(os.environ.get("AMPSIM_CASES", FIXED))

_OWN = pytest.StashKey[str]()


def pytest_configure(config: pytest.Config) -> None:
    """What is kept of computed answers begins empty in each run, and all processes of the run share it."""
    if not hasattr(config, "workerinput"):
        config.stash[_OWN] = os.environ["AMPSIM_CACHE"] = tempfile.mkdtemp(prefix="ampsim-tests-")


def pytest_unconfigure(config: pytest.Config) -> None:
    if _OWN in config.stash:
        shutil.rmtree(config.stash[_OWN], ignore_errors=True)
