"""Kirchhoff's laws for a netlist in plain numpy: an answer of ngspice is put to the test without ngspice.

The currents into every net must add up to nothing at an operating point, and a frequency sweep must equal the
solution of the nodal equations (modified nodal analysis, any textbook on circuit simulation) with the valves
replaced by the slopes of their laws at that operating point.
"""

from __future__ import annotations

import math
import re
from collections.abc import Mapping
from dataclasses import dataclass, field

import numpy as np

from ampsim.circuit.valves.description import Valve
from ampsim.circuit.valves.evaluation import currents

# The steps [V] of the central differences that give the slopes of a valve.
STEP = 1e-4


@dataclass
class Nodal:
    """The elements of a netlist: name to nets and value; valves: name to nets of (plate, grid, screen, cathode)."""

    resistors: dict[str, tuple[str, str, float]] = field(default_factory=dict)
    capacitors: dict[str, tuple[str, str, float]] = field(default_factory=dict)
    inductors: dict[str, tuple[str, str, float]] = field(default_factory=dict)
    couplings: list[tuple[str, str, float]] = field(default_factory=list)
    sources: dict[str, tuple[str, float]] = field(default_factory=dict)
    valves: dict[str, tuple[tuple[str, str, str, str], Valve]] = field(default_factory=dict)

    def nets(self) -> list[str]:
        """Every net but ground."""
        two_ended = [*self.resistors.values(), *self.capacitors.values(), *self.inductors.values()]
        found = [net for first, second, _ in two_ended for net in (first, second)]
        found += [net for net, _ in self.sources.values()]
        found += [net for nets, _ in self.valves.values() for net in nets if net]
        return [net for net in dict.fromkeys(found) if net != "0"]


def read(text: str, valves: Mapping[str, Valve]) -> Nodal:
    """Read netlist text; `valves` by subcircuit name."""
    main = re.sub(r"(?s)\.subckt.*?\n\.ends[^\n]*\n", "", text)
    found = Nodal()
    for line in main.splitlines():
        words = line.split()
        if not words or line.startswith(("*", ".")):
            continue
        name, kind = words[0], words[0][0]
        if kind in "rcl":
            table = {"r": found.resistors, "c": found.capacitors, "l": found.inductors}[kind]
            table[name] = (words[1], words[2], float(words[3]))
        elif kind == "k":
            found.couplings.append((words[1], words[2], float(words[3])))
        elif kind == "x":
            plate, grid, *screen, cathode = words[1:-1]
            found.valves[name] = ((plate, grid, screen[0] if screen else "", cathode), valves[words[-1]])
        else:
            found.sources[name] = (words[1], float(words[4]) if words[3:4] == ["dc"] else 0.0)
    return found


def electrode_currents(valve: Valve, plate: float, grid: float, screen: float | None) -> np.ndarray:
    """Plate, grid and screen current [A] at voltages against the cathode [V]."""
    given = currents(valve, plate, grid, screen)
    return np.array([float(given.plate), float(given.grid), float(given.screen)])


def valve_volts(nets: tuple[str, str, str, str], volts: Mapping[str, float]) -> tuple[float, float, float | None]:
    """Plate, grid and screen voltage against the cathode [V]; no screen for a triode."""
    plate, grid, screen, cathode = (volts[net] if net else None for net in nets)
    assert plate is not None
    assert grid is not None
    assert cathode is not None
    return plate - cathode, grid - cathode, None if screen is None else screen - cathode


def unbalance(circuit: Nodal, volts: Mapping[str, float]) -> dict[str, tuple[float, float]]:
    """What is left over at every net at rest: (sum of currents, sum of their magnitudes) [A].

    Nets joined by inductors count as one; those held by a source are left out.
    """
    joined: dict[str, str] = {}

    def top(net: str) -> str:
        while net in joined:
            net = joined[net]
        return net

    for first, second, _ in circuit.inductors.values():
        if top(first) != top(second):
            joined[top(first)] = top(second)
    sums: dict[str, tuple[float, float]] = {}

    def add(net: str, amps: float) -> None:
        total, size = sums.get(top(net), (0.0, 0.0))
        sums[top(net)] = (total + amps, size + abs(amps))

    for first, second, ohms in circuit.resistors.values():
        add(first, -(volts[first] - volts[second]) / ohms)
        add(second, (volts[first] - volts[second]) / ohms)
    for nets, valve in circuit.valves.values():
        amps = electrode_currents(valve, *valve_volts(nets, volts))
        for net, each in zip(nets, (*amps, -float(amps.sum())), strict=True):
            if net:
                add(net, -each)
    held = {top("0")} | {top(net) for net, _ in circuit.sources.values()}
    return {net: left for net, left in sums.items() if net not in held}


