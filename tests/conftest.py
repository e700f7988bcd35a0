"""What holds for every test: generated cases are the same on every machine, unless fresh ones are asked for."""

from __future__ import annotations

import gc
import os
import shutil
import signal
import tempfile
from typing import Any

import pytest
from hypothesis import HealthCheck, settings
from hypothesis.internal.conjecture import providers

# As the commands have it, and read when numpy is loaded: a second thread of the algebra waits more than it works.
os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")
# What thousands of tests and the modules they load are made of stays to the end of the run: to look through all of it
# for what nobody refers to any more, after every few hundred new objects, took an eighth of the time.
gc.set_threshold(50_000, 20, 20)

FIXED, FRESH = "fixed", "fresh"

# The cases of a test follow from its own text: a red run is red everywhere. `python -m tests.search` takes fresh ones.
# No case is judged by the time it takes, nor by how long it took to be made: another program may be at work too.
_ALIKE: dict[str, Any] = {"database": None, "deadline": None, "suppress_health_check": [HealthCheck.too_slow]}
settings.register_profile(FIXED, derandomize=True, **_ALIKE)
settings.register_profile(FRESH, derandomize=False, **_ALIKE)
settings.load_profile(os.environ.get("AMPSIM_CASES", FIXED))
if settings.get_current_profile_name() == FIXED:
    # Hypothesis also draws numbers and words that stand in whatever modules happen to be loaded: other ones with every
    # order of the tests, number of cores and place of the clone.
    providers._get_local_constants = providers.Constants

LONGEST = (
    # The loop over samples is compiled at its first use: one core does that while the other looks at files.
    "studies/test_verdicts.py",
    "test_house.py",
    "simulation/test_random_amps.py",
    # A browser waits now and then: each such file has files beside it that compute.
    "browser/test_browser.py",
    "test_any_amp.py",
    "truth/test_truth.py",
    "studies/test_sheet.py",
    "browser/test_panel_page_browser.py",
    "browser/test_sheet_browser.py",
    "simulation/test_timestep.py",
    "browser/test_page_browser.py",
    "test_hostile.py",
    "browser/test_player_browser.py",
    "test_sentences.py",
    "simulation/test_semiconductors.py",
    "bench/test_every_source.py",
    "interface/test_panel.py",
    "interface/test_commands.py",
    "work/test_schematic.py",
    "work/test_lugs.py",
    "notebooks/8-a-job-from-start-to-finish.ipynb",
    "studies/test_steady.py",
    "studies/test_search.py",
    "job/test_papers.py",
    "notebooks/7-before-you-solder.ipynb",
    "work/test_parts_list.py",
    "job/test_page.py",
    "studies/test_stability.py",
    "simulation/test_engine_processes.py",
    "job/test_record.py",
    "work/test_part_rules.py",
    "studies/test_headroom.py",
    "studies/test_pop.py",
    "studies/test_settings.py",
    "audio/test_listening.py",
    "circuit/test_new_law.py",
)
"""The files that take longest, of tests/ unless they are notebooks, in this order: they go first, so that no core waits
for one of them at the end."""
_OWN = pytest.StashKey[str]()


def pytest_collection_modifyitems(items: list[pytest.Item]) -> None:
    """Files in order of `LONGEST`, the others as they are."""
    rank = {name: number for number, name in enumerate(LONGEST)}
    items.sort(key=lambda item: rank.get(item.nodeid.partition("::")[0].removeprefix("tests/"), len(LONGEST)))


def pytest_collection_finish() -> None:
    gc.freeze()


def pytest_configure(config: pytest.Config) -> None:
    """What is kept of computed answers begins empty in each run, and all processes of the run share it.

    A run in the background of a shell ignores Ctrl-C, and so would what it tests.
    """
    if signal.getsignal(signal.SIGINT) is signal.SIG_IGN:
        signal.signal(signal.SIGINT, signal.default_int_handler)
    if not hasattr(config, "workerinput"):
        config.stash[_OWN] = os.environ["AMPSIM_CACHE"] = tempfile.mkdtemp(prefix="ampsim-tests-")
        # A notebook finds no settings of who runs the tests, and needs no home that can be written.
        for place in ("JUPYTER_CONFIG_DIR", "JUPYTER_DATA_DIR", "JUPYTER_RUNTIME_DIR", "IPYTHONDIR"):
            os.environ[place] = os.path.join(config.stash[_OWN], place.lower())
        # Where this is set every process that a test starts compiles the package anew, half a second each.
        os.environ.pop("PYTHONDONTWRITEBYTECODE", None)
    if hasattr(config.option, "loadscopereorder"):
        config.option.loadscopereorder = False  # which would put files of many tests first, however short these are


def pytest_unconfigure(config: pytest.Config) -> None:
    if _OWN in config.stash:
        shutil.rmtree(config.stash[_OWN], ignore_errors=True)
