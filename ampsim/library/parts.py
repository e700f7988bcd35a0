"""The [parts] of a file: what each designator's letters and value say."""

from __future__ import annotations

import contextlib
from collections.abc import Callable, Iterable
from dataclasses import replace
from functools import lru_cache
from typing import Any, cast

from ..base.entries import Entry
from ..base.errors import DescriptionError, shown
from ..base.quantities import FARAD, HENRY, OHM, Quantity, format_value, parse_value
from ..circuit.amp import AnyPart, Edit, Part, Pot, Socket
from ..circuit.designators import body_of, kind_of, known_letters, meaning_of
from ..circuit.semiconductors.description import FAMILIES, Semiconductor
from ..circuit.semiconductors.description import PINS as DEVICE_PINS
from ..circuit.semiconductors.device import Device
from ..circuit.supply.rectifier_valve import RectifierValve
from ..circuit.tapers import parse_taper
from ..circuit.valves.description import Valve
from .ideal_parts import IDEAL, read_ideal_part
from .lamps import WARM_OR_LIT, read_warm_or_lit
from .output_parts import read_loudspeaker, read_transformer
from .reverb_tanks import PINS as TANK_PINS
from .reverb_tanks import read_reverb_tank
from .supply_parts import read_choke, read_mains_transformer

TypeFinder = Callable[[str, str, str], Any]
"""Finds the data of a type: from the kind of its file ("valve", "semiconductor"), its name and where it is named."""

QUANTITY: dict[str, Quantity] = {"resistor": OHM, "capacitor": FARAD, "inductor": HENRY}
PINS = {
    "resistor": ("1", "2"),
    "capacitor": ("1", "2"),
    "inductor": ("1", "2"),
    "loudspeaker": ("1", "2"),
    "pot": ("top", "wiper", "bottom"),
    "reverb tank": TANK_PINS,
    **DEVICE_PINS,
}


RESERVED = ("ground", "input", "speaker")
"""Places that every amp has."""


def types_of(
    parts: tuple[AnyPart, ...], edits: Iterable[Edit], file: str, find: TypeFinder
) -> tuple[tuple[Valve, ...], tuple[Semiconductor, ...]]:
    """The data of every type of valve and semiconductor among the parts, and among those that edits put in.

    Parameters
    ----------
    parts : tuple of AnyPart
    edits : iterable of Edit
    file : str
        What messages call the file.
    find : callable
        A `TypeFinder`.
    """
    edits = tuple(edits)
    plugged_in = [part for part in parts if isinstance(part, (Socket, Device)) and in_socket(part)]
    valves = {part.type: f"parts.{part.designator}" for part in plugged_in}
    known = [part for part in parts if isinstance(part, Device) and part not in plugged_in]
    devices = {(part.type, part.kind): f"parts.{part.designator}" for part in known if part.own is None}
    put_in = [edit.value for edit in edits if isinstance(edit.value, Device)]
    own = {part.type: part.own for part in (*known, *put_in) if part.own is not None}
    for edit in edits:
        kind = kind_of(edit.part)
        if edit.action == "replace" and kind == "valve":
            valves.setdefault(str(edit.value), edit.part)
        elif edit.action == "replace" and kind in FAMILIES:
            devices.setdefault((str(edit.value), kind), edit.part)
    found = {name: _device(find, name, kind, f"{file}: {where}") for (name, kind), where in devices.items()}
    plugged = [_valve(find, name, f"{file}: {where}") for name, where in valves.items()]
    rectifiers = [each for each in plugged if isinstance(each, RectifierValve)]
    return tuple(each for each in plugged if isinstance(each, Valve)), (*found.values(), *own.values(), *rectifiers)


def in_socket(part: AnyPart) -> bool:
    """Whether a part is plugged into a socket: any valve, a rectifier too."""
    return part.kind in ("valve", "rectifier valve")


def _valve(find: TypeFinder, name: str, where: str) -> Valve | RectifierValve:
    return cast("Valve | RectifierValve", find("valve", name, where))


def with_type_names(edits: Iterable[Edit], file: str, find: TypeFinder) -> tuple[Edit, ...]:
    """Edits in which a valve that is put in has the name of its file, whichever of its names was written.

    Parameters
    ----------
    edits : iterable of Edit
    file : str
        What messages call the file.
    find : callable
        A `TypeFinder`.
    """
    return tuple(
        replace(edit, value=_valve(find, str(edit.value), f"{file}: {edit.part}").type)
        if edit.action == "replace" and kind_of(edit.part) == "valve"
        else edit
        for edit in edits
    )


def _device(find: TypeFinder, name: str, kind: str, where: str) -> Semiconductor:
    found = cast(Semiconductor, find("semiconductor", name, where))
    if found.type != name:
        raise DescriptionError(
            f"{where}: the file {shown(name)} describes a semiconductor of type {shown(found.type)}; "
            "give the file and its type the same name"
        )
    if found.family not in FAMILIES[kind]:
        raise DescriptionError(f"{where}: {name} is a {found.family}; a {kind} is a {' or '.join(FAMILIES[kind])}")
    return found


