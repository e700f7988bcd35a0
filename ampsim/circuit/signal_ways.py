"""Which ways a small signal can go in a circuit: through parts either way, through valves from control to plate."""

from __future__ import annotations

from collections.abc import Collection, Iterable, Iterator, Mapping, Sequence, Set
from dataclasses import dataclass
from functools import cached_property
from typing import NamedTuple

from .active_parts import ACTIVE
from .build import Circuit
from .nets import INPUT, PASSIVE, steps_to
from .pot_tracks import track_stretches
from .stages.template import GROUND, Element, rail_net

_CONTROLS = {
    "valve": ("grid", "cathode", "screen"),
    "transistor": ("gate", "source"),
    "operational amplifier": ("plus", "minus"),
}
# Of this the foot is an input too: no signal comes out there.
_DEAF = "operational amplifier"


class Link(NamedTuple):
    """Two nets that a part joins for a signal; `places` are its pins there, in the same order."""

    nets: tuple[str, str]
    places: tuple[str, str]

    @property
    def part(self) -> str:
        """Designator of the part."""
        return self.places[0].partition(".")[0]

    def far(self, net: str) -> str:
        """The other net."""
        return self.nets[1] if net == self.nets[0] else self.nets[0]


@dataclass(frozen=True)
class SignalWays:
    """The ways of one circuit. Where a source holds the voltage no signal passes: ground, rails, the input."""

    wired: Circuit

    @cached_property
    def dead(self) -> frozenset[str]:
        """Nets that a source or a reservoir holds still."""
        supply = {net for each in self.wired.elements if each.stage == "supply" for _, net in each.pins}
        return frozenset({GROUND, INPUT, *supply, *(rail_net(rail.name) for rail in self.wired.amp.rails)})

    @cached_property
    def valves(self) -> Mapping[str, Element]:
        """Every valve, and whatever else amplifies, by its designator, in the order of the signal."""
        return {each.designator: each for each in self.wired.elements if each.kind in ACTIVE}

    @cached_property
    def links(self) -> tuple[Link, ...]:
        """What every part but valves and transformers joins, none of it dead."""
        parts = (each for each in self.wired.elements if each.kind in (*PASSIVE, "loudspeaker"))
        return tuple(link for part in parts for link in _links(part) if self.dead.isdisjoint(link.nets))

    @cached_property
    def _by_net(self) -> Mapping[str, list[Link]]:
        found: dict[str, list[Link]] = {}
        for link in self.links:
            for net in link.nets:
                found.setdefault(net, []).append(link)
        return found

    @cached_property
    def _led(self) -> dict[tuple[str, frozenset[str]], tuple[Set[str], Sequence[str]]]:
        """What `_led_to` has found."""
        return {}

    @cached_property
    def windings(self) -> tuple[frozenset[str], ...]:
        """The live nets of each transformer."""
        found = (each for each in self.wired.elements if each.kind == "transformer")
        return tuple(frozenset(net for _, net in each.pins) - self.dead for each in found)

    @cached_property
    def controls(self) -> Mapping[str, tuple[str, ...]]:
        """Net to the places on it where a valve is controlled."""
        found: dict[str, tuple[str, ...]] = {}
        for each in self.valves.values():
            for pin, net in each.pins:
                if pin in _CONTROLS[each.kind] and net not in self.dead:
                    found[net] = (*found.get(net, ()), f"{each.designator}.{pin}")
        return found

    def links_at(self, net: str) -> list[Link]:
        """What leads away from a net."""
        return self._by_net.get(net, [])

    def spread(
        self, starts: Iterable[str], stop: Set[str] = frozenset(), without: Set[str] = frozenset(), coils: bool = False
    ) -> Set[str]:
        """Nets that parts lead to from some nets, the nearest first.

        Parameters
        ----------
        starts : iterable of str
        stop : set of str
            Nets that the way does not go on from; they are among those found.
        without : set of str
            Designators the way does not go through.
        coils : bool
            Whether it goes through transformers too.
        """

        def onward(net: str) -> Iterator[str]:
            yield from (link.far(net) for link in self.links_at(net) if link.part not in without)
            for coil in self.windings if coils else ():
                yield from sorted(coil) if net in coil else ()

        return steps_to((net for net in starts if net not in self.dead), onward, stop).keys()

    def outputs(self, valve: str) -> Iterator[tuple[str, bool]]:
        """The nets a valve drives, and whether the signal goes on from there.

        A cathode drives what follows where the plate is held still; of a valve with a plate load it drives what hangs
        on it directly, such as the other half of a long-tailed pair.
        """
        nets, pins = dict(self.valves[valve].pins), ACTIVE[self.valves[valve].kind]
        follower = nets[pins.output] in self.dead
        if not follower:
            yield nets[pins.output], True
        if nets[pins.foot] not in self.dead and self.valves[valve].kind != _DEAF:
            yield nets[pins.foot], follower

    def driven_from(self, valve: str, without: Set[str] = frozenset()) -> tuple[set[str], set[str]]:
        """The nets and the valves that a valve's signal comes to, itself among them, with some parts taken out.

        What lies beyond a valve's own grid comes before it: a signal led back to there goes on through the valve.

        Parameters
        ----------
        valve : str
        without : set of str
            Designators of parts, and places where a valve is controlled, that carry nothing.
        """
        nets: set[str] = set()
        valves = [valve]
        for each in valves:
            found, others = self._led_to(each, frozenset(without))
            nets |= found
            valves += [other for other in others if other not in valves]
        return nets, set(valves)

    def _led_to(self, valve: str, without: frozenset[str]) -> tuple[Set[str], Sequence[str]]:
        """The nets that a valve's signal comes to through parts alone, and the valves it controls there.

        A search for loops asks for the same of every valve that lies before it.
        """
        key = (valve, without)
        if key not in self._led:
            nets: set[str] = set()
            for net, onward in self.outputs(valve):
                stop = dict(self.valves[valve].pins).values() if onward else self.controls
                nets |= self.spread([net], frozenset(stop), without, coils=onward)
            places = (place for one in self.controls if one in nets for place in self.controls[one])
            controlled = dict.fromkeys(place.partition(".")[0] for place in places if place not in without)
            self._led[key] = nets, list(controlled)
        return self._led[key]

    def between(self, starts: Collection[str], ends: Set[str], without: Set[str] = frozenset()) -> tuple[Link, ...]:
        """The links on a way from some nets to others, the nearest first; what only hangs on it is left out.

        Parameters
        ----------
        starts : collection of str
        ends : set of str
            The way does not go on from these.
        without : set of str
            Designators the way does not go through.
        """
        reached = self.spread(starts, frozenset(ends), without)
        inner = [net for net in reached if net not in ends or net in starts]
        kept = dict.fromkeys(
            link
            for net in inner
            for link in self.links_at(net)
            if link.part not in without and link.nets[0] != link.nets[1]
        )
        whole = {*starts, *ends}
        while loose := _loose(kept, whole):
            kept = {link: None for link in kept if loose.isdisjoint(link.nets)}
        return tuple(kept)


def _loose(links: Iterable[Link], whole: set[str]) -> set[str]:
    """Nets from which no other way leads on."""
    near: dict[str, set[str]] = {}
    for link in links:
        for net in link.nets:
            near.setdefault(net, set()).add(link.far(net))
    return {net for net, others in near.items() if len(others) < 2 and net not in whole}


def _links(part: Element) -> Iterator[Link]:
    nets = dict(part.pins)
    pairs = [ends for _, *ends in track_stretches(part)] if part.kind == "pot" else [part.end_pins]
    for first, second in pairs:
        if nets[first] != nets[second]:
            yield Link((nets[first], nets[second]), (f"{part.designator}.{first}", f"{part.designator}.{second}"))
