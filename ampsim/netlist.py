"""From a circuit, a position of its controls and an analysis to the text that ngspice reads.

The only module that writes netlist text: every number is a checked float written by `repr`, every name is made of
letters, digits and underscores, and nothing a file says is pasted in.
"""

from __future__ import annotations

import hashlib
import math
import re
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from functools import cached_property, lru_cache
from typing import cast

from .amp import Amp, Loudspeaker, Part, Pot, Socket, Transformer
from .analyses import Analysis, FrequencySweep, OperatingPoint, Transient
from .circuit import INPUT, Circuit, circuit
from .errors import DescriptionError, shown
from .quantities import track_fraction
from .stages.power import tap_pin
from .stages.wiring import GROUND, Element
from .valves import subcircuit

# A pot's wiper never quite reaches the end of its track; a real one keeps an ohm or a few.
END_OHMS = 1.0
_NAME = re.compile(r"[a-z0-9_]{1,80}")
_OPTIONS = {
    "operating point": ".options reltol=1e-6",
    "frequency sweep": ".options reltol=1e-6",
    "transient": ".options reltol=1e-4 abstol=1e-9",
}


@dataclass(frozen=True)
class Netlist:
    """Settled netlist text, cut at the values that may differ between positions, and what to do with it.

    `skeleton` holds the text before, between and after the `values` of the elements named in `parts`; `command` is
    the analysis, `vectors` what to fetch. `points` is the expected length (0 for a transient, which must reach
    `end` [s]).
    """

    skeleton: tuple[str, ...]
    parts: tuple[str, ...]
    values: tuple[float, ...]
    command: str
    vectors: tuple[str, ...]
    points: int
    end: float

    @cached_property
    def text(self) -> str:
        """The whole netlist."""
        pieces = [self.skeleton[0]]
        for value, piece in zip(self.values, self.skeleton[1:], strict=True):
            pieces += [repr(value), piece]
        return "".join(pieces)

    @cached_property
    def digest(self) -> str:
        """SHA-256 of text and command."""
        return hashlib.sha256(f"{self.text}\n{self.command}".encode()).hexdigest()


def build(
    amp: Amp, position: Mapping[str, float | str], analysis: Analysis, nodes: tuple[str, ...], currents: bool = False
) -> Netlist:
    """Write the netlist of an amp at a position.

    Parameters
    ----------
    amp : Amp
    position : mapping
        Control name to rotation (0 to 1) or switch position; controls not named stand as drawn.
    analysis : OperatingPoint, FrequencySweep or Transient
    nodes : tuple of str
        Places to listen at.
    currents : bool
        Also fetch plate, screen and grid currents of every valve.

    Raises
    ------
    DescriptionError
        For an unknown place, position or rotation.
    """
    setting = amp.setting(position)
    switches = tuple((name, value) for name, value in setting.items() if isinstance(value, str))
    frame = _frame(circuit(amp, switches), analysis, nodes, currents)
    values = tuple(
        _pot_half(part, half, cast("float", setting[part.control])) if isinstance(part, Pot) else part.value
        for part, half in frame.sources
    )
    end = analysis.stimulus.duration if isinstance(analysis, Transient) else 0.0
    points = {"operating point": 1, "transient": 0}.get(analysis.name, getattr(analysis, "points", 0))
    return Netlist(frame.skeleton, frame.parts, values, frame.command, frame.vectors, points, end)


def _pot_half(pot: Pot, half: str, rotation: float) -> float:
    below = track_fraction(pot.taper, rotation)
    fraction = {"bottom": below, "top": 1.0 - below, "track": 1.0}[half]
    return max(fraction * pot.value, END_OHMS)


@dataclass(frozen=True)
class _Frame:
    skeleton: tuple[str, ...]
    parts: tuple[str, ...]
    sources: tuple[tuple[Part | Pot, str], ...]
    command: str
    vectors: tuple[str, ...]


