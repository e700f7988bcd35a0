"""Kirchhoff's laws for a netlist in plain numpy: an answer of ngspice is put to the test without ngspice.

The currents into every net must add up to nothing at an operating point, and a frequency sweep must equal the
solution of the nodal equations (modified nodal analysis, any textbook on circuit simulation) with valves,
semiconductors and whatever else follows a law replaced by the slopes of their laws at that operating point. The laws
are taken as functions of numpy arrays, not as the lines that ngspice was given.
"""

from __future__ import annotations

import math
import re
from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass, field

import numpy as np

from ampsim.circuit.semiconductors.description import Semiconductor
from ampsim.circuit.semiconductors.laws import pieces_of
from ampsim.circuit.semiconductors.port_laws import PORT_LAWS
from ampsim.circuit.valves.description import Valve
from ampsim.circuit.valves.evaluation import currents

# The steps [V] of the central differences that give the slopes of a law; below them rounding shows.
STEP = 1e-4
_FINE = 1e-6
Ends = tuple[str, str]


@dataclass(frozen=True)
class Law:
    """Where current flows through pairs of nets by a law of the volts between other pairs.

    `currents` takes the volts between `ports` [V] and gives what flows through `ways` [A].
    """

    ports: tuple[Ends, ...]
    ways: tuple[Ends, ...]
    currents: Callable[..., np.ndarray]
    step: float = STEP


@dataclass(frozen=True)
class Source:
    """A source of volts: those at rest and in a sweep, or a share of the volts between two other nets."""

    ends: Ends
    volts: float = 0.0
    swept: float = 0.0
    gain: float = 0.0
    steered_by: Ends = ("0", "0")
    amps: tuple[tuple[float, str], ...] = ()  # what steers it otherwise: so many ohms, and the source they stand at


@dataclass(frozen=True)
class Known:
    """What the names in a netlist stand for: valves and semiconductors by subcircuit, rectifiers by their numbers."""

    valves: Mapping[str, Valve]
    devices: Mapping[str, Semiconductor] = field(default_factory=dict)
    rectifiers: Mapping[str, Mapping[str, float]] = field(default_factory=dict)


@dataclass
class Nodal:
    """The elements of a netlist: name to nets and value; valves: name to nets of (plate, grid, screen, cathode)."""

    resistors: dict[str, tuple[str, str, float]] = field(default_factory=dict)
    capacitors: dict[str, tuple[str, str, float]] = field(default_factory=dict)
    inductors: dict[str, tuple[str, str, float]] = field(default_factory=dict)
    couplings: list[tuple[str, str, float]] = field(default_factory=list)
    sources: dict[str, Source] = field(default_factory=dict)
    valves: dict[str, tuple[tuple[str, str, str, str], Valve]] = field(default_factory=dict)
    laws: dict[str, Law] = field(default_factory=dict)
    mirrors: dict[str, tuple[Ends, str, float]] = field(default_factory=dict)

    def nets(self) -> list[str]:
        """Every net but ground."""
        two_ended = [*self.resistors.values(), *self.capacitors.values(), *self.inductors.values()]
        found = [net for first, second, _ in two_ended for net in (first, second)]
        found += [net for source in self.sources.values() for net in source.ends]
        found += [net for law in self.laws.values() for ends in (*law.ports, *law.ways) for net in ends]
        return [net for net in dict.fromkeys(found) if net != "0"]


def read(text: str, known: Known) -> Nodal:
    """Read netlist text."""
    main = re.sub(r"(?s)\.subckt.*?\n\.ends[^\n]*\n", "", text.lower())
    lines = [line for line in main.splitlines() if line.strip() and not line.startswith(("*", "."))]
    # A law is written as a current into a resistor of an ohm; the resistor means nothing here.
    written = {line.split()[2] for line in lines if re.match(r"b\w+_ma 0 ", line)}
    found = Nodal()
    for line in lines:
        words = line.split()
        if not written & set(words[1:3]) and words[0][0] not in "ti":  # lines that delay and a push are in time alone
            _READERS[words[0][0]](found, words[0], words[1:], known)
    return found


def _read_two_ended(found: Nodal, name: str, words: list[str], _: Known) -> None:
    table = {"r": found.resistors, "c": found.capacitors, "l": found.inductors}[name[0]]
    table[name] = (words[0], words[1], float(words[2]))


