"""What was worked out once: fetched to the last bit, for the very same alone, and never trusted."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from ampsim.base.kept_files import fetch_kept, keep
from ampsim.circuit.amp import Amp
from ampsim.circuit.valves.laws import LAWS
from ampsim.library.loader import load_amp
from ampsim.simulation import kept_lots, kept_work
from ampsim.simulation.agreement import AGREEMENT
from ampsim.simulation.analyses import FrequencySweep, OperatingPoint
from ampsim.simulation.facts import get
from ampsim.simulation.monte_carlo import spread
from ampsim.simulation.swept import Lot
from ampsim.simulation.tolerances import Tolerances
from ampsim.studies.spread.sensitivity import sensitivity

STOCK = load_amp("lesson-stage")
BYPASS = STOCK.controls["bypass"].positions
TONE = FrequencySweep(1000.0, 10_000.0, 1)


@pytest.fixture
def kept(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> Path:
    monkeypatch.setenv("AMPSIM_CACHE", str(tmp_path))
    return tmp_path / "answers"


@pytest.fixture
def solved(monkeypatch: pytest.MonkeyPatch, kept: Path) -> list[int]:
    """How many variants the solver was asked for, lot by lot."""
    counts: list[int] = []
    real = Lot.solve

    def solve(self: Lot, tell: Any) -> Any:
        counts.append(self.count)
        return real(self, tell)

    monkeypatch.setattr(Lot, "solve", solve)
    return counts


def with_volts(amp: Amp, volts: float) -> Amp:
    return replace(amp, rails=(replace(amp.rails[0], volts=volts),))


def with_another_valve(amp: Amp) -> Amp:
    """One whose law has another number in it."""
    (name, value), *others = amp.valves[0].parameters
    return replace(amp, valves=(replace(amp.valves[0], parameters=((name, 1.0001 * value), *others)),))


OTHERS: dict[str, Callable[[], object]] = {
    "another supply": lambda: spread(with_volts(STOCK, 299.999), 5, analysis=TONE),
    "another valve": lambda: spread(with_another_valve(STOCK), 5, analysis=TONE),
    "more amps": lambda: spread(STOCK, 6, analysis=TONE),
    "other amps": lambda: spread(STOCK, 5, seed=1, analysis=TONE),
    "other tolerances": lambda: spread(STOCK, 5, analysis=TONE, tolerances=Tolerances(valves=0.5)),
    "another place": lambda: spread(STOCK, 5, analysis=TONE, nodes=["V1A.plate"]),
    "another frequency": lambda: spread(STOCK, 5, analysis=replace(TONE, start=999.0)),
    "another position": lambda: spread(STOCK, 5, positions=[{"bypass": BYPASS[-1]}], analysis=TONE),
}


def test_a_run_of_amps_is_solved_once_and_nothing_else_is_taken_for_it(solved: list[int]) -> None:
    for analysis in (TONE, OperatingPoint()):
        first, again = (spread(STOCK, 5, analysis=analysis) for _ in range(2))
        assert first["voltage"].values.tobytes() == again["voltage"].values.tobytes()
        assert first.attrs == again.attrs
        assert get(again, AGREEMENT).checked == 2  # ngspice's word is asked all the same
    assert solved == [6, 6]
    moved = [sensitivity(STOCK, analysis=TONE)["slope"].values.tobytes() for _ in range(2)]
    assert moved[0] == moved[1]
    assert len(solved) == 3


@pytest.mark.parametrize("other", list(OTHERS))
def test_what_differs_in_anything_is_solved_anew(other: str, solved: list[int]) -> None:
    plain = spread(STOCK, 5, analysis=TONE)
    found = OTHERS[other]()
    assert len(solved) == 2
    again = OTHERS[other]()
    assert len(solved) == 2
    assert found["voltage"].values.tobytes() == again["voltage"].values.tobytes() != plain["voltage"].values.tobytes()  # type: ignore[index]


def test_another_package_solves_anew_and_a_law_from_elsewhere_is_never_kept(
    solved: list[int], monkeypatch: pytest.MonkeyPatch
) -> None:
    spread(STOCK, 5, analysis=TONE)
    monkeypatch.setattr(kept_work, "_package", lambda: "another version")
    spread(STOCK, 5, analysis=TONE)
    assert len(solved) == 2
    monkeypatch.setitem(LAWS, "from elsewhere", replace(LAWS["three-halves"], lines=lambda _: ("",)))
    for _ in range(2):
        spread(STOCK, 5, analysis=TONE)
    assert len(solved) == 4


def test_every_module_of_the_package_counts(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """A solver's code edited, or a file of the package renamed, is another package."""
    monkeypatch.setattr(kept_work, "HOME", tmp_path)
    (tmp_path / "solver").mkdir()
    module = tmp_path / "solver" / "steps.py"
    module.write_text("one = 1", "utf-8")
    found = [kept_work._package.__wrapped__()]
    module.write_text("one = 2", "utf-8")
    found.append(kept_work._package.__wrapped__())
    module.rename(tmp_path / "steps.py")
    found.append(kept_work._package.__wrapped__())
    assert len(set(found)) == 3


def test_a_lot_that_lacks_an_answer_is_not_kept(kept: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    real, asked = Lot.solve, []

    def refusing(self: Lot, tell: Any) -> Any:
        asked.append(self.count)
        found, faults, digest = real(self, tell)
        return found, ["it will not", *faults[1:]], digest

    monkeypatch.setattr(Lot, "solve", refusing)
    for _ in range(2):
        assert get(spread(STOCK, 5, analysis=TONE), AGREEMENT).refused == ("it will not",)
    assert asked == [6, 6]


def test_a_damaged_or_strange_lot_is_solved_anew(
    kept: Path, solved: list[int], monkeypatch: pytest.MonkeyPatch
) -> None:
    written: list[Path] = []
    real = kept_lots.keep_within
    monkeypatch.setattr(kept_lots, "keep_within", lambda path, *more: (written.append(path), real(path, *more)))
    right = spread(STOCK, 5, analysis=TONE)["voltage"].values
    (path,) = written  # beside it lies what ngspice gave of a sample
    sound = path.read_bytes()
    content = bytes(fetch_kept(path, 10**7) or b"")
    for number, harm in enumerate((sound[:-8], b"", sound[:50] + b"abc" + sound[53:]), 2):
        path.write_bytes(harm)
        np.testing.assert_array_equal(spread(STOCK, 5, analysis=TONE)["voltage"].values, right)
        assert len(solved) == number
    keep(path, content[:-16])  # in its seal, and yet too short
    np.testing.assert_array_equal(spread(STOCK, 5, analysis=TONE)["voltage"].values, right)
    assert len(solved) == 5