@lru_cache(maxsize=256)
def _frame(wired: Circuit, analysis: Analysis, nodes: tuple[str, ...], currents: bool) -> _Frame:
    writer = _Writer()
    writer.line("* ampsim")
    for kind in sorted({part.type for part in _sockets(wired)}):
        writer.line(subcircuit(wired.amp.valve_by_type[kind]).strip())
    writer.line(_generator(analysis))
    for element in wired.elements:
        _WRITERS[element.kind](writer, element, wired)
    vectors = _vectors(wired, nodes, currents)
    writer.line(".save " + " ".join(vectors))
    writer.line(_OPTIONS[analysis.name])
    writer.line(".end")
    return _Frame(writer.skeleton(), tuple(writer.parts), tuple(writer.sources), _command(analysis), vectors)


def _sockets(wired: Circuit) -> Iterator[Socket]:
    for element in wired.elements:
        part = wired.parts.get(element.designator)
        if isinstance(part, Socket):
            yield part


def valve_vectors(designator: str, family: str) -> dict[str, str]:
    """Names of the vectors that hold a valve's currents: plate and screen [mA], grid [A]."""
    name = f"x{designator.lower()}"
    found = {"plate": f"v({name}.ia)", "grid": f"v.{name}.vgo#branch"}
    return found | ({"screen": f"v({name}.is)"} if family == "pentode" else {})


def node_vector(wired: Circuit, place: str) -> str:
    """Name of the vector that holds a place's voltage; "" for ground, which has none."""
    net = wired.net(place)
    return "" if net == GROUND else f"v({_name(net)})"


def _vectors(wired: Circuit, nodes: tuple[str, ...], currents: bool) -> tuple[str, ...]:
    found = dict.fromkeys(vector for vector in (node_vector(wired, place) for place in nodes) if vector)
    if currents:
        for socket in _sockets(wired):
            family = wired.amp.valve_by_type[socket.type].family
            found |= dict.fromkeys(valve_vectors(socket.designator, family).values())
    if not found:
        raise DescriptionError(f"{wired.amp.name}: nothing but ground to listen at: {shown(nodes)}")
    return tuple(found)


def _command(analysis: Analysis) -> str:
    if isinstance(analysis, OperatingPoint):
        return "op"
    if isinstance(analysis, FrequencySweep):
        # The last point must not be lost to rounding in ngspice's own stepping, so ask a little further.
        stop = analysis.grid()[-1] * (1.0 + 1e-7)
        return f"ac dec {analysis.per_decade:d} {analysis.start!r} {float(stop)!r}"
    step, end = analysis.step, analysis.stimulus.duration
    return f"tran {step!r} {end!r} 0.0 {step!r}"


def _generator(analysis: Analysis) -> str:
    if not isinstance(analysis, Transient):
        return f"vgenerator {INPUT} 0 dc 0 ac 1"
    letter = "b" if analysis.stimulus.shape == "burst" else "v"
    return f"{letter}generator {INPUT} 0 {analysis.stimulus.source()}"


def _name(text: str) -> str:
    if not _NAME.fullmatch(text):
        raise DescriptionError(f"{shown(text)} cannot stand in a netlist")
    return text


class _Writer:
    """Collects netlist lines, cutting the text wherever a value may change from position to position."""

    def __init__(self) -> None:
        self._pieces: list[str] = []
        self._open: list[str] = []
        self.parts: list[str] = []
        self.sources: list[tuple[Part | Pot, str]] = []

    def line(self, text: str) -> None:
        self._open.append(text + "\n")

    def element(self, name: str, first: str, second: str, value: float) -> None:
        self.line(f"{_name(name)} {_name(first)} {_name(second)} {float(value)!r}")

    def slot(self, name: str, first: str, second: str, part: Part | Pot, half: str = "") -> None:
        self._open.append(f"{_name(name)} {_name(first)} {_name(second)} ")
        self._pieces.append("".join(self._open))
        self._open = ["\n"]
        self.parts.append(name)
        self.sources.append((part, half))

    def skeleton(self) -> tuple[str, ...]:
        return (*self._pieces, "".join(self._open))


