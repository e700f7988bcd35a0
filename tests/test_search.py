"""Generated cases: the search for fresh ones prints what fails as an example to keep; fixed ones are fixed anywhere."""

from __future__ import annotations

import importlib.util
import sys
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from tests import search
from tests.conftest import FIXED

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


def test_fixed_cases_hang_on_no_module_that_is_loaded(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """A failure found on one machine is found on every other, whatever ran before it in the same process."""

    def cases() -> list[list[int]]:
        found = []

        @settings(settings.get_profile(FIXED))
        @given(st.lists(st.integers(0, 10**12), min_size=20, max_size=20))
        def draw(numbers: list[int]) -> None:
            found.append(numbers)

        draw()
        return found

    before = cases()
    path = tmp_path / "numbers.py"
    path.write_text(f"NUMBERS = {[10**9 + 7 * number for number in range(300)]}\n", "utf-8")
    spec = importlib.util.spec_from_file_location("numbers_of_a_module", path)
    assert spec is not None
    monkeypatch.setitem(sys.modules, spec.name, importlib.util.module_from_spec(spec))
    assert cases() == before
