"""Placing a sorted fragment: the signal line level, supply above, ground below, bridging parts in rows over it.

Everything stands as far apart as its own texts ask for, so that no text meets another, a part or a wire.
"""

from __future__ import annotations

from collections.abc import Sequence

from .blocks import DROP, LOW, MIDDLE, block_ends, block_room, block_sides, put_aside, wired_terminals
from .fragment import Fragment, Item
from .geometry import PAGE, Point, Sheet, Symbol
from .labels import label_height, label_width, symbol_texts, upright_room
from .net_names import NetNames
from .pack import pack_sheets, share_over_pages
from .signal_line import BLOCKS, DrawingPlan, sort_fragment
from .slots import AIR, Room, Slot, slot_places
from .split import cut_in_two, split_unwired

_LEVEL = 2.4  # length of a part that lies level
_END = 0.8  # of a net's wire beyond its last part
_STEM = 1.0  # of a flag above its net
_NARROW = (0.2, 0.2)
Row = tuple[Item, str, str]


def lay_out(fragment: Fragment) -> Sheet:
    """Place everything of a fragment; the drawing's own netlist is the fragment's, whatever the circuit."""
    return pack_sheets(_pieces(fragment), PAGE)


def lay_out_pages(fragment: Fragment, tall: float) -> list[Sheet]:
    """As `lay_out`, on as many sheets as keep to a height [units]."""
    return [pack_sheets(page, PAGE) for page in share_over_pages(_pieces(fragment), PAGE, tall)]


def _pieces(fragment: Fragment) -> list[Sheet]:
    numbers: dict[str, int] = {}
    pieces = [each for piece in split_unwired(fragment) for each in _fitting(piece)]
    return [_Layout(sort_fragment(piece), numbers).sheet_drawn() for piece in pieces]


def _fitting(fragment: Fragment) -> list[Fragment]:
    """A fragment, or where it is wider than the page the pieces it is cut into."""
    left, _, right, _ = _Layout(sort_fragment(fragment), {}).sheet_drawn().bounds()
    halves = cut_in_two(fragment) if right - left > PAGE else [fragment]
    if len(halves) == 1:
        return halves
    return [each for half in halves for piece in split_unwired(half) for each in _fitting(piece)]


def _level_room(item: Item) -> float:
    """Length of a part that lies level, its label over it."""
    return max(_LEVEL, label_width(item, True) + 2 * AIR)


