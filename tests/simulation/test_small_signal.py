"""Many variants of a circuit without a simulator: against closed forms, nodal equations and ngspice; and its faults."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from numpy.typing import NDArray

from ampsim import FrequencySweep, OperatingPoint, load_amp, load_mod
from ampsim.base.errors import EngineError
from ampsim.circuit.build import SPEAKER, Circuit, circuit_at
from ampsim.circuit.held_volts import HeldVolts
from ampsim.circuit.mods import apply_mods
from ampsim.circuit.nets import INPUT
from ampsim.circuit.signal_path import listening_points
from ampsim.circuit.stages.template import Element
from ampsim.simulation.analyses import PortSweep
from ampsim.simulation.drives import probe_vectors, with_probes
from ampsim.simulation.netlist import node_vector, write
from ampsim.simulation.ngspice import engine
from ampsim.simulation.ngspice.engine import Arrays
from ampsim.simulation.ports import PortCase, simulate_directly
from ampsim.simulation.small_signal.circuit import SIGNAL, SmallSignal, Source, Swept
from ampsim.simulation.small_signal.still import still_parts
from ampsim.simulation.timestep.branches import Branch, Parts
from ampsim.simulation.tolerances import Tolerances, part_factors, slots, sockets_of, valve_draws
from tests.simulation.test_timestep import networks, nodal
from tests.tools import random_amps
from tests.truth import bench

GRID = FrequencySweep(per_decade=5)
# Amps by lot, among them the first with a core that saturates, op amps, an opto-coupler; the last needs other pivots at
# 20 kHz than at 600 Hz.
LOTS = (*range(300_000, 300_012), 300_021, 300_028, 300_059, 300_071, 302_145)


def circuit(wired: Circuit, setting: dict[str, float | str], nets: Sequence[str], **more: object) -> SmallSignal:
    parts, emfs = still_parts(wired, setting)
    return SmallSignal(parts, nets, emfs=emfs, **more)  # type: ignore[arg-type]


def alone(found: SmallSignal, grid: NDArray[np.float64] | None = None) -> Swept:
    return found.sweep(found.variants([{}]), GRID.grid() if grid is None else grid)


def off(ours: NDArray[np.complex128], theirs: NDArray[np.complex128]) -> float:
    """The largest difference as a share of the response; a millionth of its largest is nothing."""
    floor = max(1e-6 * np.abs(theirs).max(), 1e-12)
    return float((np.abs(ours - theirs) / np.maximum(np.abs(theirs), floor)).max())


@settings(max_examples=40)
@given(networks())
def test_networks_against_nodal_equations(parts: Parts) -> None:
    nets = list(dict.fromkeys(n for each in parts.branches for n in (each.first, each.second) if n not in ("0", INPUT)))
    found = alone(SmallSignal(parts, nets), np.array([3.0, 300.0, 30e3]))
    assert found.faults == ("",)
    for place, net in enumerate(nets):
        want = [nodal(parts, 2j * np.pi * hertz, net) for hertz in (3.0, 300.0, 30e3)]
        np.testing.assert_allclose(found.volts[0, 0, place], want, rtol=1e-6, atol=1e-9)


def test_variants_of_a_low_pass_against_its_closed_form() -> None:
    amp = bench.corner()
    wired = circuit_at(amp, {})
    ours = circuit(wired, {}, [wired.net("R2.1")])
    ohms, farads = np.array([1e3, 10e3, 47e3]), np.array([1e-9, 10e-9, 1e-7])
    found = ours.sweep(ours.variants([{"r1": r, "c1": c} for r, c in zip(ohms, farads, strict=True)]), GRID.grid())
    s, near = 2j * np.pi * GRID.grid(), 1.0 / 10e9
    want = [1.0 / (1.0 + r * (near + s * c)) for r, c in zip(ohms, farads, strict=True)]
    np.testing.assert_allclose(found.volts[:, 0, 0], want, rtol=1e-9)


def test_amps_by_lot_against_ngspice() -> None:
    """Every place where a stage may be heard, swept and at rest."""
    netlists, ours, differences = [], [], []
    for number in LOTS:
        case = random_amps.draw(number, with_transient=False)
        setting = case.amp.setting(case.position)
        wired = circuit_at(case.amp, setting)
        places = dict.fromkeys((SPEAKER, *listening_points(case.amp).values()))
        heard = tuple(place for place in places if node_vector(wired, place))
        ours.append((wired, heard, alone(circuit(wired, setting, [wired.net(place) for place in heard]))))
        netlists += [write(wired, setting, analysis, heard) for analysis in (GRID, OperatingPoint())]
    answers = engine.run(netlists)
    for (wired, heard, found), swept, rest in zip(ours, answers[::2], answers[1::2], strict=True):
        assert found.faults == ("",)
        assert isinstance(swept, Arrays)
        assert isinstance(rest, Arrays)
        for place, name in enumerate(heard):
            vector = node_vector(wired, name)
            assert found.rest.volts[0, place] == pytest.approx(float(rest.vectors[vector][0].real), rel=1e-5, abs=2e-3)
            differences.append(off(found.volts[0, 0, place], swept.vectors[vector]))
    # Most of it is how exactly ngspice settles at rest; over a thousand amps the median is 5e-7.
    assert np.median(differences) < 2e-6
    assert max(differences) < 1e-3


@pytest.mark.parametrize("name", ["workshop-a", "lesson-stage"])
def test_parts_and_valves_of_a_run_against_netlists_with_the_same(name: str) -> None:
    amp = load_amp(name)
    setting, wired = amp.setting({}), circuit_at(amp, {})
    ours, count = circuit(wired, setting, [wired.net(SPEAKER)]), 6
    factors, owner = part_factors(wired, count, 3, Tolerances()), slots(wired)
    draws, values = valve_draws(wired, count, 3, Tolerances()), dict(zip(ours.names, ours.drawn, strict=True))
    moved, sockets, netlists = [], [], []
    for number in range(count):
        own = sockets_of(wired, draws, number)
        sockets.append({place.lower(): valve for place, valve in own.items()})
        moved.append({each: value * factors[owner[each]][number] for each, value in values.items() if each in owner})
        given_ = write(wired, setting, GRID, (SPEAKER,), sockets=own)
        netlists.append(replace(given_, values=tuple(float(moved[-1][each]) for each in given_.form.parts)))
    found = ours.sweep(ours.variants(moved, sockets), GRID.grid())
    vector = node_vector(wired, SPEAKER)
    assert len({tuple(row) for row in found.rest.port_volts}) == count
    for row, answer in zip(found.volts[:, 0, 0], engine.run(netlists), strict=True):
        assert isinstance(answer, Arrays)
        assert off(row, answer.vectors[vector]) < 1e-4


def test_currents_and_volts_in_wires_against_ngspice() -> None:
    """A current into a port, and what a voltage in the wire of the feedback does, on both sides of it."""
    amp = load_amp("workshop-a")
    wired = circuit_at(amp, {})
    ports, cut = (("C1.1", "C1.2"), ("R4.1", "R4.2")), (("R20.1",),)
    (want,) = simulate_directly([PortCase(amp, {}, (), ("speaker", "V1A.plate"))], GRID)
    nets = [wired.net(place) for place in ("speaker", "V1A.plate")]
    sources = [SIGNAL, *(Source(amps={wired.net(one): 1.0, wired.net(other): -1.0}) for one, other in ports)]
    found = alone(circuit(wired, amp.setting({}), nets, sources=sources))
    np.testing.assert_allclose(found.volts[0, 0], want, rtol=1e-5)
    opened = with_probes(wired, cut)
    ends = (wired.net("R20.1"), "loop_probe_0")
    driven = circuit(opened, amp.setting({}), nets, sources=[*sources, Source(wires={0: 1.0})], wires=[ends])
    answer = alone(driven)
    for number, source in enumerate((-1, 0, 1, 3)):
        sweep = PortSweep(20.0, 20e3, 5, ports=ports, cut=cut, driven=source)
        (theirs,) = engine.run([write(wired, amp.setting({}), sweep, ("speaker", "V1A.plate"))])
        assert isinstance(theirs, Arrays)
        volts = [theirs.vectors[node_vector(wired, place)] for place in ("speaker", "V1A.plate")]
        np.testing.assert_allclose(answer.volts[0, number], volts, rtol=1e-4)
        np.testing.assert_allclose(answer.amps[0, number, 0], theirs.vectors[probe_vectors(1)[1]], rtol=1e-4)


def test_volts_that_are_held_stay_and_signals_pass_them_by() -> None:
    amp = bench.corner()
    wired = circuit_at(amp, {})
    part, ends = HeldVolts("HELD_C1", 7.0), (("1", wired.net("R2.1")), ("2", "0"))
    held = replace(wired, elements=(*wired.elements, Element("HELD_C1", "held volts", ends, "low pass")),
                   parts={**wired.parts, "HELD_C1": part})  # fmt: skip
    free, found = (alone(circuit(each, {}, [wired.net("R2.1")])) for each in (wired, held))
    # Behind one ohm, in the way of 10 kohm from the input at rest.
    assert found.rest.volts[0, 0] == pytest.approx(7.0 * 10e3 / 10001.0, rel=1e-6)
    np.testing.assert_allclose(found.volts, free.volts, rtol=1e-5)


def test_knobs_at_both_ends_and_every_contact() -> None:
    stock = load_amp("workshop-a")
    amp = apply_mods(stock, load_mod("bright-switch"), load_mod("cathode-switch"), load_mod("depth"))
    knobs = [name for name, control in amp.controls.items() if control.kind != "switch"]
    positions = [dict.fromkeys(knobs, end) | {"bright": bright, "cathode": cathode}
                 for end, bright, cathode in ((0.0, "120p", "6k8"), (1.0, "390p", "6k8"))]  # fmt: skip
    for position in positions:
        wired, setting = circuit_at(amp, position), amp.setting(position)
        (answer,) = engine.run([write(wired, setting, GRID, ("V2A.plate", SPEAKER))])
        assert isinstance(answer, Arrays)
        found = alone(circuit(wired, setting, [wired.net("V2A.plate"), wired.net(SPEAKER)]))
        for place, name in enumerate(("V2A.plate", SPEAKER)):
            assert off(found.volts[0, 0, place], answer.vectors[node_vector(wired, name)]) < 1e-4


def test_what_cannot_be_answered_is_said() -> None:
    parts = Parts((Branch("r", "r1", INPUT, "a", 1e3), Branch("r", "r2", "a", "0", 1e3)), (), (), {INPUT: 0.0})
    with pytest.raises(EngineError, match="nothing to listen at: b"):
        SmallSignal(parts, ["b"])
    with pytest.raises(EngineError, match="no source holds a"):
        alone(SmallSignal(parts, ["a"], [Source(volts={"a": 1.0})]))
    with pytest.raises(EngineError, match="no solution"):
        SmallSignal(parts, ["a"], wires=[("a", "0"), ("a", "0")])
    ours = SmallSignal(parts, ["a"])
    found = ours.sweep(ours.variants([{}, {"r1": 0.0}, {"r2": 3e3}]), GRID.grid())
    assert found.faults[0] == found.faults[2] == ""
    assert "no operating point" in found.faults[1]
    assert np.isnan(found.volts[1]).all()
    np.testing.assert_allclose(found.volts[[0, 2], 0, 0, 0], [0.5, 0.75])
