"""From the tables of an amp file to an Amp, with a precise message for every mistake."""

from __future__ import annotations

import re
from collections.abc import Mapping

from ..base.entries import Entry
from ..base.errors import DescriptionError, nearest, shown
from ..base.quantities import VOLT
from ..circuit.amp import Amp, AnyPart, Rail, Stage
from ..circuit.build import build_circuit
from ..circuit.designators import kind_of
from ..circuit.mods import check_shafts
from ..circuit.plugging import jack_names, plug_in
from ..circuit.source import JACK_NAME, Jack, Source, SourceKind, check_jack_name
from ..circuit.stages import TEMPLATES, Kind, stages_of
from ..circuit.stages.template import Role
from ..circuit.transformer import fits_pin
from ..circuit.usual_values import check_amp_values
from ..circuit.whole_parts import check_tracks
from .mods import coils_of, read_switch, with_switch_types
from .mounting import take_mounted, with_mounting
from .parts import PINS, RESERVED, TypeFinder, read_parts, types_of

_RAIL = re.compile(r"[A-Za-z][A-Za-z0-9_]{0,15}")
_INPUT = re.compile(r"[A-Za-z0-9][A-Za-z0-9 _.()-]{0,79}")


def read_amp(data: Mapping[str, object], file: str, find_type: TypeFinder) -> Amp:
    """Make an Amp of an amp file's tables and wire it up once, so that every mistake shows here.

    Raises
    ------
    DescriptionError
        Naming file, entry, offending value and the nearest valid thing.
    """
    top = Entry(data, file)
    top.read_units()
    name, about = top.label("name"), top.text("about", "")
    listed, mounted = take_mounted(top.table("parts"))
    parts = read_parts(listed, find_type)
    rails = tuple(_rail(each) for each in top.tables("rails"))
    stages = tuple(_stage(each, parts, rails) for each in top.tables("stages"))
    switches = tuple(read_switch(each, parts) for each in top.tables("switches"))
    parts = (*parts, *coils_of(switches))
    jacks = tuple(_jack(each, stages) for each in top.tables("jacks"))
    volts = top.table("drawn_volts")
    drawn = tuple((volts.place(key, key), volts.value(key, VOLT)) for key in volts.names())
    sure = top.designators("sure")
    mounting = top.table("mounting")
    top.finish()
    if not stages:
        raise top.fail("stages", "an amp needs at least one [[stages]] table")
    _unique(top, "stages", [stage.name for stage in stages])
    _unique(top, "rails", [rail.name for rail in rails])
    _unique(top, "jacks", [jack.name for jack in jacks])
    switches = with_switch_types(switches, file, find_type)
    edits = (edit for switch in switches for _, does in switch.positions for edit in does)
    valves, semiconductors = types_of(parts, edits, file, find_type)
    amp = Amp(name, about, parts, rails, stages, switches, valves, drawn, (), file, jacks,
              semiconductors=semiconductors)  # fmt: skip
    check_amp_values(amp, sure)
    check_tracks(amp.parts, file)
    _check(amp)
    return with_mounting(amp, mounting, mounted)


def _unique(entry: Entry, key: str, names: list[str]) -> None:
    for name in names:
        if names.count(name) > 1:
            raise entry.fail(key, f"the name {shown(name)} is given twice")


def _rail(entry: Entry) -> Rail:
    name = entry.label("name")
    if not _RAIL.fullmatch(name) or name.lower() in RESERVED or (kind_of(name) and name[-1].isdigit()):
        letters = f" ({kind_of(name)} by its letters)" if kind_of(name) else ""
        raise entry.fail("name", f"{shown(name)} is not a name for a rail{letters}; written for example B1, B2, bias")
    volts = entry.value("volts", VOLT) if entry.has("volts") else None
    source = entry.label("from") if entry.has("from") else ""
    if (volts is None) == (not source):
        raise entry.fail("volts", "a rail has either 'volts' or 'from' another rail or a supply stage")
    rail = Rail(name, volts, source, entry.designators("through"), entry.designators("reservoir"))
    entry.finish()
    return rail


def _jack(entry: Entry, stages: tuple[Stage, ...]) -> Jack:
    name = check_jack_name(entry.label("name"), entry.where("name"))
    if entry.has("before") and entry.has("tip"):
        raise entry.fail("tip", "a jack has either 'tip', the place it is wired to, or 'before', a stage")
    if entry.has("before"):
        if entry.has("rest"):
            raise entry.fail("rest", "the contact of a jack before a stage passes the signal on; leave this out")
        jack = Jack(name, before=entry.choice("before", [stage.name for stage in stages]))
    else:
        rest = ""
        if entry.has("rest"):
            given = entry.raw("rest")
            rest = given if isinstance(given, str) and JACK_NAME.fullmatch(given) else entry.place("rest", given)
        jack = Jack(name, entry.place("tip", entry.raw("tip")) if entry.has("tip") else "", rest)
    entry.finish(" in a jack")
    return jack


def _stage(entry: Entry, parts: tuple[AnyPart, ...], rails: tuple[Rail, ...]) -> Stage:
    name = entry.label("name")
    if not re.fullmatch(r"[A-Za-z0-9][A-Za-z0-9 _-]*", name):
        raise entry.fail("name", f"{shown(name)} is not a stage name; letters, digits and blanks")
    template = TEMPLATES[entry.choice("template", TEMPLATES)]
    kinds = {part.designator: part.kind for part in parts}
    roles = []
    for role, rule in template.roles.items():
        if entry.has(role):
            roles.append((role, _role(entry, role, rule, kinds, rails)))
        elif rule.required:
            needed = f"a {template.name} needs this entry: {rule.about} ({' or '.join(rule.kinds)})"
            others = [each for each in entry.names() if each not in (*template.roles, "name", "template", "input")]
            raise entry.fail(role, f"{needed}; not known there: {', '.join(map(shown, others))}" if others else needed)
    inputs = _inputs(entry) if entry.has("input") else ()
    entry.finish(f" in a {template.name}")
    return Stage(name, template.name, tuple(roles), inputs)


