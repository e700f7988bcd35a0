"""From a circuit, a position of its controls and an analysis to the text that ngspice reads.

Only this module, `drives` and `elements` write netlist text: every number is a checked float written by `repr`,
every name is made of letters, digits and underscores, and nothing a file says is pasted in.
"""

from __future__ import annotations

import hashlib
import struct
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from functools import cached_property, lru_cache
from typing import cast

from ..base.errors import DescriptionError, shown
from ..circuit.amp import Amp, Part, Pot, Socket
from ..circuit.build import Circuit, circuit_at
from ..circuit.load import delivered
from ..circuit.loudspeaker import Loudspeaker
from ..circuit.pot_tracks import OPEN_OHMS, stretch_share
from ..circuit.semiconductors.description import Semiconductor
from ..circuit.semiconductors.device import Device
from ..circuit.semiconductors.laws import LAWS, pieces_of
from ..circuit.semiconductors.spice import subcircuit as device_subcircuit
from ..circuit.stages.template import GROUND
from ..circuit.supply.averaged import supplied
from ..circuit.tapers import track_fraction
from ..circuit.valves.description import Valve
from ..circuit.valves.spice import subcircuit
from .analyses import Analysis, NoiseSweep, OperatingPoint, RippleSweep, Transient
from .devices import coil_net, package, written_elements
from .drives import command, options, own_vectors, write_drive
from .netlist_writer import Writer, safe_name
from .ngspice.protocol import Form
from .oscillator_state import write_oscillators

# A pot's wiper never quite reaches the end of its track; a real one keeps an ohm or a few.
END_OHMS = 1.0
# Where the subcircuits of valves that differ from their type go.
_OWN_VALVES = "* own valves\n"


@dataclass(frozen=True)
class Netlist:
    """A form, and the values [ohm, F, H] of the elements named in its `parts`."""

    form: Form
    values: tuple[float, ...]

    @property
    def text(self) -> str:
        """The whole netlist."""
        return self.form.text(self.values)

    @property
    def value_by_part(self) -> dict[str, float]:
        """Value [ohm, F, H] by the name of its element."""
        return dict(zip(self.form.parts, self.values, strict=True))

    def with_fresh_load(self) -> Netlist:
        """The same netlist, simulated in a load of its own."""
        return Netlist(self.form._replace(fresh=True), self.values)

    @cached_property
    def digest(self) -> str:
        """SHA-256 of command, skeleton and values: equal digests mean equal text."""
        values = struct.pack(f"<{len(self.values)}d", *self.values)
        return hashlib.sha256(_form_digest(self.form.skeleton, self.form.command) + values).hexdigest()


@lru_cache(maxsize=256)
def _form_digest(skeleton: tuple[str, ...], command: str) -> bytes:
    return hashlib.sha256("\0".join((command, *skeleton)).encode()).digest()