def _write_two_pin(writer: _Writer, element: Element, wired: Circuit) -> None:
    part = cast("Part", wired.parts[element.designator])
    first, second = element.net("1"), element.net("2")
    if first != second:
        writer.slot(part.designator.lower(), first, second, part)


def _write_inductor(writer: _Writer, element: Element, wired: Circuit) -> None:
    part = cast("Part", wired.parts[element.designator])
    writer.element(part.designator.lower(), element.net("1"), element.net("2"), part.value)


def _write_pot(writer: _Writer, element: Element, wired: Circuit) -> None:
    pot = cast("Pot", wired.parts[element.designator])
    name = f"r{pot.designator.lower()}"
    top, wiper, bottom = (element.net(pin) for pin in ("top", "wiper", "bottom"))
    if top != wiper:
        writer.slot(f"{name}_top", top, wiper, pot, "top")
    if wiper != bottom:
        writer.slot(f"{name}_bottom", wiper, bottom, pot, "bottom")


def _write_valve(writer: _Writer, element: Element, wired: Circuit) -> None:
    socket = cast("Socket", wired.parts[element.designator])
    family = wired.amp.valve_by_type[socket.type].family
    pins = ("plate", "grid", "screen", "cathode") if family == "pentode" else ("plate", "grid", "cathode")
    given = {pin for pin, _ in element.pins}
    if set(pins) != given:
        raise DescriptionError(
            f"{wired.amp.file}: {socket.designator} ({socket.type}) is a {family} with the pins {', '.join(pins)}; "
            f"wired are {', '.join(sorted(given))}"
        )
    nets = " ".join(_name(element.net(pin)) for pin in pins)
    writer.line(f"x{_name(socket.designator.lower())} {nets} {subcircuit_name(wired, socket)}")


def subcircuit_name(wired: Circuit, socket: Socket) -> str:
    """The subcircuit's name, read off its first line."""
    return _name(subcircuit(wired.amp.valve_by_type[socket.type]).split(".subckt", 1)[1].split()[0].lower())


def _write_rail(writer: _Writer, element: Element, wired: Circuit) -> None:
    rail = next(rail for rail in wired.amp.rails if rail.name == element.designator)
    writer.line(f"v{_name(rail.name.lower())}_rail {_name(element.net('1'))} 0 dc {cast('float', rail.volts)!r}")


def _write_transformer(writer: _Writer, element: Element, wired: Circuit) -> None:
    part = cast("Transformer", wired.parts[element.designator])
    name, nets = part.designator.lower(), dict(element.pins)
    centre = nets.get("centre")
    halves = [("a", nets["primary_a"], centre), ("b", centre, nets["primary_b"])] if centre else [
        ("a", nets["primary_a"], nets["primary_b"])]  # fmt: skip
    windings = []
    for side, start, finish in halves:
        windings.append(f"l{name}_{side}")
        _write_winding(writer, part, side, str(start), str(finish), len(halves))
    _write_losses(writer, part, nets["primary_a"], nets["primary_b"])
    windings += _write_secondary(writer, part, nets)
    for number, (first, second) in enumerate(_pairs(windings), 1):
        writer.line(f"k{name}_{number} {first} {second} 0.99999")


def _write_winding(writer: _Writer, part: Transformer, side: str, start: str, finish: str, halves: int) -> None:
    name = part.designator.lower()
    inner, core = f"{name}_{side}_1", f"{name}_{side}_2"
    # The plate end of each half carries its share of winding resistance and leakage.
    outer, other = (start, finish) if side == "a" else (finish, start)
    writer.element(f"r{name}_{side}", outer, inner, part.primary_resistance / halves)
    writer.element(f"l{name}_leak_{side}", inner, core, part.leakage / halves)
    ends = (core, other) if side == "a" else (other, core)
    writer.element(f"l{name}_{side}", *ends, part.inductance / halves**2)


def _write_losses(writer: _Writer, part: Transformer, first: str, second: str) -> None:
    name = part.designator.lower()
    writer.element(f"r{name}_core", first, second, part.core_loss)
    writer.element(f"c{name}_winding", first, f"{name}_damp", part.capacitance)
    writer.element(f"r{name}_damp", f"{name}_damp", second, part.damping)


