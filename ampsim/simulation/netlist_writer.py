"""Collecting the lines of a netlist; the only text that reaches a netlist besides the analysis."""

from __future__ import annotations

import math
import re
from collections.abc import Collection, Mapping, Sequence
from functools import lru_cache

from ..base.errors import DescriptionError, shown
from ..circuit.amp import Part, Pot
from ..circuit.reverb_tank import ReverbTank
from ..circuit.semiconductors import spice
from ..circuit.semiconductors.description import Semiconductor
from ..circuit.semiconductors.laws import pieces_of
from ..circuit.semiconductors.pieces import Piece
from ..circuit.semiconductors.port_laws import PORT_LAWS
from ..circuit.stages.template import GROUND
from ..circuit.switches.moving import Contact
from ..circuit.transformer_core import Core, winding_lines
from ..circuit.valves.description import Valve
from ..circuit.valves.laws import LAWS
from ..circuit.valves.spice import PINS, subcircuit
from .springs_text import spring_lines

# What sets an oscillator going: as much as moves a grid with a leak of a megohm by two volts.
PUSH_SECONDS, PUSH_AMPS = 0.02, 2e-6
_HELD_HENRY = 1e9

_NAME = re.compile(r"[a-z0-9_]{1,80}")


@lru_cache(maxsize=4096)
def safe_name(text: str) -> str:
    """Return a name that may stand in a netlist.

    Raises
    ------
    DescriptionError
        When it has other characters than small letters, digits and underscores.
    """
    if not _NAME.fullmatch(text):
        raise DescriptionError(f"{shown(text)} cannot stand in a netlist")
    return text