def read_parts(table: Entry, find: TypeFinder | None = None) -> tuple[AnyPart, ...]:
    """Read every part of a [parts] table; what is in a socket says its type's file, or else is taken to amplify."""
    return tuple(
        _plugged(read_part(table, key, table.check_designator(key, key)), table, find) for key in table.names()
    )


def _plugged(part: AnyPart, table: Entry, find: TypeFinder | None) -> AnyPart:
    if not isinstance(part, Socket) or find is None:
        return part
    found = _valve(find, part.type, table.where(part.designator))
    rectifies = isinstance(found, RectifierValve)
    return Device(part.designator, found.type, "rectifier valve") if rectifies else replace(part, type=found.type)


def read_part(table: Entry, key: str, designator: str) -> AnyPart:
    """Read what stands under a key of a table as the part of a designator.

    Raises
    ------
    DescriptionError
        Naming file, entry, offending value and what would do.
    """
    kind = kind_of(designator)
    if kind == "valve":
        return Socket(designator, table.type_name(key))
    if kind in FAMILIES:
        return Device(designator, table.type_name(key), kind)
    if kind in IDEAL:
        return read_ideal_part(table, key, designator, kind)
    if kind in WARM_OR_LIT:
        return read_warm_or_lit(table, key, designator, kind)
    if kind in QUANTITY:
        if kind == "inductor" and isinstance(table.raw(key), dict):
            return read_choke(designator, table.table(key))
        return Part(designator, kind, table.value(key, QUANTITY[kind]))
    if kind in _COMPOUND:
        if kind == "pot" and isinstance(table.raw(key), (str, int, float)):
            return _pot(designator, Entry({"track": table.raw(key)}, table.file, f"{table.name}.{key}", table.us))
        if not isinstance(table.raw(key), dict):
            like = f"a {kind} is a table, such as {key} = {_EXAMPLES[kind]}"
            raise table.fail(key, f"{shown(table.raw(key))} is not enough; {like}")
        return _COMPOUND[kind](designator, table.table(key))
    raise table.fail(key, f"{_unknown(designator)}; known: {known_letters()}")


def _unknown(designator: str) -> str:
    meaning = meaning_of(designator)
    if not meaning:
        return f"{shown(designator)} tells no kind of part by its letters"
    if meaning == "switch":
        return f"{shown(designator)} is a switch; a switch is described by a table [[switches]]"
    return f"{shown(designator)} would be a {meaning}, which ampsim does not have"


def _pot(designator: str, entry: Entry) -> Pot:
    track, marked = read_track(entry, "track")
    control = entry.label("control", body_of(designator).lower())
    taper = parse_taper(entry.raw("taper"), entry.where("taper")) if entry.has("taper") else marked or "linear"
    if marked and marked != taper:
        raise entry.fail("taper", f"{taper} beside a track marked {shown(entry.raw('track'))}, which is {marked}")
    rotation = entry.number("rotation", 0.0, 1.0, 0.5)
    tap = entry.number("tap", 0.01, 0.99) if entry.has("tap") else None
    entry.finish()
    return Pot(designator, track, taper, control, rotation, tap=tap)


def read_track(entry: Entry, key: str) -> tuple[float, str]:
    """A track [ohm] and the taper that is marked beside it: "1M" (no taper), "A1M", "500kB", "250k lin".

    Raises
    ------
    DescriptionError
        When it is missing, or cannot be read, or in two ways.
    """
    text = entry.raw(key)
    found = _marked_tracks(text) if isinstance(text, str) and len(text) <= 40 else frozenset()
    if len(found) > 1:
        ways = " or as ".join(f"{format_value(track, OHM)} {taper}" for track, taper in sorted(found))
        raise entry.fail(key, f"{shown(text)} can be read as {ways}; write track and taper apart")
    return next(iter(found), None) or (entry.value(key, OHM), "")


@lru_cache(maxsize=1024)
def _marked_tracks(text: str) -> frozenset[tuple[float, str]]:
    """Every way to part a text into a track and a taper, or a taper and a track."""
    found = set()
    for cut in range(1, len(text)):
        first, last = text[:cut].strip(" ,"), text[cut:].strip(" ,")
        last = last[1:] if len(last) == 2 and last[0] == "-" else last  # "1M-A"
        for track, taper in ((first, last), (last, first)):
            with contextlib.suppress(DescriptionError):
                found.add((parse_value(track, OHM), parse_taper(taper)))
    return frozenset(found)


_COMPOUND: dict[str, Callable[[str, Entry], AnyPart]] = {
    "pot": _pot,
    "transformer": read_transformer,
    "loudspeaker": read_loudspeaker,
    "reverb tank": read_reverb_tank,
    "mains transformer": read_mains_transformer,
}
_EXAMPLES = {
    "pot": '{ track = "1M", taper = "audio 15 %" }',
    "transformer": '{ primary = "8k", taps = ["8"] }',
    "loudspeaker": '{ resistance = "6.4" } (ohms of its coil; what else is known of it may stand beside)',
    "reverb tank": '{ input = "8", output = "2k25" }',
    "mains transformer": '{ mains = 230, primary = 230, primary_resistance = "12", windings = { ht = { volts = '
    '"300-0-300", resistance = "120" } } }',
}
