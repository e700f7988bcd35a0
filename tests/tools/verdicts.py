"""Whether what came back of an amp can be true: checks that know nothing of ngspice."""

from __future__ import annotations

import math
import re
from collections.abc import Iterator, Sequence
from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from ampsim.circuit.amp import Amp
from ampsim.circuit.build import Circuit, build_circuit
from ampsim.circuit.inner_nets import inner_net
from ampsim.circuit.semiconductors.spice import subcircuit_name
from ampsim.circuit.supply.averaged import MeanRectifier, supplied
from ampsim.circuit.valves.description import Valve
from ampsim.circuit.valves.evaluation import currents
from ampsim.circuit.valves.spice import subcircuit
from ampsim.simulation.in_time import INSTEAD
from ampsim.simulation.netlist import Netlist
from ampsim.simulation.ngspice.engine import Arrays, Outcome
from tests.tools import nodal
from tests.tools.nodal_netlist import Known, Nodal, read_netlist

# How far an answer may lie beside the law or sum it must obey, relative and absolute [A] or [V].
LAW = (1e-5, 1e-9)
BALANCE = (1e-5, 2e-9)
SWEEP = 1e-3
START = (1e-4, 1e-3)  # ngspice's own relative tolerance in time, at the start as well
# In time it asks for currents to 1e-9 A, and for volts to their share: it stops a few steps early, each of them a
# diode's 26 mV, where a net between diodes that block is moved by no more than this [A].
LEAKAGE = 1e-8
LAW_IN_TIME = (1e-3, 1e-6)
# ngspice holds the voltage of the grid's diode, not its current.
GRID_IN_TIME = (1e-2, 2e-5)
IN_TIME = 1e-4  # ngspice's own relative tolerance in time
# A triode's plate on its load resistor stays between ground and its rail but for what coupling capacitors kick back.
TRIODE_SWING = (-0.5, 1.5)
# Where an output valve is cut off, the coils of transformer and loudspeaker drive its plate far beyond the supply: up
# to 10 times in these amps, the same within 0.5 % with steps of 20, 5 and 1 us.
SWING = 20.0
# These published laws have no knee: with a positive grid they pass current at a plate below 0 V.
NO_KNEE = ("three-halves", "dempwolf-zoelzer 2011")


def places(amp: Amp, position: dict[str, float | str]) -> tuple[str, ...]:
    """Every pin of a valve or semiconductor, every rail and the speaker."""
    wired = at(amp, position)
    pins = [f"{e.designator}.{pin}" for e in wired.elements if e.kind in _LAWFUL for pin, _ in e.pins]
    return (*pins, *(rail.name for rail in amp.rails), "speaker")


_LAWFUL = ("valve", "diode", "transistor", "operational amplifier", "opto-coupler", "effect")


def at(amp: Amp, position: dict[str, float | str]) -> Circuit:
    """The circuit with its switches where they stand, as it is simulated."""
    setting = amp.setting(position)
    return supplied(
        build_circuit(amp, tuple((name, value) for name, value in setting.items() if isinstance(value, str)))
    )


def read(wired: Circuit, netlist: Netlist) -> Nodal:
    """The netlist of a circuit as elements."""
    amp = wired.amp
    valves = {subcircuit(valve).split()[1]: valve for valve in amp.valve_by_type.values()}
    devices = {subcircuit_name(each): each for each in amp.semiconductor_by_type.values()}
    means = {
        inner_net(part.designator, "law"): dict(part.numbers)
        for part in wired.parts.values()
        if isinstance(part, MeanRectifier)
    }
    return read_netlist(netlist.text, Known(valves, devices, means))


def with_every_net(wired: Circuit, netlist: Netlist) -> Netlist:
    """The same netlist with the voltage of every net kept and fetched."""
    nets = read(wired, netlist).nets()
    vectors = tuple(dict.fromkeys((*netlist.form.vectors, *(f"v({net})" for net in nets))))
    last = re.sub(r"\.save [^\n]*", ".save " + " ".join(vectors), netlist.form.skeleton[-1])
    return replace(netlist, form=netlist.form._replace(skeleton=(*netlist.form.skeleton[:-1], last), vectors=vectors))


