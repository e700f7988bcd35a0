"""From the tables of a file to an Amp or a Mod, with a precise message for every mistake."""

from __future__ import annotations

import re
from collections.abc import Callable, Mapping

from .amp import Amp, AnyPart, Edit, Loudspeaker, Mod, Part, Pot, Rail, Socket, Stage, Switch, Transformer
from .circuit import circuit
from .entries import Entry
from .errors import DescriptionError, nearest, shown
from .quantities import FARAD, HENRY, HERTZ, OHM, VOLT, Quantity, parse_taper
from .stages import TEMPLATES
from .stages.power import tap_pin
from .stages.wiring import Role
from .valves import Valve

ValveFinder = Callable[[str, str], Valve]

_KINDS = {
    "R": "resistor", "C": "capacitor", "L": "inductor", "P": "pot", "VR": "pot", "RV": "pot",
    "V": "valve", "T": "transformer", "LS": "loudspeaker",
}  # fmt: skip
_QUANTITY: dict[str, Quantity] = {"resistor": OHM, "capacitor": FARAD, "inductor": HENRY}
_RAIL = re.compile(r"[A-Za-z][A-Za-z0-9_]{0,15}")
_RESERVED = ("ground", "input", "speaker")


def kind_of(designator: str) -> str:
    """The kind of part a designator's letters mean; "" when they mean none."""
    letters = designator.rstrip("ABCDEFGHIJKLMNOPQRSTUVWXYZ").rstrip("0123456789") or designator
    return _KINDS.get(letters[:2], _KINDS.get(letters[:1], ""))


def read_amp(data: Mapping[str, object], file: str, find_valve: ValveFinder) -> Amp:
    """Make an Amp of an amp file's tables and wire it up once, so that every mistake shows here.

    Raises
    ------
    DescriptionError
        Naming file, entry, offending value and the nearest valid thing.
    """
    top = Entry(data, file)
    name, about = top.label("name"), top.text("about", "")
    parts = _parts(top.table("parts"))
    rails = tuple(_rail(each) for each in top.tables("rails"))
    stages = tuple(_stage(each, parts, rails) for each in top.tables("stages"))
    switches = tuple(_switch(each, parts) for each in top.tables("switches"))
    volts = top.table("drawn_volts")
    drawn = tuple((volts.place(key, key), volts.value(key, VOLT)) for key in volts.keys())
    top.finish()
    if not stages:
        raise top.fail("stages", "an amp needs at least one [[stages]] table")
    _unique(top, "stages", [stage.name for stage in stages])
    _unique(top, "rails", [rail.name for rail in rails])
    valves = _valves(parts, file, find_valve)
    amp = Amp(name, about, parts, rails, stages, switches, valves, drawn, (), file)
    _check(amp)
    return amp


def read_mod(data: Mapping[str, object], file: str, find_valve: ValveFinder) -> Mod:
    """Make a Mod of a mod file's tables.

    Raises
    ------
    DescriptionError
        Naming file, entry, offending value and the nearest valid thing. What only the amp can tell (whether a
        designator exists) is checked when the mod is fitted.
    """
    top = Entry(data, file)
    name, reason = top.label("name"), top.text("reason")
    parts = _parts(top.table("parts"))
    edits = tuple(_edit(each, parts) for each in top.tables("edits"))
    switches = tuple(_switch(each, parts) for each in top.tables("switches"))
    top.finish()
    if not edits and not switches:
        raise top.fail("edits", "a mod needs [[edits]] or [[switches]]")
    types = [(str(edit.value), edit.part) for edit in edits if edit.action == "replace" and kind_of(edit.part) == "valve"]
    valves = {valve.type: valve for valve in _valves(parts, file, find_valve)}
    valves |= {kind: find_valve(kind, f"{file}: {part}") for kind, part in types}
    mod = Mod(name, reason, parts, edits, switches, tuple(valves.values()), file)
    _check_mod(top, mod)
    return mod


def _unique(entry: Entry, key: str, names: list[str]) -> None:
    for name in names:
        if names.count(name) > 1:
            raise entry.fail(key, f"the name {shown(name)} is given twice")


def _valves(parts: tuple[AnyPart, ...], file: str, find_valve: ValveFinder) -> tuple[Valve, ...]:
    sockets = {part.type: part.designator for part in parts if isinstance(part, Socket)}
    return tuple(find_valve(kind, f"{file}: parts.{designator}") for kind, designator in sockets.items())