def _write_secondary(writer: _Writer, part: Transformer, nets: Mapping[str, str]) -> list[str]:
    name, windings = part.designator.lower(), []
    below, turns, whole = nets["common"], 0.0, math.sqrt(part.taps[-1])
    for tap in part.taps:
        pin = tap_pin(tap)
        net, section = nets.get(pin, f"{name}_{pin}"), math.sqrt(tap) - turns
        inner = f"{name}_{pin}_1"
        ends = (below, inner) if part.reversed else (inner, below)
        writer.element(f"l{name}_{pin}", *ends, part.inductance * section**2 / part.primary)
        writer.element(f"r{name}_{pin}", inner, net, part.secondary_resistance * section / whole)
        windings.append(f"l{name}_{pin}")
        below, turns = net, math.sqrt(tap)
    return windings


def _pairs(names: list[str]) -> Iterator[tuple[str, str]]:
    for number, first in enumerate(names):
        for second in names[number + 1 :]:
            yield first, second


def _write_loudspeaker(writer: _Writer, element: Element, wired: Circuit) -> None:
    part = cast("Loudspeaker", wired.parts[element.designator])
    name, second = part.designator.lower(), element.net("2")
    omega = 2.0 * math.pi * part.resonance
    writer.element(f"r{name}_coil", element.net("1"), f"{name}_1", part.resistance)
    writer.element(f"r{name}_cone", f"{name}_1", f"{name}_2", part.peak)
    writer.element(f"l{name}_cone", f"{name}_1", f"{name}_2", part.peak / (omega * part.q))
    writer.element(f"c{name}_cone", f"{name}_1", f"{name}_2", part.q / (omega * part.peak))
    sections = coil_sections(part.reactance, part.exponent)
    for number, (ohms, henries) in enumerate(sections, 2):
        first, last = f"{name}_{number}", second if number == len(sections) + 1 else f"{name}_{number + 1}"
        writer.element(f"l{name}_{number}", first, last, henries)
        if math.isfinite(ohms):
            writer.element(f"r{name}_{number}", first, last, ohms)


def coil_sections(reactance: float, exponent: float) -> list[tuple[float, float]]:
    """Resistors beside inductors in series that imitate a coil whose impedance rises as frequency**exponent.

    Parameters
    ----------
    reactance : float
        Magnitude at 1 kHz [ohm].
    exponent : float
        0.3 to 1; 1 is a plain inductor.

    Returns
    -------
    list of (ohm, henry)
        Five pairs with corners spread from 16 Hz to 10 kHz and one inductor (infinite ohms) for all above; for a
        plain inductor that one alone. Magnitude is within 3 % of the power law from 100 Hz to 20 kHz for exponents
        from 0.65 up, within 8 % for 0.5.
    """
    if exponent == 1.0:
        return [(math.inf, reactance / (2.0 * math.pi * 1000.0))]
    ratio = 5.0
    corners = [16.0 * ratio**n for n in range(5)]
    ohms = [(corner / 1000.0) ** exponent for corner in corners]
    # The sections above the last one would add up to a geometric series of inductances.
    share = ratio ** (exponent - 1.0)
    henries = [r / corner for r, corner in zip(ohms, corners, strict=True)]
    tail = henries[-1] * share / (1.0 - share)
    at_1k = sum(r * 1j * 1000.0 / (corner + 1j * 1000.0) for r, corner in zip(ohms, corners, strict=True))
    scale = reactance / abs(at_1k + 1j * 1000.0 * tail)
    pairs = [(scale * r, scale * h / (2.0 * math.pi)) for r, h in zip(ohms, henries, strict=True)]
    return [*pairs, (math.inf, scale * tail / (2.0 * math.pi))]


_WRITERS = {
    "resistor": _write_two_pin, "capacitor": _write_two_pin, "inductor": _write_inductor, "pot": _write_pot,
    "valve": _write_valve, "rail": _write_rail, "transformer": _write_transformer,
    "loudspeaker": _write_loudspeaker,
}  # fmt: skip
