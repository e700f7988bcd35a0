"""The drawing as a picture of an A4 sheet on its side; what changes is shaded, what comes out is struck."""

from __future__ import annotations

from matplotlib.axes import Axes

from ...circuit.amp import Amp
from ...pictures import style
from ...pictures.canvas import Keys, Picture, header, header_height
from .artists import draw_sheet
from .contents import GONE, Contents, contents
from .items import Item
from .rows import Drawing, lay_out

WIDTH, HEIGHT = 11.0, 7.7  # inches of an A4 sheet on its side, between its margins
_MARGIN = 0.12
_KEYS: Keys = (
    ("new or changed: shaded, drawn heavier", style.Bar("#f6e4d9", style.CHANGE)),
    ("comes out: struck out", style.Look(style.QUIET, 1.0, (2.0, 1.5))),
)
_RULE = "Wires join at a dot; where they cross without one they do not. A letter goes on at the same letter."


def schematic(amp: Amp, whole: bool = False) -> Picture:
    """Draw an amp after its mods on one sheet: what the mods touch with its neighbours, or the whole amp.

    The signal runs from left to right, in rows; supply stands above, ground below. Everything comes from the circuit:
    parts, pieces of wire and contacts of `wiring`. What is new or changes is shaded, what comes out is struck out.

    Raises
    ------
    DescriptionError
        As `wiring.readback.wiring`.
    """
    return _picture(amp, lay_out(contents(amp), whole))


def _picture(amp: Amp, found: Drawing) -> Picture:
    given = found.shown
    heading = f"Schematic: {amp.name}" + (f" with {amp.variant}" if amp.mods else "")
    keys = _KEYS if any(item.change for item in given.items) else ()
    top = header_height(heading, _RULE, WIDTH, keys, _MARGIN)
    left, low, right, high = found.sheet.bounds()
    unit = min(found.unit, (HEIGHT - top - 2 * _MARGIN) / (high - low))
    across, tall = (right - left) * unit, (high - low) * unit
    with style.picture_settings():
        picture = Picture(WIDTH, max(top + tall + 2 * _MARGIN, 2.0), heading, describe(given))
        header(picture, _RULE, keys, _MARGIN)
        x, y = (WIDTH - across) / 2, picture.height - top - _MARGIN / 2 - tall
        axes: Axes = picture.box(x, y, x + across, y + tall)
        axes.set(xlim=(left, right), ylim=(low, high))
        axes.axis("off")
        draw_sheet(found.sheet, axes, unit)
    return picture


def describe(given: Contents) -> str:
    """The drawing in words: every part, what it lies between, and what happens to it."""
    return "; ".join(_item_words(item, given) for item in given.items) + "."


def _item_words(item: Item, given: Contents) -> str:
    marks = [item.change] if item.change else []
    marks += [f"was {item.was}"] if item.was and item.change != GONE else []
    text = " ".join([item.name, *(word for word in item.words if word)]) + (f" ({', '.join(marks)})" if marks else "")
    if item.kind == "pole":
        drawn = next((throw.label for throw in item.throws if throw.drawn), "")
        text += f", standing at {drawn}," if drawn else ","
    if len(item.nets) > 2:
        return f"{text}, ".replace(",,", ",") + ", ".join(
            f"{pin} to {_net_words(net, item, given)}" for pin, net in item.pins
        )
    return f"{text} between " + " and ".join(_net_words(net, item, given) for net in item.nets)


def _net_words(net: str, item: Item, given: Contents) -> str:
    if net == given.ground:
        return "ground"
    if net in given.rails:
        return given.rails[net]
    others = [other.name for other in given.items if other is not item and net in other.nets]
    outside = [given.flags[net]] if net in given.flags else []
    return "/".join([*others, *outside][:4]) or "an open end"
