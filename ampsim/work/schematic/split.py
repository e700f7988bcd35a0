"""Taking a fragment to pieces that are drawn apart: what no wire joins, and what is wider than the page."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import replace

from ...circuit.nets import Nets
from .blocks import wired_terminals
from .fragment import Fragment, Item
from .signal_line import DrawingPlan, sort_fragment


def split_unwired(fragment: Fragment) -> list[Fragment]:
    """The pieces of a fragment that its drawing would not join by wires, in the order of the signal line."""
    plan = sort_fragment(fragment)
    joined = Nets()
    for net, block in plan.blocks.items():
        reached = wired_terminals(block, plan.after(net), plan.lows.get(net, ""))
        for pin, other in block.pins:
            if pin in reached and not plan.common(other):
                joined.join(net, other)
    for net, item in plan.series.items():
        joined.join(net, next(other for other in item.nets if other != net))
    for _, left, right in plan.rows:
        joined.join(left, right)
    groups: dict[str, list[Item]] = {}
    for item, net in _homes(plan):
        groups.setdefault(joined.find(net), []).append(item)
    return _with_names(fragment, [*groups.values(), *([item] for item in plan.aside)])


def cut_in_two(fragment: Fragment) -> list[Fragment]:
    """A fragment in two, where few parts reach over and both are about as long; alone when it is a single part.

    What reaches over the cut stays on the left. No cut goes through a valve or a pot: where nothing else is left, half
    of the parts go apart.
    """
    plan = sort_fragment(fragment)
    cuts = [k for k, net in enumerate(plan.line[:-1], 1) if net not in plan.blocks]
    if not cuts:
        return _halves(fragment, plan)
    half = len(plan.line) / 2
    place = min(cuts, key=lambda k: _over(plan, k) + abs(k - half))
    left = _under(plan, plan.line[:place])
    first = [item for item, net in _homes(plan) if net in left]
    second = [item for item, net in _homes(plan) if net not in left]
    return _with_names(fragment, [first, second]) if first and second else _halves(fragment, plan)


def _halves(fragment: Fragment, plan: DrawingPlan) -> list[Fragment]:
    """The parts from the left of the drawing on, and the other half of them."""
    items = [item for item, _ in _homes(plan)] + plan.aside
    half = (len(items) + 1) // 2
    return _with_names(fragment, [each for each in (items[:half], items[half:]) if each])


def _over(plan: DrawingPlan, place: int) -> int:
    """How many parts reach over a cut of the signal line."""
    left = _under(plan, plan.line[:place])
    ends = [(net, plan.after(net)) for net in plan.series] + [(first, second) for _, first, second in plan.rows]
    return sum((first in left) != (second in left) for first, second in ends)


def _under(plan: DrawingPlan, line: Iterable[str]) -> set[str]:
    """Nets of the line with those under their blocks."""
    return {each for net in line for each in (net, plan.lows.get(net, net))}


def _homes(plan: DrawingPlan) -> list[tuple[Item, str]]:
    """Every item that stands on the line, with the net of the line or under a block that it is drawn from."""
    found = [(item, net) for net, item in plan.blocks.items()]
    found += [(item, net) for net, item in plan.series.items()] + [(item, left) for item, left, _ in plan.rows]
    for net in [*plan.line, *plan.lows.values()]:
        found += [(item, net) for item in _hanging(plan, net)]
    return [(each, net) for item, net in found for each in plan.members(item, item.nets[0])]


def _hanging(plan: DrawingPlan, net: str) -> list[Item]:
    found = [*plan.ups.get(net, []), *plan.downs.get(net, [])]
    for item, low in plan.hangs.get(net, []):
        found += [item, *_hanging(plan, low)]
    return found


def _with_names(fragment: Fragment, groups: Iterable[list[Item]]) -> list[Fragment]:
    """Fragments of groups of items; a net on which several of them are has a name in each."""
    groups = list(groups)
    on: dict[str, int] = {}
    for group in groups:
        for net in {net for item in group for net in item.nets}:
            on[net] = on.get(net, 0) + 1
    shared = {net for net, count in on.items() if count > 1 and net != fragment.ground and net not in fragment.rails}
    flags = dict.fromkeys(shared, "") | fragment.flags
    return [replace(fragment, items=tuple(group), flags=_own(flags, group)) for group in groups]


def _own(flags: Mapping[str, str], group: Iterable[Item]) -> dict[str, str]:
    used = {net for item in group for net in item.nets}
    return {net: word for net, word in flags.items() if net in used}
