"""Which values a part may take: an E series between bounds, a list, or what lies in the drawer."""

from __future__ import annotations

import re

from ..base.e_series import preferred_values
from ..base.entries import Entry
from ..base.errors import nearest, shown
from ..base.quantities import Quantity
from ..circuit.amp import Amp, Part
from ..circuit.designators import kind_of
from ..studies.search.wishes import Choice, Drawer, Stocked
from .mods import read_fitting
from .parts import QUANTITY

_SERIES = re.compile(r"(?:(E6|E12|E24)|drawer)(?:\s+from\s+(\S.{0,19}?)\s+to\s+(\S.{0,19}))?")
_ADVICE = 'written for example "E12 from 47p to 1n", "drawer", ["1k", "1k5"]'
_MOST = 500


def read_choice(entry: Entry, amp: Amp, drawer: Drawer | None) -> Choice:
    """Read one [[parts]] table: a part of the amp ("replace") or a new one ("fit"), and its values.

    Raises
    ------
    DescriptionError
        For an unknown part, one that is neither resistor nor capacitor, values that cannot be read, a drawer without
        such a part.
    """
    new = entry.has("fit")
    if new == entry.has("replace"):
        raise entry.fail("", f"a part to choose says either replace or fit; given: {shown(entry.names())}")
    part = entry.designator("fit" if new else "replace")
    _check_part(entry, amp, part, new)
    kind = kind_of(part)
    values, stocked = _values(entry, kind, drawer)
    left_out = entry.has("none") and entry.raw("none")
    if not isinstance(left_out, bool):
        raise entry.fail("none", f"{shown(left_out)} is not true or false; true: the part may be left out")
    edit = read_fitting(entry) if new else None
    if left_out and edit is not None and edit.in_series:
        raise entry.fail("none", f"{part} stands in series: leaving it out would open the wire")
    entry.finish(" in a part to choose")
    return Choice(part, kind, ((None, *values) if left_out else values), edit, stocked)


def _check_part(entry: Entry, amp: Amp, part: str, new: bool) -> None:
    known = amp.part_by_designator
    key = "fit" if new else "replace"
    if new and part in known:
        raise entry.fail(key, f"{part} is a part of the amp already; say replace, or give the new part another name")
    if not new and part not in known:
        raise entry.fail(key, f"{shown(part)} is not a part of {amp.name}{nearest(part, known)}")
    if kind_of(part) not in ("resistor", "capacitor") or (not new and not isinstance(known[part], Part)):
        raise entry.fail(key, f"{part} is a {kind_of(part) or 'part of no known kind'}; only resistors and capacitors")


def _values(entry: Entry, kind: str, drawer: Drawer | None) -> tuple[tuple[float, ...], tuple[Stocked, ...]]:
    given, quantity = entry.raw("values"), QUANTITY[kind]
    if isinstance(given, list):
        values = [entry.parsed("values", each, quantity) for each in given[: _MOST + 1]]
        return _sorted(entry, values), ()
    found = _SERIES.fullmatch(given.strip()) if isinstance(given, str) else None
    if not found:
        raise entry.fail("values", f"{shown(given)} says no values; {_ADVICE}")
    series, *edges = found.groups()
    low, high = _bounds(entry, edges, quantity)
    if series:
        if not edges[0]:
            raise entry.fail("values", f"{shown(given)} has no bounds; {_ADVICE}")
        return _sorted(entry, preferred_values(series, low, high)), ()
    if drawer is None:
        raise entry.fail("values", "there is no drawer; name one at the top of the file (drawer = ...)")
    stocked = tuple(each for each in drawer.parts if each.kind == kind and low <= each.value <= high)
    if not stocked:
        raise entry.fail("values", f"the drawer '{drawer.name}' holds no {kind} for {shown(given)}")
    return _sorted(entry, [each.value for each in stocked]), stocked


def _bounds(entry: Entry, edges: list[str | None], quantity: Quantity) -> tuple[float, float]:
    if edges[0] is None:
        return quantity.least, quantity.most
    low, high = (entry.parsed("values", edge, quantity) for edge in edges)
    if low > high:
        raise entry.fail("values", f"{shown(entry.raw('values'))}: the smaller value comes first")
    return low, high


def _sorted(entry: Entry, values: list[float]) -> tuple[float, ...]:
    if not 1 <= len(values) <= _MOST:
        few = "no value lies there" if not values else f"more than {_MOST} values"
        raise entry.fail("values", f"{shown(entry.raw('values'))}: {few}")
    return tuple(sorted(set(values)))