def faults(wired: Circuit, netlists: Sequence[Netlist], outcomes: Sequence[Outcome]) -> list[str]:
    """Everything that cannot be true about operating point, sweep and (where there is one) transient."""
    answers = [outcome if isinstance(outcome, Arrays) else None for outcome in outcomes]
    rest, sweep, moving = (*answers, None)[:3]
    found: list[str] = []
    for answer in answers:
        if answer and not all(np.isfinite(row).all() for row in answer.vectors.values()):
            found.append("not finite")
    if rest:
        elements, volts = read(wired, netlists[0]), _volts(rest)
        found += [*_at_rest(wired, elements, volts), *_law(elements, rest, LAW, LAW)]
        if sweep:
            found += _sweep(read(wired, netlists[1]), volts, sweep)
        if moving:
            found += starts(elements, volts, moving)
    if moving:
        found += _moving(wired, read(wired, netlists[2]), moving)
    return found


def beside(wired: Circuit, netlists: Sequence[Netlist], outcomes: Sequence[Outcome]) -> float:
    """How far a sweep lies beside the nodal equations at most [ratio]; of what is tiny the share of a millionth."""
    rest, sweep = outcomes[:2]
    assert isinstance(rest, Arrays)
    assert isinstance(sweep, Arrays)
    apart = _apart(read(wired, netlists[1]), _volts(rest), sweep)
    return max(abs(got - sought) / (abs(sought) + 1e-3 * size) for _, _, got, sought, size in apart)


def _volts(rest: Arrays) -> dict[str, float]:
    """Volts of every net at rest [V]."""
    held = {name[2:-1]: float(row[0]) for name, row in rest.vectors.items() if re.fullmatch(r"v\([\w.]+\)", name)}
    return held | {"0": 0.0}


def _at_rest(wired: Circuit, elements: Nodal, volts: dict[str, float]) -> Iterator[str]:
    # Resistors, valves and semiconductors only share out what the rails give; a grid's contact potential adds a volt.
    rails = [rail.volts for rail in wired.amp.fitted_rails if rail.volts is not None]
    low, high = min([0.0, *rails]) - 1.0, highest(wired) + 1.0
    for net, each in volts.items():
        if "." in net:  # inside a part: not always volts
            continue
        if not (low <= each or _has_no_knee(elements)) or not each <= high:
            yield f"at rest {net} is at {each:.6g} V, beyond the rails"
    for name, (first, second, _) in elements.inductors.items():
        if abs(volts[first] - volts[second]) > 1e-6:
            yield f"at rest {name} has {volts[first] - volts[second]:.3g} V across it"
    for net, (left, size) in nodal.unbalance(elements, volts).items():
        if abs(left) > BALANCE[0] * size + BALANCE[1]:
            yield f"currents into {net} leave {left:.3g} A of {size:.3g} A"


def highest(wired: Circuit) -> float:
    """The volts of the highest rail [V]; the halves of a voltage doubler stand on one another."""
    halves = 2.0 if any(stage.template == "voltage doubler" for stage in wired.amp.stages) else 1.0
    return halves * max((rail.volts for rail in wired.amp.fitted_rails if rail.volts is not None), default=0.0)


