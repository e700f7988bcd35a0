"""From a circuit, a position of its controls and an analysis to the text that ngspice reads.

Only this module and `elements` write netlist text: every number is a checked float written by `repr`, every name is
made of letters, digits and underscores, and nothing a file says is pasted in.
"""

from __future__ import annotations

import hashlib
import struct
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, replace
from functools import cached_property, lru_cache
from typing import cast

from .amp import Amp, Part, Pot, Socket
from .analyses import Analysis, FrequencySweep, LoopSweep, OperatingPoint, Transient
from .circuit import Circuit, circuit
from .elements import WRITERS, Writer, safe_name
from .errors import DescriptionError, nearest, shown
from .nets import INPUT
from .quantities import track_fraction
from .stages.wiring import GROUND
from .valves import subcircuit

# A pot's wiper never quite reaches the end of its track; a real one keeps an ohm or a few.
END_OHMS = 1.0
PROBE_VECTORS = ("v(loop_probe)", "vprobe#branch")
_OPTIONS = {
    "operating point": ".options reltol=1e-6",
    "frequency sweep": ".options reltol=1e-6",
    "loop sweep": ".options reltol=1e-6",
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
        """SHA-256 of command, skeleton and values: equal digests mean equal text."""
        values = struct.pack(f"<{len(self.values)}d", *self.values)
        return hashlib.sha256(_skeleton_digest(self.skeleton, self.command) + values).hexdigest()


@lru_cache(maxsize=256)
def _skeleton_digest(skeleton: tuple[str, ...], command: str) -> bytes:
    return hashlib.sha256("\0".join((command, *skeleton)).encode()).digest()


def build(
    amp: Amp,
    position: Mapping[str, float | str],
    analysis: Analysis,
    nodes: tuple[str, ...],
    currents: bool = False,
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
    writer = Writer()
    writer.line("* ampsim")
    for text in _subcircuits(wired):
        writer.line(text)
    writer.line(_generator(analysis))
    if isinstance(analysis, LoopSweep):
        wired = _probed(writer, wired, analysis)
    for element in wired.elements:
        WRITERS[element.kind](writer, element, wired)
    vectors = PROBE_VECTORS if isinstance(analysis, LoopSweep) else _vectors(wired, nodes, currents)
    writer.line(".save " + " ".join(vectors))
    writer.line(_OPTIONS[analysis.name])
    writer.line(".end")
    return _Frame(writer.skeleton(), tuple(writer.parts), tuple(writer.sources), _command(analysis), vectors)


def _subcircuits(wired: Circuit) -> list[str]:
    kinds = sorted({part.type for part in _sockets(wired)})
    texts = {kind: subcircuit(wired.amp.valve_by_type[kind]).strip() for kind in kinds}
    names: dict[str, str] = {}
    for kind, text in texts.items():
        name = text.split()[1]
        if name in names:
            raise DescriptionError(f"{wired.amp.file}: the valve types {kind} and {names[name]} differ too little")
        names[name] = kind
    return list(texts.values())


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
    return "" if net == GROUND else f"v({safe_name(net)})"


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


def _probed(writer: Writer, wired: Circuit, analysis: LoopSweep) -> Circuit:
    """Open the wire at a part's end and put the probe in: the part's side is the net "loop_probe"."""
    designator, _, pin = analysis.at.partition(".")
    known = [f"{element.designator}.{name}" for element in wired.elements for name, _ in element.pins]
    if analysis.at not in known:
        raise DescriptionError(
            f"{wired.amp.name}: {shown(analysis.at)} is not a part's end{nearest(analysis.at, known)}"
        )
    volts, amps = (1, 0) if analysis.injection == "voltage" else (0, 1)
    writer.line(f"vprobe {safe_name(wired.net(analysis.at))} loop_probe dc 0 ac {volts}")
    writer.line(f"iprobe 0 loop_probe dc 0 ac {amps}")
    opened = next(element for element in wired.elements if element.designator == designator)
    pins = tuple((name, "loop_probe" if name == pin else net) for name, net in opened.pins)
    return replace(wired, elements=tuple(replace(e, pins=pins) if e is opened else e for e in wired.elements))


def _generator(analysis: Analysis) -> str:
    if isinstance(analysis, LoopSweep):
        return f"vgenerator {INPUT} 0 dc 0 ac 0"
    if not isinstance(analysis, Transient):
        return f"vgenerator {INPUT} 0 dc 0 ac 1"
    letter = "b" if analysis.stimulus.shape == "burst" else "v"
    return f"{letter}generator {INPUT} 0 {analysis.stimulus.source()}"
