"""Finding the feedback loops of a circuit: where a signal leads back to a valve that it came through."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence, Set
from dataclasses import dataclass
from enum import StrEnum
from functools import cached_property

from ..base.wording import join_words
from .build import Circuit
from .signal_ways import Link, SignalWays

Cut = tuple[tuple[str, ...], ...]


class Reach(StrEnum):
    """Where a loop leads back from: what the output stage drives, or a valve of its own."""

    GLOBAL = "global"
    LOCAL = "local"


@dataclass(frozen=True)
class Loop:
    """A feedback loop.

    Attributes
    ----------
    reach : Reach
    cut : tuple of tuple of str
        For each net from which it is driven, the places there whose wires lead back; opened together, they open the
        loop, however many parts it passes through.
    carriers : tuple of str
        Designators of the parts that carry it back, the nearest to the cut first.
    parts : frozenset of str
        Designators of all parts it passes through, those on the way forward among them.
    valves : tuple of str
        Designators of the valves that it controls.
    label : str
        The place to name it by: where a single part carries all of it, the end of that part.
    """

    reach: Reach
    cut: Cut
    carriers: tuple[str, ...]
    parts: frozenset[str]
    valves: tuple[str, ...]
    label: str


# Net to the valves controlled there whose signal comes to where a loop is driven from.
_Live = Mapping[str, frozenset[str]]


@dataclass(frozen=True)
class _Start:
    """Nets that a loop may be driven from.

    What leads from `outer` nets back to the `drivers` alone, the valves that drive them, is no loop of this start.
    """

    nets: frozenset[str]
    reach: Reach
    outer: frozenset[str] = frozenset()
    drivers: frozenset[str] = frozenset()


@dataclass(frozen=True)
class LoopSearch:
    """The search of one circuit, from the output stage inwards: each loop is found with those around it opened."""

    wired: Circuit

    @cached_property
    def ways(self) -> SignalWays:
        """Where signals can go."""
        return SignalWays(self.wired)

    def loops(self) -> Iterator[Loop]:
        """The loops, the outer ones first."""
        opened: set[str] = set()
        for start in self._starts():
            loop = self._loop(start, opened)
            if loop is not None:
                opened |= {self._taken_out(place) for places in loop.cut for place in places}
                yield loop

    def _taken_out(self, place: str) -> str:
        """What carries nothing once a place is open: a part as a whole, of a valve that control."""
        part = place.partition(".")[0]
        return place if part in self.ways.valves else part

    def _starts(self) -> Iterator[_Start]:
        ways = self.ways
        yield from self._transformers()
        heard = self.wired.speaker
        for valve in list(ways.valves)[::-1]:
            net = next((net for net, onward in ways.outputs(valve) if onward), "")
            if net:
                if not ways.windings and heard in ways.spread([net]):
                    yield _Start(frozenset({net}), Reach.GLOBAL, frozenset({net}), frozenset({valve}))
                yield _Start(frozenset({net}), Reach.LOCAL)

    def _transformers(self) -> Iterator[_Start]:
        ways = self.ways
        driven = {net: valve for valve in ways.valves for net, _ in ways.outputs(valve)}
        for each in (each for each in self.wired.elements if each.kind == "transformer"):
            primary = {net for pin, net in each.pins if pin != "common" and not pin.startswith("tap")} - ways.dead
            if not primary & set(driven):  # fed from a plate through a capacitor, say
                primary |= set(driven) & set(ways.spread(sorted(primary), frozenset(driven)))
            nets = frozenset({net for _, net in each.pins} - ways.dead | primary)
            drivers = frozenset(valve for valve in ways.valves for net, _ in ways.outputs(valve) if net in primary)
            yield _Start(nets, Reach.GLOBAL, frozenset(primary), drivers)

    def _loop(self, start: _Start, opened: Set[str]) -> Loop | None:
        ways = self.ways
        leads = [
            (net, link)
            for net in sorted(start.nets)
            for link in ways.links_at(net)
            if link.part not in opened and link.far(net) not in start.nets
        ]
        at_start = {*opened, *(link.part for net in start.nets for link in ways.links_at(net))}
        live = self._live(start, at_start, opened)
        cut: dict[str, list[str]] = {}
        for near, link in leads:
            found = set(ways.spread([link.far(near)], frozenset(live), at_start)) & set(live)
            if any(live[net] - start.drivers if near in start.outer else live[net] for net in found):
                for place, net in self._pins(link.part):
                    if net in start.nets and place not in cut.setdefault(net, []):
                        cut[net].append(place)
        if start.reach is Reach.GLOBAL:
            for net in (start.nets - start.outer) & set(live):
                cut.setdefault(net, []).extend(ways.controls[net])
        return self._described(start, cut, live, opened) if cut else None

    def _live(self, start: _Start, without: Set[str], opened: Set[str]) -> _Live:
        found = {}
        for net, places in self.ways.controls.items():
            valves = {place.partition(".")[0] for place in places if place not in opened}
            back = frozenset(each for each in valves if start.nets & self.ways.driven_from(each, without)[0])
            if back and (net not in start.nets or start.reach is Reach.GLOBAL):
                found[net] = back
        return found

    def _pins(self, part: str) -> list[tuple[str, str]]:
        """A part's places, each with its net."""
        return [
            (f"{part}.{pin}", net) for each in self.wired.elements if each.designator == part for pin, net in each.pins
        ]

    def _described(self, start: _Start, cut: Mapping[str, Sequence[str]], live: _Live, opened: Set[str]) -> Loop:
        ways = self.ways
        places = tuple(tuple(each) for each in cut.values())
        led = {place.partition(".")[0] for each in places for place in each}
        beside = {link.part for net in start.nets for link in ways.links_at(net)} - led
        back = ways.between(list(cut), set(live), {*opened, *beside})
        carriers = tuple(dict.fromkeys(link.part for link in back))
        reached = {net for link in back for net in link.nets} | set(cut)
        valves = tuple(valve for valve in ways.valves if any(valve in live.get(net, ()) for net in reached))
        if len(places) > 1:
            places = _narrow_cut(back, set(cut), set(live)) or places
        label = self._label(back, set(cut), set(live)) or join_words([place for each in places for place in each])
        parts = frozenset({*carriers, *self._forward(valves, start, {*led, *opened})})
        return Loop(start.reach, places, carriers, parts, valves, label)

    def _forward(self, valves: Sequence[str], start: _Start, without: Set[str]) -> Iterator[str]:
        """Designators on the way from the controlled valves to the start, the valves among them."""
        ways = self.ways
        passed = {one for valve in valves for one in ways.driven_from(valve, without)[1]}
        on_way = {one for one in passed if start.nets & ways.driven_from(one, without)[0]}
        yield from on_way
        ends = {net for net, places in ways.controls.items() if any(p.partition(".")[0] in on_way for p in places)}
        for one in on_way:
            for net, onward in ways.outputs(one):
                if onward and net not in start.nets:
                    yield from (link.part for link in ways.between([net], (ends | start.nets) - {net}, without))

    def _label(self, back: Sequence[Link], starts: Set[str], live: Set[str]) -> str:
        """The end of the nearest part that carries all of a loop, of resistors first; "" where no part does."""
        kinds = {each.designator: each.kind for each in self.wired.elements}
        whole = []
        for link in back:
            near = _reached([other for other in back if other.part != link.part], starts)
            if kinds[link.part] != "pot" and not live & near:
                whole.append((link, link.places[0] if link.nets[0] in near else link.places[1]))
        whole.sort(key=lambda each: kinds[each[0].part] != "resistor")
        return whole[0][1] if whole else ""


def _narrow_cut(back: Sequence[Link], starts: Set[str], live: Set[str]) -> Cut:
    """The first single net that all of a loop passes, as a cut on the side it comes from; none without."""
    for net in dict.fromkeys(net for link in back for net in link.nets if net not in starts):
        side = _reached(back, starts, net)
        if not side & live - {net}:
            ends = [
                place
                for link in back
                for one, place in zip(link.nets, link.places, strict=True)
                if one == net and link.far(net) in side
            ]
            return (tuple(dict.fromkeys(ends)),)
    return ()


def _reached(links: Sequence[Link], starts: Set[str], barrier: str = "") -> set[str]:
    found = set(starts)
    while more := {link.far(net) for link in links for net in link.nets if net in found} - found - {barrier}:
        found |= more
    return found
