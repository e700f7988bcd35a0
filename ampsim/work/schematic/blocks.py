"""Parts with three terminals or more: where the terminals are, which of them wires reach, what room they take."""

from __future__ import annotations

from .fragment import Item
from .geometry import Point, Sheet, Symbol, lines_width
from .labels import label, label_width
from .net_names import NetNames
from .signal_line import BLOCKS
from .slots import AIR

LOW, MIDDLE, DROP = -3.2, -1.6, 2.4


def block_ends(item: Item, x: float) -> dict[str, Point]:
    """The terminals of a valve or a pot at `x` [units]; what is neither plate, grid nor cathode is on the right."""
    top, middle, bottom = BLOCKS[item.kind]
    ends = {pin: (x + 1.2, MIDDLE) for pin, _ in item.pins}
    side = 0.9 if item.kind == "pot" else -1.2
    return ends | {top: (x, 0.0), middle: (x + side, MIDDLE), bottom: (x, LOW)}


def block_sides(item: Item) -> dict[str, str]:
    """Where the word at each of its terminals points."""
    top, middle, bottom = BLOCKS[item.kind]
    sides = {pin: "right" for pin, _ in item.pins}
    return sides | {top: "up", middle: "right" if item.kind == "pot" else "left", bottom: "down"}


def wired_terminals(item: Item, after: str, low: str) -> set[str]:
    """The terminals that wires reach, in a signal line whose next net is `after` and with `low` under the block."""
    pins, (top, middle, bottom) = dict(item.pins), BLOCKS[item.kind]
    first, second = (top, middle) if item.kind == "pot" else (middle, top)
    reached = {first}
    if after and after in (pins[second], pins[bottom]):
        reached.add(second if pins[second] == after else bottom)
    return reached | ({bottom} if pins[bottom] == low else set())


def block_room(item: Item, names: NetNames, reached: set[str]) -> tuple[float, float]:
    """What it takes left and right of its plate or track [units]: its label, and the words where no wire comes."""
    words = {pin: side for pin, side in block_sides(item).items() if pin not in reached}
    nets = dict(item.pins)
    half = max([names.room(nets[pin])[0] for pin, side in words.items() if side in ("up", "down")], default=0.0)
    lefts, rights = [half + AIR], [half + AIR]
    for pin, side in words.items():
        far = abs(block_ends(item, 0.0)[pin][0]) + names.width(nets[pin]) + AIR
        (lefts if side == "left" else rights).append(far if side in ("left", "right") else 0.0)
    if item.kind == "pot":
        return max(label_width(item) + 0.8, *lefts), max(1.1, *rights)
    return max(2.6, *lefts), max(1.2 + label_width(item, True), *rights)


def put_aside(item: Item, edge: float, sheet: Sheet, names: NetNames) -> float:
    """Draw a part by itself right of an edge, every terminal with the name of its net.

    Parameters
    ----------
    item : Item
    edge : float
        Right edge of what stands left of it [units].
    sheet : Sheet
        What it is drawn on.
    names : NetNames

    Returns
    -------
    float
        Its right edge [units].
    """
    if item.kind in BLOCKS and (item.kind == "valve" or len(item.nets) == 3):
        left, right = block_room(item, names, set())
        symbol, sides = Symbol(item, item.kind, block_ends(item, edge + left)), block_sides(item)
    elif len(item.nets) <= 2 and item.kind != "transformer":
        left, right = _upright_room(item, names)
        symbol = Symbol(item, "two ends", _upright(item, edge + left))
        sides = {pin: "up" if at[1] == 0.0 else "down" for pin, at in symbol.ends.items()}
    else:
        left, right, ends = _box(item, names)
        symbol = Symbol(item, "box", {pin: (edge + left + x, y) for pin, (x, y) in ends.items()})
        sides = {pin: "left" if x < 0.0 else "right" for pin, (x, _) in ends.items()}
    for pin, at in {at: (pin, at) for pin, at in symbol.ends.items()}.values():
        names.put(sheet, at, dict(item.pins)[pin], sides[pin])
    sheet.symbols.append(symbol)
    return edge + left + right


def _upright_room(item: Item, names: NetNames) -> tuple[float, float]:
    """What it takes left and right of its wire, its label and the words at its ends included."""
    rooms = [names.room(net) for net in item.nets]
    return max(0.65, rooms[0][0]), max(1.0 + label_width(item), *(room[1] for room in rooms))


def _upright(item: Item, x: float) -> dict[str, Point]:
    near, first = item.nets[0], item.pins[0][0]
    if len(item.nets) == 1:
        return {pin: (x, 0.0 if pin == first else -DROP) for pin, _ in item.pins}
    return {pin: (x, 0.0 if net == near else -DROP) for pin, net in item.pins}


def _box(item: Item, names: NetNames) -> tuple[float, float, dict[str, Point]]:
    """Room left and right of its middle, and its terminals: one half of them on either side."""
    count = (len(item.pins) + 1) // 2
    pins = [pin for pin, _ in item.pins]
    half = max(1.6, lines_width(tuple(pins)) + 0.5, lines_width(label(item, True), "strong") / 2)
    ends = {pin: (-half if k < count else half, -1.1 * (k % count)) for k, pin in enumerate(pins)}
    left, right = (
        max([names.width(net) for pin, net in item.pins if ends[pin][0] * side > 0.0], default=0.0) for side in (-1, 1)
    )
    return half + left + AIR, half + right + AIR, ends
