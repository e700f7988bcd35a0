"""Loop gains and return differences without a simulator, against ngspice; and what happens where they do not agree."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import numpy as np
import pytest

from ampsim.base.errors import EngineError
from ampsim.circuit.feedback import find_loops
from ampsim.circuit.mods import apply_mods
from ampsim.circuit.positions import switches_at
from ampsim.library.loader import load_amp, load_mod
from ampsim.measures.growing_modes import growing_modes
from ampsim.simulation import loop_ports, port_sweeps
from ampsim.simulation.analyses import FrequencySweep, LoopSweep
from ampsim.simulation.loop_gain import loop_rows
from ampsim.simulation.loop_ports import bench_of, gains_by_ports
from ampsim.simulation.port_currents import PortCurrents
from ampsim.simulation.request import Case
from ampsim.simulation.return_difference import WIDE, return_differences
from ampsim.studies.section import Examination
from ampsim.studies.stability import steady
from ampsim.studies.stability.section import section
from ampsim.studies.stability.steady import growth_at
from tests.tools import any_amps, random_amps
from tests.truth import bench
from tests.truth.stability import phase_shift_loop

SWEEP, LOOPS = FrequencySweep(1e-3, 1e9, 3), LoopSweep(per_decade=3)
# By lot, transistors with nets inside and amps that oscillate among them.
LOTS = (2, 5, 8, 13, 21, 37)


def by_lot() -> Iterator[Case]:
    """Amps with every control anywhere."""
    draw = np.random.default_rng(3)
    for made in any_amps.amps(6, seed=4):
        turned = {
            control.name: str(draw.choice(control.positions))
            if control.kind == "switch"
            else float(draw.choice([0.0, 1.0, draw.uniform()]))
            for control in made.amp.controls.values()
        }
        yield Case(made.amp, turned)
    for number in LOTS:
        drawn = random_amps.draw(number)
        yield Case(drawn.amp, drawn.position)


@pytest.fixture(autouse=True)
def _nothing_known(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> Iterator[None]:
    """What is kept is another's, and does not outlive what a test bends."""
    monkeypatch.setenv("AMPSIM_CACHE", str(tmp_path))
    for kept in (port_sweeps.bench, loop_ports._free_knobs):
        kept.cache_clear()
    monkeypatch.setattr(loop_ports, "_models", {})
    monkeypatch.setattr(steady, "_known", {})
    yield
    port_sweeps.bench.cache_clear()


def test_both_solvers_say_the_same_of_amps_by_lot() -> None:
    """The loop gain of every loop, the return difference, and whether anything grows."""
    seen = 0
    for case in by_lot():
        assert bench_of(case) is not None, case.name
        solved, simulated = (return_differences([case], SWEEP, solved=each)[0] for each in (True, False))
        assert np.abs(solved / simulated - 1.0).max() < 1e-4, case.name
        assert growing_modes(SWEEP.grid(), solved).modes == growing_modes(SWEEP.grid(), simulated).modes, case.name
        for loop in find_loops(case.amp, switches_at(case.amp, case.position)):
            ours = loop_rows([case], [loop], LOOPS, turned=("any",))
            theirs = loop_rows([case], [loop], LOOPS)
            assert not ours.netlists
            assert theirs.netlists
            assert np.abs((ours.gains - theirs.gains) / (1.0 + theirs.gains)).max() < 2e-5, (case.name, loop.label)
            seen += 1
    assert seen > 8


@pytest.mark.parametrize("plate_load", ["40k", "76k", "84k", "100k"])
def test_both_say_whether_a_phase_shift_oscillator_goes(plate_load: str) -> None:
    amp = phase_shift_loop(plate_load)
    found = [growth_at([(amp, {})], solved)[0] for solved in (True, False)]
    assert found[0] == found[1]
    whole = return_differences([Case(amp, {})], WIDE)[0]
    assert growing_modes(WIDE.grid(), whole).modes == found[0].modes


def test_a_reduction_and_a_position_as_it_stands_are_the_same() -> None:
    """Three positions are solved as they stand, four by one reduction; the depth control moves the bias."""
    amp = apply_mods(load_amp("workshop-a"), load_mod("depth"))
    loop = find_loops(amp)[0]
    cases = [Case(amp, {"treble": treble, "depth": 0.7, "presence": 0.1}) for treble in (0.0, 0.3, 0.9, 1.0)]
    together = gains_by_ports(cases, [loop] * 4, LOOPS, ["treble", "depth", "presence"])
    loop_ports._models.clear()
    for case, row in zip(cases, together, strict=True):
        (alone,) = gains_by_ports([case], [loop], LOOPS, ["treble", "depth", "presence"])
        assert row is not None
        assert alone is not None
        np.testing.assert_allclose(1.0 + row, 1.0 + alone, rtol=1e-8)


def test_a_network_without_valves_has_a_return_difference_of_one() -> None:
    """With knobs or without, and nothing to be listened at."""
    wires = bench.wired("divider", R1=["in", "middle"], R2=["middle", "out"])
    amp = bench.amp({"R1": "100k", "R2": "100k", "R9": "1M"}, [wires, bench.stage("load", load="R9")])
    np.testing.assert_array_equal(return_differences([Case(amp, {})], SWEEP), 1.0)
    assert growth_at([(amp, {})])[0].modes == 0


MODDED = apply_mods(load_amp("workshop-b"), load_mod("feedback-with-presence"))


def test_where_the_solver_has_no_answer_ngspice_says_the_same(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> None:
    plain = section(Examination(load_amp("workshop-b"), MODDED))
    _nothing_is_known(monkeypatch, tmp_path)

    def refuse(*_: object) -> None:
        raise EngineError("not by this one")

    monkeypatch.setattr(port_sweeps, "Bench", refuse)
    assert section(Examination(load_amp("workshop-b"), MODDED)).findings == plain.findings


def test_a_solver_that_is_wrong_is_noticed_and_not_believed(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> None:
    """Slopes that are a fiftieth too steep would move margins by a degree."""
    plain = section(Examination(load_amp("workshop-b"), MODDED))
    _nothing_is_known(monkeypatch, tmp_path)
    slopes = PortCurrents.slopes
    monkeypatch.setattr(PortCurrents, "slopes", lambda *given: 1.02 * slopes(*given))
    bent = section(Examination(load_amp("workshop-b"), MODDED))
    assert bent.findings == plain.findings
    assert any("do not agree" in note for note in bent.notes)
    assert any("is ngspice's word" in note for note in bent.notes)
    assert not any("agree" in note for note in plain.notes)


def _nothing_is_known(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> None:
    monkeypatch.setenv("AMPSIM_CACHE", str(tmp_path / "another"))
    port_sweeps.bench.cache_clear()
    loop_ports._free_knobs.cache_clear()
    monkeypatch.setattr(loop_ports, "_models", {})
    monkeypatch.setattr(steady, "_known", {})