class Writer:
    """Collects netlist lines, cutting the text wherever a value may change from position to position.

    Valves in the sockets `apart` have subcircuits of their own; the source of the rail `rippling` has 1 V of ripple.
    `switching` says that contacts move, `in_time` that springs take their time, `saturates` that some core does.
    """

    def __init__(self, apart: Collection[str] = (), rippling: str = "", in_time: bool = False) -> None:
        self._apart, self._in_time = apart, in_time
        self.rippling = rippling
        self.switching = self.saturates = False
        self._on_cores: set[str] = set()
        self._pieces: list[str] = []
        self._open: list[str] = []
        self.parts: list[str] = []
        self.sources: list[tuple[Part | Pot | float, str]] = []
        # What makes noise of its own: resistors, and the diodes of grid current.
        self.noisy: list[str] = []

    def suffix(self, designator: str) -> str:
        """What a valve's subcircuit has after its type's name: its designator, when it stands apart."""
        return f"_{designator.lower()}" if designator in self._apart else ""

    def line(self, text: str) -> None:
        """Write one line."""
        self._open.append(text + "\n")

    def element(self, name: str, first: str, second: str, value: float) -> None:
        """Write a two-pin element whose value stays.

        Parameters
        ----------
        name : str
            Its first letter is its kind: r, c or l.
        first, second : str
            The nets of its pins.
        value : float
            [ohm], [F] or [H].
        """
        self._note(name)
        self.line(f"{safe_name(name)} {safe_name(first)} {safe_name(second)} {float(value)!r}")

    def slot(self, name: str, first: str, second: str, part: Part | Pot, half: str = "") -> None:
        """Write a two-pin element whose value may change from position to position.

        Parameters
        ----------
        name : str
            Its first letter is its kind: r, c or l.
        first, second : str
            The nets of its pins.
        part : Part or Pot
            What has the value.
        half : str
            Of a pot which stretch of its track, as `pot_tracks.track_stretches` names them.
        """
        self._note(name)
        self._cut(f"{safe_name(name)} {safe_name(first)} {safe_name(second)} ", name, part, half)

    def source(self, name: str, first: str, second: str, amount: float) -> None:
        """Write a source whose AC amount may change from run to run.

        Parameters
        ----------
        name : str
            Its first letter is its kind: v or i.
        first, second : str
            The nets of its pins.
        amount : float
            [V] or [A].
        """
        self._cut(f"{safe_name(name)} {safe_name(first)} {safe_name(second)} dc 0 ac ", f"{name} ac", amount)

    def couple(self, name: str, first: str, second: str, factor: float) -> None:
        """Write the coupling of two inductors; those on a core that saturates are coupled as they stand.

        Parameters
        ----------
        name : str
        first, second : str
            The inductors.
        factor : float
            0 to 1 [ratio].
        """
        if first not in self._on_cores:
            self.line(f"{name} {first} {second} {float(factor)!r}")

    def coil(self, name: str, first: str, second: str, henries: float, core: str = "") -> None:
        """Write a winding of a transformer.

        Parameters
        ----------
        name : str
            Begins with l.
        first, second : str
            The nets of its ends, the dotted one first.
        henries : float
            [H]
        core : str
            The transformer whose core saturates; "" when none does, and the windings are to be coupled.
        """
        if not core:
            self.element(name, first, second, henries)
            return
        for each in (core, name, first, second):
            safe_name(each)
        self._on_cores.add(name)
        for text in winding_lines(core, name, (first, second), float(henries)):
            self.line(text)

    def saturating(self, core: Core) -> None:
        """Write what the windings on a saturating core share, and the current it takes beyond its inductance [A]."""
        self.saturates = True
        for name in (core.name, core.coil, *core.ends, core.flux_net):
            safe_name(name)
        for text in core.lines():
            self.line(text)

    def supply(self, name: str, net: str, volts: float, ripple: bool) -> None:
        """Write a source from a net to ground.

        Parameters
        ----------
        name, net : str
        volts : float
            What it holds the net at [V].
        ripple : bool
            Whether it has 1 V of ripple besides.
        """
        self.line(f"{safe_name(name)} {safe_name(net)} 0 dc {float(volts)!r}{' ac 1' if ripple else ''}")

    def valve(self, designator: str, nets: Mapping[str, str], valve: Valve) -> None:
        """Write a valve, its pins on nets."""
        own = f"x{safe_name(designator.lower())}"
        pins = " ".join(safe_name(nets[pin]) for pin in PINS[valve.family].split())
        self.line(f"{own} {pins} {subcircuit_name(valve, self.suffix(designator))}")
        if LAWS[valve.law].grid is None:
            self.noisy.append(f"d.{own}.dg")

    def device(self, designator: str, nets: Sequence[str], device: Semiconductor) -> None:
        """Write a semiconductor, its pins on nets in the order of its subcircuit."""
        own = f"x{safe_name(designator.lower())}"
        name = safe_name(spice.subcircuit_name(device) + self.suffix(designator))
        self.line(f"{own} {' '.join(map(safe_name, nets))} {name}")
        self.noisy += noisy_elements(designator, device)

    def springs(self, name: str, sense: tuple[str, str], emf: str, tank: ReverbTank) -> None:
        """Write what drives the output coil of a reverb tank.

        Parameters
        ----------
        name : str
        sense : tuple of str
            The nets of the input coil's resistance.
        emf : str
            The net that the output coil begins at.
        tank : ReverbTank
        """
        first, second = map(safe_name, sense)
        for text in spring_lines(safe_name(name), (first, second), safe_name(emf), tank, self._in_time):
            self.line(text)

    def hold(self, name: str, first: str, second: str, volts: float) -> None:
        """Write what holds direct voltage between two nets behind an inductor that no signal passes.

        Parameters
        ----------
        name : str
        first, second : str
        volts : float
            [V], from the first to the second net.
        """
        own, inner = safe_name(name), safe_name(f"__{name}")
        self.line(f"v{own} {safe_name(first)} {inner}_1 {float(volts)!r}")
        self.line(f"l{own} {inner}_1 {inner}_2 {_HELD_HENRY!r}")
        self.line(f"r{own} {inner}_2 {safe_name(second)} 1.0")

    def push(self, name: str, net: str) -> None:
        """Write the push that sets an oscillator going at the net of its grid."""
        end = f"{PUSH_SECONDS!r} {PUSH_AMPS!r} {PUSH_SECONDS + 1e-6!r} 0"
        self.line(f"i{safe_name(name)} {safe_name(net)} 0 pwl(0 0 1e-6 {PUSH_AMPS!r} {end})")

    def port_law(self, piece: Piece) -> None:
        """Write a place where current follows a law."""
        nets = [(safe_name(first), safe_name(second)) for first, second in piece.ports]
        for text in PORT_LAWS[piece.law].lines(safe_name(piece.name), piece.numbers, nets):
            self.line(text)

    def contact(self, name: str, first: str, second: str, contact: Contact) -> None:
        """Write a contact: a resistor at rest, a conductance on its way while contacts move.

        Parameters
        ----------
        name : str
        first, second : str
            The nets of its pins; ground comes second.
        contact : Contact
            When it is closed, and its two resistances.
        """
        if not self.switching:
            self.element(f"r{name}", first, second, contact.on if contact.closed == "before" else contact.off)
            return
        across = f"v({first})" if second == GROUND else f"v({first},{second})"
        # The logarithm of its conductance moves evenly: at the jump of a switch element ngspice often fails.
        power = f"{-math.log(contact.off)!r}+{math.log(contact.off / contact.on)!r}*v({contact_net(contact.closed)})"
        self.line(f"b{name} {first} {second} i={across}*exp({power})")

    def _note(self, name: str) -> None:
        if name.startswith("r"):
            self.noisy.append(name)

    def _cut(self, text: str, name: str, source: Part | Pot | float, half: str = "") -> None:
        self._open.append(text)
        self._pieces.append("".join(self._open))
        self._open = ["\n"]
        self.parts.append(name)
        self.sources.append((source, half))

    def take(self, other: Writer) -> None:
        """Write all that another has written."""
        first, *others = other.skeleton()
        pieces = ["".join([*self._open, first]), *others]
        self._pieces += pieces[:-1]
        self._open = pieces[-1:]
        self.parts += other.parts
        self.sources += other.sources
        self.noisy += other.noisy
        self.saturates |= other.saturates

    def skeleton(self) -> tuple[str, ...]:
        """The text, cut at the values."""
        return (*self._pieces, "".join(self._open))


def noisy_elements(designator: str, device: Semiconductor) -> list[str]:
    """The names of the elements of a semiconductor that make noise of their own."""
    pieces, own = pieces_of(device), f"x{designator.lower()}"
    junctions = [f"d.{own}.d{each.name}" for each in pieces.laws if each.law == "junction"]
    return junctions + [f"r.{own}.r{each.name}" for each in pieces.passives if each.kind in "rn" and each.noisy]


@lru_cache(maxsize=256)
def subcircuit_name(valve: Valve, suffix: str) -> str:
    """The subcircuit's name, read off its first line."""
    return safe_name(subcircuit(valve, suffix).split(".subckt", 1)[1].split()[0].lower())


def contact_net(closed: str) -> str:
    """The net whose volt closes the contacts that are closed "before" or "after" a switch moves."""
    return safe_name(f"contacts_{closed}")