def build(
    amp: Amp,
    position: Mapping[str, float | str],
    analysis: Analysis,
    nodes: tuple[str, ...],
    currents: bool = False,
    sockets: Mapping[str, Valve | Semiconductor] | None = None,
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
        Also fetch plate, screen and grid currents of every valve, and the current of every rail's source.
    sockets : mapping
        Designator to the very valve in that socket, or transistor in that place, where it differs from its type.

    Raises
    ------
    DescriptionError
        For an unknown place, position or rotation.
    """
    setting = amp.setting(position)
    return write(circuit_at(amp, setting), setting, analysis, nodes, currents, sockets)


def write(
    wired: Circuit,
    setting: Mapping[str, float | str],
    analysis: Analysis,
    nodes: tuple[str, ...],
    currents: bool = False,
    sockets: Mapping[str, Valve | Semiconductor] | None = None,
) -> Netlist:
    """Write the netlist of a circuit whose knobs are set; errors as `build`.

    Parameters
    ----------
    wired : Circuit
        With its switches as the setting says.
    setting : mapping
        Every control with its rotation or position.
    analysis, nodes, currents, sockets
        As those of `build`.
    """
    sockets = sockets or {}
    frame = _frame(wired, analysis, nodes, currents, tuple(sockets))
    values = tuple(slot_value(source, half, setting) for source, half in frame.sources)
    if not sockets:
        return Netlist(frame.form, values)
    own = "".join(_own_text(part, f"_{name.lower()}") for name, part in sockets.items())
    first, *others = frame.form.skeleton
    return Netlist(frame.form._replace(skeleton=(first.replace(_OWN_VALVES, own, 1), *others)), values)


def _own_text(part: Valve | Semiconductor, suffix: str) -> str:
    return device_subcircuit(part, suffix) if isinstance(part, Semiconductor) else subcircuit(part, suffix)


def slot_value(source: Part | Pot | float, half: str, setting: Mapping[str, float | str]) -> float:
    """The value of a slot of the text [ohm, F, H] when the knobs are set."""
    if isinstance(source, Pot):
        return _pot_half(source, half, cast("float", setting[source.control]))
    return source.value if isinstance(source, Part) else source


def _pot_half(pot: Pot, half: str, rotation: float) -> float:
    below = track_fraction(pot.taper, rotation)
    return min(max(stretch_share(half, below, pot.tap) * pot.value, END_OHMS), OPEN_OHMS)


@dataclass(frozen=True)
class _Frame:
    """A form, and where the value of each of its parts comes from."""

    form: Form
    sources: tuple[tuple[Part | Pot | float, str], ...]


@lru_cache(maxsize=256)
def _frame(
    wired: Circuit, analysis: Analysis, nodes: tuple[str, ...], currents: bool, apart: tuple[str, ...]
) -> _Frame:
    rippling, wired = analysis.rail if isinstance(analysis, RippleSweep) else "", supplied(wired)
    writer = Writer(apart, rippling, isinstance(analysis, Transient))
    writer.line("* ampsim")
    for text in subcircuits(wired, analysis == OperatingPoint(cold=True)):
        writer.line(text)
    if apart:
        writer.line(_OWN_VALVES.strip())
    wired = write_drive(writer, wired, analysis)
    writer.take(written_elements(wired, apart, rippling, isinstance(analysis, Transient), writer.switching))
    if analysis.name != "operating point":
        write_oscillators(writer, wired, isinstance(analysis, Transient) and analysis.moving)
    vectors = own_vectors(analysis, writer)
    if nodes or not vectors:
        vectors += _vectors(wired, nodes, currents)
    # Noise spectra need no `.save`, and one would hide them.
    if not isinstance(analysis, NoiseSweep):
        writer.line(".save " + " ".join(vectors))
    writer.line(f"{options(analysis, writer)}\n.end")
    end = analysis.stimulus.duration if isinstance(analysis, Transient) else 0.0
    points = {"operating point": 1, "transient": 0}.get(analysis.name, getattr(analysis, "points", 0))
    form = Form(writer.skeleton(), tuple(writer.parts), command(analysis, wired, writer), vectors, points, end)
    return _Frame(form, tuple(writer.sources))


@lru_cache(maxsize=256)
def subcircuits(wired: Circuit, cold: bool = False) -> tuple[str, ...]:
    """The laws of the valves and semiconductors in a circuit, each once, as subcircuits; `cold` valves conduct nothing.

    Raises
    ------
    DescriptionError
        When two types differ in nothing that a netlist can tell.
    """
    valves, devices = wired.amp.valve_by_type, wired.amp.semiconductor_by_type
    own = {part.type: device_subcircuit(devices[part.type]) for part in _devices(wired)}
    texts = {part.type: subcircuit(valves[part.type], cold=cold) for part in _sockets(wired)} | own
    names: dict[str, str] = {}
    for kind, text in sorted(texts.items()):
        name = text.split()[1]
        if name in names:
            what = "semiconductor" if kind in own else "valve"
            raise DescriptionError(f"{wired.amp.file}: the {what} types {kind} and {names[name]} differ too little")
        names[name] = kind
    return tuple(texts[kind].strip() for kind in names.values())


def _devices(wired: Circuit) -> Iterator[Device]:
    for element in wired.elements:
        part = wired.parts.get(element.designator)
        if isinstance(part, Device):
            yield part


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


def device_vectors(designator: str, device: Semiconductor) -> dict[str, list[tuple[str, float]]]:
    """To a pin of a semiconductor the vectors whose sum flows into it, each with the size of its unit [A]."""
    laws = {each.name: each.law for each in pieces_of(device).laws}
    found = {}
    for pin, pieces in LAWS[device.law].into.items():
        vectors = [(*piece_vector(designator, piece, laws.get(piece, "")), sign) for piece, sign in pieces.items()]
        found[pin] = [(vector, sign * unit) for vector, unit, sign in vectors]
    return found


def piece_vector(designator: str, piece: str, law: str) -> tuple[str, float]:
    """The vector of the current through a piece of a semiconductor, and the size of its unit [A]."""
    own = f"x{designator.lower()}"
    # A junction's current comes as a source current, any other as millivolts-for-milliamperes.
    return (f"v.{own}.v{piece}#branch", 1.0) if law == "junction" else (f"v({own}.{piece}_ma)", 1e-3)


def rail_vector(name: str) -> str:
    """Name of the vector that holds the current into the source of a rail [A]: negative when the rail feeds."""
    return f"v{name.lower()}_rail#branch"


def is_rail_vector(vector: str) -> bool:
    """Whether a vector is one of `rail_vector`."""
    return vector.endswith("_rail#branch")


def load_vectors(wired: Circuit) -> list[tuple[str, float]]:
    """The vectors [V] whose sum is the current from the speaker's net into the load, each with its siemens [A / V]."""
    found = []
    for designator, sign in delivered(wired):
        part = wired.parts[designator]
        first, second = (element.net(pin) for element in wired.elements if element.designator == designator
                         for pin in "12")  # fmt: skip
        if isinstance(part, Loudspeaker):
            # All of it flows through the coil's resistance, whose far end is a net of the loudspeaker's own.
            ends, ohms = (first, coil_net(part)), part.resistance
        elif isinstance(part, Part):
            ends, ohms = (first, second), part.value
        else:
            continue
        found += [(f"v({safe_name(net)})", way * sign / ohms) for net, way in zip(ends, (1.0, -1.0), strict=True)
                  if net != GROUND]  # fmt: skip
    return found


def node_vector(wired: Circuit, place: str) -> str:
    """Name of the vector that holds a place's voltage; "" for what has none: ground, a lug without any part."""
    net, wired = wired.net(place), supplied(wired)
    return "" if net == GROUND or net not in wired.live_nets else f"v({safe_name(net)})"


def _vectors(wired: Circuit, nodes: tuple[str, ...], currents: bool) -> tuple[str, ...]:
    found = dict.fromkeys(vector for vector in (node_vector(wired, place) for place in nodes) if vector)
    if currents:
        for socket in _sockets(wired):
            family = wired.amp.valve_by_type[socket.type].family
            found |= dict.fromkeys(valve_vectors(socket.designator, family).values())
        for part in _devices(wired):
            device = wired.amp.semiconductor_by_type[part.type]
            for name in package(part):
                vectors = device_vectors(name, device).values()
                found |= dict.fromkeys(vector for each in vectors for vector, _ in each)
        found |= dict.fromkeys(rail_vector(each.designator) for each in wired.elements if each.kind == "rail")
        found |= dict.fromkeys(vector for vector, _ in load_vectors(wired))
    if not found:
        raise DescriptionError(f"{wired.amp.name}: nothing but ground to listen at: {shown(nodes)}")
    return tuple(found)
