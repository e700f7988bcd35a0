"""What a schematic has otherwise than its circuit, or that cannot be read: from the geometry alone."""

from __future__ import annotations

from collections.abc import Iterator
from itertools import combinations

from ampsim.work.schematic.contents import Contents
from ampsim.work.schematic.geometry import Box, Point, Sheet, grown, inside, meet


def drawing_faults(given: Contents, sheet: Sheet) -> list[str]:
    """Parts missing or twice, nets torn or joined, words at the wrong net, things on one another."""
    return [*_wrong_parts(given, sheet), *_wrong_nets(given, sheet), *_overlaps(sheet), *_hidden_wires(sheet)]


def _wrong_parts(given: Contents, sheet: Sheet) -> Iterator[str]:
    drawn, wanted = sorted(each.item.name for each in sheet.symbols), sorted(item.name for item in given.items)
    if drawn != wanted:
        yield f"drawn {set(drawn) ^ set(wanted)} of {len(wanted)}, {len(drawn)} symbols"


def _wrong_nets(given: Contents, sheet: Sheet) -> Iterator[str]:
    read = sheet.netlist()
    pairs = {(net, read[item.name][pin]) for item in given.items if item.name in read for pin, net in item.pins}
    for side, what in ((0, "torn"), (1, "joined")):
        ends = [pair[side] for pair in pairs]
        yield from (f"{what}: {end}" for end in set(ends) if ends.count(end) > 1)
    found = {mine: theirs for theirs, mine in pairs}
    by_point = {point: read[each.item.name][pin] for each in sheet.symbols for pin, point in each.ends.items()}
    for sign in sheet.signs:
        joined = {found[by_point[point]] for point in _reached(sheet, sign.at) if point in by_point}
        for net in joined:
            name = "" if net == given.ground else given.rails.get(net) or given.flags.get(net, sign.text)
            if sign.text != name or (sign.kind == "ground") != (net == given.ground):
                yield f"{sign.kind} {sign.text} at net {net}"
        if not joined:
            yield f"{sign.kind} {sign.text} at nothing"


def _reached(sheet: Sheet, start: Point) -> set[Point]:
    """Points that wires lead to."""
    found = {start}
    points = {point for symbol in sheet.symbols for point in symbol.ends.values()} | {sign.at for sign in sheet.signs}
    points |= {point for wire in sheet.wires for point in wire}
    grew = True
    while grew:
        grew = False
        for first, second in sheet.wires:
            on = {point for point in points if point in (first, second) or inside(point, first, second)}
            if on & found and not on <= found:
                found |= on
                grew = True
    return found


def rooms(sheet: Sheet) -> list[tuple[str, Box]]:
    """Everything that takes room: bodies and texts of parts, signs."""
    found = [(f"{each.item.name} {n}", box) for each in sheet.symbols for n, box in enumerate(each.boxes)]
    return found + [(f"{sign.kind} {sign.text} at {sign.at}", sign.box) for sign in sheet.signs]


def _overlaps(sheet: Sheet) -> Iterator[str]:
    everything = [(name, grown(box, -0.01)) for name, box in rooms(sheet)]
    # The names of its positions stand between the throws of a switch.
    within = {
        frozenset((f"{s.item.name} 0", f"{s.item.name} {n}"))
        for s in sheet.symbols
        for n in range(2, 20)
        if s.item.throws
    }
    for (one, a), (other, b) in combinations(everything, 2):
        if meet(a, b) and frozenset((one, other)) not in within:
            yield f"{one} on {other}"
    for first, second in sheet.wires:
        line = (min(first[0], second[0]), min(first[1], second[1]), max(first[0], second[0]), max(first[1], second[1]))
        yield from (f"wire {first} {second} through {name}" for name, box in everything if meet(grown(line, 0.01), box))


def _hidden_wires(sheet: Sheet) -> Iterator[str]:
    """Crossings that could be taken for joints, and wires along other wires."""
    dots = set(sheet.dots())
    yield from (f"crossing at a dot {point}" for point in sheet.crossings() if point in dots)
    ends = {point for wire in sheet.wires for point in wire}
    for first, second in combinations(sheet.wires, 2):
        points = [point for point in ends if inside(point, *first) and inside(point, *second)]
        yield from (f"wires on one another at {point}" for point in points)


def fill(sheet: Sheet, wide: float, high: float, unit: float) -> float:
    """Share of a sheet [inches] that the drawing's bounds take [ratio]."""
    left, low, right, top = sheet.bounds()
    return (right - left) * unit * (top - low) * unit / (wide * high)
