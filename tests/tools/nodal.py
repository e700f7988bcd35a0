"""Kirchhoff's laws for a netlist in plain numpy: an answer of ngspice is put to the test without ngspice.

The currents into every net must add up to nothing at an operating point, and a frequency sweep must equal the
solution of the nodal equations (modified nodal analysis, any textbook on circuit simulation) with valves,
semiconductors and whatever else follows a law replaced by the slopes of their laws at that operating point. The laws
are taken as functions of numpy arrays, not as the lines that ngspice was given.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator, Mapping

import numpy as np

from ampsim.circuit.valves.description import Valve
from tests.tools.nodal_netlist import Ends, Law, Nodal


def _across(law: Law, volts: Mapping[str, float]) -> list[float]:
    return [volts[first] - volts[second] for first, second in law.ports]


def unbalance(circuit: Nodal, volts: Mapping[str, float]) -> dict[str, tuple[float, float]]:
    """What is left over at every net at rest: (sum of currents, sum of their magnitudes) [A].

    Nets joined by inductors or by sources count as one; those held by a source against ground are left out. Inside a
    part a lone law may meet itself there, as that of a photocell's level does: its slope by its volts counts as well.
    """
    joined: dict[str, str] = {}

    def top(net: str) -> str:
        while net in joined:
            net = joined[net]
        return net

    coils = [(first, second) for first, second, _ in circuit.inductors.values()]
    for first, second in (*coils, *(source.ends for source in circuit.sources.values())):
        if top(first) != top(second):
            joined[top(first)] = top(second)
    sums: dict[str, tuple[float, float]] = {}

    def add(ends: Ends, amps: float) -> None:
        for net, each in zip(ends, (-amps, amps), strict=True):
            total, size = sums.get(top(net), (0.0, 0.0))
            sums[top(net)] = (total + each, size + abs(each))

    for first, second, ohms in circuit.resistors.values():
        add((first, second), (volts[first] - volts[second]) / ohms)
    for law in circuit.laws.values():
        for ends, amps in zip(law.ways, law.currents(*_across(law, volts)), strict=True):
            add(ends, float(amps))
        if "." in law.ways[0][0]:
            _, slopes = next(_slopes(law, volts))
            total, size = sums[top(law.ways[0][0])]
            sums[top(law.ways[0][0])] = (total, size + abs(float(slopes[0]) * _across(law, volts)[0]))
    return {net: left for net, left in sums.items() if net != top("0")}


def solve(circuit: Nodal, volts: Mapping[str, float], frequency: float) -> dict[str, complex]:
    """Small-signal voltage of every net with the sources as in a sweep, at one frequency [Hz]."""
    nets = circuit.nets()
    coils, held = list(circuit.inductors), list(circuit.sources)
    place = {net: number for number, net in enumerate(nets)}
    first_coil, first_source = len(nets), len(nets) + len(coils)
    size = first_source + len(held)
    # Ground is the last row and column, and is cut off in the end.
    whole = np.zeros((size + 1, size + 1), complex)
    omega = 2.0 * math.pi * frequency

    def at(net: str) -> int:
        return place.get(net, -1)

    for table, admittance in ((circuit.resistors, lambda v: 1 / v), (circuit.capacitors, lambda v: 1j * omega * v)):
        for first, second, value in table.values():
            _stamp(whole, at(first), at(second), admittance(value))
    for law in circuit.laws.values():
        _stamp_law(whole, law, volts, at)
    for nets4, valve in circuit.valves.values():
        _stamp_capacitances(whole, [at(net) for net in nets4], valve, omega)
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
    for row, source in enumerate(circuit.sources.values(), first_source):
        _stamp_branch(whole, row, *map(at, source.ends))
        for net, sign in zip(source.steered_by, (-1.0, 1.0), strict=True):
            whole[row, at(net)] += sign * source.gain
        for ohms, other in source.amps:
            whole[row, first_source + held.index(other)] -= ohms
        right[row] = source.swept
    for ends, other, factor in circuit.mirrors.values():
        for net, sign in zip(ends, (1.0, -1.0), strict=True):
            whole[at(net), first_source + held.index(other)] += sign * factor
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


def _slopes(law: Law, volts: Mapping[str, float]) -> Iterator[tuple[Ends, np.ndarray]]:
    """To each port of a law how fast its currents rise with the volts there [S]."""
    across = _across(law, volts)
    for number, port in enumerate(law.ports):
        above, below = list(across), list(across)
        above[number] += law.step
        below[number] -= law.step
        yield port, (law.currents(*above) - law.currents(*below)) / (2.0 * law.step)


def _stamp_law(whole: np.ndarray, law: Law, volts: Mapping[str, float], at: Callable[[str], int]) -> None:
    for port, slopes in _slopes(law, volts):
        for way, slope in zip(law.ways, slopes, strict=True):
            for net, sign in zip(way, (1.0, -1.0), strict=True):
                whole[at(net), at(port[0])] += sign * slope
                whole[at(net), at(port[1])] -= sign * slope


def _stamp_capacitances(whole: np.ndarray, pins: list[int], valve: Valve, omega: float) -> None:
    plate, grid, _, cathode = pins
    held = valve.capacitances
    _stamp(whole, grid, plate, 1j * omega * held.grid_plate)
    _stamp(whole, grid, cathode, 1j * omega * held.grid_cathode)
    _stamp(whole, plate, cathode, 1j * omega * held.plate_cathode)
