"""What holds for every test: generated cases are the same on every machine, unless fresh ones are asked for."""

from __future__ import annotations

import os
import shutil
import signal
import tempfile

import pytest
from hypothesis import settings

FIXED, FRESH = "fixed", "fresh"

# The cases of a test follow from its own text: a red run is red everywhere. `python -m tests.search` takes fresh ones.
settings.register_profile(FIXED, derandomize=True, database=None, deadline=None)
settings.register_profile(FRESH, derandomize=False, database=None, deadline=None)
settings.load_profile(os.environ.get("AMPSIM_CASES", FIXED))

LONGEST = (
    # The loop over samples is compiled at its first use: one core does that while the other looks at files.
    "tests/studies/test_verdicts.py",
    "tests/test_house.py",
    "tests/simulation/test_random_amps.py",
    "tests/browser/test_sheet_browser.py",
    "tests/test_any_amp.py",
    "tests/studies/test_sheet.py",
    "tests/studies/test_stability.py",
    "tests/browser/test_browser.py",
    "tests/test_sentences.py",
    "tests/test_hostile.py",
    "tests/studies/test_headroom.py",
    "tests/studies/test_pop.py",
    "tests/studies/test_settings.py",
    "notebooks/7-before-you-solder.ipynb",
    "notebooks/8-a-job-from-start-to-finish.ipynb",
    "tests/simulation/test_semiconductors.py",
    "tests/job/test_record.py",
    "tests/job/test_papers.py",
    "tests/audio/test_listening.py",
    "tests/interface/test_panel.py",
    "tests/truth/test_truth.py",
    "tests/circuit/test_new_law.py",
    "tests/work/test_schematic.py",
    "tests/browser/test_page_browser.py",
    "tests/interface/test_commands.py",
)
"""The files that take longest, in this order: they go first, so that no core waits for one of them at the end."""
_OWN = pytest.StashKey[str]()


def pytest_collection_modifyitems(items: list[pytest.Item]) -> None:
    """Files in order of `LONGEST`, the others as they are."""
    rank = {name: number for number, name in enumerate(LONGEST)}
    items.sort(key=lambda item: rank.get(item.nodeid.partition("::")[0], len(LONGEST)))


def pytest_configure(config: pytest.Config) -> None:
    """What is kept of computed answers begins empty in each run, and all processes of the run share it.

    A run in the background of a shell ignores Ctrl-C, and so would what it tests.
    """
    if signal.getsignal(signal.SIGINT) is signal.SIG_IGN:
        signal.signal(signal.SIGINT, signal.default_int_handler)
    if not hasattr(config, "workerinput"):
        config.stash[_OWN] = os.environ["AMPSIM_CACHE"] = tempfile.mkdtemp(prefix="ampsim-tests-")
    if hasattr(config.option, "loadscopereorder"):
        config.option.loadscopereorder = False  # which would put files of many tests first, however short these are


def pytest_unconfigure(config: pytest.Config) -> None:
    if _OWN in config.stash:
        shutil.rmtree(config.stash[_OWN], ignore_errors=True)
