"""Dividing a circuit into rows that fit a sheet, with letters where wires go on in another row."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

from ...circuit.designators import kind_of
from ...circuit.nets import Groups
from .contents import Contents, is_entry, part_of
from .flow import Flow
from .geometry import Sheet
from .items import Item
from .levels import Levels
from .placing import Row
from .section import best_cut, touched_part
from .stacking import HIGH, LARGEST, WIDE, stacked
from .standing import letters

_MOST_ROWS = 4


@dataclass(frozen=True)
class Drawing:
    """A drawing on a sheet: what of the circuit it shows, its geometry, and the inches of a unit."""

    shown: Contents
    sheet: Sheet
    unit: float


def lay_out(every: Contents, whole: bool = False) -> Drawing:
    """Draw a circuit in the rows that let it be largest: all of it, or what is touched with its neighbours."""
    apart = supply_items(every)
    supply = {item.name for item in apart}
    every = replace(every, flags={**_tapped(every, apart), **every.flags})
    signal = [item for item in every.items if item.name not in supply]
    flow = Flow(replace(every, items=tuple(signal)))
    long, places = _row(flow, signal, _outer_ends(flow, signal)) if signal else (Sheet(), {})
    names = {item.name for item in every.items}
    if not whole and every.touched:
        names = touched_part(flow, places, every.touched)
        names |= supply if supply & every.touched or len(names) == len(signal) else set()
    shown = part_of(every, names) if len(names) < len(every.items) else every
    flow = Flow(flow.given, dict(shown.flags))
    signal = [item for item in signal if item.name in names]
    strip = _supply_sheet(every, supply) if supply & names else None
    options = [stacked([], strip)] if not signal else []
    if signal:
        whole_row = long if len(signal) == len(places) else _row(flow, signal, _outer_ends(flow, signal))[0]
        for count in _likely_counts(whole_row):
            rows = [whole_row] if count == 1 else _divided(flow, signal, places, count)
            options += [stacked(rows, strip)] if rows else []
        options = options or [stacked([whole_row], strip)]
    best = max(options, key=lambda each: each.unit)
    return Drawing(shown, best.sheet, best.unit)


def _tapped(given: Contents, supply: set[Item]) -> dict[str, str]:
    """Nets inside the supply, no rails, that something else is on too, by the pin that says where."""
    inside = {net: f"{item.name}.{pin}" for item in supply if item.kind != "rail" for pin, net in item.pins}
    outside = {net for item in given.items if item not in supply for net in item.nets}
    return {net: word for net, word in inside.items() if net in outside and not given.common(net)}


def _likely_counts(row: Sheet) -> list[int]:
    """The two numbers of rows that seem to let a long row be drawn largest."""
    left, low, right, top = row.bounds()

    def unit(count: int) -> float:
        return min(WIDE * count / (right - left), HIGH / (count * (top - low)), LARGEST)

    return sorted(range(1, _MOST_ROWS + 1), key=unit, reverse=True)[:2]


def _row(flow: Flow, items: Sequence[Item], ends: dict[str, tuple[str, str]]) -> tuple[Sheet, dict[str, int]]:
    best = None
    for air in (0.9, 1.6, 2.6, 4.0):
        row = Row(flow, Levels(flow), items, ends, air)
        sheet = row.sheet()
        if best is None or len(row.torn) < best[0]:
            best = (len(row.torn), sheet)
        if not row.torn:
            break
    assert best is not None
    sheet = best[1]
    return sheet, {symbol.item.name: symbol.at[0] for symbol in sheet.symbols}


def _outer_ends(flow: Flow, items: Sequence[Item]) -> dict[str, tuple[str, str]]:
    """Nets that go on outside the drawing, on the left where the signal comes from there."""
    found = {}
    on = {net for item in items for net in item.nets}
    for net, word in flow.flags.items():
        if net in on and not flow.given.common(net):
            found[net] = (word, "right" if not is_entry(word) and _is_driven(flow, items, net) else "left")
    return found


def _is_driven(flow: Flow, items: Sequence[Item], net: str) -> bool:
    """Whether the signal comes to a net through one of these items."""
    own = [item for item in items if net in item.nets and item.name not in flow.back]
    return any(flow.far(other) < flow.far(net) for item in own for other in flow.signal(item))


def _divided(flow: Flow, items: Sequence[Item], places: dict[str, int], count: int) -> list[Sheet]:
    """The rows when the long row is cut where few wires cross."""
    forward = [item for item in items if item.name not in flow.back]
    left, right = min(places[item.name] for item in items), max(places[item.name] for item in items)
    cuts: list[float] = []
    for number in range(1, count):
        aim = left + (right - left) * number / count
        cuts.append(best_cut(flow, forward, places, aim, (right - left) / count * 0.3))
    groups = [[item for item in forward if sum(places[item.name] > cut for cut in cuts) == n] for n in range(count)]
    if any(len(group) < 2 for group in groups):
        return []
    for item in items:
        if item.name in flow.back:
            met = [sum(net in each.nets for each in group for net in flow.signal(item)) for group in groups]
            groups[met.index(max(met))].append(item)
    return [_row(flow, group, ends)[0] for group, ends in zip(groups, _ends(flow, groups), strict=True)]


def _ends(flow: Flow, groups: Sequence[Sequence[Item]]) -> list[dict[str, tuple[str, str]]]:
    """For each row the nets that go on: outside, or in another row by a letter."""
    found = [_outer_ends(flow, group) for group in groups]
    on = [{net for item in group for net in item.nets if not flow.given.common(net)} for group in groups]
    words = letters("A")
    for net in sorted({net for nets in on for net in nets}, key=lambda net: (flow.far(net), net)):
        rows = [n for n, nets in enumerate(on) if net in nets]
        if len(rows) < 2:
            continue
        word = next(words)
        for n in rows:
            found[n][net] = (word, "right" if n == rows[0] else "left")
            if net in flow.flags:
                found[n][net] = (flow.flags[net], found[n][net][1])
    return found


# The supply ----------------------------------------------------------------------------------------------------------


def supply_items(given: Contents) -> set[Item]:
    """Parts that only join rails, ground and each other."""
    found = {item for item in given.items if item.kind == "rail" or all(map(given.common, item.nets))}
    passive = [item for item in given.items if item.kind in ("resistor", "capacitor", "inductor", "rail", "diode")]
    found |= _chains(given, passive)
    while True:
        nets = {net for item in found for net in item.nets if not given.common(net)}
        more = {item for item in passive if item not in found and nets & set(item.nets)}
        closed = {
            item
            for item in more
            if all(given.common(net) or net in nets or _all_passive(given, net, passive) for net in item.nets)
        }
        if not closed - found:
            return found
        found |= closed


def _chains(given: Contents, passive: Sequence[Item]) -> set[Item]:
    """Parts tied to each other by nets that nothing else is on, from a rail to rails or ground."""
    groups: Groups[str] = Groups(str)
    for item in passive:
        own = [net for net in item.nets if not given.common(net)]
        for net in own[1:]:
            groups.join(own[0], net)
    spoilt = {groups.find(net) for net in {given.start, *given.flags}}
    spoilt |= {groups.find(net) for item in given.items if item not in passive for net in item.nets}
    of: dict[str, set[Item]] = {}
    for item in passive:
        for net in item.nets:
            if not given.common(net):
                of.setdefault(groups.find(net), set()).add(item)
    whole = (items for name, items in of.items() if name not in spoilt)
    return {item for items in whole if any(set(given.rails) & set(each.nets) for each in items) for item in items}


def _all_passive(given: Contents, net: str, passive: Sequence[Item]) -> bool:
    return all(item in passive for item in given.items if net in item.nets)


def _supply_sheet(given: Contents, supply: set[str]) -> Sheet:
    items = tuple(item for item in given.items if item.name in supply)
    sources = [item.nets[0] for item in items if item.kind == "rail"]
    on = {net for item in items for net in item.nets}
    rails = {net: name for net, name in given.rails.items() if net in on}
    start = sources[0] if sources else next(iter(rails), "")
    windings: dict[str, tuple[str, ...]] = {}
    for item in items:
        transformer, _, rest = item.name.partition(" (")
        if kind_of(transformer) == "mains transformer":
            nets = tuple(net for net in item.nets if not given.common(net))
            own_name = f"{transformer} {rest.partition(' ')[0]}"
            windings[own_name] = (*windings.get(own_name, ()), *nets)
    own = Flow(Contents(items, given.ground, {}, rails, "" if windings else start, windings=tuple(windings.values())))
    tapped = {net: (word, "right") for net, word in given.flags.items() if net in on}
    return _row(own, items, tapped | {net: (name, "up") for net, name in rails.items()})[0]