def _parts(table: Entry) -> tuple[AnyPart, ...]:
    return tuple(_part(table, key) for key in table.keys())


def _part(table: Entry, key: str) -> AnyPart:
    designator = table.check_designator(key, key)
    kind = kind_of(designator)
    if kind == "valve":
        return Socket(designator, table.type_name(key))
    if kind in _QUANTITY:
        return Part(designator, kind, table.value(key, _QUANTITY[kind]))
    if kind in _COMPOUND:
        return _COMPOUND[kind](designator, table.table(key))
    letters = ", ".join(f"{letter} {name}" for letter, name in _KINDS.items())
    raise table.fail(key, f"{shown(key)} tells no kind of part by its letters; known: {letters}")


def _pot(designator: str, entry: Entry) -> Pot:
    track, control = entry.value("track", OHM), entry.label("control", designator.lower())
    taper = parse_taper(entry.raw("taper"), entry.where("taper")) if entry.has("taper") else "linear"
    rotation = entry.number("rotation", 0.0, 1.0, 0.5)
    entry.finish()
    return Pot(designator, track, taper, control, rotation)


def _transformer(designator: str, entry: Entry) -> Transformer:
    primary = entry.value("primary", OHM)
    given = entry.raw("taps")
    taps = tuple(Entry({"taps": each}, entry.file, entry.name).value("taps", OHM)
                 for each in (given if isinstance(given, list) else [given]))  # fmt: skip
    if not 1 <= len(taps) <= 6 or list(taps) != sorted(set(taps)):
        raise entry.fail("taps", f"{shown(given)} are not one to six loads in rising order, such as [4, 8, 16]")
    made = Transformer(
        designator, primary, taps,
        inductance=entry.value("inductance", HENRY, primary / (2 * 3.141592653589793 * 40)),
        leakage=entry.value("leakage", HENRY, primary / (2 * 3.141592653589793 * 80e3)),
        primary_resistance=entry.value("primary_resistance", OHM, primary * 0.03),
        secondary_resistance=entry.value("secondary_resistance", OHM, taps[-1] * 0.03),
        capacitance=entry.value("capacitance", FARAD, 400e-12),
        damping=entry.value("damping", OHM, primary),
        core_loss=entry.value("core_loss", OHM, primary * 15),
        reversed=entry.choice("secondary", ("in phase", "reversed"), "in phase") == "reversed",
    )  # fmt: skip
    entry.finish()
    return made


def _loudspeaker(designator: str, entry: Entry) -> Loudspeaker:
    resistance = entry.value("resistance", OHM)
    made = Loudspeaker(
        designator, resistance,
        resonance=entry.value("resonance", HERTZ, 85.0),
        peak=entry.value("peak", OHM, 8.0 * resistance),
        q=entry.number("q", 0.3, 30.0, 6.0),
        reactance=entry.value("reactance", OHM, 0.8 * resistance),
        exponent=entry.number("exponent", 0.3, 1.0, 0.7),
    )  # fmt: skip
    entry.finish()
    return made


_COMPOUND: dict[str, Callable[[str, Entry], AnyPart]] = {
    "pot": _pot, "transformer": _transformer, "loudspeaker": _loudspeaker,
}  # fmt: skip


def _rail(entry: Entry) -> Rail:
    name = entry.label("name")
    if not _RAIL.fullmatch(name) or name.lower() in _RESERVED or kind_of(name) and name[-1].isdigit():
        raise entry.fail("name", f"{shown(name)} is not a name for a rail; written for example B1, B2, bias")
    volts = entry.value("volts", VOLT) if entry.has("volts") else None
    source = entry.label("from") if entry.has("from") else ""
    if (volts is None) == (not source):
        raise entry.fail("volts", "a rail has either 'volts' or 'from' another rail")
    rail = Rail(name, volts, source, entry.designators("through"), entry.designators("reservoir"))
    entry.finish()
    return rail


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
            raise entry.fail(role, f"a {template.name} needs this entry: {rule.about} ({' or '.join(rule.kinds)})")
    entry.finish(f" in a {template.name}")
    return Stage(name, template.name, tuple(roles))


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
    for designator in found:
        if designator not in kinds:
            raise entry.fail(role, f"{shown(designator)} is not in [parts]{nearest(designator, kinds)}")
        if kinds[designator] not in rule.kinds:
            raise entry.fail(role, f"{designator} is a {kinds[designator]}; here belongs a {' or '.join(rule.kinds)}")
    if len(found) > 1 and not {"resistor", "capacitor"} & set(rule.kinds):
        raise entry.fail(role, f"one {rule.kinds[0]} belongs here, not {len(found)}")
    return found[0] if len(found) == 1 else found


