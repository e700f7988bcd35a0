"""How wide a text is on a picture, and where its lines end."""

from __future__ import annotations

from functools import lru_cache
from typing import Any

from matplotlib.backends.backend_agg import FigureCanvasAgg
from matplotlib.figure import Figure
from matplotlib.font_manager import FontProperties

from ..base.wording import keep_units, one_line

_MARGIN = 1.03  # hinting makes letters at other resolutions up to this much wider
_RULER: Any = FigureCanvasAgg(Figure((0.1, 0.1), dpi=100)).get_renderer()  # type: ignore[no-untyped-call]


def text_width(words: str, size: float, bold: bool = False) -> float:
    """Width [inches] of a line of text."""
    first, *more = one_line(words).split(" ")
    return _word_width(first, size, bold) + sum(_further_width(word, size, bold) for word in more)


@lru_cache(maxsize=8192)
def _further_width(word: str, size: float, bold: bool) -> float:
    """Width [inches] that a word adds to a line, the space before it included: no letter is moved up to a space."""
    return _word_width(f"n {word}", size, bold) - _word_width("n", size, bold)


@lru_cache(maxsize=8192)
def _word_width(word: str, size: float, bold: bool) -> float:
    font = FontProperties(size=size, weight="bold" if bold else "normal")
    return float(_RULER.get_text_width_height_descent(word, font, ismath=False)[0]) / 100.0 * _MARGIN


def wrap_text(words: str, width: float, size: float, bold: bool = False) -> list[str]:
    """Break a text into lines, at spaces where it can be, but not between a number and its unit.

    Parameters
    ----------
    words : str
    width : float
        Of a line at most [inches].
    size : float
        Of the letters [pt].
    bold : bool
    """
    lines, taken = [""], 0.0
    for word in _words(words, width, size, bold):
        further = _further_width(word, size, bold) if lines[-1] else _word_width(word, size, bold)
        if taken + further <= width:
            lines[-1] = f"{lines[-1]} {word}".strip()
            taken += further
            continue
        pieces = _chop(word, width, size, bold)
        lines = [*lines, *pieces] if lines[-1] else pieces
        taken = _word_width(lines[-1], size, bold)
    return [line.replace("\u00a0", " ") for line in lines]


def _words(words: str, width: float, size: float, bold: bool) -> list[str]:
    """What is not broken: words, and numbers with their units where a line holds both."""
    whole = [each for each in keep_units(one_line(words)).split(" ") if each]
    return [word for each in whole for word in ([each] if _word_width(each, size, bold) <= width else each.split())]


def _chop(word: str, width: float, size: float, bold: bool) -> list[str]:
    pieces = [""]
    for sign in word:
        if pieces[-1] and text_width(pieces[-1] + sign, size, bold) > width:
            pieces.append("")
        pieces[-1] += sign
    return pieces