def _inputs(entry: Entry) -> tuple[str, ...]:
    """Where a stage says that its signal comes from: one name or a list of them."""
    given = entry.raw("input")
    names = given if isinstance(given, list) else [given]
    if not names or not all(isinstance(name, str) and _INPUT.fullmatch(name) for name in names):
        raise entry.fail("input", f"{shown(given)} names no stage, jack or place; a list names several")
    return tuple(names)


def _role(entry: Entry, role: str, rule: Role, kinds: Mapping[str, str], rails: tuple[Rail, ...]) -> object:
    if "rail" in rule.kinds:
        return entry.choice(role, [rail.name for rail in rails])
    if "place" in rule.kinds:
        return entry.place(role, entry.raw(role))
    if "wires" in rule.kinds:
        return _wires(entry.table(role), kinds)
    if rule.kinds[0] in ("word", "stage"):
        return entry.label(role)
    found = entry.designators(role)
    if not found:
        raise entry.fail(role, f"an empty list; here belongs a {' or '.join(rule.kinds)}")
    for designator in found:
        if designator not in kinds:
            raise entry.fail(role, f"{shown(designator)} is not in [parts]{nearest(designator, kinds)}")
        if kinds[designator] not in rule.kinds:
            raise entry.fail(role, f"{designator} is a {kinds[designator]}; here belongs a {' or '.join(rule.kinds)}")
    if len(found) > 1 and not rule.several and not {"resistor", "capacitor"} & set(rule.kinds):
        raise entry.fail(role, f"one {rule.kinds[0]} belongs here, not {len(found)}")
    return found[0] if len(found) == 1 else found


def _wires(table: Entry, kinds: Mapping[str, str]) -> tuple[tuple[str, tuple[tuple[str, str], ...]], ...]:
    wired = []
    for designator in table.names():
        table.check_designator(designator, designator)
        if designator not in kinds:
            raise table.fail(designator, f"{shown(designator)} is not in [parts]{nearest(designator, kinds)}")
        pins = Entry(_named_pins(table, designator, kinds[designator]), table.file, f"{table.name}.{designator}")
        for pin in pins.names():
            if not _pin_fits(pin, kinds[designator]):
                known = PINS.get(kinds[designator], _LEAST_PINS.get(kinds[designator], ()))
                raise pins.fail(pin, f"a {kinds[designator]} has no pin {shown(pin)}; it has {', '.join(known)}")
        for pin in _LEAST_PINS.get(kinds[designator], PINS.get(kinds[designator], ())):
            pins.raw(pin)
        wired.append((designator, tuple((pin, pins.place(pin, pins.raw(pin))) for pin in pins.names())))
    return tuple(wired)


def _named_pins(table: Entry, designator: str, kind: str) -> object:
    """Nets given as a bare list belong to the pins in their order."""
    value = table.raw(designator)
    if not isinstance(value, list) or kind not in PINS:
        return value
    if len(value) not in (len(PINS[kind]), len(_LEAST_PINS.get(kind, PINS[kind]))):
        raise table.fail(designator, f"{shown(value)} does not name a net for each of the pins {', '.join(PINS[kind])}")
    return dict(zip(PINS[kind], value, strict=False))


# A section of an operational amplifier may leave its supplies to another one of its package.
_LEAST_PINS = {
    "valve": ("plate", "grid", "cathode"),
    "transformer": ("primary_a", "primary_b", "common"),
    "operational amplifier": ("plus", "minus", "out"),
}


def _pin_fits(pin: str, kind: str) -> bool:
    if kind == "mains transformer":
        return bool(re.fullmatch(r"[a-z][a-z0-9]{0,15}_(a|b|centre|tap)", pin))
    if kind == "transformer":
        return fits_pin(pin)
    if kind == "pot" and pin == "tap":
        return True
    return pin in PINS.get(kind, (*_LEAST_PINS.get(kind, ()), "screen"))


def _check(amp: Amp) -> None:
    for rail in amp.rails:
        feeding = [*(each.name for each in amp.rails), *stages_of(amp, Kind.SUPPLY)]
        if rail.fed_from and rail.fed_from not in feeding:
            known = nearest(rail.fed_from, feeding)
            raise DescriptionError(f"{amp.file}: rails: {rail.name} is fed from {shown(rail.fed_from)}{known}")
    check_shafts(amp)
    wired = build_circuit(amp)
    unused = set(amp.part_by_designator) - {element.designator for element in wired.elements}
    fitted = {edit.part for switch in amp.switches for _, edits in switch.positions for edit in edits}
    if unused - fitted:
        names = ", ".join(sorted(unused - fitted))
        raise DescriptionError(
            f"{amp.file}: parts: no stage and no rail has a place for {names}; name each in a role of a "
            "stage (`ampsim stages` lists them), or take it out of [parts]"
        )
    for place, _ in amp.drawn_volts:
        wired.net(place)
    for switch in amp.switches:
        for label in switch.labels:
            build_circuit(amp, ((switch.control, label),))
    for jack in jack_names(amp) if amp.jacks else ():
        plug_in(amp, Source(SourceKind.GENERATOR, jack))