_PINS = {
    "resistor": ("1", "2"), "capacitor": ("1", "2"), "inductor": ("1", "2"), "loudspeaker": ("1", "2"),
    "pot": ("top", "wiper", "bottom"),
}  # fmt: skip


def _wires(table: Entry, kinds: Mapping[str, str]) -> tuple[tuple[str, tuple[tuple[str, str], ...]], ...]:
    wired = []
    for designator in table.keys():
        table.check_designator(designator, designator)
        if designator not in kinds:
            raise table.fail(designator, f"{shown(designator)} is not in [parts]{nearest(designator, kinds)}")
        value = table.raw(designator)
        if isinstance(value, list) and kinds[designator] in _PINS:
            value = dict(zip(_PINS[kinds[designator]], value, strict=False)) if len(value) == len(
                _PINS[kinds[designator]]) else value
        pins = Entry(value, table.file, f"{table.name}.{designator}")
        for pin in pins.keys():
            if not _pin_fits(pin, kinds[designator]):
                raise pins.fail(pin, f"a {kinds[designator]} has no pin {shown(pin)}")
        for pin in _PINS.get(kinds[designator], _LEAST_PINS.get(kinds[designator], ())):
            pins.raw(pin)
        wired.append((designator, tuple((pin, pins.place(pin, pins.raw(pin))) for pin in pins.keys())))
    return tuple(wired)


_LEAST_PINS = {"valve": ("plate", "grid", "cathode"), "transformer": ("primary_a", "primary_b", "common")}


def _pin_fits(pin: str, kind: str) -> bool:
    if kind == "transformer":
        return pin in (*_LEAST_PINS[kind], "centre") or bool(re.fullmatch(r"tap[0-9r]{1,6}", pin))
    return pin in _PINS.get(kind, (*_LEAST_PINS.get(kind, ()), "screen"))


def _switch(entry: Entry, parts: tuple[AnyPart, ...]) -> Switch:
    designator, control = entry.designator("designator"), entry.label("control")
    table = entry.table("positions")
    positions = []
    for label in table.keys():
        Entry({"position": label}, table.file, table.name).label("position")
        positions.append((label, tuple(_edit(each, parts) for each in table.tables(label))))
    if len(positions) < 2:
        raise entry.fail("positions", "a switch needs at least two positions")
    drawn = entry.choice("drawn", [label for label, _ in positions], positions[0][0])
    shaft = entry.designator("shaft") if entry.has("shaft") else ""
    entry.finish()
    return Switch(designator, control, tuple(positions), drawn, shaft)


_ACTIONS = ("replace", "fit", "lift", "bridge")


def _edit(entry: Entry, parts: tuple[AnyPart, ...]) -> Edit:
    actions = [action for action in _ACTIONS if entry.has(action)]
    if len(actions) != 1:
        raise entry.fail("", f"an edit says exactly one of {', '.join(_ACTIONS)}; given: {shown(entry.keys())}")
    edit = {"replace": _replacement, "fit": _fitting, "lift": _lifting, "bridge": _bridging}[actions[0]](entry)
    entry.finish(" in an edit")
    brought = [part.designator for part in parts]
    if edit.action == "fit" and edit.part not in brought:
        raise entry.fail("fit", f"{shown(edit.part)} is not in this file's [parts]{nearest(edit.part, brought)}")
    return edit


def _replacement(entry: Entry) -> Edit:
    part = entry.designator("replace")
    kind = kind_of(part)
    if kind == "valve":
        return Edit("replace", part, entry.type_name("with"))
    quantity = OHM if kind == "pot" else _QUANTITY.get(kind)
    if quantity is None:
        raise entry.fail("replace", f"{part} is a {kind or 'part of no known kind'}; it cannot be given another value")
    return Edit("replace", part, entry.value("with", quantity))


