"""Whether what came back of an amp can be true: checks that know nothing of ngspice."""

from __future__ import annotations

import re
from collections.abc import Iterator, Sequence
from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from ampsim.circuit.amp import Amp
from ampsim.circuit.build import Circuit, build_circuit
from ampsim.circuit.valves.description import Valve
from ampsim.circuit.valves.evaluation import currents
from ampsim.circuit.valves.spice import subcircuit
from ampsim.simulation.netlist import Netlist
from ampsim.simulation.ngspice.engine import Arrays, Outcome
from tests.tools import nodal

# How far an answer may lie beside the law or sum it must obey, relative and absolute [A] or [V].
LAW = (1e-5, 1e-9)
BALANCE = (1e-5, 2e-9)
SWEEP = 1e-3
START = (1e-5, 1e-3)
LAW_IN_TIME = (1e-3, 1e-6)
# ngspice holds the voltage of the grid's diode, not its current.
GRID_IN_TIME = (1e-2, 2e-5)
# A triode's plate on its load resistor stays between ground and its rail but for what coupling capacitors kick back.
TRIODE_SWING = (-0.5, 1.5)
# Where an output valve is cut off, the coils of transformer and loudspeaker drive its plate far beyond the supply: up
# to 10 times in these amps, the same within 0.5 % with steps of 20, 5 and 1 us.
SWING = 20.0
# These published laws have no knee: with a positive grid they pass current at a plate below 0 V.
NO_KNEE = ("three-halves", "dempwolf-zoelzer 2011")


def places(amp: Amp, position: dict[str, float | str]) -> tuple[str, ...]:
    """Every valve pin, every rail and the speaker."""
    wired = at(amp, position)
    pins = [f"{e.designator}.{pin}" for e in wired.elements if e.kind == "valve" for pin, _ in e.pins]
    return (*pins, *(rail.name for rail in amp.rails), "speaker")


def at(amp: Amp, position: dict[str, float | str]) -> Circuit:
    """The circuit with its switches where they stand."""
    setting = amp.setting(position)
    return build_circuit(amp, tuple((name, value) for name, value in setting.items() if isinstance(value, str)))


def read(amp: Amp, netlist: Netlist) -> nodal.Nodal:
    """The netlist as elements."""
    valves = {subcircuit(valve).split()[1]: valve for valve in amp.valve_by_type.values()}
    return nodal.read(netlist.text, valves)


def with_every_net(netlist: Netlist) -> Netlist:
    """The same netlist with the voltage of every net kept and fetched."""
    found = nodal.read(netlist.text, _Anything())
    vectors = tuple(dict.fromkeys((*netlist.form.vectors, *(f"v({net})" for net in found.nets()))))
    last = re.sub(r"\.save [^\n]*", ".save " + " ".join(vectors), netlist.form.skeleton[-1])
    return replace(netlist, form=netlist.form._replace(skeleton=(*netlist.form.skeleton[:-1], last), vectors=vectors))


class _Anything(dict):  # type: ignore[type-arg]
    def __missing__(self, _: str) -> None:
        return None


def faults(amp: Amp, netlists: Sequence[Netlist], outcomes: Sequence[Outcome]) -> list[str]:
    """Everything that cannot be true about operating point, sweep and (where there is one) transient."""
    answers = [outcome if isinstance(outcome, Arrays) else None for outcome in outcomes]
    rest, sweep, moving = (*answers, None)[:3]
    found: list[str] = []
    for answer in answers:
        if answer and not all(np.isfinite(row).all() for row in answer.vectors.values()):
            found.append("not finite")
    if rest:
        elements = read(amp, netlists[0])
        volts = {name[2:-1]: float(row[0]) for name, row in rest.vectors.items() if re.fullmatch(r"v\(\w+\)", name)}
        volts["0"] = 0.0
        found += [*_at_rest(amp, elements, volts), *_law(elements, rest, LAW, LAW)]
        if sweep:
            found += _sweep(elements, volts, sweep)
        if moving:
            found += _start(rest, moving)
    if moving:
        found += _moving(amp, read(amp, netlists[2]), moving)
    return found


