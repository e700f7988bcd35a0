"""What is soldered to what: the fewest connections that make every new piece of wire, those that a mod names first."""

from __future__ import annotations

import itertools
from collections.abc import Collection, Iterable, Iterator, Sequence
from dataclasses import dataclass

from ...circuit.build import SPEAKER
from ...circuit.designators import part_of
from ...circuit.nets import Groups
from ...circuit.switches.plan import SwitchPlan
from .nearest_lug import Neighbourhood
from .wanted_lugs import WantedLugs

_STRAP, _NAMED, _LINK, _TERMINAL = range(4)  # in this order connections are made


@dataclass(frozen=True)
class SolderedPair:
    """One connection: two places, and whether it is a strap from lug to lug of one part."""

    start: str
    end: str
    strap: bool = False


class Joining:
    """Pieces of wire before and after, what is loose in between, and the switches with a terminal on them."""

    def __init__(
        self,
        old: Sequence[Sequence[str]],
        new: Sequence[Sequence[str]],
        loose: Collection[str],
        plans: Iterable[SwitchPlan],
        there: Neighbourhood,
    ) -> None:
        self.old, self.new, self.loose, self.there = old, new, loose, there
        self.piece_of = {place: number for number, places in enumerate(new) for place in places}
        self.reached = _reached_terminals(plans)

    def pairs(self, wants: Iterable[WantedLugs]) -> Iterator[SolderedPair]:
        """The connections of every piece: a tree over what is together already and what is loose."""
        wanted = list(self._links())
        for want in wants:
            wanted += self._wanted(want)
        wanted.sort(key=lambda each: each[0])
        for places in self.new:
            yield from self._tree(places, [pair for _, pair in wanted if pair.start in places])

    def _links(self) -> Iterator[tuple[int, SolderedPair]]:
        """Terminals of one switch on one piece: linked at the switch, so that one wire leads there."""
        for places in self.new:
            fresh = sorted(place for place in places if place in self.there.terminals and place in self.loose)
            for one, other in itertools.pairwise(fresh):
                if part_of(one) == part_of(other):
                    yield _LINK, SolderedPair(one, other)

    def _wanted(self, want: WantedLugs) -> Iterator[tuple[int, SolderedPair]]:
        """The connections that a wish makes: itself, or to the contacts that make it."""
        first = self._settled(want.first, want.second, want.near)
        second = self._settled(want.second, first, want.near, want.was)
        here, far = self.piece_of.get(first), self.piece_of.get(second)
        if here is None or far is None or first == second:
            return
        if here == far:
            yield (_STRAP if want.strap else _NAMED), SolderedPair(first, second, want.strap)
            return
        for terminal in self.new[here]:
            for other in self.reached.get(terminal, ()):
                if self.piece_of.get(other) == far:
                    yield _TERMINAL, SolderedPair(terminal, first)
                    yield _TERMINAL, SolderedPair(other, second)

    def _settled(self, place: str, other: str, near: Sequence[str], was: bool = False) -> str:
        """The lug meant: ground and the speaker are found nearby, and so is the place of what is not there any more."""
        if place == "ground":
            places = [each for each in self.new[self.piece_of[place]] if part_of(each) != part_of(other)]
            return self.there.nearest([each for each in places if each not in self.loose], near)
        if was or place not in self.piece_of:
            was_on: Sequence[str] = next((each for each in self.old if place in each), ())
            stays = [
                each
                for each in (self.there.speaker if place == SPEAKER else was_on)
                if each in self.piece_of and each not in self.loose
            ]
            near = near if place == SPEAKER else (part_of(place), *near)
            return self.there.nearest(stays, near) if stays else place
        return place

    def _tree(self, places: Sequence[str], wanted: Iterable[SolderedPair]) -> Iterator[SolderedPair]:
        chunks = _chunks(places, self.old, self.loose)
        number = {place: index for index, chunk in enumerate(chunks) for place in chunk}
        groups: Groups[int] = Groups(lambda index: self._rank(chunks[index], index))
        for pair in wanted:
            if pair.end in number and groups.join(number[pair.start], number[pair.end]):
                yield pair
        hub = min(range(len(chunks)), key=groups.rank)
        for index in range(len(chunks)):
            if groups.find(index) != groups.find(hub):
                yield self._joined(chunks, groups, groups.find(index), hub)
                groups.join(index, hub)

    def _rank(self, chunk: Sequence[str], index: int) -> tuple[int, bool, bool, int]:
        """The largest chunk that is together already gives a group its name, else a terminal."""
        return -len(chunk), chunk[0] in self.loose, chunk[0] not in self.there.terminals, index

    def _joined(self, chunks: Sequence[Sequence[str]], groups: Groups[int], group: int, hub: int) -> SolderedPair:
        """A group of chunks joined to the rest at the lugs nearest to one another."""
        mine, main = ([place for index, chunk in enumerate(chunks) if groups.find(index) == groups.find(one)
                       for place in chunk] for one in (group, hub))  # fmt: skip
        start = next((place for place in mine if place in self.there.terminals), "")
        start = start or self.there.nearest(mine, [part_of(place) for place in main])
        return SolderedPair(start, self.there.nearest(main, (part_of(start),)))


def _chunks(places: Sequence[str], old: Sequence[Sequence[str]], loose: Collection[str]) -> list[list[str]]:
    """What of a new piece is soldered together already; places that are loose stand alone."""
    held = [[place for place in each if place in places and place not in loose] for each in old]
    return [chunk for chunk in held if chunk] + [[place] for place in places if place in loose]


def _reached_terminals(plans: Iterable[SwitchPlan]) -> dict[str, set[str]]:
    """To each terminal those that a contact of its switch joins it with, through wires between its terminals too."""
    found: dict[str, set[str]] = {}
    for plan in plans:
        jumper = {name: id(piece) for name, piece in plan.soldered.items() if not piece.places}
        touching: dict[str, set[str]] = {}
        for row in plan.rows:
            for pair in row.closed:
                for one, other in (pair, pair[::-1]):
                    touching.setdefault(one, set()).add(other)
        for start in touching:
            reached = [start]
            for name in reached:
                onward = touching.get(name, set()) if name == start or name in jumper else set()
                onward = onward | {other for other in jumper if name in jumper and jumper[other] == jumper[name]}
                reached += [each for each in sorted(onward) if each not in reached]
            found[f"{plan.designator}.{start}"] = {f"{plan.designator}.{each}" for each in reached[1:]}
    return found
