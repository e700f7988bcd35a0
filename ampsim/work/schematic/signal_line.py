"""Sorting a fragment for the drawing: the signal line from left to right, and what stands where along it."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field

from .fragment import Fragment, Item

BLOCKS = {"valve": ("plate", "grid", "cathode"), "pot": ("top", "wiper", "bottom")}


@dataclass
class DrawingPlan:
    """The order of a drawing.

    `line` has the nets of the signal line; `blocks` the valve or pot right of each net, `lows` the net under a block,
    `series` the part in the line right of each net; `rows` parts above the line as (item, left net, right net);
    `downs` and `ups` parts from a net to ground and to a rail; `hangs` parts from a net to one below it from which all
    else goes to ground; `aside` what fits nowhere. Parts in series with nothing between them stand in `series` and
    `rows` as one item, whose members `chains` has by its name.
    """

    fragment: Fragment
    line: list[str] = field(default_factory=list)
    blocks: dict[str, Item] = field(default_factory=dict)
    lows: dict[str, str] = field(default_factory=dict)
    series: dict[str, Item] = field(default_factory=dict)
    rows: list[tuple[Item, str, str]] = field(default_factory=list)
    downs: dict[str, list[Item]] = field(default_factory=dict)
    ups: dict[str, list[Item]] = field(default_factory=dict)
    hangs: dict[str, list[tuple[Item, str]]] = field(default_factory=dict)
    aside: list[Item] = field(default_factory=list)
    chains: dict[str, tuple[Item, ...]] = field(default_factory=dict)

    @property
    def below(self) -> list[str]:
        """Nets that hang below others."""
        return [low for hung in self.hangs.values() for _, low in hung]

    def members(self, item: Item, net: str) -> tuple[Item, ...]:
        """The parts an item stands for, from the end that is on a net."""
        found = self.chains.get(item.name, (item,))
        return found if net in found[0].nets else found[::-1]

    def after(self, net: str) -> str:
        """The net right of a net of the line; "" at its end."""
        place = self.line.index(net) + 1
        return self.line[place] if place < len(self.line) else ""

    def common(self, net: str) -> bool:
        """Whether a net is ground or a rail."""
        return net == self.fragment.ground or net in self.fragment.rails


def sort_fragment(fragment: Fragment) -> DrawingPlan:
    """Sort the items of a fragment."""
    plan = DrawingPlan(fragment)
    blocks = [item for item in fragment.items if is_block(item)]
    others = [item for item in fragment.items if not is_block(item)]
    low = set(_low_nets(plan, blocks))
    others = _chain_series(plan, blocks, others)
    _hang(plan, blocks, others)
    _line_up(plan, blocks, others, low | set(plan.below))
    for item in blocks:
        _place_block(plan, item, low)
    for net in sorted(low - set(plan.lows.values()), key=int):
        plan.line.append(net)
    for item in others:
        _place(plan, item)
    standing = [item for item in (*blocks, *others) if not _aside(plan, item)]
    plan.line = [net for net in plan.line if any(net in item.nets for item in standing)]
    return plan


def _line_up(plan: DrawingPlan, blocks: list[Item], others: list[Item], off: set[str]) -> None:
    """Put the nets of the signal line in order; those in `off` stand elsewhere."""
    glued: set[tuple[str, str]] = set()
    for item in blocks:
        ends = [net for net in _through(plan, item) if not plan.common(net) and net not in off]
        _insert(plan.line, ends, glued)
        if len(ends) == 2:
            glued.add((ends[0], ends[1]))
    joins = [[net for net in item.nets if not plan.common(net)] for item in others if item.kind != "transformer"]
    for nets in _nearest_first(joins, plan.line):
        _insert(plan.line, [net for net in nets if net not in off], glued)


def _nearest_first(joins: Sequence[list[str]], line: Sequence[str]) -> Iterator[list[str]]:
    """The nets of each part: first of those that join two and touch the line as far as it goes, then of the rest.

    What joins two nets decides where they stand.
    """
    waiting = [nets for nets in joins if len(nets) > 1]
    while waiting:
        nets = next((each for each in waiting if any(net in line for net in each)), waiting[0])
        waiting.remove(nets)
        yield nets
    yield from joins


def is_block(item: Item) -> bool:
    """Whether it is drawn with three terminals: a valve, or a pot that uses all three."""
    return item.kind == "valve" or (item.kind == "pot" and len(item.nets) == 3)


def _through(plan: DrawingPlan, item: Item) -> tuple[str, str]:
    """The nets a block has left and right of it in the signal line."""
    pins = dict(item.pins)
    top, middle, bottom = (pins[pin] for pin in BLOCKS[item.kind])
    if item.kind == "pot":
        return top, middle
    return middle, bottom if plan.common(top) else top


def _aside(plan: DrawingPlan, item: Item) -> bool:
    return any(each in plan.aside for each in plan.members(item, item.nets[0]))


def _low_nets(plan: DrawingPlan, blocks: list[Item]) -> Iterator[str]:
    """Nets under a block: a cathode or the foot of a pot, unless the signal goes through it."""
    through = {net for item in blocks for net in _through(plan, item)}
    feet = [dict(item.pins)[BLOCKS[item.kind][2]] for item in blocks]
    for net in feet:
        if not plan.common(net) and net not in through and feet.count(net) == 1:
            yield net


def _hang(plan: DrawingPlan, blocks: list[Item], others: list[Item]) -> None:
    """Find parts that hang from a net with all that follows them to ground."""
    held = {net for item in blocks for net in item.nets} | set(plan.fragment.flags)
    for net in dict.fromkeys(net for item in others for net in item.nets):
        item = None if net in held or plan.common(net) else _hanging_from(plan, net, others)
        if item is None:
            continue
        parent = next(other for other in item.nets if other != net)
        if not plan.common(parent) and parent not in plan.below and net not in plan.hangs:
            plan.hangs.setdefault(parent, []).append((item, net))


def _hanging_from(plan: DrawingPlan, net: str, others: list[Item]) -> Item | None:
    """The one part over a net from which all else goes to ground."""
    on = [item for item in others if net in item.nets]
    over = [item for item in on if plan.fragment.ground not in item.nets]
    alone = len(over) == 1 and len(on) > 1 and all(len(item.nets) == 2 for item in on)
    return over[0] if alone else None


@dataclass(frozen=True)
class _Run:
    """Parts in series, and the nets at both ends."""

    items: tuple[Item, ...]
    ends: tuple[str, ...]

    def turned(self) -> _Run:
        return _Run(self.items[::-1], self.ends[::-1])

    def joined(self, other: _Run, net: str) -> _Run:
        """Both in one, which meet at a net."""
        before = self if self.ends[1] == net else self.turned()
        behind = other if other.ends[0] == net else other.turned()
        return _Run(before.items + behind.items, (before.ends[0], behind.ends[1]))

    def item(self) -> Item:
        """The whole run as one part."""
        name = "-".join(item.name for item in self.items)
        return Item(name, "chain", (("1", self.ends[0]), ("2", self.ends[1])), "")


def _chain_series(plan: DrawingPlan, blocks: list[Item], others: list[Item]) -> list[Item]:
    """Take parts in series with nothing else between them as one item."""
    held = {net for item in blocks for net in item.nets} | set(plan.fragment.flags)
    free = [item for item in others if len(item.nets) == 2 and not any(map(plan.common, item.nets))]
    runs = [_Run((item,), item.nets) for item in free if item.kind != "transformer"]
    for net in dict.fromkeys(net for item in free for net in item.nets):
        touching = [run for run in runs if net in run.ends]
        if net in held or len(touching) != 2 or sum(net in item.nets for item in others) != 2:
            continue
        whole = touching[0].joined(touching[1], net)
        if whole.ends[0] != whole.ends[1]:
            runs = [run for run in runs if run not in touching] + [whole]
    chains = [run for run in runs if len(run.items) > 1]
    plan.chains |= {run.item().name: run.items for run in chains}
    within = [item for run in chains for item in run.items]
    return [item for item in others if item not in within] + [run.item() for run in chains]


def _insert(line: list[str], nets: list[str], glued: set[tuple[str, str]]) -> None:
    """Put two nets next to one another in the line, but nothing between the two of a block."""
    known = [net for net in nets if net in line]
    if len(nets) == 2 and len(known) == 1:
        at, right = line.index(known[0]), int(nets[0] in line)
        new = nets[0] if nets[1] in line else nets[1]
        free = (
            place for place in (at + right, at + 1 - right) if tuple(line[max(place - 1, 0) : place + 1]) not in glued
        )
        line.insert(next(free, len(line)), new)
        return
    line += [net for net in nets if net not in line]


def _place_block(plan: DrawingPlan, item: Item, low: set[str]) -> None:
    left, right = _through(plan, item)
    if left not in plan.line or left in plan.blocks or (right in plan.line and plan.after(left) != right):
        plan.aside.append(item)
        return
    plan.blocks[left] = item
    foot = dict(item.pins)[BLOCKS[item.kind][2]]
    if foot in low:
        plan.lows[left] = foot


def _place(plan: DrawingPlan, item: Item) -> None:
    nets = item.nets
    if any(item is hung for each in plan.hangs.values() for hung, _ in each):
        return
    placed = [net for net in nets if net in plan.line or net in plan.lows.values() or net in plan.below]
    if len(nets) != 2 or not placed or item.kind == "transformer":
        plan.aside += plan.members(item, nets[0])
    elif len(placed) == 1:
        other = nets[1] if nets[0] == placed[0] else nets[0]
        into = plan.downs if other == plan.fragment.ground else plan.ups
        into.setdefault(placed[0], []).append(item)
    else:
        _place_between(plan, item, *sorted(placed, key=lambda net: _place_of(plan, net)))


def _place_between(plan: DrawingPlan, item: Item, left: str, right: str) -> None:
    """A part between two nets that are placed: in the line where there is room, else in a row over it."""
    free = left in plan.line and left not in plan.series and left not in plan.blocks
    if free and plan.after(left) == right:
        plan.series[left] = item
    else:
        plan.rows.append((item, left, right))


def _place_of(plan: DrawingPlan, net: str) -> float:
    if net in plan.line:
        return plan.line.index(net)
    return next(plan.line.index(over) for over, low in plan.lows.items() if low == net) + 0.5