def _read_coupling(found: Nodal, _: str, words: list[str], __: Known) -> None:
    found.couplings.append((words[0], words[1], float(words[2])))


def _read_source(found: Nodal, name: str, words: list[str], _: Known) -> None:
    volts = words[3] if words[2] == "dc" else words[2]
    swept = float(words[words.index("ac") + 1]) if "ac" in words else 0.0
    number = re.fullmatch(r"[-+.e\d]+", volts)
    found.sources[name] = Source((words[0], words[1]), float(volts) if number else 0.0, swept)


def _read_steered(found: Nodal, name: str, words: list[str], _: Known) -> None:
    first, second, plus, minus, gain = words
    found.sources[name] = Source((first, second), gain=float(gain), steered_by=(plus, minus))


def _read_mirrored(found: Nodal, name: str, words: list[str], _: Known) -> None:
    """A current that is a multiple of that through a source, as the turns of an ideal transformer give it."""
    found.mirrors[name] = ((words[0], words[1]), words[2], float(words[3]))


def _read_part(found: Nodal, name: str, words: list[str], known: Known) -> None:
    *nets, kind = words
    if kind in known.valves:
        plate, grid, *screen, cathode = nets
        pins = (plate, grid, screen[0] if screen else "", cathode)
        found.valves[name] = (pins, known.valves[kind])
        ports = tuple((net, cathode) for net in pins[:3] if net)
        found.laws[name] = Law(ports, ports, _valve_law(known.valves[kind]))
        return
    device = known.devices[kind]
    outer = dict(zip(device.pins, nets, strict=True)) | {"0": "0"}

    def net(node: str) -> str:
        return outer.get(node, f"{name}.{node}")

    pieces = pieces_of(device)
    for piece in pieces.laws:
        ports = tuple((net(first), net(second)) for first, second in piece.ports)
        law = PORT_LAWS[piece.law].currents
        found.laws[f"{name}.{piece.name}"] = Law(ports, ports[::2], _port_law(law, piece.numbers), _FINE)
    for part in pieces.passives:
        if part.kind != "n" and part.value > 0.0:
            table = found.resistors if part.kind == "r" else found.capacitors
            table[f"{name}.{part.kind}{part.name}"] = (net(part.nodes[0]), net(part.nodes[1]), part.value)


def _read_law(found: Nodal, name: str, words: list[str], known: Known) -> None:
    """A rectifier's mean current, the flux of a core or the current that it takes."""
    ends = (words[0], words[1])
    if name[0] == "g":
        law = PORT_LAWS["mean rectifier"].currents
        found.laws[name] = Law((ends,), (ends,), _port_law(law, known.rectifiers[name[1:]]))
    elif words[2].startswith("v="):
        amps = tuple((float(ohms), source) for ohms, source in re.findall(r"([-+.e\d]+?)\*i\((\w+)\)", words[2]))
        found.sources[name] = Source(ends, amps=amps)
    else:
        flux = re.search(r"v\((\w+)\)", words[2])
        knee = float(words[2][2:].partition("*")[0])
        assert flux is not None
        law = PORT_LAWS["transformer core"].currents
        found.laws[name] = Law((ends, (flux[1], "0")), (ends,), _port_law(law, {"knee_amps": knee}))


_READERS: dict[str, Callable[[Nodal, str, list[str], Known], None]] = {
    **dict.fromkeys("rcl", _read_two_ended),
    **dict.fromkeys("bg", _read_law),
    "k": _read_coupling,
    "v": _read_source,
    "e": _read_steered,
    "f": _read_mirrored,
    "x": _read_part,
}


def _valve_law(valve: Valve) -> Callable[..., np.ndarray]:
    def given(plate: float, grid: float, screen: float | None = None) -> np.ndarray:
        found = currents(valve, plate, grid, screen)
        every = [float(found.plate), float(found.grid), float(found.screen)]
        return np.array(every[: 2 if screen is None else 3])

    return given


def _port_law(law: Callable[..., tuple[object, ...]], numbers: Mapping[str, float]) -> Callable[..., np.ndarray]:
    def given(*volts: float) -> np.ndarray:
        return np.array([float(each) for each in law(numbers, *(np.float64(one) for one in volts))])  # type: ignore[arg-type]

    return given


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