class _Layout:
    def __init__(self, plan: DrawingPlan, numbers: dict[str, int]) -> None:
        self.plan, self.sheet, self.fragment = plan, Sheet(), plan.fragment
        self.labelled = set(self.fragment.flags) | self._nets_by_name()
        self.names = NetNames(self.fragment, numbers)
        self.floor = 0.0
        self.rows = self._sorted_rows()
        self.starts: dict[str, float] = {}
        self.ends: dict[str, float] = {}
        self.rises: dict[str, float] = {}
        self.blocks: dict[str, float] = {}
        self.rooms: dict[tuple[str, bool], Room] = {}
        self.feet: dict[tuple[str, str], float] = {}
        self.heights, self.supply = self._row_heights()

    def _sorted_rows(self) -> list[Row]:
        """Short rows lowest."""
        across = [each for net in self.plan.line for each in (net, self.plan.lows.get(net, "")) if each]
        order = {net: k for k, net in enumerate(across)}
        return sorted(self.plan.rows, key=lambda row: order[row[2]] - order[row[1]])

    def _nets_by_name(self) -> set[str]:
        """Nets that some terminal reaches by their name only."""
        found = {net for item in self.plan.aside for net in item.nets}
        for left, block in self.plan.blocks.items():
            reached = self._wired_terminals(left)
            found |= {net for pin, net in block.pins if pin not in reached}
        return {net for net in found if not self.plan.common(net)}

    def _wired_terminals(self, net: str) -> set[str]:
        """The terminals that wires reach of the block right of a net."""
        return wired_terminals(self.plan.blocks[net], self.plan.after(net), self.plan.lows.get(net, ""))

    def _row_heights(self) -> tuple[dict[str, float], float]:
        """The height of every row, over the flags and labels of the line, and where what goes to a rail starts."""
        flags = [_STEM + self.names.text(net).height for net in sorted(self.labelled, key=int)]
        y = max([1.2, *flags, *map(self._level_height, self.plan.series.values())]) + 0.7
        heights = {}
        for item, _, _ in self.rows:
            heights[item.name] = y
            y += self._level_height(item) + 0.7
        return heights, y - 0.3 if self.rows else 0.6

    def _level_height(self, item: Item) -> float:
        return max(label_height(each) for each in self.plan.members(item, item.nets[0]))

    def _level_room(self, item: Item) -> float:
        return sum(_level_room(each) for each in self.plan.members(item, item.nets[0])) + 2 * AIR

    def _upright_room(self, item: Item) -> Room:
        rooms = [upright_room(each) for each in self.plan.members(item, item.nets[0])]
        return max(left for left, _ in rooms), max(right for _, right in rooms)

    def sheet_drawn(self) -> Sheet:
        edge = 0.0
        for net in self.plan.line:
            edge = self._gap(net, max(self._segment(net, edge), self.floor))
        for net in self.plan.line:
            self._in_gap(net)
        for row in self.rows:
            self._row(row)
        for item in self.plan.aside:
            edge = put_aside(item, edge + 0.8, self.sheet, self.names)
        for symbol in self.sheet.symbols:
            self.sheet.texts += symbol_texts(symbol)
        return self.sheet

    def _segment(self, net: str, edge: float) -> float:
        """A net of the signal line right of an edge; return the right edge of all that stands on it."""
        outer = net == self.plan.line[0] and net in self.labelled
        above, below = self._above(net, flag=net in self.labelled and not outer), self._below(net)
        x = edge + max([slot.room[0] for slot in (*above[:1], *below[:1])], default=0.0)
        self.starts[net] = x
        if outer:
            self.sheet.wire((x - _END, 0.0), (x, 0.0))
            self.names.put(self.sheet, (x - _END, 0.0), net, "left")
        return self._stand(net, (x, 0.0), above, x, below)

    def _stand(self, net: str, at: Point, above: Sequence[Slot], first: float, below: Sequence[Slot]) -> float:
        """Draw a net's wire from a point, what rises from it from `first` on, and what hangs on it."""
        x, y = at
        ups = [first + place for place in slot_places(above)]
        downs = [x + place for place in slot_places(below)]
        self.ends[net] = max(x, *ups, *downs) if ups or downs else x
        self.sheet.wire(at, (self.ends[net], y))
        for slot, place in zip(above, ups, strict=True):
            self._rise(slot, net, (place, y))
        for slot, place in zip(below, downs, strict=True):
            self._drop(slot, net, (place, y))
        rights = [place + slot.room[1] for slot, place in zip((*above, *below), (*ups, *downs), strict=True)]
        return max([self.ends[net], *rights])

    def _above(self, net: str, flag: bool = False) -> list[Slot]:
        """What rises from a net, so that no two rows cross that start or end on it."""
        ending = [Slot("row", _NARROW, item) for item, _, right in self.rows if right == net]
        ups = [Slot("part", self._up_room(item, net), item) for item in self.plan.ups.get(net, [])]
        flags = [Slot("flag", self.names.room(net))] if flag else []
        starting = [Slot("row", _NARROW, item) for item, left, _ in reversed(self.rows) if left == net]
        return [*ending, *ups, *flags, *starting]

    def _up_room(self, item: Item, net: str) -> Room:
        (left, right), (half, _) = upright_room(item), self.names.room(self._other(item, net))
        return max(left, half), max(right, half)

    def _below(self, net: str, flag: bool = False) -> list[Slot]:
        """What goes down from a net."""
        found = [Slot("part", upright_room(item), item) for item in self.plan.downs.get(net, [])]
        for item, low in self.plan.hangs.get(net, []):
            under = tuple(self._below(low))
            ends = [place + slot.room[1] for place, slot in zip(slot_places(under), under, strict=True)]
            left, right = self._upright_room(item)
            found.append(Slot("hang", (left, max([right, *ends])), item, low, under))
        return [*found, Slot("flag", self.names.room(net))] if flag else found

    def _rise(self, slot: Slot, net: str, at: Point) -> None:
        x, y = at
        if slot.item is None:
            self.sheet.wire(at, (x, y + _STEM))
            self.names.put(self.sheet, (x, y + _STEM), net, "up")
        elif slot.kind == "part":
            top = self.supply + DROP
            self.sheet.wire(at, (x, self.supply))
            self._two(slot.item, net, (x, self.supply), (x, top))
            self.names.put(self.sheet, (x, top), self._other(slot.item, net), "up")
        else:
            self.sheet.wire(at, (x, self.heights[slot.item.name]))
            self.feet[slot.item.name, net] = x

    def _drop(self, slot: Slot, net: str, at: Point) -> None:
        x, y = at
        if slot.item is None:
            self.sheet.wire(at, (x, y - 0.7))
            self.names.put(self.sheet, (x, y - 0.7), net, "down")
            return
        for item in self.plan.members(slot.item, net):
            self._two(item, net, (x, y), (x, y - DROP))
            y, net = y - DROP, self._other(item, net)
        if slot.kind == "part":
            self.names.put(self.sheet, (x, y), self.fragment.ground, "down")
            return
        places = [x + place for place in slot_places(slot.under)]
        self.sheet.wire((x, y), (places[-1], y))
        for under, place in zip(slot.under, places, strict=True):
            self._drop(under, slot.low, (place, y))

    def _gap(self, net: str, edge: float) -> float:
        """Leave room right of a net; place the block there and what lies under it; return where the next may start."""
        low, after = self.plan.lows.get(net, ""), self.plan.after(net)
        outward = [item for item, *ends in self.rows if ends[0] in (net, low) and ends != [net, low]]
        wide = [self._level_room(item) for item in outward]
        if net in self.plan.series:
            wide.append(self._level_room(self.plan.series[net]))
        if net in self.plan.blocks:
            edge = self._block_room(net, low, edge)
        end = edge + max(wide, default=1.0 if after and net not in self.plan.blocks else 0.0)
        self.rooms[net, False] = self.rooms[low, False] = (edge, end)
        if net not in self.plan.blocks:
            return end
        self.rises[net] = end + 0.2
        return end + (0.5 if after else 0.0)

    def _block_room(self, net: str, low: str, edge: float) -> float:
        """Where a block stands and how far what is on it reaches."""
        left, right = block_room(self.plan.blocks[net], self.names, self._wired_terminals(net))
        x = self.blocks[net] = edge + left
        taken = x + right
        if not low:
            return taken
        own = [self._level_room(item) for item, *ends in self.rows if ends == [net, low]]
        first = taken + max(own, default=0.0)
        self.rooms[net, True] = (taken, first)
        above, below = self._above(low), self._below(low, low in self.labelled)
        edge = self._stand(low, (x, LOW), above, first + AIR, below)
        if not above and not self._below(self.plan.after(net)):
            # The plate's net may stand over what is under the cathode.
            self.floor, edge = edge, taken
        return max(taken, edge)

    def _in_gap(self, net: str) -> None:
        """The block or the part in the line right of a net."""
        if net in self.plan.blocks:
            self._block(net, self.plan.blocks[net], self.blocks[net])
        elif net in self.plan.series:
            start, end = (self.ends[net], 0.0), (self.starts[self.plan.after(net)], 0.0)
            self._level(self.plan.series[net], net, start, end, self.rooms[net, False])

    def _level(self, item: Item, net: str, start: Point, end: Point, room: Room) -> None:
        """A part that lies level, or several in series, in the middle of a room, with wires to either end."""
        x, y = sum(room) / 2 - self._level_room(item) / 2 + AIR, start[1]
        for each in self.plan.members(item, net):
            middle = x + _level_room(each) / 2
            near, far = (middle - _LEVEL / 2, y), (middle + _LEVEL / 2, y)
            self.sheet.wire(start, near)
            self._two(each, net, near, far)
            x, start, net = x + _level_room(each), far, self._other(each, net)
        self.sheet.wire(start, end)

    def _row(self, row: Row) -> None:
        item, left, right = row
        y = self.heights[item.name]
        start, end = (self.feet[item.name, left], y), (self.feet[item.name, right], y)
        self._level(item, left, start, end, self.rooms[left, self.plan.lows.get(left) == right])

    def _block(self, net: str, item: Item, x: float) -> None:
        pins, (top, middle, bottom) = dict(item.pins), BLOCKS[item.kind]
        ends, reached, after = block_ends(item, x), self._wired_terminals(net), self.plan.after(net)
        start, rise = (self.starts.get(after, 0.0), 0.0), self.rises[net]
        if item.kind == "pot":
            self.sheet.wire((self.ends[net], 0.0), ends[top])
        else:
            down = x - 2.3
            self.sheet.wire((self.ends[net], 0.0), (down, 0.0), (down, MIDDLE), ends[middle])
        if item.kind == "valve" and top in reached:
            self.sheet.wire(ends[top], start)
        elif item.kind == "pot" and middle in reached:
            self.sheet.wire(ends[middle], (rise, MIDDLE), (rise, 0.0), start)
        elif bottom in reached and pins[bottom] == after:
            self.sheet.wire(ends[bottom], (rise, LOW), (rise, 0.0), start)
        for pin, side in block_sides(item).items():
            if pin not in reached:
                self.names.put(self.sheet, ends[pin], pins[pin], side)
        self.sheet.symbols.append(Symbol(item, item.kind, ends))

    def _two(self, item: Item, net: str, near: Point, far: Point) -> None:
        """A part with two ends: the pins on `net` at the near end."""
        ends = {pin: near if its == net else far for pin, its in item.pins}
        self.sheet.symbols.append(Symbol(item, "two ends", ends))

    def _other(self, item: Item, net: str) -> str:
        return next(other for other in item.nets if other != net)
