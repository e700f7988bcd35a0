"""What a job puts through the panel: pots, switches and sockets that its mods bring, and the holes they go into."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field, replace
from functools import cached_property, lru_cache

from ...base.errors import DescriptionError, nearest, shown
from ...circuit.amp import Amp, AnyPart, Mod, Pot, Socket, Switch
from ...circuit.build import Circuit, build_circuit
from ...circuit.designators import body_of
from ...circuit.mount import Mount
from ...circuit.mounting import mounting_of
from ...circuit.switches.kinds import TOGGLES, Action
from ...circuit.switches.plan import SwitchPlan
from ...circuit.switches.planning import planned_switches
from ...circuit.valves.pinout import TOP_CAP
from ..new_parts import work_mods
from . import bodies
from .bodies import BODIES, Body

_INSIDE = (Mount.BOARD, Mount.SURFACE, Mount.TURRET, Mount.EYELET, Mount.TAGS, Mount.POINT)
_SOCKETS = {7: bodies.SEVEN, 8: bodies.OCTAL, 9: bodies.NOVAL}


@dataclass(frozen=True)
class PanelPart:
    """One part that goes through a panel.

    Attributes
    ----------
    name : str
        Its designator; of a part in sections that of the body.
    control : str
        What its knob or lever is called; "" for none.
    body : Body
        What it is taken to be.
    into : str
        The part of the stock amp whose hole it goes into; "" for a hole of its own.
    """

    name: str
    control: str
    body: Body
    into: str = ""

    @property
    def drilled(self) -> bool:
        """Whether it needs a hole of its own."""
        return not self.into

    @property
    def called(self) -> str:
        """The part with its control: "S102 (cathode)"."""
        return f"{self.name} ({self.control})" if self.control else self.name

    @property
    def words(self) -> str:
        """The part with its control and body: "S102 (cathode; toggle switch, 1/4 inch bushing)"."""
        return f"{self.name} ({'; '.join(filter(None, [self.control, self.body.name]))})"


@dataclass(frozen=True)
class PanelWork:
    """What is done to the panel: the parts that go through it, and stock parts that leave a hole open."""

    parts: tuple[PanelPart, ...]
    left_open: tuple[str, ...]

    @property
    def holes(self) -> tuple[PanelPart, ...]:
        """The parts that need a hole of their own, in the order of the mods."""
        return tuple(each for each in self.parts if each.drilled)


def panel_work(stock: Amp, modded: Amp, wanted: Mapping[str, str] | None = None) -> PanelWork:
    """Work out from the edits what goes through the panel.

    Every pot, switch and socket that a new mod brings is one part, tracks and sections of one body together. A switch
    on the shaft of a pot and the contacts of a relay have no hole, the switch that feeds a relay's coil has one; what
    stands in an effects loop has two jacks. A pot
    that takes another's place goes into its hole; so does one that is fitted when an old pot comes out for good, first
    where most wires are the same. A pot that the amp says to be mounted inside, such as on a board, is a trimmer: it
    has no hole, and what takes its place has none.

    Parameters
    ----------
    stock, modded : Amp
    wanted : mapping
        To a part the name of its body, where it is not the usual one.

    Raises
    ------
    DescriptionError
        When `wanted` names no part of this work, or no body that is known.
    """
    work = _Work(stock, modded, work_mods(stock, modded))
    placed = work.into_freed([*work.exchanged(), *work.fitted()])
    taken = {each.into for each in placed}
    parts = tuple(_as_wanted(placed, wanted or {}))
    return PanelWork(parts, tuple(name for name in work.freed if name not in taken))


def _as_wanted(parts: Sequence[PanelPart], wanted: Mapping[str, str]) -> Iterator[PanelPart]:
    known = [each.name for each in parts]
    for name, body in wanted.items():
        if name not in known:
            raise DescriptionError(f"{shown(name)} does not go through the panel in this work{nearest(name, known)}")
        if body not in BODIES:
            raise DescriptionError(f"{name}: {shown(body)} is no body known here{nearest(body, BODIES)}")
    for each in parts:
        yield replace(each, body=BODIES[wanted[each.name]]) if each.name in wanted else each


@dataclass(frozen=True, eq=False)
class _Work:
    """One amp before and after its new mods."""

    stock: Amp
    modded: Amp
    mods: tuple[Mod, ...]
    lifted: frozenset[str] = field(init=False)

    def __post_init__(self) -> None:
        gone = {edit.part for mod in self.mods for edit in mod.edits if edit.action == "lift"}
        object.__setattr__(self, "lifted", frozenset(gone))

    @cached_property
    def freed(self) -> tuple[str, ...]:
        """Shafts of the stock amp of which every track comes out for good."""
        return tuple(
            name
            for name, tracks in _shafts(_pots(self.stock)).items()
            if {each.designator for each in tracks} <= self.lifted and not self._inside(tracks)
        )

    @cached_property
    def shafts(self) -> dict[str, list[Pot]]:
        """The tracks on each shaft after the work."""
        return _shafts(each for each in _pots(self.modded) if each.designator not in self.lifted)

    def exchanged(self) -> Iterator[PanelPart]:
        """Pots of the stock amp that another goes in place of."""
        places = [edit.part for mod in self.mods for edit in mod.every_edit() if edit.action == "replace"]
        places += [part.designator for part in self._brought() if isinstance(part, Pot)]
        # Where only a position of a switch has another value, that is one more track.
        doubled = {edit.part for mod in self.mods for switch in mod.switches for _, edits in switch.positions
                   for edit in edits if edit.action == "replace"}  # fmt: skip
        stock = {each.designator for each in _pots(self.stock)}
        for name, tracks in self.shafts.items():
            names = {each.designator for each in tracks}
            if names & stock and names & set(places) and not self._inside(tracks):
                yield PanelPart(name, tracks[0].control, self._pot_body(name, tracks, bool(names & doubled)), name)

    def fitted(self) -> Iterator[PanelPart]:
        """Pots, sockets and switches that the stock amp has no place for."""
        brought = list(self._brought())
        names = {each.designator for each in brought}
        stock = {each.designator for each in _pots(self.stock)}
        for name, tracks in self.shafts.items():
            found = {each.designator for each in tracks}
            if found & names and not found & stock:
                yield PanelPart(name, tracks[0].control, self._pot_body(name, tracks))
        sockets = {body_of(each.designator): each for each in brought if isinstance(each, Socket)}
        old = {body_of(each.designator) for each in self.stock.parts if isinstance(each, Socket)}
        for name, socket in sockets.items():
            if name not in old:
                yield PanelPart(name, "", _socket_body(self.modded, socket))
        for effect in (each.designator for each in brought if each.kind == "effect"):
            # What stands in an effects loop is plugged in: two jacks.
            yield PanelPart(f"{effect}S", "send", bodies.JACK_CLOSED)
            yield PanelPart(f"{effect}R", "return", bodies.JACK_CLOSED)
        for mod in self.mods:
            for switch in mod.switches:
                for name in _levers(switch):
                    yield PanelPart(name, switch.control, _switch_body(self.modded, switch, name))

    def into_freed(self, parts: Sequence[PanelPart]) -> list[PanelPart]:
        """Pots first, each into the freed hole with most of its wires; then what has a lever, in its order."""
        before, after = build_circuit(self.stock), build_circuit(self.modded)
        places = {old: _wired_to(before, _shafts(_pots(self.stock))[old]) for old in self.freed}
        levers = {name for mod in self.mods for switch in mod.switches for name in _levers(switch)}
        waiting = [each.name for each in parts if each.drilled and (each.name in self.shafts or each.name in levers)]
        pots = [name for name in waiting if name in self.shafts]
        pairs = sorted(
            (-len(places[old] & _wired_to(after, self.shafts[name])), number, order, name, old)
            for number, name in enumerate(pots)
            for order, old in enumerate(self.freed)
        )
        goes: dict[str, str] = {}
        for *_, name, old in pairs:
            if name not in goes and old not in goes.values():
                goes[name] = old
        left = [old for old in self.freed if old not in goes.values()]
        goes |= dict(zip((name for name in waiting if name not in self.shafts), left, strict=False))
        return [replace(each, into=goes.get(each.name, each.into)) for each in parts]

    def _inside(self, tracks: Iterable[Pot]) -> bool:
        found = [mounting_of(self.stock, each.designator) for each in tracks]
        return any(each is not None and each.mount in _INSIDE for each in found)

    def _brought(self) -> Iterator[AnyPart]:
        """Parts that the mods fit, those that only a switch fits included."""
        names = (edit.part for mod in self.mods for edit in mod.every_edit() if edit.action == "fit")
        yield from (self.modded.part_by_designator[name] for name in dict.fromkeys(names))

    def _pot_body(self, name: str, tracks: Sequence[Pot], doubled: bool = False) -> Body:
        names = {name, *(each.designator for each in tracks), *(body_of(each.designator) for each in tracks)}
        kinds = [switch.kind.action for switch in self.modded.all_switches if switch.shaft in names]
        if kinds:
            return bodies.POT_END if Action.TRACK_END in kinds else bodies.POT_PULL
        return bodies.POT_24_DUAL if len(tracks) > 1 or doubled else bodies.POT_24


def _levers(switch: Switch) -> Iterator[str]:
    """What of a switch goes through the panel: nothing on the shaft of a pot, of a relay what feeds its coil."""
    if not switch.shaft:
        yield switch.coil.driver if switch.coil else switch.designator


def _pots(amp: Amp) -> list[Pot]:
    return [each for each in amp.part_by_designator.values() if isinstance(each, Pot)]


def _shafts(pots: Iterable[Pot]) -> dict[str, list[Pot]]:
    """The tracks that turn together, by the body of the first."""
    by_control: dict[str, list[Pot]] = {}
    for each in pots:
        by_control.setdefault(each.control, []).append(each)
    return {body_of(tracks[0].designator): tracks for tracks in by_control.values()}


def _socket_body(amp: Amp, part: Socket) -> Body:
    pinout = amp.valve_by_type[part.type].pinout if part.type in amp.valve_by_type else None
    pins = [each for each in pinout.pins if not each.endswith(TOP_CAP)] if pinout else []
    return _SOCKETS.get(len(pins), bodies.NOT_KNOWN)


@lru_cache(maxsize=8)
def switch_plans(amp: Amp) -> Mapping[str, SwitchPlan]:
    """The switches of an amp as they are wired, by designator; none where no usual contacts do it."""
    try:
        return {each.designator: each for each in planned_switches(amp)}
    except DescriptionError:
        return {}


def _switch_body(amp: Amp, switch: Switch, name: str) -> Body:
    plan = switch_plans(amp).get(name)
    action = plan.action if plan else switch.kind.action
    if action in TOGGLES:
        return bodies.TOGGLE_SMALL_WIDE if plan and plan.poles > 2 else bodies.TOGGLE_SMALL
    if action is Action.ROTARY:
        return bodies.ROTARY_WAFERS if plan and "wafers" in plan.kind else bodies.ROTARY
    return bodies.LEVER if action is Action.LEVER else bodies.NOT_KNOWN


def _wired_to(wired: Circuit, tracks: Iterable[Pot]) -> set[str]:
    """The places of other parts on the wires of a pot."""
    names = {each.designator for each in tracks}
    nets = {net for each in wired.elements if each.designator in names for _, net in each.pins}
    found = {place for net in nets for place in wired.places_by_net.get(net, ())}
    return {place for place in found if place.partition(".")[0] not in names}
