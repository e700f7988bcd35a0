"""The symbol of a part at a place: where its terminals are, what room its body and its words take."""

from __future__ import annotations

from ...circuit.transformer import winding_of
from .contents import CHANGED
from .geometry import LINE, Box, Point, Sign, Symbol, Text, words_width
from .items import Item, Throw

HALF = 2  # from the middle of a two-ended part to its terminals
VALVE = 3  # from the middle of a valve to its terminals
_REACH = {"capacitor": 1.0, "pot": 0.5, "loudspeaker": 1.0, "diode": 0.8, "current source": 1.2, "meter": 1.2}
_LOOK_REACH = {"lamp": 1.0, "thermistor": 1.0}
_OFF = 0.45  # of words from a body
_PITCH = 3  # units between the throws of a pole
_SIGN = 0.75


def lines_of(item: Item) -> tuple[tuple[str, ...], tuple[int, ...]]:
    """What is written beside a part, and which of the lines are struck out: a value that is replaced."""
    words = [word for word in item.words if word]
    if item.kind == "pot" and words:
        head, rest = f"{item.name} {words[0]}", words[1:]
    else:
        head, rest = item.name, words
    lines = [head, *rest]
    if item.change == CHANGED and item.was:
        return (*lines, item.was), (len(lines),)
    return tuple(lines), ()


def text_at(item: Item, x: float, y: float, align: str = "left") -> Text:
    """The words of a part in lines around a height, from `x` to the right or to the left of it.

    Parameters
    ----------
    item : Item
    x, y : float
        Where the lines begin, and the height they stand around [units].
    align : str
        "left", "right" or "center".
    """
    lines, struck = lines_of(item)
    wide, tall = max(words_width(line, n == 0) for n, line in enumerate(lines)), LINE * len(lines)
    left = {"left": x, "right": x - wide, "center": x - wide / 2}[align]
    return Text(lines, (left, y - tall / 2, left + wide, y + tall / 2), align, struck)


def text_above(item: Item, x: float, y: float) -> Text:
    """The words of a part in lines over a height, around `x` [units]."""
    tall = LINE * len(lines_of(item)[0])
    return text_at(item, x, y + tall / 2, "center")


def _reach(item: Item) -> float:
    """From the middle of a two-ended part to the edge of its body [units]."""
    return _LOOK_REACH.get(item.look) or _REACH.get(item.kind, 0.5)


def upright(item: Item, x: int, top: int, upper: str, lower: str) -> Symbol:
    """A two-ended part with its upper end at a place.

    Parameters
    ----------
    item : Item
    x, top : int
        Of its upper end [units].
    upper, lower : str
        The pins at its ends.
    """
    y, reach = top - HALF, _reach(item)
    ends = {upper: (x, top), lower: (x, top - 2 * HALF)}
    if item.kind == "loudspeaker":
        body, right = (x - 0.8, y - 1.3, x + 1.9, y + 1.3), x + 2.3
    else:
        body, right = (x - reach, y - 1.2, x + reach, y + 1.2), x + reach + _OFF
    return Symbol(item, item.kind, (x, y), ends, body, text_at(item, right, y))


def level(item: Item, left: int, y: int, first: str, second: str) -> Symbol:
    """A two-ended part with its left end at a place.

    Parameters
    ----------
    item : Item
    left, y : int
        Of its left end [units].
    first, second : str
        The pins at its left and right ends.
    """
    x, reach = left + HALF, _reach(item)
    ends = {first: (left, y), second: (left + 2 * HALF, y)}
    body = (x - 1.2, y - reach, x + 1.2, y + reach)
    return Symbol(item, item.kind, (x, y), ends, body, text_above(item, x, y + reach + 0.1), across=True)


def pot_upright(item: Item, x: int, y: int, ends: tuple[str, str], wiper_left: bool, beside: bool = False) -> Symbol:
    """A pot around a place, the pins of its track from above; its words away from the wiper, or beyond it.

    Parameters
    ----------
    item : Item
    x, y : int
        Of its middle [units].
    ends : tuple of str
        The pins of its track from above.
    wiper_left : bool
        Whether the wiper points to the left.
    beside : bool
        Whether its words stand beyond the wiper.
    """
    side = -2 if wiper_left else 2
    pins = {ends[0]: (x, y + HALF), ends[1]: (x, y - HALF), "wiper": (x + side, y)}
    far = 2.0 if beside else 0.5
    text = text_at(item, x + far + _OFF, y) if wiper_left != beside else text_at(item, x - far - _OFF, y, "right")
    body = (x - (1.6 if wiper_left else 0.5), y - 1.2, x + (0.5 if wiper_left else 1.6), y + 1.2)
    return Symbol(item, "pot", (x, y), pins, body, text, turned=wiper_left)


