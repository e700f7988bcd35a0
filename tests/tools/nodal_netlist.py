"""Netlist text as elements on nets, for equations of our own: what follows a law as a function of numpy arrays."""

from __future__ import annotations

import re
from collections.abc import Callable, Mapping
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


def read_netlist(text: str, known: Known) -> Nodal:
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