def solve(circuit: Nodal, volts: Mapping[str, float], frequency: float) -> dict[str, complex]:
    """Small-signal voltage of every net with 1 V at the generator, at one frequency [Hz]."""
    nets = circuit.nets()
    coils, held = list(circuit.inductors), list(circuit.sources)
    place = {net: number for number, net in enumerate(nets)}
    size = len(nets) + len(coils) + len(held)
    # Ground is the last row and column, and is cut off in the end.
    whole = np.zeros((size + 1, size + 1), complex)
    omega = 2.0 * math.pi * frequency

    def at(net: str) -> int:
        return place.get(net, -1)

    for table, admittance in ((circuit.resistors, lambda v: 1 / v), (circuit.capacitors, lambda v: 1j * omega * v)):
        for first, second, value in table.values():
            _stamp(whole, at(first), at(second), admittance(value))
    for nets4, valve in circuit.valves.values():
        _stamp_valve(whole, [at(net) if net else None for net in nets4], valve, valve_volts(nets4, volts), omega)
    first_coil = len(nets)
    for row, name in enumerate(coils, first_coil):
        first, second, henries = circuit.inductors[name]
        _stamp_branch(whole, row, at(first), at(second))
        whole[row, row] -= 1j * omega * henries
    for one, two, factor in circuit.couplings:
        mutual = factor * math.sqrt(circuit.inductors[one][2] * circuit.inductors[two][2])
        rows = first_coil + coils.index(one), first_coil + coils.index(two)
        whole[rows] -= 1j * omega * mutual
        whole[rows[::-1]] -= 1j * omega * mutual
    right = np.zeros(size, complex)
    for row, name in enumerate(held, first_coil + len(coils)):
        _stamp_branch(whole, row, at(circuit.sources[name][0]), -1)
        right[row] = 1.0 if name == "vgenerator" else 0.0
    answer = np.linalg.solve(whole[:-1, :-1], right)
    return {net: complex(answer[number]) for net, number in place.items()} | {"0": 0j}


def _stamp(whole: np.ndarray, first: int, second: int, admittance: complex) -> None:
    whole[first, first] += admittance
    whole[second, second] += admittance
    whole[first, second] -= admittance
    whole[second, first] -= admittance


def _stamp_branch(whole: np.ndarray, row: int, first: int, second: int) -> None:
    whole[first, row] += 1.0
    whole[second, row] -= 1.0
    whole[row, first] += 1.0
    whole[row, second] -= 1.0


def _stamp_valve(
    whole: np.ndarray,
    pins: list[int | None],
    valve: Valve,
    volts: tuple[float, float, float | None],
    omega: float,
) -> None:
    cathode = pins[3]
    assert cathode is not None
    for number, pin in enumerate(pins[:3]):
        if pin is None:
            continue
        above, below = list(volts), list(volts)
        above[number] += STEP  # type: ignore[operator]
        below[number] -= STEP  # type: ignore[operator]
        slopes = (electrode_currents(valve, *above) - electrode_currents(valve, *below)) / (2 * STEP)  # type: ignore[arg-type]
        for electrode, slope in zip(pins[:3], slopes, strict=True):
            if electrode is not None:
                whole[electrode, pin] += slope
                whole[electrode, cathode] -= slope
                whole[cathode, pin] -= slope
                whole[cathode, cathode] += slope
    held = valve.capacitances
    plate, grid = pins[0], pins[1]
    assert plate is not None
    assert grid is not None
    _stamp(whole, grid, plate, 1j * omega * held.grid_plate)
    _stamp(whole, grid, cathode, 1j * omega * held.grid_cathode)
    _stamp(whole, plate, cathode, 1j * omega * held.plate_cathode)
