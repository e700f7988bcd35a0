"""Which nets passive parts join, and which of them direct current gets to."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping, Set
from dataclasses import dataclass
from functools import cached_property

from ..build import Circuit
from ..feedback import find_loop
from ..nets import PASSIVE, steps_to
from ..output_stage import output_transformers
from ..signal_ways import SignalWays
from ..stages import Kind, stages_of
from ..stages.template import GROUND, Element, rail_net
from .merged import members, merged

RESISTIVE = ("resistor", "pot", "inductor")


@dataclass(frozen=True)
class Ways:
    """The ways of one circuit; `dead` nets are those that ground, a rail or a reservoir holds still."""

    wired: Circuit

    @cached_property
    def dead(self) -> frozenset[str]:
        """Nets that nothing passes."""
        held = SignalWays(self.wired).dead - {*self.entries}
        return held | {GROUND}

    @cached_property
    def rails(self) -> Mapping[str, str]:
        """The name of a rail by its net."""
        return {rail_net(each.name): each.name for each in self.wired.amp.rails}

    @cached_property
    def entries(self) -> frozenset[str]:
        """Nets where the signal comes in."""
        return frozenset({"input", self.wired.entry})

    @cached_property
    def parts(self) -> tuple[Element, ...]:
        """Passive parts of the amp itself, what acts as one as one: not those of the guitar, nor of the supply."""
        outside = stages_of(self.wired.amp, Kind.INSTRUMENT, Kind.SOURCE, Kind.SUPPLY)
        own = (
            each
            for each in self.wired.elements
            if each.kind in PASSIVE and each.stage != "supply" and each.stage not in outside
        )
        return merged(own, self.wired.elements, self.dead | {self.wired.speaker, *self.entries})

    @cached_property
    def by_net(self) -> Mapping[str, tuple[Element, ...]]:
        """The passive parts on each net, in the order of their designators."""
        found: dict[str, list[Element]] = {}
        for each in sorted(self.parts, key=lambda part: part.designator):
            for net in dict.fromkeys(net for _, net in each.pins):
                found.setdefault(net, []).append(each)
        return {net: tuple(parts) for net, parts in found.items()}

    @cached_property
    def led_back(self) -> frozenset[str]:
        """Designators of the parts whose lugs at the output transformer open the feedback from there."""
        loop = find_loop(self.wired.amp) if output_transformers(self.wired) else None
        cut = {place.partition(".")[0] for side in (loop.cut if loop else ()) for place in side}
        return frozenset(each.designator for each in self.parts if cut & {*members(each.designator)})

    def at(self, net: str, *kinds: str) -> tuple[Element, ...]:
        """The passive parts of some kinds on a net."""
        return tuple(each for each in self.by_net.get(net, ()) if each.kind in kinds)

    def hops(
        self,
        starts: Iterable[str],
        kinds: Iterable[str] = PASSIVE,
        without: Set[str] = frozenset(),
        stop: Set[str] = frozenset(),
    ) -> dict[str, int]:
        """Nets that parts lead to, each with how many parts lie between; dead ones are none.

        Parameters
        ----------
        starts : iterable of str
        kinds : iterable of str
            Of the parts that the way goes through.
        without : set of str
            Designators that it does not go through.
        stop : set of str
            Nets that it does not go on from; they are among those found.
        """

        def onward(net: str) -> Iterator[str]:
            for part in self.at(net, *kinds):
                if part.designator not in without:
                    yield from (other for _, other in part.pins if other not in self.dead)

        return steps_to((net for net in starts if net not in self.dead), onward, stop)

    def forward(self, starts: Iterable[str], without: Set[str] = frozenset(), stop: Set[str] = frozenset()) -> Set[str]:
        """Nets that a signal gets to through passive parts, but those that lead the output back."""
        return self.hops(starts, without=self.led_back | without, stop=stop).keys()

    @cached_property
    def grounded(self) -> frozenset[str]:
        """Ground, and what hangs on it by the winding that feeds the loudspeaker."""
        coils = output_transformers(self.wired)
        return frozenset({GROUND, *(net for each in coils for pin, net in each.pins if pin.startswith("tap"))})

    def leads_to_ground(self, net: str, without: str) -> bool:
        """Whether direct current gets from a net to ground, one part left out."""
        nets = self.hops([net], RESISTIVE, frozenset({without}))
        return bool(self.grounded & {net, *nets}) or any(
            GROUND in dict(part.pins).values() and part.designator != without
            for each in nets
            for part in self.at(each, *RESISTIVE)
        )

    def carries_current(self, part: Element, net: str) -> bool:
        """Whether direct current can go from a net through a part: behind it is more than capacitors."""
        other = far(part, net)
        if other in self.dead or part.kind != "resistor":
            return True
        return any(each is not part for each in self.at(other, *RESISTIVE)) or any(
            other in dict(each.pins).values() for each in self.wired.elements if each.kind not in PASSIVE
        )

    def rail_behind(self, net: str, without: str) -> str:
        """The net of the rail that resistances lead to from a net, one part left out; "" where none does."""
        if net in self.rails:
            return net
        nets = self.hops([net], RESISTIVE, frozenset({without}))
        found = (
            other
            for each in nets
            for part in self.at(each, *RESISTIVE)
            if part.designator != without
            for _, other in part.pins
            if other in self.rails
        )
        return next(found, "")


def far(part: Element, net: str) -> str:
    """The net at the other end of a part with two ends; the same where both are on it."""
    first, second = (part.net(pin) for pin in part.end_pins)
    return second if first == net else first


def pin_at(part: Element, net: str) -> str:
    """The pin of a part, of its two ends, that is on a net."""
    return next((pin for pin in part.end_pins if part.net(pin) == net), part.end_pins[0])
