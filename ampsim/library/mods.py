"""From the tables of a mod file to a Mod; switches and edits of amp files are read here too."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping
from dataclasses import replace

from ..base.entries import Entry
from ..base.errors import DescriptionError, nearest, shown
from ..base.quantities import OHM, VOLT
from ..circuit.amp import AnyPart, Edit, Mod, Part, Pot, Switch
from ..circuit.designators import kind_of
from ..circuit.positions import setting_clause
from ..circuit.semiconductors.description import FAMILIES
from ..circuit.switches.kinds import ON_POTS, Action, Coil, SwitchKind, parse_switch_kind
from .mod_names import read_landing, read_nets
from .parts import PINS, QUANTITY, TypeFinder, read_part, read_parts, read_track, types_of, with_type_names


def read_mod(data: Mapping[str, object], file: str, find_type: TypeFinder) -> Mod:
    """Make a Mod of a mod file's tables.

    Raises
    ------
    DescriptionError
        Naming file, entry, offending value and the nearest valid thing. What only the amp can tell (whether a
        designator exists) is checked when the mod is fitted.
    """
    top = Entry(data, file)
    top.read_units()
    name, reason = top.label("name"), top.text("reason")
    parts = read_parts(top.table("parts"), find_type)
    nets = read_nets(top)
    edits = tuple(_edit(each, parts) for each in top.tables("edits"))
    switches = tuple(read_switch(each, parts) for each in top.tables("switches"))
    parts = (*parts, *coils_of(switches))
    sure = top.designators("sure")
    source = top.text("source", "")
    landing = read_landing(top)
    top.finish()
    if not edits and not switches:
        raise top.fail("edits", "a mod needs [[edits]] or [[switches]]")
    edits, switches = with_type_names(edits, file, find_type), with_switch_types(switches, file, find_type)
    every = [*edits, *(edit for switch in switches for _, does in switch.positions for edit in does)]
    valves, semiconductors = types_of(parts, every, file, find_type)
    mod = Mod(name, reason, parts, edits, switches, valves, file, sure, semiconductors, nets, source, (), landing)
    _check_mod(top, mod)
    return mod


def with_switch_types(switches: tuple[Switch, ...], file: str, find: TypeFinder) -> tuple[Switch, ...]:
    """Switches in whose edits a valve has the name of its file, as `parts.with_type_names`."""
    return tuple(
        replace(each, positions=tuple((label, with_type_names(does, file, find)) for label, does in each.positions))
        for each in switches
    )


def read_switch(entry: Entry, parts: tuple[AnyPart, ...]) -> Switch:
    """Read one [[switches]] table.

    Raises
    ------
    DescriptionError
        Naming file, entry, offending value and what would do.
    """
    designator, control = entry.designator("designator"), entry.label("control")
    table = entry.table("positions")
    positions = []
    for label in table.names():
        table.element("position", label).label("position")
        positions.append((label, tuple(_edit(each, parts) for each in table.tables(label))))
        if any(edit.action == "supply" for edit in positions[-1][1]):
            raise table.fail(label, "a rail has one voltage; a switch puts another resistor or tap in its way")
    if len(positions) < 2:
        raise entry.fail("positions", "a switch needs at least two positions")
    coil, feeds = _coil(entry, designator)
    if coil is not None:
        if len(positions) != 2:
            raise entry.fail("positions", "a relay has two positions: at rest, and pulled in")
        positions[1] = (positions[1][0], (*positions[1][1], feeds))
    drawn = entry.choice("drawn", [label for label, _ in positions], positions[0][0])
    shaft = entry.designator("shaft") if entry.has("shaft") else ""
    kind = _switch_kind(entry, len(positions), shaft)
    entry.finish()
    if coil is not None and kind.action is Action.NONE:
        kind = replace(kind, action=Action.RELAY)
    if (kind.action is Action.RELAY) != (coil is not None):
        raise entry.fail("coil", "a relay has a coil = { resistance, volts, between, driver }, no other switch has one")
    return Switch(designator, control, tuple(positions), drawn, shaft, kind, coil)


def _coil(entry: Entry, designator: str) -> tuple[Coil | None, Edit]:
    """The coil of a relay, and how it is fed where it is pulled in."""
    if not entry.has("coil"):
        return None, Edit("fit", designator)
    table = entry.table("coil")
    coil = Coil(table.value("resistance", OHM), table.value("volts", VOLT), table.designator("driver"))
    between = _pair(table, "between")
    table.finish(" in a coil")
    if coil.driver == designator:
        raise table.fail("driver", f"{designator} is the relay itself; name the switch that feeds its coil")
    return coil, Edit("fit", designator, between=between)


def coils_of(switches: Iterable[Switch]) -> tuple[Part, ...]:
    """The coils of relays, as parts with two ends."""
    return tuple(Part(each.designator, "resistor", each.coil.ohms) for each in switches if each.coil is not None)


def _switch_kind(entry: Entry, positions: int, shaft: str) -> SwitchKind:
    """Which switch the entry `type` asks for; any that serves where it says nothing."""
    if not entry.has("type"):
        return SwitchKind()
    try:
        kind = parse_switch_kind(entry.text("type"))
    except DescriptionError as error:
        raise entry.fail("type", str(error)) from None
    if kind.ways not in (0, positions):
        raise entry.fail(
            "positions", f"{shown(entry.raw('type'))} has {kind.ways} positions, {positions} are named; name every one"
        )
    if shaft and kind.action in (Action.NONE, Action.ON_ON):
        return replace(kind, action=Action.PUSH_PULL)
    if (kind.action in ON_POTS) != bool(shaft):
        wanted = (
            f"what sits on the shaft of {shaft} is push-pull, or at the end of the track"
            if shaft
            else "name the pot on whose shaft it sits (shaft)"
        )
        raise entry.fail("type", f"{shown(entry.raw('type'))}: {wanted}")
    return kind


def _edit(entry: Entry, parts: tuple[AnyPart, ...]) -> Edit:
    actions = [action for action in _ACTIONS if entry.has(action)]
    if len(actions) != 1:
        raise entry.fail("", f"an edit says exactly one of {', '.join(_ACTIONS)}; given: {shown(entry.names())}")
    edit = _ACTIONS[actions[0]](entry)
    entry.finish(" in an edit")
    brought = [part.designator for part in parts]
    if edit.action == "fit" and edit.part not in brought:
        raise entry.fail("fit", f"{shown(edit.part)} is not in this file's [parts]{nearest(edit.part, brought)}")
    return edit


def _replacement(entry: Entry) -> Edit:
    part = entry.designator("replace")
    kind = kind_of(part)
    if kind == "valve" or kind in FAMILIES:
        return Edit("replace", part, entry.type_name("with"))
    if kind in QUANTITY and not (kind == "inductor" and isinstance(entry.raw("with"), Mapping)):
        return Edit("replace", part, entry.value("with", QUANTITY[kind]))
    if kind == "pot" and not isinstance(entry.raw("with"), Mapping):
        track, taper = read_track(entry, "with")
        return Edit("replace", part, Pot(part, track, taper, "", 0.0) if taper else track)
    if not kind:
        raise entry.fail("replace", f"{part} is a part of no known kind; another voltage is rail = ..., volts = ...")
    return Edit("replace", part, read_part(entry, "with", part))


def _supply(entry: Entry) -> Edit:
    return Edit("supply", entry.label("rail"), entry.value("volts", VOLT))


def _cut(entry: Entry) -> Edit:
    given = entry.raw("cut")
    if not isinstance(given, list) or len(given) != 2:
        raise entry.fail("cut", f"{shown(given)} is not a pair of places, or of lists of places")
    sides = tuple(
        tuple(entry.place("cut", place) for place in (side if isinstance(side, list) else [side])) for side in given
    )
    every = [place for side in sides for place in side]
    if len(set(every)) != len(every) or not all(sides):
        raise entry.fail("cut", f"{shown(given)}: each side has places of its own")
    return Edit("cut", "", sides=sides)


def _move(entry: Entry) -> Edit:
    lug, place = (entry.place(key, entry.raw(key)) for key in ("move", "to"))
    if "." not in lug:
        raise entry.fail("move", f"{shown(lug)} is not a part's end; written for example LS1.1")
    if lug == place:
        raise entry.fail("to", f"{lug} is there already; name the place that it is moved to")
    return Edit("move", "", between=(lug, place))


_MAY_HAVE = {"pot": "tap", "valve": "screen"}
"""The pin that not every part of a kind has."""


def _at(value: object) -> list[str]:
    """The places or the part that an entry names."""
    return [each for each in (value if isinstance(value, list) else [value]) if isinstance(each, str)]


def read_fitting(entry: Entry) -> Edit:
    """Read where a part is fitted: the entries `fit`, one of the four ways, `wired` for a pot.

    Raises
    ------
    DescriptionError
        Naming file, entry, offending value and what would do.
    """
    part = entry.designator("fit")
    ways = [way for way in ("across", "between", "in_series_at", "pins") if entry.has(way)]
    if len(ways) != 1:
        given = [each for each in entry.names() if each not in ("fit", "wired")]
        told = f"; given: {', '.join(map(shown, given))}" if given else ""
        raise entry.fail("fit", f"a part is fitted in exactly one way: across, between, in_series_at or pins{told}")
    wired = entry.choice("wired", ("rising", "falling"), "rising" if kind_of(part) == "pot" else "")
    named = [] if ways[0] == "pins" else _at(entry.raw(ways[0]))
    itself = [place for place in named if place.partition(".")[0] == part]
    if itself:
        raise entry.fail(ways[0], f"{part} would lie at itself; name what it is fitted to")
    if ways[0] != "pins" and len(PINS.get(kind_of(part), ())) > 2 and kind_of(part) != "pot":
        raise entry.fail(ways[0], f"{part} has the pins {', '.join(PINS[kind_of(part)])}; written pins = {{ ... }}")
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
    pins = tuple((pin, table.place(pin, table.raw(pin))) for pin in table.names())
    wanted = PINS.get(kind_of(part), ("plate", "grid", "cathode"))
    if {pin for pin, _ in pins} - {_MAY_HAVE.get(kind_of(part), "")} != set(wanted):
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
        raise entry.fail(key, f'{shown(value)} is not a pair of places, such as ["P1.top", "P1.wiper"]')
    return entry.place(key, value[0]), entry.place(key, value[1])


_ACTIONS: dict[str, Callable[[Entry], Edit]] = {
    "replace": _replacement,
    "fit": read_fitting,
    "lift": _lifting,
    "bridge": _bridging,
    "cut": _cut,
    "move": _move,
    "rail": _supply,
}


def _check_mod(top: Entry, mod: Mod) -> None:
    lists = [("edits", list(mod.edits))]
    for switch in mod.switches:
        lists += [
            (f"switches: {setting_clause(switch.control, label)}", [*mod.edits, *edits])
            for label, edits in switch.positions
        ]
    for where, edits in lists:
        names = [name for edit in edits for name in _edited_places(edit)]
        for name in names:
            if names.count(name) > 1:
                raise top.fail("", f"{where}: {name} is edited twice")
    fitted = {edit.part for edit in mod.every_edit() if edit.action == "fit"}
    for net in mod.nets:
        count = sum(edit.places.count(net) for edit in mod.every_edit())
        if count < 2:
            alone = next((edit.part or edit.opened[0] for edit in mod.every_edit() if net in edit.places), "nothing")
            raise top.fail("nets", f"{alone} alone is on {shown(net)}; a wire joins two lugs")
    unused = sorted(part.designator for part in mod.parts if part.designator not in fitted)
    if unused:
        raise top.fail("parts", f"{', '.join(unused)} is fitted nowhere")


def _edited_places(edit: Edit) -> set[str]:
    return {edit.part, *edit.opened} - {""}
