"""From the tables of a wish file or a drawer file to wishes, choices and parts at hand."""

from __future__ import annotations

import itertools
from collections.abc import Mapping

from ..base.entries import Entry
from ..base.errors import DescriptionError, nearest, shown
from ..base.quantities import HERTZ, VOLT, Quantity
from ..circuit.amp import Amp, Mod, Part
from ..circuit.build import circuit_at
from ..circuit.feedback import feedback_loop
from ..circuit.mods import apply_mods
from ..circuit.positions import Position, switches_at
from ..circuit.values import switched_value, with_values
from ..studies.search.wishes import Choice, Drawer, Stocked, Wish, WishKind, WishList
from .auditions import plugged_amps, read_setting
from .choices import read_choice
from .limits import read_limits
from .parts import QUANTITY

FREQUENCIES = (20.0, 20e3)
MOST_CIRCUITS = 2_000_000
_MOST_WISHES, _MOST_CHOICES = 12, 8
_PERCENT = Quantity("tolerance", "%", ("%",), "", 0.0, 50.0)
_WATT = Quantity("power", "W", ("W",), "m", 1e-3, 1e3)
_KINDS: dict[str, WishKind] = {
    "more": WishKind.GAIN,
    "less": WishKind.GAIN,
    "change": WishKind.GAIN,
    "plate_current": WishKind.PLATE_CURRENT,
    "plate_voltage": WishKind.PLATE_VOLTAGE,
    "margin": WishKind.LOOP_MARGIN,
}
_BANDS = ("between", "below", "above", "near")


def read_drawer(data: Mapping[str, object], file: str) -> Drawer:
    """Make a Drawer of a drawer file's tables.

    Raises
    ------
    DescriptionError
        Naming file, entry, offending value; also for a drawer without parts.
    """
    top = Entry(data, file)
    top.read_units()
    name = top.label("name")
    tables = [(each, kind) for kind in ("resistor", "capacitor") for each in top.tables(f"{kind}s")]
    parts = [part for each, kind in tables for part in _drawer_parts(each, kind)]
    top.finish(" in a drawer")
    if not parts:
        raise top.fail("", "the drawer is empty; parts stand under [[resistors]] and [[capacitors]]")
    return Drawer(name, tuple(parts))


def _drawer_parts(entry: Entry, kind: str) -> list[Stocked]:
    given = entry.raw("values")
    if not isinstance(given, list) or not 1 <= len(given) <= 500:
        raise entry.fail("values", f"{shown(given)} is not a list of values")
    values = [entry.element("values", each).value("values", QUANTITY[kind]) for each in given]
    tolerance = entry.value("tolerance", _PERCENT, 0.0) / 100.0
    volts = entry.value("volts", VOLT) if entry.has("volts") else float("inf")
    if volts <= 0.0:
        raise entry.fail("volts", f"{shown(entry.raw('volts'))} is not a rating; it is above 0 V")
    watts = entry.value("watts", _WATT) if entry.has("watts") else float("inf")
    entry.finish(" in a drawer")
    return [Stocked(kind, value, tolerance, volts, watts) for value in values]


def read_wishes(
    data: Mapping[str, object], file: str, stock: Amp, modded: Amp, drawer: Drawer | None = None
) -> WishList:
    """Make a WishList of a wish file's tables; amp, mods and drawer it names are loaded by the caller.

    Each part that may change and each wish is checked against the amp with its mods.

    Parameters
    ----------
    data, file, stock, modded
        As those of `auditions.read_audition`.
    drawer : Drawer, optional
        Parts at hand.

    Raises
    ------
    DescriptionError
        Naming file, entry, offending value and what would do: for wishes that cannot be read or contradict one
        another, parts and valves that are not there, an empty drawer, a margin without a loop, too many circuits.
    """
    top = Entry(data, file)
    top.read_units()
    for key in ("amp", "mods", "drawer"):
        top.has(key)
    name, about = top.label("name"), top.text("about", "")
    stock, modded = plugged_amps(top, stock, modded)
    listen_at = top.place("listen_at", top.raw("listen_at")) if top.has("listen_at") else "speaker"
    tables = {key: top.tables(key) for key in ("wishes", "parts")}
    top.finish()
    for key, most in (("wishes", _MOST_WISHES), ("parts", _MOST_CHOICES)):
        if not 1 <= len(tables[key]) <= most:
            raise top.fail(key, f"{len(tables[key])} of [[{key}]]; expected 1 to {most}")
    choices = tuple(read_choice(each, modded, drawer) for each in tables["parts"])
    _once(top, [choice.part for choice in choices])
    base = _fitted(top, modded, choices)
    wishes = tuple(_wish(each, base) for each in tables["wishes"])
    found = WishList(name, about, stock, base, listen_at, wishes, choices, file)
    _check_contradictions(top, wishes)
    _check_circuits(top, found)
    return found


def _once(top: Entry, names: list[str]) -> None:
    twice = sorted({name for name in names if names.count(name) > 1})
    if twice:
        raise top.fail("parts", f"{twice[0]} is listed twice")


def _fitted(top: Entry, modded: Amp, choices: tuple[Choice, ...]) -> Amp:
    first = {choice.part: next(value for value in choice.values if value is not None) for choice in choices}
    new = [choice for choice in choices if choice.edit is not None]
    if not new:
        return modded
    parts = tuple(Part(choice.part, choice.kind, first[choice.part]) for choice in new)
    edits = tuple(choice.edit for choice in new if choice.edit is not None)
    return apply_mods(modded, Mod("parts on trial", top.text("about", "wished for"), parts, edits, (), file=top.file))