def _at_rest(amp: Amp, elements: nodal.Nodal, volts: dict[str, float]) -> Iterator[str]:
    # Resistors and valves only share out what the rails give; a grid's contact potential adds a volt.
    low = min([0.0, *(rail.volts for rail in amp.fitted_rails if rail.volts is not None)]) - 1.0
    high = max(rail.volts for rail in amp.fitted_rails if rail.volts is not None) + 1.0
    for net, each in volts.items():
        if not (low <= each or _has_no_knee(elements)) or not each <= high:
            yield f"at rest {net} is at {each:.6g} V, beyond the rails"
    for name, (first, second, _) in elements.inductors.items():
        if abs(volts[first] - volts[second]) > 1e-6:
            yield f"at rest {name} has {volts[first] - volts[second]:.3g} V across it"
    for net, (left, size) in nodal.unbalance(elements, volts).items():
        if abs(left) > BALANCE[0] * size + BALANCE[1]:
            yield f"currents into {net} leave {left:.3g} A of {size:.3g} A"


def _law(
    elements: nodal.Nodal, answer: Arrays, tolerance: tuple[float, float], for_grid: tuple[float, float]
) -> Iterator[str]:
    for name, (nets, valve) in elements.valves.items():
        volts = [np.zeros(1) if net == "0" else answer.vectors[f"v({net})"] for net in nets if net]
        given = currents(valve, volts[0] - volts[-1], volts[1] - volts[-1], *_screen(valve, volts))
        got = {"plate": 1e-3 * answer.vectors[f"v({name}.ia)"], "grid": answer.vectors[f"v.{name}.vgo#branch"]}
        if valve.family == "pentode":
            got["screen"] = 1e-3 * answer.vectors[f"v({name}.is)"]
        for electrode, amps in got.items():
            law = getattr(given, electrode)
            share, least = for_grid if electrode == "grid" else tolerance
            beside = np.abs(amps - law) - share * np.abs(law).max() - least
            if beside.max() > 0.0:
                worst = int(np.argmax(beside))
                yield f"{name} {electrode}: {amps[worst]:.6g} A, its law says {law[worst]:.6g} A"


def _screen(valve: Valve, volts: list[NDArray[np.float64]]) -> tuple[NDArray[np.float64], ...]:
    return (volts[2] - volts[-1],) if valve.family == "pentode" else ()


def _sweep(elements: nodal.Nodal, volts: dict[str, float], sweep: Arrays) -> Iterator[str]:
    size = max(float(np.abs(row).max()) for row in sweep.vectors.values())
    for number in (0, len(sweep.scale) // 2, len(sweep.scale) - 1):
        expected = nodal.solve(elements, volts, float(sweep.scale[number]))
        for name, row in sweep.vectors.items():
            sought, got = expected[name[2:-1]], row[number]
            if abs(got - sought) > SWEEP * abs(sought) + 1e-6 * size:
                yield f"{name} at {sweep.scale[number]:.4g} Hz: {got:.6g}, nodal equations say {sought:.6g}"


def _start(rest: Arrays, moving: Arrays) -> Iterator[str]:
    for name, row in moving.vectors.items():
        if name.startswith("v(") and "." not in name:
            at_rest = float(rest.vectors[name][0])
            if abs(row[0] - at_rest) > START[0] * abs(at_rest) + START[1]:
                yield f"{name} starts at {row[0]:.6g} V, its operating point is {at_rest:.6g} V"


def _has_no_knee(elements: nodal.Nodal) -> bool:
    return any(valve.law in NO_KNEE for _, valve in elements.valves.values())


def _moving(amp: Amp, elements: nodal.Nodal, moving: Arrays) -> Iterator[str]:
    high = max(rail.volts for rail in amp.fitted_rails if rail.volts is not None)
    for (plate, *_), valve in elements.valves.values():
        row = moving.vectors[f"v({plate})"] / high
        low, most = TRIODE_SWING if valve.family == "triode" else (-SWING, SWING)
        if row.max() > most or (row.min() < low and not _has_no_knee(elements)):
            yield f"{plate} swings from {high * row.min():.6g} to {high * row.max():.6g} V on a supply of {high:.6g} V"
    yield from _law(elements, moving, LAW_IN_TIME, GRID_IN_TIME)
