"""Placing a sorted fragment: the signal line level, supply above, ground below, bridging parts in rows over it."""

from __future__ import annotations

import itertools
from collections.abc import Mapping

from .fragment import Fragment, Item
from .order import BLOCKS, Plan, is_block, ordered
from .sheet import Point, Sheet, Symbol, Word

PITCH, SPAN = 3.0, 3.0
DROP, ROW, LOW, MIDDLE = 2.4, 1.9, -3.2, -1.6
_END = 0.8  # of a net's wire beyond its last part


def lay_out(fragment: Fragment) -> Sheet:
    """Place everything of a fragment; the drawing's own netlist is the fragment's, whatever the circuit."""
    return _Layout(ordered(fragment)).placed()


class _Layout:
    def __init__(self, plan: Plan) -> None:
        self.plan, self.sheet = plan, Sheet()
        self.fragment = plan.fragment
        self.left_ends = {net: [row for row in plan.rows if row[1] == net] for net in self._nets()}
        self.right_ends = {net: [row for row in plan.rows if row[2] == net] for net in self._nets()}
        self.labelled = set(self.fragment.flags) | self._stubbed()
        self.starts: dict[str, float] = {}
        self.ends: dict[str, float] = {}
        self.gaps: dict[str, float] = {}
        self.reach: dict[str, float] = {}
        self.row_heights = {id(row): 2.2 + ROW * k for k, row in enumerate(self._rows())}
        self.supply = 1.2 + (2.0 + ROW * len(plan.rows) if plan.rows else 0.0)

    def _nets(self) -> list[str]:
        return [*self.plan.line, *self.plan.lows.values()]

    def _rows(self) -> list[tuple[Item, str, str]]:
        """Short rows lowest."""
        order = {net: k for k, net in enumerate(self._across())}
        return sorted(self.plan.rows, key=lambda row: order[row[2]] - order[row[1]])

    def _across(self) -> list[str]:
        """All nets from left to right."""
        return [each for net in self.plan.line for each in (net, self.plan.lows.get(net, "")) if each]

    def _stubbed(self) -> set[str]:
        """Nets that some terminal reaches by their name only."""
        found = {net for item in self.plan.aside for net in item.nets if not self.plan.common(net)}
        for left, block in self.plan.blocks.items():
            reached = {left, self.plan.after(left), self.plan.lows.get(left, "")}
            found |= {net for net in block.nets if net not in reached and not self.plan.common(net)}
        return found

    def word(self, net: str) -> str:
        """What a net is called on the drawing."""
        return self.fragment.flags.get(net) or f"wire {self._numbers()[net]}"

    def _numbers(self) -> Mapping[str, int]:
        return {net: k for k, net in enumerate(sorted(self._stubbed(), key=int), 1)}

    def placed(self) -> Sheet:
        x = 0.0
        for net in self.plan.line:
            x = self._gap(net, self._segment(net, x, 0.0))
        for net in self.plan.line:
            self._in_gap(net)
        for row in self.plan.rows:
            self._row(row)
        for item in self.plan.aside:
            x = self._aside(item, x + 2.2)
        return self.sheet

    def _segment(self, net: str, x: float, y: float) -> float:
        """A net's wire with what hangs on it and rises from it; return its right end."""
        ups = self.plan.ups.get(net, [])
        flag = net in self.labelled
        outer = y == 0.0 and net == self.plan.line[0]
        ending = sorted(self.right_ends[net], key=self._height)
        above: list[object] = [*ending, *ups]
        above += ["flag"] if flag and not outer and y == 0.0 else []
        starting = sorted(self.left_ends[net], key=self._height, reverse=True)
        above += starting
        below = self._hung(net, flag and y != 0.0)
        # Under a block nothing may rise through its own terminals.
        aside = PITCH / 2 if y and above else 0.0
        slots = [0, *itertools.accumulate(wide for _, wide in below)]
        last = slots[-2] if below else 0
        end = max(x + last * PITCH, x + aside + (max(len(above), 1) - 1) * PITCH)
        first = x - _END if flag and outer else x
        self.starts[net], self.ends[net] = x, end
        self.sheet.wire((first, y), (end, y))
        if flag and outer:
            self._flag((first, y), net, "left")
        for k, each in enumerate(above):
            self._above(each, net, x + aside + k * PITCH, y)
        for k, (down, _) in zip(slots, below, strict=False):
            self._below(down, net, x + k * PITCH, y)
        if below:
            # What hangs widest may reach further right than the net itself.
            self.reach[net] = x + (slots[-1] - 1) * PITCH
        return end

    def _hung(self, net: str, flag: bool) -> list[tuple[object, int]]:
        """What goes down from a net, each with the slots it takes."""
        found: list[tuple[object, int]] = [(item, 1) for item in self.plan.downs.get(net, [])]
        found += [((item, low), max(len(self.plan.downs[low]), 1)) for item, low in self.plan.hangs.get(net, [])]
        return [*found, ("flag", 1)] if flag else found

    def _height(self, row: tuple[Item, str, str]) -> float:
        return self.row_heights[id(row)]

    def _above(self, each: object, net: str, x: float, y: float) -> None:
        if each == "flag":
            self.sheet.wire((x, y), (x, y + 1.3))
            self._flag((x, y + 1.3), net, "up")
        elif isinstance(each, Item):
            top = self.supply + DROP
            self.sheet.wire((x, y), (x, self.supply))
            self._two(each, net, (x, self.supply), (x, top))
            other = next(other for other in each.nets if other != net)
            self._name((x, top), other, "up")
        elif isinstance(each, tuple):
            self.sheet.wire((x, y), (x, self._height(each)))
            self.starts[f"{id(each)} {net}"] = x

    def _below(self, each: object, net: str, x: float, y: float) -> None:
        if each == "flag":
            self.sheet.wire((x, y), (x, y - 0.7))
            self._flag((x, y - 0.7), net, "down")
        elif isinstance(each, Item):
            self._two(each, net, (x, y), (x, y - DROP))
            self._name((x, y - DROP), self.fragment.ground, "down")
        elif isinstance(each, tuple):
            item, low = each
            self._two(item, net, (x, y), (x, y - DROP))
            downs = self.plan.downs[low]
            self.sheet.wire((x, y - DROP), (x + (len(downs) - 1) * PITCH, y - DROP))
            for k, down in enumerate(downs):
                self._below(down, low, x + k * PITCH, y - DROP)

    def _gap(self, net: str, x: float) -> float:
        """Leave room right of a net; place what lies under a block; return where the next net starts."""
        hang = max(0.0, self.reach.get(net, x) - x)
        rows = any(row[1] in (net, self.plan.lows.get(net)) for row in self.plan.rows)
        block = self.plan.blocks.get(net)
        if block is None:
            wide = SPAN if net in self.plan.series or rows else 2.6
            return x + (max(wide, hang + 2.0 if hang else 0.0) if self.plan.after(net) else hang)
        at = x + hang + 2.7 + (1.4 if self.plan.downs.get(net) else 0.0)
        self.gaps[net] = at
        low, end = self.plan.lows.get(net), at
        if low:
            end = self._segment(low, at, LOW)
            end = max(end, self.reach.get(low, end))
        return max(end + (4.4 if rows else PITCH * 0.9), at + (SPAN if rows else 0.0) + 1.6)

    def _in_gap(self, net: str) -> None:
        """The block or the part in the line right of a net."""
        x, after = self.ends[net], self.plan.after(net)
        if net in self.plan.blocks:
            self._block(net, self.plan.blocks[net], self.gaps[net])
        elif net in self.plan.series:
            start = self.starts[after]
            middle = (x + start) / 2
            self.sheet.wire((x, 0.0), (middle - 1.2, 0.0))
            self._two(self.plan.series[net], net, (middle - 1.2, 0.0), (middle + 1.2, 0.0))
            self.sheet.wire((middle + 1.2, 0.0), (start, 0.0))

    def _block(self, net: str, item: Item, x: float) -> None:
        pins = dict(item.pins)
        top, middle, bottom = BLOCKS[item.kind]
        ends: dict[str, Point] = {top: (x, 0.0), bottom: (x, LOW)}
        after = self.plan.after(net)
        start = self.starts.get(after, x + 2.0)
        # Left of where the next net begins: a part may hang there.
        rise = start - 1.2
        if item.kind == "pot":
            ends[middle] = (x + 0.9, MIDDLE)
            self.sheet.wire((self.ends[net], 0.0), ends[top])
            if pins[middle] == after:
                self.sheet.wire(ends[middle], (rise, MIDDLE), (rise, 0.0), (start, 0.0))
            else:
                self._name(ends[middle], pins[middle], "right")
        else:
            ends[middle] = (x - 1.2, MIDDLE)
            down = x - 2.3
            self.sheet.wire((self.ends[net], 0.0), (down, 0.0), (down, MIDDLE), ends[middle])
            if pins[top] == after:
                self.sheet.wire(ends[top], (start, 0.0))
            else:
                self._name(ends[top], pins[top], "up")
        for pin in pins:
            if pin not in ends:
                ends[pin] = (x + 1.2, MIDDLE)
                self._name(ends[pin], pins[pin], "right")
        if pins[bottom] == after and after not in (pins[middle], pins[top]):
            self.sheet.wire(ends[bottom], (rise, LOW), (rise, 0.0), (start, 0.0))
        elif pins[bottom] != self.plan.lows.get(net):
            self._name(ends[bottom], pins[bottom], "down")
        self.sheet.symbols.append(Symbol(item, item.kind, ends))

    def _row(self, row: tuple[Item, str, str]) -> None:
        item, left, right = row
        y = self._height(row)
        a, b = self.starts[f"{id(row)} {left}"], self.starts[f"{id(row)} {right}"]
        over = next((net for net, low in self.plan.lows.items() if low == left), left)
        # In the free room right of the left net: nothing rises there.
        begin = self.gaps[over] if left != over else self.ends[over]
        after = self.plan.after(over)
        room = (max(begin, self.ends[left]), self.starts.get(after, b) if after else b)
        middle = (max(room[0], a) + min(room[1], b)) / 2
        self.sheet.wire((a, y), (middle - 1.2, y))
        self._two(item, left, (middle - 1.2, y), (middle + 1.2, y))
        self.sheet.wire((middle + 1.2, y), (b, y))

    def _two(self, item: Item, net: str, near: Point, far: Point) -> None:
        """A part with two ends: the pins on `net` at the near end."""
        ends = {pin: near if its == net else far for pin, its in item.pins}
        self.sheet.symbols.append(Symbol(item, "two ends", ends))

    def _aside(self, item: Item, x: float) -> float:
        """A part by itself, every terminal with the name of its net."""
        if is_block(item):
            top, middle, bottom = BLOCKS[item.kind]
            side = 0.9 if item.kind == "pot" else -1.2
            x += 1.6
            ends: dict[str, Point] = {top: (x, 0.0), middle: (x + side, MIDDLE), bottom: (x, LOW)}
            ends |= {pin: (x + 1.2, MIDDLE) for pin, _ in item.pins if pin not in ends}
            sides = {top: "up", bottom: "down", middle: "right" if side > 0 else "left"}
            look = item.kind
        elif len(item.nets) <= 2 and item.kind != "transformer":
            near = item.nets[0]
            same = len(item.nets) == 1
            first = item.pins[0][0]
            ends = {pin: (x, 0.0) if (pin == first if same else net == near) else (x, -DROP) for pin, net in item.pins}
            sides = {pin: "up" if point[1] == 0.0 else "down" for pin, point in ends.items()}
            look = "two ends"
        else:
            x += 1.6
            half = (len(item.pins) + 1) // 2
            ends = {
                pin: (x - 1.6, -1.1 * k) if k < half else (x + 1.6, -1.1 * (k - half))
                for k, (pin, _) in enumerate(item.pins)
            }
            sides = {pin: "left" if point[0] < x else "right" for pin, point in ends.items()}
            look = "box"
        for pin, point in {point: (pin, point) for pin, point in ends.items()}.values():
            self._name(point, dict(item.pins)[pin], sides[pin])
        self.sheet.symbols.append(Symbol(item, look, ends))
        return x + 2.2

    def _name(self, at: Point, net: str, side: str) -> None:
        if net == self.fragment.ground:
            self.sheet.words.append(Word(at, "ground", "ground", side))
        elif net in self.fragment.rails:
            self.sheet.words.append(Word(at, self.fragment.rails[net], "rail", side))
        else:
            self._flag(at, net, side)

    def _flag(self, at: Point, net: str, side: str) -> None:
        self.sheet.words.append(Word(at, self.word(net), "flag", side))
