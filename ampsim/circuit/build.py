"""From an amp to its circuit: every part with each pin on a net, mods and switch positions carried out."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass, replace
from functools import cached_property, lru_cache

from ..base.errors import DescriptionError, nearest, shown
from .amp import Amp, Edit
from .edits import Fitting
from .lines import Lines, named_outputs
from .nets import INPUT, Nets, conducting, idle_windings
from .one_wire import refuse_one_wire
from .packages import check_packages, with_supplies
from .plugs import connect_source, jacks_from, place_jacks
from .positions import Position, switches_at
from .semiconductors.description import PINS
from .semiconductors.device import Device
from .soldered import Soldered
from .stages import TEMPLATES, Kind, stages_of
from .stages.template import GROUND, Element, StageBuilder, end_names, net_word, rail_net, supply_net

SPEAKER = "speaker"


@dataclass(frozen=True, eq=False)
class Circuit(Soldered):
    """An amp wired up with its switches in one position and its source plugged in: which net is every place on."""

    @cached_property
    def speaker(self) -> str:
        """The net of the load; without a load, what the last stage hands on."""
        nets = [net for _, net in self.load[0].pins] if self.load else list(self.outputs.values())[-1:]
        return next((net for net in nets if net != GROUND), nets[0])

    @cached_property
    def load(self) -> tuple[Element, ...]:
        """What the amp works into: the parts of its load, and loudspeakers wherever they hang."""
        stages = stages_of(self.amp, Kind.LOAD)
        return tuple(each for each in self.elements if each.stage in stages or each.kind == "loudspeaker")

    def lines_of(self, stage: str) -> tuple[str, ...]:
        """The nets of the signal lines that a stage hands on; none for what is no stage."""
        return tuple(net for name, net in self.outputs.items() if stage in (name, name.rpartition(" (")[0]))

    @cached_property
    def net_by_place(self) -> Mapping[str, str]:
        """The net of every place: part ends, pins, rails, ground, input and speaker."""
        places = {f"{element.designator}.{pin}": net for element in self._all() for pin, net in element.pins}
        places |= {rail.name: rail_net(rail.name) for rail in self.amp.rails}
        return places | {"ground": GROUND, INPUT: INPUT, SPEAKER: self.speaker}

    @cached_property
    def live_nets(self) -> frozenset[str]:
        """The nets that any part is on; a lug that nothing is soldered to any more is on none of them."""
        return frozenset({INPUT, *(net for element in self.elements for _, net in element.pins)})

    def _all(self) -> Iterator[Element]:
        yield from self.removed
        yield from self.elements

    def net(self, place: str) -> str:
        """The net a place is on.

        Raises
        ------
        DescriptionError
            With the nearest places, when there is none of that name.
        """
        for name in (place, self.outputs.get(place, "")):
            if name in self.net_by_place:
                return self.net_by_place[name]
        if place in self.outputs:
            return self.outputs[place]
        known = (*self.net_by_place, *self.outputs)
        raise DescriptionError(f"{self.amp.file}: {shown(place)} is not a place{nearest(place, known)}")

    @cached_property
    def places_by_net(self) -> Mapping[str, tuple[str, ...]]:
        """All places on each net, valve pins first."""
        nets: dict[str, list[str]] = {}
        rank = {"valve": 0, "transformer": 1, "pot": 2}
        kinds = {element.designator: rank.get(element.kind, 3) for element in self._all()}
        for place, net in self.net_by_place.items():
            nets.setdefault(net, []).append(place)
        return {
            net: tuple(sorted(places, key=lambda place: kinds.get(place.split(".")[0], -1)))
            for net, places in nets.items()
        }


def build_circuit(amp: Amp, switches: tuple[tuple[str, str], ...] = ()) -> Circuit:
    """Wire an amp up with its switches in the given positions (those not given stand as drawn) and its source in.

    Raises
    ------
    DescriptionError
        When a part is missing, a place does not exist, or a net has no DC path to ground.
    """
    given = dict(switches)
    return _wired(amp, tuple((each.control, given.get(each.control, each.drawn)) for each in amp.all_switches))


@lru_cache(maxsize=256)
def _wired(amp: Amp, switches: tuple[tuple[str, str], ...]) -> Circuit:
    wired = connect_source(_soldered(amp, switches))
    _check_packages(wired)
    check_paths(wired)
    return wired


def _check_packages(wired: Circuit) -> None:
    sections = {each.type: each.sections for each in wired.amp.semiconductor_by_type.values()}
    types = {name: part.type for name, part in wired.parts.items() if isinstance(part, Device)}
    check_packages(wired.elements, sections, types, wired.amp.file)


def _soldered(amp: Amp, switches: tuple[tuple[str, str], ...]) -> Circuit:
    """What the iron leaves behind, before anything is plugged in anew."""
    drawn = _drawn(amp)
    work = Fitting(amp, drawn.elements, drawn.net_by_place)
    work.carry_out(_edits(amp, dict(switches)))
    find = work.nets.find
    outputs = {name: find(net) for name, net in drawn.outputs.items()}
    jacks = tuple(replace(each, tip=find(each.tip), rest=find(each.rest)) for each in drawn.jacks)
    elements, removed = tuple(work.elements.values()), tuple(work.removed.values())
    fed = amp if amp.fitted_rails == amp.rails else replace(amp, rails=amp.fitted_rails)
    inputs = {name: tuple(map(find, nets)) for name, nets in drawn.inputs.items()}
    return Circuit(fed, elements, removed, work.parts, outputs, jacks, find(drawn.entry), inputs)


@lru_cache(maxsize=64)
def _drawn(amp: Amp) -> Circuit:
    elements: list[Element] = []
    joins: list[tuple[str, str]] = []
    lines = Lines(amp)
    for stage in amp.stages:
        bench, template = StageBuilder(amp, stage, lines.reach(stage)), TEMPLATES[stage.template]
        handed = template.build(bench)
        if template.kind is not Kind.SUPPLY:
            lines.handed[stage.name] = handed
        if template.kind is not Kind.SUPPLY and not handed:
            raise DescriptionError(f"{amp.file}: stage '{stage.name}' hands on no signal; put a pin on the net 'out'")
        elements += bench.elements
        joins += bench.joins
    elements = with_supplies(elements, amp.file) + list(_rails(amp, joins))
    _check_once(amp, elements)
    return _resolved(amp, elements, joins, lines)


def _rails(amp: Amp, joins: list[tuple[str, str]]) -> Iterator[Element]:
    supplies = stages_of(amp, Kind.SUPPLY)
    for rail in amp.rails:
        net = rail_net(rail.name)
        beginning = supply_net if rail.fed_from in supplies else rail_net
        feed = beginning(rail.fed_from) if rail.fed_from else f"{net}_source"
        if rail.volts is not None:
            yield Element(f"{rail.name}", "rail", (("1", feed if rail.series else net),), "supply")
        for position, designator in enumerate(rail.series):
            far = net if position == len(rail.series) - 1 else f"{net}_{position + 1}"
            yield _two_pin(amp, designator, feed, far)
            feed = far
        for designator in rail.reservoir:
            yield _two_pin(amp, designator, net, GROUND)
        if rail.volts is None and not rail.series:
            joins.append((feed, net))


def _two_pin(amp: Amp, designator: str, first: str, second: str) -> Element:
    known = amp.part_by_designator
    if designator not in known:
        raise DescriptionError(
            f"{amp.file}: [[rails]]: {shown(designator)} is not in [parts]{nearest(designator, known)}"
        )
    if len(PINS.get(known[designator].kind, "12")) > 2:
        raise DescriptionError(f"{amp.file}: [[rails]]: {designator} has more than two ends; wire it in a stage")
    one, other = end_names(known[designator].kind)
    return Element(designator, known[designator].kind, ((one, first), (other, second)), "supply")


def _check_once(amp: Amp, elements: Iterable[Element]) -> None:
    seen: dict[str, str] = {}
    for element in elements:
        if element.designator in seen:
            raise DescriptionError(
                f"{amp.file}: {element.designator} is wired twice, in '{seen[element.designator]}' "
                f"and in '{element.stage}'"
            )
        seen[element.designator] = element.stage


def _resolved(amp: Amp, elements: list[Element], joins: list[tuple[str, str]], lines: Lines) -> Circuit:
    nets = Nets()
    places = {f"{element.designator}.{pin}": net for element in elements for pin, net in element.pins}
    places |= {rail.name: rail_net(rail.name) for rail in amp.rails} | {"ground": GROUND, INPUT: INPUT}
    named = {net for element in elements for _, net in element.pins if net.startswith("@")}
    for net in named | {net for pair in joins for net in pair if net.startswith("@")}:
        place = net.removeprefix("@")
        if place not in places:
            raise DescriptionError(f"{amp.file}: {shown(place)} is not a place{nearest(place, places)}")
        if places[place] == net:
            raise DescriptionError(f"{amp.file}: {place} is wired to itself; name what it is wired to")
        nets.join(places[place], net)
    for first, second in joins:
        nets.join(first, second)

    def find(net: str) -> str:
        return _plain(nets.find(net))

    fitted = tuple(replace(element, pins=tuple((pin, find(net)) for pin, net in element.pins)) for element in elements)
    found = {name: find(net) for name, net in named_outputs(lines.handed).items()}
    reaching = {name: tuple(map(find, nets)) for name, nets in lines.reaching.items()}
    on = {place: find(net) for place, net in places.items()}
    ways = {name: (find(behind), before and find(before)) for name, (behind, before) in lines.at_jacks.items()}
    refuse_one_wire(fitted, amp.file, on)
    plugged = stages_of(amp, Kind.INSTRUMENT, Kind.SOURCE)
    entry = found[plugged[-1]] if plugged else INPUT
    jacks = jacks_from(entry, place_jacks(amp.jacks, ways, on, amp.file))
    return Circuit(amp, fitted, (), amp.part_by_designator, found, jacks, entry, reaching)


def _plain(net: str) -> str:
    """A net's name without the mark of a place: what is only wired to one another has no other name."""
    return f"_{net_word(net[1:])}" if net.startswith("@") else net


def _edits(amp: Amp, switches: Mapping[str, str]) -> list[Edit]:
    edits = [edit for mod in amp.mods for edit in mod.edits]
    for switch in amp.all_switches:
        edits += dict(switch.positions)[switches[switch.control]]
    return edits


def check_paths(wired: Circuit) -> None:
    """Refuse a circuit with a net that has no DC path to ground: ngspice would answer, and be wrong.

    Raises
    ------
    DescriptionError
        Naming the places on that net.
    """
    nets = conducting(wired.elements)
    own, idle = {each.designator for each in wired.elements}, idle_windings(wired.elements)
    for net, places in wired.places_by_net.items():
        on_parts = any(place.partition(".")[0] in own for place in places)
        if on_parts and nets.find(net) != GROUND and net not in idle:
            raise DescriptionError(
                f"{wired.amp.file}: {' and '.join(places[:4])} {'has' if len(places) == 1 else 'have'} no DC path to "
                "ground; a grid leak, a load or a wire is missing"
            )


def circuit_at(amp: Amp, position: Position) -> Circuit:
    """The amp's circuit with its switches as a position says; those it does not name stand as drawn."""
    return build_circuit(amp, switches_at(amp, position))
