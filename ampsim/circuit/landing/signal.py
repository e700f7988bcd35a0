"""What brings the signal to a stage and what takes it on: couplings, level pots, which side of the output is driven."""

from __future__ import annotations

from collections.abc import Iterable, Set
from dataclasses import dataclass
from functools import cached_property

from ..stages.template import GROUND, Element
from .order import OUTPUT, Order, Stage
from .ways import RESISTIVE, Ways, far


@dataclass(frozen=True)
class Signal:
    """One circuit's stages and the ways between them."""

    ways: Ways

    @cached_property
    def order(self) -> Order:
        """The stages in signal order."""
        return Order(self.ways)

    def sources(self, stage: Stage) -> frozenset[str]:
        """The nets that what comes before a stage hands on at; the input for a first one."""
        own = {each.designator for each in stage.valves}
        before = [name for name in self.order.depths if own & set(self.order.next_ones[name]) and name not in own]
        before = [name for name in before if self.order.depths[name] < stage.depth or stage.kind == OUTPUT]
        before = [name for name in before if stage.kind != OUTPUT or name not in self.order.last]
        nets = {net for name in before for net in self.order.outputs(name)}
        first = self.ways.entries if own & set(self.order.first_ones) else frozenset[str]()
        return frozenset(nets | first)

    def _barred(self, stage: Stage) -> frozenset[str]:
        """Nets that the way to a stage does not go through: its own plates and screens."""
        return frozenset(net for each in stage.valves for pin, net in each.pins if pin in ("plate", "screen"))

    def reaches(self, stage: Stage, net: str, without: str = "") -> bool:
        """Whether the signal gets to a net of a stage with one part left out."""
        return net in self.ways.forward(self.sources(stage), frozenset({without}), self._barred(stage))

    def brings(self, stage: Stage, net: str, without: str) -> bool:
        """Whether the signal comes to a net other than from the stage's grid."""
        ends = self._barred(stage) | {each.net("grid") for each in stage.valves}
        return net in self.ways.forward(self.sources(stage), frozenset({without}), ends)

    def joins(self, net: str, without: str) -> bool:
        """Whether the signal of a valve that is not on the way, such as another channel's, comes to a net."""
        on = {valve.designator for stage in self.order.stages for valve in stage.valves}
        beside = [each for each in self.order.valves if each.designator not in on]
        return net in self.ways.forward({each.net("plate") for each in beside}, frozenset({without}))

    def coupling_before(self, stage: Stage, drive: str) -> list[Element]:
        """The capacitor that alone brings the signal to a stage, the nearest of several in a row.

        Between two lines, where another way may lead round it, it is the nearest one from the plate before.
        """
        region = self.ways.hops([drive], RESISTIVE)
        near = [each for each in self._entering(region) if self._comes(stage, each, region)]
        sole = [each for each, _ in near if not self.reaches(stage, drive, each.designator)]
        if not sole and stage.kind == OUTPUT:
            outs = self.ways.hops(self.sources(stage), RESISTIVE)
            straight = [(each, hops) for each, hops in near if any(net in outs for _, net in each.pins)]
            least = min((hops for _, hops in straight), default=0)
            sole = [each for each, hops in straight if hops == least]
        return self._nearest(sole, region)

    def _entering(self, region: Set[str] | dict[str, int]) -> list[tuple[Element, int]]:
        """Capacitors with one end in a region that direct current joins, with how far in that is."""
        hops = dict(region) if isinstance(region, dict) else dict.fromkeys(region, 0)
        found = {part.designator: part for net in hops for part in self.ways.at(net, "capacitor")}
        inside = ((each, [net for _, net in each.pins if net in hops]) for each in found.values())
        return [(each, hops[nets[0]]) for each, nets in inside if len(nets) == 1]

    def _comes(self, stage: Stage, entry: tuple[Element, int], region: dict[str, int]) -> bool:
        part = entry[0]
        (net,) = (net for _, net in part.pins if net not in region)
        return net in self.ways.forward(self.sources(stage), frozenset({part.designator}), self._barred(stage))

    def _nearest(self, parts: Iterable[Element], region: dict[str, int]) -> list[Element]:
        hops = {each: min(region[net] for _, net in each.pins if net in region) for each in parts}
        least = min(hops.values(), default=0)
        return [each for each, count in hops.items() if count == least]

    def coupling_after(self, stage: Stage) -> list[Element]:
        """The capacitor through which alone a stage hands its signal on, the nearest of several in a row."""
        last, own = stage.valves[-1], {each.designator for each in stage.valves}
        nets = frozenset(net for net in (last.net("plate"), last.net("cathode")) if net not in self.ways.dead)
        starts = {last.net("plate")} - self.ways.dead or nets
        region = self.ways.hops(starts, RESISTIVE)
        targets = self.order.driven_grids(own, stage.depth)
        sole = [each for each, _ in self._entering(region) if targets and not self._gets_to(starts, each, targets, own)]
        return self._nearest(sole, region)

    def _gets_to(self, starts: Set[str], without: Element, targets: Set[str], own: Set[str]) -> bool:
        grids = frozenset(each.net("grid") for each in self.order.valves if each.designator in own)
        return bool(targets & self.ways.forward(starts, frozenset({without.designator}), grids))

    @cached_property
    def level_pots(self) -> tuple[Element, ...]:
        """Pots that alone set the level of the signal, in its order: the wiper goes on, the foot ends on ground.

        Two tracks in the two lines of an inverter are none: neither sets the level alone.
        """
        found = []
        for stage in (each for each in self.order.stages if not each.side):
            target = stage.valves[0].net("grid")
            pots = [each for each in self.ways.parts if each.kind == "pot" and self._is_level(each, stage, target)]
            hops = self.ways.hops(self.sources(stage))
            pots.sort(key=lambda each: (hops.get(each.net("top"), 0), each.designator))
            found += [each for each in pots if each not in found]
        return tuple(found)

    def _is_level(self, pot: Element, stage: Stage, target: str) -> bool:
        nets = dict(pot.pins)
        top, wiper, bottom = (nets[pin] for pin in ("top", "wiper", "bottom"))
        if len({top, wiper, bottom}) < 3 or not self._on_ground(pot, bottom):
            return False
        beside = frozenset(
            each.designator for each in self.ways.parts if {net for _, net in each.pins} <= {top, wiper, bottom}
        )
        sources = self.sources(stage)
        on = self.ways.forward(sources, stop=self._barred(stage))
        cut = self.ways.forward(sources, beside, self._barred(stage))
        return target in on and target not in cut and top in cut and wiper not in cut

    def _on_ground(self, pot: Element, bottom: str) -> bool:
        others = [each for each in self.ways.by_net.get(bottom, ()) if each is not pot and each.kind == "resistor"]
        return bottom in self.ways.dead or any(far(each, bottom) == GROUND for each in others)
