"""The element list as numbers: what the netlist writes as text, collected as branches between nets."""

from __future__ import annotations

from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass, field, replace

from ...base.errors import DescriptionError, shown
from ...circuit.amp import Part, Pot
from ...circuit.build import Circuit
from ...circuit.nets import INPUT
from ...circuit.reverb_tank import ReverbTank
from ...circuit.semiconductors.description import Semiconductor
from ...circuit.semiconductors.laws import pieces_of
from ...circuit.semiconductors.pieces import Piece
from ...circuit.semiconductors.port_laws import PORT_LAWS
from ...circuit.stages.template import GROUND
from ...circuit.supply.averaged import supplied
from ...circuit.switches.moving import SIDES, Contact
from ...circuit.transformer_core import Core
from ...circuit.valves.description import Valve
from ..devices import WRITERS
from ..netlist import slot_value
from ..netlist_writer import Writer
from ..oscillator_state import write_oscillators
from .springs import SpringLine

# Through so many ohms a push is a current.
PUSH_OHMS = 1e12
BEFORE, AFTER = (SIDES[0],), (SIDES[1],)
"""Which contacts are closed before a switch moves, and after."""


@dataclass(frozen=True)
class Branch:
    """A two-pin element between two nets: "r" [ohm], "c" [F] or "l" [H]."""

    kind: str
    name: str
    first: str
    second: str
    value: float


def node_net(designator: str, node: str) -> str:
    """The net of a node inside a semiconductor."""
    return f"{designator.lower()}.{node}"


@dataclass(frozen=True)
class Seat:
    """Where current follows a law: its name in `port_laws.STEP_LAWS`, its numbers, and its ports, pairs of nets.

    `valve` is the valve whose grid's current flows through the second port; None where nothing does. `name` is the
    valve's in lower case, or that of a piece of a semiconductor: "d1.forward".
    """

    law: str
    numbers: tuple[float, ...]
    ports: tuple[tuple[str, str], ...]
    valve: Valve | None = None
    name: str = ""

    @property
    def part(self) -> str:
        """The designator, in lower case, of the valve or semiconductor that it belongs to."""
        return self.name.partition(".")[0]


def valve_seat(valve: Valve, nets: Mapping[str, str], name: str = "") -> Seat:
    """The seat of a valve with its pins on nets."""
    pins = ("plate", "grid", "screen") if valve.family == "pentode" else ("plate", "grid")
    ports = tuple((nets[pin], nets["cathode"]) for pin in pins)
    return Seat(valve.law, tuple(value for _, value in valve.parameters), ports, valve, name)


@dataclass(frozen=True)
class Parts:
    """A whole circuit: branches, couplings (inductor, inductor, factor), valves and semiconductors, held nets [V].

    The net of the input is driven and in `held` with 0 V, and so are those that the springs of reverb tanks drive and
    the `pushes`, from which oscillators are set going. `watched` are nets to listen at besides. `fluxes` names what
    ports read instead of volts: the flux of an inductor [V s], times a factor [1 / V s]. `contacts` move, by branch.
    """

    branches: tuple[Branch, ...]
    couplings: tuple[tuple[str, str, float], ...]
    seats: tuple[Seat, ...]
    held: Mapping[str, float]
    lines: tuple[SpringLine, ...] = ()
    fluxes: Mapping[str, tuple[str, float]] = field(default_factory=dict)
    pushes: tuple[str, ...] = ()
    watched: tuple[str, ...] = ()
    contacts: Mapping[str, Contact] = field(default_factory=dict)

    def with_closed(self, closed: Collection[str]) -> Parts:
        """The same with its contacts as in `parts_of`."""
        ohms = {name: contact.ohms(closed) for name, contact in self.contacts.items()}
        moved = (replace(each, value=ohms[each.name]) if each.name in ohms else each for each in self.branches)
        return replace(self, branches=tuple(moved))

    @property
    def heard(self) -> int:
        """How many nets the loop hears: one that is listened at, two to each line, and those that are watched."""
        return 1 + 2 * len(self.lines) + len(self.watched)


