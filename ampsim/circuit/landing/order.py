"""The valves between input and loudspeaker in signal order, as stages: gain, follower, inverter, output."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Set
from dataclasses import dataclass
from functools import cached_property

from ..active_parts import ACTIVE, ActivePins
from ..nets import steps_to
from ..output_stage import output_transformers, output_valves
from ..stages.template import Element
from .ways import Ways

_PINS = {**ACTIVE, "effect": ActivePins("in", "ground", "out")}
"""What a signal passes one way only."""

GAIN, FOLLOWER, INVERTER, OUTPUT = "gain stage", "follower", "inverter", "output valve"


@dataclass(frozen=True)
class Stage:
    """Valves that do one thing together. Its grid and cathode are those of the first, its plate that of the last."""

    kind: str
    valves: tuple[Element, ...]
    depth: int
    side: str = ""

    @property
    def names(self) -> str:
        """Designators of its valves, in words."""
        return " and ".join(each.designator for each in self.valves)


@dataclass(frozen=True)
class Order:
    """The stages of one circuit; what stands beside the signal (a reverb, a tremolo) is none of them."""

    ways: Ways

    @cached_property
    def _active(self) -> Mapping[str, Element]:
        return {each.designator: each for each in self.ways.wired.elements if each.kind in _PINS}

    def outputs(self, name: str) -> Iterator[str]:
        """The nets that an amplifying part hands its signal on at, the plate first."""
        part = self._active[name]
        pins = _PINS[part.kind]
        for pin in (pins.output, pins.foot):
            if part.net(pin) not in self.ways.dead and (pin == pins.output or part.kind != "operational amplifier"):
                yield part.net(pin)

    @cached_property
    def controls(self) -> frozenset[str]:
        """The nets of all grids, gates and inputs."""
        return frozenset(each.net(_PINS[each.kind].control) for each in self._active.values())

    @cached_property
    def driven_at(self) -> frozenset[str]:
        """The nets where anything amplifying is controlled, feet included."""
        feet = (each.net(_PINS[each.kind].foot) for each in self._active.values())
        return self.controls | (frozenset(feet) - self.ways.dead)

    @cached_property
    def _handed_on(self) -> frozenset[str]:
        return frozenset(net for name in self._active for net in self.outputs(name))

    @cached_property
    def next_ones(self) -> Mapping[str, tuple[str, ...]]:
        """To each amplifying part those that it drives: no signal goes past a grid or what another hands on at."""
        found = {}
        for name, part in self._active.items():
            outputs = frozenset(self.outputs(name))
            own = {net for _, net in part.pins} - outputs
            reached = self.ways.forward(outputs, stop=(self.driven_at | self._handed_on | own) - outputs) - own
            found[name] = tuple(each for each in self._driven_at(reached, outputs) if each != name)
        return found

    def _driven_at(self, reached: Set[str], direct: Set[str] = frozenset()) -> Iterator[str]:
        for name, part in self._active.items():
            pins = _PINS[part.kind]
            if part.net(pins.control) in reached or part.net(pins.foot) in direct:
                yield name

    @property
    def valves(self) -> Iterator[Element]:
        """All valves of the amp."""
        return (each for each in self._active.values() if each.kind == "valve")

    def driven_grids(self, names: Set[str], depth: int) -> frozenset[str]:
        """The nets where what some valves drive, further on, is controlled."""
        on = {other for name in names for other in self.next_ones[name] if self.depths.get(other, 0) > depth}
        return frozenset(self._active[each].net(_PINS[self._active[each].kind].control) for each in on)

    @cached_property
    def first_ones(self) -> tuple[str, ...]:
        """What the input drives."""
        return tuple(self._driven_at(self.ways.forward(self.ways.entries, stop=self.controls)))

    @cached_property
    def _reached(self) -> tuple[str, ...]:
        return tuple(steps_to(self.first_ones, self.next_ones.__getitem__))

    def _without(self, name: str) -> set[str]:
        """What the signal comes to when one part does not amplify."""
        starts = [each for each in self.first_ones if each != name]
        return set(steps_to(starts, lambda each: (other for other in self.next_ones[each] if other != name)))

    @cached_property
    def _onward(self) -> Mapping[str, tuple[str, ...]]:
        """As `next_ones`, without what leads back to a part that the signal came through in any case."""
        missed = {name: self._without(name) for name in self._reached}
        feet = {name: frozenset(net for _, net in self._active[name].pins) - self.ways.dead for name in self._reached}
        rank = {name: number for number, name in enumerate(self._reached)}

        def leads_on(name: str, other: str) -> bool:
            if name not in missed[other]:
                return False
            mutual = name in self.next_ones[other] and feet[name] & feet[other]
            return not mutual or rank[name] < rank[other]

        return {name: tuple(each for each in self.next_ones[name] if leads_on(name, each)) for name in self._reached}

    @cached_property
    def depths(self) -> Mapping[str, int]:
        """The longest way of the signal to each amplifying part, counted in such parts, itself among them."""
        found: dict[str, int] = dict.fromkeys(self._reached, 0)

        def go(name: str, depth: int, passed: frozenset[str]) -> None:
            if depth > found[name]:
                found[name] = depth
                for other in self._onward[name]:
                    if other not in passed:
                        go(other, depth + 1, passed | {name})

        for name in self.first_ones:
            go(name, 1, frozenset())
        return found

    @cached_property
    def last(self) -> tuple[str, ...]:
        """The output valves; in an amp without any, what drives the loudspeaker's place."""
        found = tuple(each for each in output_valves(self.ways.wired) if each in self.depths)
        speaker = self.ways.wired.speaker
        return found or tuple(
            name for name in self.depths if any(speaker in self.ways.forward([net]) for net in self.outputs(name))
        )

    @cached_property
    def _on_the_way(self) -> frozenset[str]:
        """Parts on a way from the input to one of the last."""
        found = set(self.last)
        while more := {name for name in self._reached if found & set(self._onward[name])} - found:
            found |= more
        return frozenset(found)

    @cached_property
    def _sides(self) -> Mapping[str, str]:
        """To each output valve the end of the primary that it works into; "" where all work into one."""
        ends: dict[str, str] = {}
        for each in output_transformers(self.ways.wired):
            nets = {each.net(f"primary_{side}"): side for side in "ab" if f"primary_{side}" in dict(each.pins)}
            for valve in self.last:
                for net in (self._active[valve].net(_PINS[self._active[valve].kind].output),):
                    ends |= {valve: nets[net]} if net in nets else {}
        return ends if set(ends.values()) == {"a", "b"} else {}

    @cached_property
    def stages(self) -> tuple[Stage, ...]:
        """The stages with valves, in signal order; each output valve by itself."""
        finals = [name for name in self.last if name in output_valves(self.ways.wired)]
        before = [name for name in self._on_the_way if name not in finals]
        inverting = self._inverter(finals, before) if self._sides else frozenset()
        found = [
            Stage(self._kind(group), group, self.depths[group[0].designator])
            for group in self._groups([each for each in before if each not in inverting])
        ]
        found.sort(key=lambda each: (each.depth, each.names))
        if inverting:
            named = sorted(inverting, key=lambda each: (self.depths[each], self.side_of(self._active[each]), each))
            valves = tuple(self._active[each] for each in named)
            found.append(Stage(INVERTER, valves, min(self.depths[each] for each in inverting)))
        outs = [self._active[name] for name in finals]
        sides = self._sides
        outs.sort(key=lambda each: (sides.get(each.designator, ""), each.designator))
        found += [
            Stage(OUTPUT, (each,), self.depths[each.designator], sides.get(each.designator, ""))
            for each in outs
            if each.kind == "valve"
        ]
        return tuple(found)

    def _inverter(self, finals: list[str], before: list[str]) -> frozenset[str]:
        """The valves that drive the two sides; where followers do, those before them.

        There is none where only one side is driven from before, and the other by what the two share, such as a cathode
        resistor.
        """
        if len({self._sides[each] for name in before for each in self.next_ones[name] if each in self._sides}) < 2:
            return frozenset()
        driving = {each for each in before if set(self.next_ones[each]) & set(finals)}
        while driving and all(self._kind((self._active[each],)) == FOLLOWER for each in driving):
            driving = {each for each in before if set(self.next_ones[each]) & driving} - driving
        feet = {self._active[each].net("cathode") for each in driving if self._active[each].kind == "valve"}
        pair = {
            each.designator
            for each in self._active.values()
            if each.kind == "valve" and each.net("cathode") in feet - self.ways.dead and each.designator in before
        }
        return frozenset(driving | pair)

    def side_of(self, valve: Element) -> str:
        """The side of the output stage that a valve of the inverter drives with its plate."""
        hops = self.ways.hops([valve.net("plate")], without=self.ways.led_back, stop=self.controls)
        grids = {each: self._active[each].net("grid") for each in self._sides}
        return min(((hops[net], self._sides[each]) for each, net in grids.items() if net in hops), default=(0, ""))[1]

    def _groups(self, names: list[str]) -> list[tuple[Element, ...]]:
        """Valves that share a plate load, and the two of a cascode, together."""
        left = sorted(
            (self._active[name] for name in names), key=lambda each: (self.depths[each.designator], each.designator)
        )
        groups: list[tuple[Element, ...]] = []
        for part in (each for each in left if each.kind == "valve"):
            for number, group in enumerate(groups):
                shared = {each.net("plate") for each in group} - self.ways.dead
                if part.net("plate") in shared or part.net("cathode") in shared:
                    groups[number] = (*group, part)
                    break
            else:
                groups.append((part,))
        return groups

    def _kind(self, group: tuple[Element, ...]) -> str:
        """A follower hands its signal on at the cathode, and nothing at the plate."""
        last = group[-1]
        if last.kind != "valve":
            return GAIN
        own = {each.designator for each in group}
        at = {
            pin: self._leads_to(last.net(pin), self.controls | {last.net("grid")}) - own for pin in ("plate", "cathode")
        }
        return FOLLOWER if last.net("plate") in self.ways.dead or (at["cathode"] and not at["plate"]) else GAIN

    def _leads_to(self, net: str, stop: Set[str]) -> set[str]:
        """What a net drives; the loudspeaker's place where the signal ends there."""
        reached = self.ways.forward([net], stop=stop)
        return {*self._driven_at(reached), *({self.ways.wired.speaker} & reached)}
