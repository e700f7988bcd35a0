"""The search for fresh cases: it prints a case that fails as an example to keep, and counts what it tried."""

from __future__ import annotations

from pathlib import Path

import pytest

from tests import search

WRONG = """
from hypothesis import given
from hypothesis import strategies as st

@given(st.floats(0, 5), st.lists(st.integers(), min_size=1))
def test_wrong(x, values):
    assert x < 3
"""


def test_a_failing_case_is_printed_as_an_example(
    tmp_path: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    path = tmp_path / "test_wrong.py"
    path.write_text(WRONG, "utf-8")
    monkeypatch.setattr(search, "files_with_cases", lambda only: [path])
    count = search.search(1e-6, "", first_seed=1)
    assert (count.runs, count.failures) == (1, 1)
    assert count.cases >= 1
    assert "above test_wrong:\n@example(x=3.0, values=[0])" in capsys.readouterr().out


def test_the_files_searched_are_those_that_generate_cases() -> None:
    names = {path.stem for path in search.files_with_cases("")}
    assert {"test_quantities", "test_mods", "test_timestep"} <= names
    assert "test_house" not in names