def _wish(entry: Entry, base: Amp) -> Wish:
    keys = [key for key in _KINDS if entry.has(key)]
    if len(keys) != 1:
        raise entry.fail("", f"a wish says exactly one of {', '.join(_KINDS)}; given: {shown(entry.names())}")
    key = keys[0]
    least, most, unit, words = read_limits(entry, key)
    at = read_setting(entry, base)
    band, span = FREQUENCIES, ""
    of: tuple[str, ...] = ()
    if _KINDS[key] is WishKind.GAIN:
        band, span = _band(entry)
        words = f"{words} {key}{span}" if key in ("more", "less") else f"change {words}{span}"
    elif _KINDS[key] is WishKind.LOOP_MARGIN:
        of = _line(entry, base, at)
        words = f"phase margin {words}"
    else:
        of, name = _valves(entry, base, at)
        words = f"{_KINDS[key]} of {name} {words}"
    entry.finish(" in a wish")
    return Wish(_KINDS[key], least, most, unit, band, of, tuple(at.items()), words)


def _band(entry: Entry) -> tuple[tuple[float, float], str]:
    keys = [key for key in _BANDS if entry.has(key)]
    if len(keys) > 1:
        raise entry.fail(keys[1], f"a wish has one band; given: {' and '.join(keys)}")
    if not keys:
        return FREQUENCIES, ""
    given = entry.raw(keys[0])
    edges = given if keys[0] == "between" else [given]
    if not isinstance(edges, list) or (keys[0] == "between" and len(edges) != 2):
        raise entry.fail("between", f'{shown(given)} is not a pair of frequencies, written for example ["2k", "4k"]')
    hertz = [entry.element(keys[0], each).value(keys[0], HERTZ) for each in edges]
    low, high = FREQUENCIES
    if not all(low <= each <= high for each in hertz) or hertz != sorted(set(hertz)):
        raise entry.fail(keys[0], f"{shown(given)}: frequencies rise and lie between {_hz(low)} and {_hz(high)}")
    words = [_hz(each) for each in hertz]
    return {
        "between": ((hertz[0], hertz[-1]), f" from {words[0]} to {words[-1]}"),
        "below": ((low, hertz[0]), f" below {words[0]}"),
        "above": ((hertz[0], high), f" above {words[0]}"),
        "near": ((hertz[0], hertz[0]), f" at {words[0]}"),
    }[keys[0]]


def _hz(hertz: float) -> str:
    return f"{hertz / 1000.0:g} kHz" if hertz >= 1000.0 else f"{hertz:g} Hz"


def _valves(entry: Entry, base: Amp, at: Position) -> tuple[tuple[str, ...], str]:
    wired = circuit_at(base, at)
    valves = {each.designator: each.stage for each in wired.elements if each.kind == "valve"}
    given = entry.raw("of")
    found = tuple(name for name, stage in valves.items() if given in (name, stage))
    if not found:
        known = [*valves, *dict.fromkeys(valves.values())]
        raise entry.fail("of", f"{shown(given)} is neither a valve nor a stage with one{nearest(given, known)}")
    return found, str(given)


def _line(entry: Entry, base: Amp, at: Position) -> tuple[str, ...]:
    key = "of" if entry.has("of") else "margin"
    name = entry.designator("of") if entry.has("of") else ""
    try:
        feedback_loop(base, switches_at(base, at), name)
    except DescriptionError as problem:
        raise entry.fail(key, f"{problem}; so there is no loop with a margin") from None
    return (name,) if name else ()


def _check_contradictions(top: Entry, wishes: tuple[Wish, ...]) -> None:
    for (one, first), (two, second) in itertools.combinations(enumerate(wishes, 1), 2):
        same = (first.kind, first.unit, first.at, first.of) == (second.kind, second.unit, second.at, second.of)
        together = max(first.band[0], second.band[0]) <= min(first.band[1], second.band[1])
        if same and together and max(first.least, second.least) > min(first.most, second.most):
            text = f"wish {one} ({first.label}) and wish {two} ({second.label})"
            raise top.fail("wishes", f"{text} contradict one another: no circuit can meet both")


def _check_circuits(top: Entry, found: WishList) -> None:
    if found.circuits > MOST_CIRCUITS:
        text = f"{found.circuits:,} sets of values are too many; at most {MOST_CIRCUITS:,}"
        raise top.fail("parts", f"{text}: allow fewer parts or fewer values")
    positions = [wish.position for wish in found.wishes]
    for choice in found.choices:
        if not any(_inside(found.base, position, choice.part) for position in positions):
            raise top.fail("parts", f"{choice.part} is not in the circuit at any position a wish speaks of")
        for position in positions:
            switched = switched_value(found.base, choice.part, position)
            if switched is not None and switched.value is not None:
                text = f"switch '{switched.control}' at {switched.position} puts another part in place of {choice.part}"
                raise top.fail("parts", f"{text}, and a wish speaks of that position; choose another part")
    # Fewer parts never make more paths to ground: if all may be left out together, any of them may.
    bare = with_values(found.base, {choice.part: None for choice in found.choices if None in choice.values})
    for position in positions:
        for amp in (found.base, bare):
            try:
                circuit_at(amp, position).net(found.listen_at)
            except DescriptionError as problem:
                raise top.fail("parts" if amp is bare else "", str(problem)) from None


def _inside(amp: Amp, position: Position, part: str) -> bool:
    return any(element.designator == part for element in circuit_at(amp, position).elements)
