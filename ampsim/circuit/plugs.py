"""A soldered circuit with its plugs in: the source where it enters, the contacts of all other jacks at rest."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import replace
from typing import TypeVar

from ..base.errors import DescriptionError, nearest, shown
from .amp import AnyPart, Part
from .nets import INPUT, Nets, conducting, reachable_nets
from .soldered import JackNets, Soldered
from .source import CLIP_FARADS, FIRST_JACK, Jack, Source, SourceKind
from .stages import Kind, stages_of
from .stages.template import GROUND, Element, rail_net

PLUGGED = "plugged in"
"""The stage that the parts of a generator stand in; they are no part of the amp."""
_ENTRY = "_input_jack"  # no stage and no part begins with the line, so no net of a file is called so
_Wired = TypeVar("_Wired", bound=Soldered)
_NEXT_OHMS = 1e6
"""What a line that a plug has opened works into: whatever is plugged in there [ohm] (own choice)."""
_EMPTY_OHMS = 10e9
"""What an empty jack leaks where only a capacitor is wired to it [ohm] (own choice)."""


def plugged_stages(circuit: Soldered) -> frozenset[str]:
    """Names of the stages that are plugged into the amp and no part of it: a guitar with its cable, a generator."""
    return frozenset((PLUGGED, *stages_of(circuit.amp, Kind.INSTRUMENT, Kind.SOURCE)))


def place_jacks(
    jacks: Iterable[Jack], lines: Mapping[str, tuple[str, str]], places: Mapping[str, str], file: str
) -> tuple[JackNets, ...]:
    """Find the nets of jacks.

    Parameters
    ----------
    jacks : iterable of Jack
    lines : mapping
        Name of each jack that lies in a line, to the nets behind it and before it ("": the line begins there).
    places : mapping
        Place to net.
    file : str
        What messages call the amp.

    Raises
    ------
    DescriptionError
        For places and jacks that are not there, jacks that nothing is wired to, jacks on one piece of wire, and
        contacts that hold a tip at itself.
    """

    def net(jack: Jack, place: str, known: Mapping[str, str]) -> str:
        if place not in known:
            raise DescriptionError(f"{file}: jacks: {jack.name}: {shown(place)} is not a place{nearest(place, known)}")
        return known[place]

    idle = [jack.name for jack in jacks if not jack.tip and jack.name not in lines]
    if idle:
        raise DescriptionError(
            f'{file}: jacks: {idle[0]}: it has no tip and no stage begins at it; say input = "{idle[0]}" in a stage'
        )
    tips = {jack.name: net(jack, jack.tip, places) if jack.tip else lines[jack.name][0] for jack in jacks}
    rests = {name: before for name, (_, before) in lines.items()}
    rests |= {jack.name: net(jack, jack.rest, {**places, **tips}) for jack in jacks if jack.rest}
    for name, tip in tips.items():
        alike = [other for other in tips if tips[other] == tip]
        if len(alike) > 1:
            raise DescriptionError(f"{file}: jacks: {' and '.join(alike)} have their tips on one piece of wire")
        if tip in (GROUND, rests.get(name)):
            where = "on ground" if tip == GROUND else "on the very wire that its contact holds it at"
            raise DescriptionError(f"{file}: jacks: {name}: its tip is {where}")
    return tuple(JackNets(name, tip, rests.get(name, "")) for name, tip in tips.items())


def jacks_from(entry: str, jacks: Iterable[JackNets]) -> tuple[JackNets, ...]:
    """All jacks, first the one at the net where the drawing begins, which the amp file need not name."""
    first = [each for each in jacks if each.tip == entry] or [JackNets(FIRST_JACK, entry)]
    return (*first, *(each for each in jacks if each.tip != entry))


def jacks_of(circuit: Soldered) -> dict[str, JackNets]:
    """The jacks of a circuit by name, first the one that its drawing begins at."""
    return {each.name: each for each in circuit.jacks}


def connect_source(soldered: _Wired) -> _Wired:
    """Plug the amp's source in, and let the contacts of all jacks without a plug rest.

    Raises
    ------
    DescriptionError
        For a source at a jack or place that is not there, or on ground; for a guitar that is not described.
    """
    source = soldered.amp.source
    if source.kind is SourceKind.DRAWN and not soldered.amp.jacks:
        return soldered
    circuit, guitar = (soldered, ()) if source.kind is SourceKind.DRAWN else _unplug(soldered)
    jacks = jacks_of(circuit)
    at = _target(circuit, jacks, source)
    fitted, parts, joins = _fit_source(circuit, guitar, source, at)
    joins += [(_tip(circuit, jacks, one), _tip(circuit, jacks, other)) for one, other in source.links]
    ends = {name for link in source.links for name in link}
    taken = {name for name, jack in jacks.items() if jack.tip == at or name in ends}
    joins += [(jack.tip, jack.rest) for name, jack in jacks.items() if jack.rest and name not in taken]
    return _loaded(_joined(circuit, fitted, parts, joins), taken)


def _target(circuit: Soldered, jacks: Mapping[str, JackNets], source: Source) -> str:
    """The net that the source is plugged into; "" with nothing plugged in."""
    if source.kind is SourceKind.NOTHING:
        return ""
    place = source.at if source.at not in ("", FIRST_JACK) else next(iter(jacks))
    if place in jacks:
        return jacks[place].tip
    places = {f"{each.designator}.{pin}": net for each in circuit.elements for pin, net in each.pins}
    places |= {rail.name: rail_net(rail.name) for rail in circuit.amp.rails} | {"ground": GROUND}
    places |= circuit.outputs if source.kind is SourceKind.GENERATOR else {}
    if source.kind is SourceKind.GUITAR or place not in places:
        known = jacks if source.kind is SourceKind.GUITAR else (*jacks, *places)
        what = "jack" if source.kind is SourceKind.GUITAR else "jack or place"
        raise DescriptionError(
            f"{circuit.amp.name}: source: {shown(place)} is no {what} of this amp{nearest(place, known)}"
        )
    if places[place] == GROUND:
        raise DescriptionError(f"{circuit.amp.name}: source: {place} is on ground, there is nothing to drive")
    return places[place]


def _tip(circuit: Soldered, jacks: Mapping[str, JackNets], name: str) -> str:
    if name not in jacks:
        raise DescriptionError(
            f"{circuit.amp.name}: source: {shown(name)} is no jack of this amp{nearest(name, jacks)}"
        )
    return jacks[name].tip


def _unplug(soldered: _Wired) -> tuple[_Wired, tuple[Element, ...]]:
    """The amp with nothing plugged in, and the elements of the guitar that was, mods of the guitar among them."""
    amp, entry = soldered.amp, soldered.entry
    inside = {stage.name for stage in amp.stages} | {"supply"}
    stages = plugged_stages(soldered)
    may = [each for each in soldered.elements if each.stage in stages or each.stage not in inside]
    dead = {GROUND, entry, *(rail_net(rail.name) for rail in amp.rails)}
    mine = {net for each in may if each.stage in stages for _, net in each.pins} | {INPUT}
    far = set(reachable_nets(may, mine, dead)) if entry != INPUT else set()
    guitar = tuple(each for each in may if each.stage in stages or far & {net for _, net in each.pins})
    left = tuple(each for each in soldered.elements if each not in guitar)
    removed = tuple(each for each in soldered.removed if each.stage not in stages)
    outputs = {stage: net for stage, net in soldered.outputs.items() if stage not in stages}
    bare = replace(soldered, elements=left, removed=removed, outputs=outputs)
    return (_renamed(bare, {INPUT: _ENTRY}) if entry == INPUT else bare), guitar


def _fit_source(
    circuit: Soldered, guitar: tuple[Element, ...], source: Source, at: str
) -> tuple[tuple[Element, ...], dict[str, AnyPart], list[tuple[str, str]]]:
    """What the source brings: elements, parts, and nets that it joins."""
    if source.kind is SourceKind.GUITAR:
        if not stages_of(circuit.amp, Kind.INSTRUMENT):
            raise DescriptionError(
                f"{circuit.amp.name}: source: the amp file describes no guitar; give it a stage with the template "
                "of one, or say a generator"
            )
        moved = {circuit.entry: at}
        return tuple(_on_nets(each, moved) for each in guitar), {}, []
    if source.kind is not SourceKind.GENERATOR:
        return (), {}, []
    jacks = jacks_of(circuit).values()
    farads = source.farads or (0.0 if at in {each.tip for each in jacks} else CLIP_FARADS)
    ways = [("Rgenerator", "resistor", source.ohms), ("Cgenerator", "capacitor", farads)]
    parts = [Part(*each) for each in ways if each[2]]
    nets = [INPUT, *(["_generator_lead"] if len(parts) == 2 else []), at]
    fitted = tuple(
        Element(part.designator, part.kind, (("1", first), ("2", second)), PLUGGED)
        for part, first, second in zip(parts, nets, nets[1:], strict=False)
    )
    return fitted, {part.designator: part for part in parts}, [] if parts else [(INPUT, at)]


def _joined(
    circuit: _Wired, fitted: tuple[Element, ...], parts: Mapping[str, AnyPart], joins: list[tuple[str, str]]
) -> _Wired:
    nets = Nets()
    for pair in joins:
        nets.join(*pair)
    if nets.find(INPUT) == GROUND:
        raise DescriptionError(f"{circuit.amp.name}: source: {circuit.amp.source} is on ground through a contact")
    whole = replace(circuit, elements=(*circuit.elements, *fitted), parts={**circuit.parts, **parts})
    every = {net for each in (*whole.elements, *whole.removed) for _, net in each.pins}
    every |= {net for pair in joins for net in pair}
    return _renamed(whole, {net: nets.find(net) for net in every if nets.find(net) != net})


def _loaded(circuit: _Wired, taken: Iterable[str]) -> _Wired:
    """The circuit with a load on every line that a plug has opened, and on every empty jack, that hangs in the air."""
    ways, elements, parts = conducting(circuit.elements), list(circuit.elements), dict(circuit.parts)
    used = {net for each in circuit.elements for _, net in each.pins}
    opened = [("Rnext", each.rest, _NEXT_OHMS) for each in circuit.jacks if each.rest and each.name in taken]
    empty = (each.tip for each in circuit.jacks if each.tip in used and each.name not in taken)
    opened += [("Rempty", tip, _EMPTY_OHMS) for tip in empty]
    for number, (letters, net, ohms) in enumerate(each for each in opened if ways.find(each[1]) != GROUND):
        name = f"{letters}{number}"
        elements.append(Element(name, "resistor", (("1", net), ("2", GROUND)), PLUGGED))
        parts[name] = Part(name, "resistor", ohms)
    return replace(circuit, elements=tuple(elements), parts=parts)


def _renamed(circuit: _Wired, names: Mapping[str, str]) -> _Wired:
    """The circuit with other names for some of its nets; two with one name are one."""

    def name(net: str) -> str:
        return names.get(net, net)

    return replace(
        circuit,
        elements=tuple(_on_nets(each, names) for each in circuit.elements),
        removed=tuple(_on_nets(each, names) for each in circuit.removed),
        outputs={stage: name(net) for stage, net in circuit.outputs.items()},
        jacks=tuple(replace(each, tip=name(each.tip), rest=name(each.rest)) for each in circuit.jacks),
        entry=name(circuit.entry),
        inputs={stage: tuple(map(name, nets)) for stage, nets in circuit.inputs.items()},
    )


def _on_nets(element: Element, names: Mapping[str, str]) -> Element:
    return replace(element, pins=tuple((pin, names.get(net, net)) for pin, net in element.pins))