def _law(
    elements: Nodal,
    answer: Arrays,
    tolerance: tuple[float, float],
    for_grid: tuple[float, float],
    of_volts: float = 0.0,
) -> Iterator[str]:
    """Currents of valves that are not what their laws say of the volts at their pins.

    Parameters
    ----------
    elements : Nodal
    answer : Arrays
    tolerance, for_grid : tuple of float
        Relative and absolute [A]; the latter for the grid.
    of_volts : float
        How exactly ngspice knows the volts of a pin [ratio]: of a plate and a cathode far above ground, little of
        their difference is left at the knee of the curves, where the current follows it most.
    """
    for name, (nets, valve) in elements.valves.items():
        volts = [np.zeros(1) if net == "0" else answer.vectors[f"v({net})"] for net in nets if net]
        screen = _screen(valve, volts)
        given = currents(valve, volts[0] - volts[-1], volts[1] - volts[-1], *screen)
        moved = of_volts * (np.abs(volts[0]) + np.abs(volts[-1]))
        further = currents(valve, volts[0] - volts[-1] + moved, volts[1] - volts[-1], *screen)
        got = {"plate": 1e-3 * answer.vectors[f"v({name}.ia)"], "grid": answer.vectors[f"v.{name}.vgo#branch"]}
        if valve.family == "pentode":
            got["screen"] = 1e-3 * answer.vectors[f"v({name}.is)"]
        for electrode, amps in got.items():
            law = getattr(given, electrode)
            share, least = for_grid if electrode == "grid" else tolerance
            unknown = np.abs(getattr(further, electrode) - law)
            excess = np.abs(amps - law) - share * np.abs(law).max() - least - unknown
            if excess.max() > 0.0:
                worst = int(np.argmax(excess))
                yield f"{name} {electrode}: {amps[worst]:.6g} A, its law says {law[worst]:.6g} A"


def _screen(valve: Valve, volts: list[NDArray[np.float64]]) -> tuple[NDArray[np.float64], ...]:
    return (volts[2] - volts[-1],) if valve.family == "pentode" else ()


def _sweep(elements: Nodal, volts: dict[str, float], sweep: Arrays) -> Iterator[str]:
    for name, hertz, got, sought, size in _apart(elements, volts, sweep):
        if abs(got - sought) > SWEEP * abs(sought) + 1e-6 * size:
            yield f"{name} at {hertz:.4g} Hz: {got:.6g}, nodal equations say {sought:.6g}"


def _apart(
    elements: Nodal, volts: dict[str, float], sweep: Arrays
) -> Iterator[tuple[str, float, complex, complex, float]]:
    """At three frequencies [Hz] of a sweep each vector, what it is and should be, and the largest of all."""
    size = max(float(np.abs(row).max()) for row in sweep.vectors.values())
    for number in (0, len(sweep.scale) // 2, len(sweep.scale) - 1):
        hertz = float(sweep.scale[number])
        expected = nodal.solve(elements, volts, hertz)
        for name, row in sweep.vectors.items():
            yield name, hertz, complex(row[number]), expected[name[2:-1]], size


def starts(elements: Nodal, volts: dict[str, float], moving: Arrays) -> Iterator[str]:
    """Nets that do not start in time from where they are at rest [V]."""
    for name, row in moving.vectors.items():
        if name.startswith("v(") and "." not in name:
            net, start = name[2:-1], float(row[0])
            near = abs(start - volts[net]) <= START[0] * abs(volts[net]) + START[1]
            if not near and not _leaks(elements, volts | {net: start}, net):
                yield f"{name} starts at {start:.6g} V, its operating point is {volts[net]:.6g} V"


def _leaks(elements: Nodal, volts: dict[str, float], net: str) -> bool:
    """Whether only valves and semiconductors hold a net, and hardly pull at it where it is [V]."""
    held = any(net in (first, second) for first, second, _ in elements.resistors.values())
    left, _ = nodal.unbalance(elements, volts).get(net, (math.inf, 0.0))
    return not held and abs(left) <= LEAKAGE


def _has_no_knee(elements: Nodal) -> bool:
    return any(valve.law in NO_KNEE for _, valve in elements.valves.values())


def _moving(wired: Circuit, elements: Nodal, moving: Arrays) -> Iterator[str]:
    high = highest(wired) or 1.0
    wound = {net for each in wired.elements if each.kind == "transformer" for _, net in each.pins}
    for (plate, *_), valve in elements.valves.values():
        row = moving.vectors[f"v({plate})"] / high
        low, most = TRIODE_SWING if valve.family == "triode" and plate not in wound else (-SWING, SWING)
        if row.max() > most or (row.min() < low and not _has_no_knee(elements)):
            yield f"{plate} swings from {high * row.min():.6g} to {high * row.max():.6g} V on a supply of {high:.6g} V"
    # The solver's answer in ngspice's place was compared with its own in half the steps; its tolerance is in volts.
    if INSTEAD not in moving.notes:
        yield from _law(elements, moving, LAW_IN_TIME, GRID_IN_TIME, IN_TIME)