def _fitting(entry: Entry) -> Edit:
    part = entry.designator("fit")
    ways = [way for way in ("across", "between", "in_series_at", "pins") if entry.has(way)]
    if len(ways) != 1:
        raise entry.fail("fit", "a part is fitted in exactly one way: across, between, in_series_at or pins")
    wired = entry.choice("wired", ("rising", "falling"), "rising" if kind_of(part) == "pot" else "")
    if ways[0] == "across":
        return Edit("fit", part, across=entry.designator("across"), wired=wired)
    if ways[0] == "between":
        return Edit("fit", part, between=_pair(entry, "between"), wired=wired)
    if ways[0] == "in_series_at":
        place = entry.place("in_series_at", entry.raw("in_series_at"))
        if "." not in place:
            raise entry.fail("in_series_at", f"{shown(place)} is not a part's end; written for example R30.1")
        return Edit("fit", part, in_series=place, wired=wired)
    table = entry.table("pins")
    pins = tuple((pin, table.place(pin, table.raw(pin))) for pin in table.keys())
    wanted = _PINS.get(kind_of(part), ("plate", "grid", "cathode"))
    if {pin for pin, _ in pins} != set(wanted):
        raise table.fail("", f"{part} has the pins {', '.join(wanted)}; each is soldered to one place")
    return Edit("fit", part, pins=pins)


def _lifting(entry: Entry) -> Edit:
    return Edit("lift", entry.designator("lift"))


def _bridging(entry: Entry) -> Edit:
    if isinstance(entry.raw("bridge"), list):
        return Edit("bridge", "", between=_pair(entry, "bridge"))
    return Edit("bridge", entry.designator("bridge"))


def _pair(entry: Entry, key: str) -> tuple[str, str]:
    value = entry.raw(key)
    if not isinstance(value, list) or len(value) != 2:
        raise entry.fail(key, f"{shown(value)} is not a pair of places")
    return entry.place(key, value[0]), entry.place(key, value[1])


def _check(amp: Amp) -> None:
    for rail in amp.rails:
        if rail.fed_from and rail.fed_from not in {each.name for each in amp.rails}:
            known = nearest(rail.fed_from, [each.name for each in amp.rails])
            raise DescriptionError(f"{amp.file}: rails: {rail.name} is fed from {shown(rail.fed_from)}{known}")
    for stage in amp.stages:
        _check_words(amp, stage)
    wired = circuit(amp)
    unused = set(amp.part_by_designator) - {element.designator for element in wired.elements}
    fitted = {edit.part for switch in amp.switches for _, edits in switch.positions for edit in edits}
    if unused - fitted:
        raise DescriptionError(f"{amp.file}: parts: {', '.join(sorted(unused - fitted))} stand in no stage and no rail")
    for place, _ in amp.drawn_volts:
        wired.net(place)
    for switch in amp.switches:
        for label in switch.labels:
            circuit(amp, ((switch.control, label),))


def _check_words(amp: Amp, stage: Stage) -> None:
    roles = dict(stage.roles)
    inverters = [each.name for each in amp.stages if "feedback_input" in dict(each.roles)]
    if "into" in roles and roles["into"] not in inverters:
        raise DescriptionError(
            f"{amp.file}: stage '{stage.name}': {shown(roles['into'])} is not a phase inverter with "
            f"feedback_input{nearest(roles['into'], inverters)}"
        )
    if "tap" in roles:
        part = amp.part_by_designator[str(roles["transformer"])]
        taps = [tap_pin(ohms) for ohms in part.taps] if isinstance(part, Transformer) else []
        if roles["tap"] not in taps:
            raise DescriptionError(f"{amp.file}: stage '{stage.name}': {shown(roles['tap'])} is no tap"
                                   f"{nearest(roles['tap'], taps)}")  # fmt: skip


def _check_mod(top: Entry, mod: Mod) -> None:
    lists = [("edits", list(mod.edits))]
    for switch in mod.switches:
        lists += [(f"switches: {switch.control} at {label}", [*mod.edits, *edits]) for label, edits in switch.positions]
    for where, edits in lists:
        names = [name for edit in edits for name in _taken(edit)]
        for name in names:
            if names.count(name) > 1:
                raise top.fail("", f"{where}: {name} is edited twice")
    fitted = {edit.part for edit in mod.every_edit() if edit.action == "fit"}
    unused = sorted(part.designator for part in mod.parts if part.designator not in fitted)
    if unused:
        raise top.fail("parts", f"{', '.join(unused)} is fitted nowhere")


def _taken(edit: Edit) -> set[str]:
    if edit.action == "fit":
        return {edit.part} | ({edit.in_series} if edit.in_series else set())
    return {edit.part} if edit.part else set()
