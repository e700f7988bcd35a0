"""A photo with its arrows drawn over it: one piece of SVG for page and paper, the photo untouched beneath."""

from __future__ import annotations

import base64
import math
from collections.abc import Sequence
from string import ascii_lowercase

from markupsafe import Markup

from ...base.keys import PLACE
from ...base.wording import one_line
from ..record.data import Mark
from ..record.photos import SmallPhoto
from .placing import Tag, place_tags

_INK, _PAPER = "#143a66", "#ffffff"
_LONGEST = 20  # signs of a label
_LETTERS = "'DejaVu Sans', Verdana, Arial, sans-serif"


def mark_labels(marks: Sequence[Mark]) -> list[str]:
    """What stands at each arrow: the designator or place; a letter for a step, whose words stand below the photo."""
    letters: dict[str, str] = {}
    for each in marks:
        if not PLACE.fullmatch(each.at):
            letters.setdefault(each.at, _letter(len(letters)))
    return [letters.get(each.at, each.at) for each in marks]


def _letter(number: int) -> str:
    return ascii_lowercase[number] if number < len(ascii_lowercase) else str(number + 1)


def mark_words(marks: Sequence[Mark]) -> list[str]:
    """The lines below a photo: what the letters of the arrows mean, and what was written at them."""
    lines = []
    for label, mark in zip(mark_labels(marks), marks, strict=True):
        meant = [mark.at] if label != mark.at else []
        if meant or mark.text:
            lines.append(f"{label}: {' '.join([*meant, mark.text]).strip()}")
    return list(dict.fromkeys(lines))


def photo_svg(photo: SmallPhoto, marks: Sequence[Mark] = (), words: str = "") -> Markup:
    """A photo with its arrows, as an element for a page; `words` say what it shows to who cannot see it."""
    wide, high = photo.size
    inner = Markup(base64.b64encode(photo.jpeg).decode())
    labels = [each if len(each) <= _LONGEST else f"{each[: _LONGEST - 1]}\u2026" for each in mark_labels(marks)]
    tags = place_tags(labels, [(each.x, each.y) for each in marks], wide, high)
    pointed = f" Arrows: {', '.join(dict.fromkeys(labels))}." if labels else ""
    told = one_line(f"{words}{pointed}")
    # Arrows first: where two are close, none crosses out the words of the other.
    drawn = Markup("").join([*map(_arrow, tags), *map(_label, tags)])
    return Markup(
        '<svg xmlns="http://www.w3.org/2000/svg" role="img" aria-label="{told}" width="{wide}pt" height="{high}pt" '
        'viewBox="0 0 {wide} {high}"><desc>{told}</desc><image width="{wide}" height="{high}" '
        'href="data:image/jpeg;base64,{inner}"/>{drawn}</svg>'
    ).format(told=told, wide=wide, high=high, inner=inner, drawn=drawn)


def _arrow(tag: Tag) -> Markup:
    """From the edge of the label to the tip; light round dark, so that it is seen on any ground."""
    dx, dy = tag.x - tag.tip[0], tag.y - tag.tip[1]
    length, size = math.hypot(dx, dy) or 1.0, tag.letters
    unit = (dx / length, dy / length)
    head, half = 0.75 * size, 0.32 * size
    back = (tag.tip[0] + unit[0] * head, tag.tip[1] + unit[1] * head)
    corners = [
        tag.tip,
        (back[0] - unit[1] * half, back[1] + unit[0] * half),
        (back[0] + unit[1] * half, back[1] - unit[0] * half),
    ]
    shaft = f"M{_point(back)}L{_point((tag.x, tag.y))}"
    tip = f"M{'L'.join(map(_point, corners))}Z"
    pieces = []
    for colour, more in ((_PAPER, 0.22 * size), (_INK, 0.0)):
        pieces.append(
            Markup('<path d="{}" fill="none" stroke="{}" stroke-width="{:.1f}"/>').format(
                shaft, colour, 0.13 * size + more
            )
        )
        pieces.append(
            Markup('<path d="{}" fill="{}" stroke="{}" stroke-width="{:.1f}" stroke-linejoin="round"/>').format(
                tip, colour, colour, more
            )
        )
    return Markup("").join(pieces)


def _label(tag: Tag) -> Markup:
    edge = 0.09 * tag.letters
    box = Markup('<rect x="{:.1f}" y="{:.1f}" width="{:.1f}" height="{:.1f}" rx="{:.1f}" fill="{}"{}/>')
    left, top = tag.x - tag.wide / 2, tag.y - tag.high / 2
    stroke = Markup(' stroke="{}" stroke-width="{:.1f}"').format(_INK, edge)
    frame = box.format(left, top, tag.wide, tag.high, 0.25 * tag.letters, _PAPER, "")
    line = box.format(
        left + edge, top + edge, tag.wide - 2 * edge, tag.high - 2 * edge, 0.2 * tag.letters, _PAPER, stroke
    )
    words = Markup(
        '<text x="{:.1f}" y="{:.1f}" text-anchor="middle" font-family="{}" font-weight="bold" font-size="{:.1f}" '
        'fill="{}">{}</text>'
    ).format(tag.x, tag.y + 0.36 * tag.letters, _LETTERS, tag.letters, _INK, tag.words)
    return frame + line + words


def _point(point: tuple[float, float]) -> str:
    return f"{point[0]:.1f} {point[1]:.1f}"