def pot_level(item: Item, left: int, y: int, ends: tuple[str, str]) -> Symbol:
    """A pot that lies level, its wiper below.

    Parameters
    ----------
    item : Item
    left, y : int
        Of its left end [units].
    ends : tuple of str
        The pins of its track from the left.
    """
    x = left + HALF
    pins = {ends[0]: (left, y), ends[1]: (left + 2 * HALF, y), "wiper": (x, y - 2)}
    body = (x - 1.2, y - 1.6, x + 1.2, y + 0.5)
    return Symbol(item, "pot", (x, y), pins, body, text_above(item, x, y + 0.65), across=True)


def valve(item: Item, x: int, y: int) -> Symbol:
    """A valve around a place: plate up, cathode down, grid left; what else it has is on the right."""
    if item.look.endswith("amplifier"):
        return _amplifier(item, x, y)
    if item.look == "effect":
        box: dict[str, Point] = {"grid": (x - VALVE, y), "plate": (x + VALVE, y), "cathode": (x, y - VALVE)}
        text = text_above(item, x, y + 1.5)
        return Symbol(item, "valve", (x, y), box, (x - 2.2, y - 1.4, x + 2.2, y + 1.4), text)
    ends: dict[str, Point] = {"plate": (x, y + VALVE), "cathode": (x, y - VALVE), "grid": (x - VALVE, y)}
    ends = {pin: ends[pin] for pin, _ in item.pins if pin in ends}
    others = [pin for pin, _ in item.pins if pin not in ends]
    ends |= {pin: (x + VALVE, y + 1 - 2 * n) for n, pin in enumerate(others)}
    text = text_at(item, x + 2.3, y - (0.9 if others else 0.0) - max(len(others) - 1, 0) * 2)
    return Symbol(item, "valve", (x, y), ends, (x - 2.0, y - 2.0, x + 2.0, y + 2.0), text)


def _amplifier(item: Item, x: int, y: int) -> Symbol:
    """An operational amplifier: inputs left, output right, supplies above and below."""
    places: dict[str, Point] = {"grid": (x - VALVE, y), "cathode": (x - VALVE, y - 2), "plate": (x + VALVE, y - 1),
                                "vplus": (x, y + 2), "vminus": (x, y - 4)}  # fmt: skip
    ends = {pin: places[pin] for pin, _ in item.pins if pin in places}
    return Symbol(item, "valve", (x, y), ends, (x - 2.2, y - 3.2, x + 2.2, y + 1.2), text_at(item, x + 2.4, y - 2.7))


_ALONG_PRIMARY = ("primary_a", "screen_a", "centre", "screen_b", "primary_b")