class Collector(Writer):
    """Takes the place of the netlist's writer and keeps numbers instead of text.

    `setting` says where the knobs stand; `closed` which contacts of a switch on its way are: those that are closed
    "before" the movement, "after" it, both or neither.
    """

    def __init__(self, setting: Mapping[str, float | str], closed: Collection[str] = BEFORE) -> None:
        super().__init__()
        self._setting, self._closed = setting, closed
        self.branches: list[Branch] = []
        self.couplings: list[tuple[str, str, float]] = []
        self.seats: list[Seat] = []
        self.held = {INPUT: 0.0}
        self.lines: list[SpringLine] = []
        self.fluxes: dict[str, tuple[str, float]] = {}
        self.pushes: list[str] = []
        self.contacts: dict[str, Contact] = {}

    def element(self, name: str, first: str, second: str, value: float) -> None:
        """Keep a two-pin element; one with both pins on one net does nothing.

        Parameters
        ----------
        name, first, second, value
            As those of `netlist_writer.Writer.element` [ohm, F or H].
        """
        if first != second or name[0] == "l":
            self.branches.append(Branch(name[0], name, first, second, float(value)))

    def slot(self, name: str, first: str, second: str, part: Part | Pot, half: str = "") -> None:
        """Keep a two-pin element at the value it has where the knobs stand.

        Parameters
        ----------
        name, first, second, part, half
            As those of `netlist_writer.Writer.slot`.
        """
        self.element(name, first, second, slot_value(part, half, self._setting))

    def couple(self, name: str, first: str, second: str, factor: float) -> None:
        """Keep the coupling of two inductors.

        Parameters
        ----------
        name : str
            Not kept.
        first, second : str
            The inductors.
        factor : float
            0 to 1 [ratio].
        """
        self.couplings.append((first, second, factor))

    def coil(self, name: str, first: str, second: str, henries: float, core: str = "") -> None:
        """Keep a winding of a transformer.

        Parameters
        ----------
        name, first, second, henries, core
            As those of `netlist_writer.Writer.coil` [H].
        """
        self.element(name, first, second, henries)

    def saturating(self, core: Core) -> None:
        """Keep what a saturating core takes [A]."""
        self.fluxes[core.flux_net] = (core.coil, core.scale)
        self.seats.append(Seat("transformer core", (core.knee_amps,), (core.ends, (core.flux_net, GROUND))))

    def supply(self, name: str, net: str, volts: float, ripple: bool) -> None:
        """Keep a net that a source holds.

        Parameters
        ----------
        name, net : str
        volts : float
            What it holds the net at [V].
        ripple : bool
            Not kept: in time a supply has no ripple of its own.

        Raises
        ------
        DescriptionError
            When the net is ground, or another source holds it at another voltage.
        """
        if net == GROUND or (net in self.held and self.held[net] != volts):
            raise DescriptionError(f"source {shown(name)} of {volts:g} V lies across a short or another source")
        self.held[net] = volts

    def valve(self, designator: str, nets: Mapping[str, str], valve: Valve) -> None:
        """Keep a valve, and the capacitances between its electrodes."""
        held, own = valve.capacitances, designator.lower()
        self.seats.append(valve_seat(valve, nets, own))
        self.element(f"c{own}_gp", nets["grid"], nets["plate"], held.grid_plate)
        self.element(f"c{own}_gk", nets["grid"], nets["cathode"], held.grid_cathode)
        self.element(f"c{own}_pk", nets["plate"], nets["cathode"], held.plate_cathode)

    def device(self, designator: str, nets: Sequence[str], device: Semiconductor) -> None:
        """Keep the pieces of a semiconductor, its pins on nets in the order of its subcircuit."""
        pieces, own = pieces_of(device), designator.lower()
        known = dict(zip(device.pins, nets, strict=True)) | {GROUND: GROUND}

        def net(node: str) -> str:
            return known.get(node, node_net(designator, node))

        for each in pieces.laws:
            numbers = tuple(each.numbers[name] for name in PORT_LAWS[each.law].parameters)
            ports = tuple((net(one), net(other)) for one, other in each.ports)
            self.seats.append(Seat(each.law, numbers, ports, name=f"{own}.{each.name}"))
        for part in pieces.passives:
            if part.kind == "n":
                continue
            self.element(f"{part.kind}{own}_{part.name}", net(part.nodes[0]), net(part.nodes[1]), part.value)

    def springs(self, name: str, sense: tuple[str, str], emf: str, tank: ReverbTank) -> None:
        """Keep the springs of a reverb tank.

        Parameters
        ----------
        name, sense, emf, tank
            As those of `netlist_writer.Writer.springs`.
        """
        self.held[emf] = 0.0
        self.lines.append(SpringLine(sense, emf, tank))

    def push(self, name: str, net: str) -> None:
        """Keep a net from which an oscillator is set going, behind a resistor that changes nothing."""
        self.pushes.append(f"__{name}")
        self.held[self.pushes[-1]] = 0.0
        self.element(f"r{name}", self.pushes[-1], net, PUSH_OHMS)

    def hold(self, name: str, first: str, second: str, volts: float) -> None:
        """Refuse what stands still.

        Parameters
        ----------
        name, first, second, volts
            As those of `netlist_writer.Writer.hold` [V].

        Raises
        ------
        DescriptionError
            Always: in time nothing is held.
        """
        raise DescriptionError(
            "an oscillator that is held at one point of its swing has no sound; play the amp as it is"
        )

    def port_law(self, piece: Piece) -> None:
        """Keep a place where current follows a law."""
        numbers = tuple(piece.numbers[each] for each in PORT_LAWS[piece.law].parameters)
        self.seats.append(Seat(piece.law, numbers, piece.ports))

    def contact(self, name: str, first: str, second: str, contact: Contact) -> None:
        """Keep a contact as a resistor.

        Parameters
        ----------
        name, first, second, contact
            As those of `netlist_writer.Writer.contact`.
        """
        self.contacts[f"r{name}"] = contact
        self.element(f"r{name}", first, second, contact.ohms(self._closed))


def parts_of(
    wired: Circuit, setting: Mapping[str, float | str], closed: Collection[str] = BEFORE, still: bool = False
) -> Parts:
    """The circuit as numbers.

    Parameters
    ----------
    wired : Circuit
    setting : mapping
        Every control with its rotation or position.
    closed : collection of str
        Which contacts of a `MovingCircuit` are closed: those "before" the movement, "after" it.
    still : bool
        Whether oscillators that the amp is meant to have stand still.
    """
    return collect(Collector(setting, closed), wired, still)


def collect(collector: Collector, wired: Circuit, still: bool) -> Parts:
    """As `parts_of`, by a collector of one's own."""
    wired = supplied(wired)
    for element in wired.elements:
        WRITERS[element.kind](collector, element, wired)
    write_oscillators(collector, wired, not still)
    branches = tuple(branch for branch in collector.branches if branch.kind != "c" or branch.value > 0.0)
    return Parts(branches, tuple(collector.couplings), tuple(collector.seats), collector.held, tuple(collector.lines),
                 collector.fluxes, tuple(collector.pushes), contacts=collector.contacts)  # fmt: skip
