"""What `python -m tests.windows` makes of reports, numbers, texts and pictures; Windows itself is not needed here."""

from __future__ import annotations

import os
import subprocess
import sys
from pathlib import Path

import numpy as np
import pytest

from tests.windows.compare import differences, unlike_lines, unlike_pictures
from tests.windows.groups import GROUPS, read_outcome, read_unfinished
from tests.windows.wine import ROOT, windows_path

OWN = """
import pytest
def test_fine(): pass
@pytest.mark.skip(reason="no such thing on this system")
def test_skipped(): pass
@pytest.mark.skip(reason="no such thing on this system")
def test_skipped_too(): pass
@pytest.mark.xfail
def test_on_record(): assert False
def test_wrong(): assert 1 + 1 == 3, "not so\\nand more"
@pytest.fixture
def broken(): raise OSError("disk")
def test_error(broken): pass
"""


def test_outcomes_are_read_from_what_pytest_reports(tmp_path: Path) -> None:
    (tmp_path / "test_own.py").write_text(OWN, "utf-8")
    command = [sys.executable, "-m", "pytest", "-v", "--junitxml", "report.xml"]
    alone = os.environ | {"PYTEST_DISABLE_PLUGIN_AUTOLOAD": "1"}
    printed = subprocess.run(
        command, cwd=tmp_path, env=alone, capture_output=True, encoding="utf-8", check=False
    ).stdout
    outcome = read_outcome("some", (tmp_path / "report.xml").read_text("utf-8"))
    assert (outcome.passed, outcome.expected, dict(outcome.skipped)) == (1, 1, {"no such thing on this system": 2})
    assert {name.rpartition(".")[2]: reason for name, reason in outcome.failed.items()} == {
        "test_wrong": "AssertionError: not so",
        "test_error": 'failed on setup with "OSError: disk"',
    }
    text = "\n".join(outcome.lines())
    assert "1 passed" in text
    assert "2 failed" in text
    assert "skipped 2: no such thing on this system" in text
    unfinished = read_unfinished("some", printed[: printed.index("test_wrong")])
    assert (unfinished.passed, unfinished.expected, unfinished.skipped.total()) == (1, 1, 2)
    assert list(unfinished.failed) == ["the whole group"]
    assert "test_own.py::test_wrong" in read_unfinished("some", printed).failed


def test_groups_name_tests_that_are_there() -> None:
    assert all((ROOT / path).exists() for paths in GROUPS.values() for path in paths)


def test_differences_are_the_largest_and_what_is_missing_or_no_number_is_one_without_end() -> None:
    time = np.sin(np.linspace(0.0, 60.0, 1000))
    ours = {"sweep a": np.array([1.0 + 0j, 2.0j]), "rest a": np.array([1.0, 300.0]), "time a": time}
    same = differences(ours, ours)
    assert (same.sweep, same.rest, same.time) == (0.0, 0.0, 0.0)
    theirs = {"sweep a": ours["sweep a"] * [1.0, 10.0], "rest a": ours["rest a"] + [0.0, -0.5], "time a": 1.01 * time}
    off = differences(ours, theirs)
    assert (off.sweep, off.rest, off.time) == pytest.approx((20.0, 0.5, 1.0))
    assert differences(ours, {key: theirs[key] for key in ("sweep a", "rest a")}).time == np.inf
    assert differences(ours, theirs | {"rest a": np.array([np.nan, 1.0])}).rest == np.inf


def test_unlike_texts_and_pictures_are_named(tmp_path: Path) -> None:
    assert unlike_lines("a\nb\n", "a\nb\n") == 0
    assert unlike_lines("a\nb\nc", "a\nx") == 2
    ours, theirs = tmp_path / "ours", tmp_path / "theirs"
    pictures = {
        "same": ("<p d='1 2'/>",) * 2,
        "near": ("<p id='ampsim-0123456789' d='1 2.5e1'/>", "<p id='ampsim-abcdef0123' d='1 25.25'/>"),
        "other": ("<p/>", "<q/>"),
    }
    for number, folder in enumerate((ours, theirs)):
        folder.mkdir()
        for name, texts in pictures.items():
            (folder / f"{name}.svg").write_text(texts[number], "utf-8")
    (ours / "alone.svg").write_text("<p/>", "utf-8")
    assert list(unlike_pictures(ours, theirs)) == [
        "alone.svg: only one system wrote it",
        "near.svg: the same elements, numbers up to 0.25 apart",
        "other.svg: not the same elements",
    ]


def test_paths_are_handed_over_as_windows_writes_them() -> None:
    assert windows_path(Path("/a b/c")) == "Z:\\a b\\c"