def transformer(item: Item, x: int, y: int, reach: int, upside: bool = False) -> Symbol:
    """An output transformer around a place: primary left, secondary right, its common pin lowest.

    Parameters
    ----------
    item : Item
    x, y : int
        Of its middle [units].
    reach : int
        From the middle to the ends of the primary [units].
    upside : bool
        Whether the last pin of the primary is on top.
    """
    primary = [pin for pin, _ in item.pins if winding_of(pin) == "primary"]
    primary = sorted(primary, key=_ALONG_PRIMARY.index, reverse=upside)
    second = [pin for pin, _ in item.pins if winding_of(pin) == "secondary"]
    second = sorted(
        second, key=lambda pin: (pin != "common", float(pin[3:]) if pin[3:].replace(".", "").isdigit() else 0.0)
    )
    steps = (len(primary) - 1) // 2
    heights = (
        [reach * (steps - n) // max(steps, 1) for n in range(len(primary))] if len(primary) > 2 else [reach, -reach]
    )
    ends: dict[str, Point] = {pin: (x - 3, y + height) for pin, height in zip(primary, heights, strict=False)}
    step = 3
    low = y - step * (len(second) // 2)
    ends |= {pin: (x + 3, low + step * n) for n, pin in enumerate(second)}
    # Windings of its own hang below the secondary, the second end of each lowest.
    further = [pin for pin, _ in item.pins if pin not in ends]
    ends |= {pin: (x + 3, low - step * n) for n, pin in enumerate(further, 1)}
    tall = max(reach, max((abs(py - y) for _, py in ends.values()), default=reach)) + 0.4
    marks = tuple(
        Text((pin[3:],), (x + 2.1, py + 0.35, x + 2.1 + words_width(pin[3:]), py + 0.35 + LINE))
        for pin, (_, py) in ends.items()
        if pin.startswith("tap")
    )
    return Symbol(item, "transformer", (x, y), ends, (x - 1.9, y - tall, x + 1.9, y + tall),
                  text_above(item, x, y + tall + 0.1), marks=marks)  # fmt: skip


def pole(item: Item, x: int, y: int, mirrored: bool, pitch: int = _PITCH) -> Symbol:
    """A pole with its common terminal at a place, a throw for each position on the other side, its names at them.

    Parameters
    ----------
    item : Item
    x, y : int
        Of the common terminal [units].
    mirrored : bool
        Whether the throws are on the left.
    pitch : int
        From throw to throw [units].
    """
    throws = merged(item.throws)
    side = -1 if mirrored else 1
    wide = max(words_width(", ".join(labels)) for labels, _ in throws)
    reach = side * (4 + int(wide + 1.3))
    common = next(pin for pin, _ in item.pins if pin.endswith("common"))
    ends: dict[str, Point] = {common: (x, y)}
    marks = []
    for n, (labels, terminal) in enumerate(throws):
        height = throw_height(y, n, len(throws), pitch)
        name = ", ".join(labels)
        left = x + 4.0 if not mirrored else x - 4.0 - words_width(name)
        marks.append(Text((name,), (left, height + 0.35, left + words_width(name), height + 0.35 + LINE)))
        if terminal:
            ends[terminal] = (x + reach, height)
    top, low = throw_height(y, 0, len(throws), pitch), throw_height(y, len(throws) - 1, len(throws), pitch)
    ways = (x + side, x + reach - side * 0.8)
    body = (min(ways), min(low, y) - 0.4, max(ways), max(top, y) + 0.4)
    return Symbol(item, "pole", (x, y), ends, body, text_above(item, x + side * 2, max(top, y) + 1.6),
                  turned=mirrored, marks=tuple(marks))  # fmt: skip


def merged(throws: tuple[Throw, ...]) -> list[tuple[list[str], str]]:
    """Positions that share a terminal stand at one throw."""
    found: list[tuple[list[str], str]] = []
    for throw in throws:
        known = next((labels for labels, terminal in found if terminal and terminal == throw.terminal), None)
        if known is None:
            found.append(([throw.label], throw.terminal))
        else:
            known.append(throw.label)
    return found


def throw_height(y: int, number: int, count: int, pitch: int) -> int:
    """The height of a throw, the first on top, the common terminal at the middle or just above it.

    Parameters
    ----------
    y : int
        Of the common terminal [units].
    number, count : int
        Which throw of how many.
    pitch : int
        From throw to throw [units].
    """
    return y + pitch * (count // 2) - pitch * number


def rail_symbol(item: Item, x: int, y: int) -> Symbol:
    """A source of supply: a circle with its volts, its terminal on the right."""
    return Symbol(item, "rail", (x, y), {item.pins[0][0]: (x, y)}, (x - 1.6, y - 0.5, x - 0.5, y + 0.5),
                  text_at(item, x - 1.9, y, "right"))  # fmt: skip


def sign(kind: str, text: str, at: Point, side: str) -> Sign:
    """A sign at a point with the room it takes.

    Parameters
    ----------
    kind, text : str
        As of `Sign`.
    at : Point
    side : str
        Where it points: "up", "down", "left" or "right".
    """
    x, y = at
    if kind == "ground":
        return Sign(kind, text, at, "down", (x - 0.7, y - 1.1, x + 0.7, y - 0.3))
    wide = words_width(text, kind == "rail")
    half = max(wide / 2, 0.4)
    boxes: dict[str, Box] = {
        "up": (x - half, y + 0.3, x + half, y + 0.8 + LINE),
        "down": (x - half, y - 0.8 - LINE, x + half, y - 0.3),
        "right": (x + 0.1, y - 0.6, x + 1.2 + wide, y + 0.6),
        "left": (x - 1.2 - wide, y - 0.6, x - 0.1, y + 0.6),
    }
    return Sign(kind, text, at, side, boxes[side])
