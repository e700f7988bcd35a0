"""Where a long row of parts is cut: into rows, or round what a mod touches."""

from __future__ import annotations

from collections.abc import Collection, Iterable, Mapping

from .flow import Flow
from .items import Item

_ENOUGH = 22
"""Parts that fill a sheet."""
_MOST = 0.6
"""Share of an amp from which on it is shown as a whole."""


def best_cut(flow: Flow, items: Iterable[Item], places: Mapping[str, int], aim: float, slack: float) -> float:
    """Where fewest nets cross.

    Parameters
    ----------
    flow : Flow
    items : iterable of Item
        What is cut.
    places : mapping of str to int
        How far along each stands in the long row [units].
    aim, slack : float
        About where, and how far from there at most [units].
    """
    found: dict[str, list[int]] = {}
    for item in items:
        for net in flow.signal(item):
            found.setdefault(net, []).append(places[item.name])
    spans = [(min(across), max(across), _weight(flow, net)) for net, across in found.items()]
    slack = max(slack, 0.5)
    options = [aim - slack + 0.5 + k for k in range(int(2 * slack) + 1)]

    def price(cut: float) -> float:
        crossed = sum(weight for first, last, weight in spans if first <= cut < last)
        return crossed + 2.0 * ((cut - aim) / max(slack, 1.0)) ** 2

    return min(options, key=price)


def _weight(flow: Flow, net: str) -> int:
    """How much it costs to cut a net: an end of a pot's track, or a cathode, more than a wire from stage to stage."""
    pins = {(item.kind, pin) for item, pin in flow.on[net]}
    return 3 if pins & {("pot", "top"), ("pot", "bottom"), ("valve", "cathode")} else 1


def touched_part(flow: Flow, places: Mapping[str, int], touched: Collection[str]) -> set[str]:
    """Names of what to show: the stretch of the long row with what is touched, on to the valves left and right of it.

    Where that is little, on to the next valves; where it is most of the amp, all of it.
    """
    items = flow.given.items
    there = [places[name] for name in touched if name in places]
    if not there:
        return {item.name for item in items}
    forward = [item for item in items if item.name not in flow.back]
    valves = sorted({places[item.name] for item in items if item.kind == "valve"})
    first, last = min(there), max(there)
    left, right = sum(x < first for x in valves) - 1, sum(x <= last for x in valves)
    while True:
        low = _between(flow, forward, places, valves, left)
        high = _between(flow, forward, places, valves, right + 1)
        names = {item.name for item in forward if low < places[item.name] <= high} | set(touched) & set(places)
        nets = {net for item in forward if item.name in names for net in flow.signal(item)}
        names |= {item.name for item in items if item.name in flow.back and set(flow.signal(item)) <= nets}
        if len(names) >= _ENOUGH or (left <= 0 and right >= len(valves) - 1):
            break
        left, right = left - 1, right + 1
    return names if len(names) < _MOST * len(items) else {item.name for item in items}


def _between(flow: Flow, items: Iterable[Item], places: Mapping[str, int], valves: list[int], number: int) -> float:
    """The best cut left of a valve, by its number in the long row; beyond the ends where there is none."""
    if number <= 0:
        return float("-inf")
    if number >= len(valves):
        return float("inf")
    before, valve = valves[number - 1], valves[number]
    return best_cut(flow, items, places, (before + valve) / 2, (valve - before) / 2 - 1)
