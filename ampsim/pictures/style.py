"""How pictures and tables look: colours, dashes, ticks, and how numbers are written. One place, nothing drawn here."""

from __future__ import annotations

import math
import threading
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass
from typing import Any, Literal

# Stock and modded: contrast on white 4.7 and 11.5 to 1, 25 apart in lightness, so both read in grey print and for
# colour-blind readers (computed with CIE 1976 L*a*b* and the usual simulations); the change is only ever a fill.
STOCK = "#77746f"
MODDED = "#143a66"
CHANGE = "#c8642a"
CHANGE_ALPHA = 0.18
INK = "#1f1e1c"
QUIET = "#5d5a55"
GRID = "#e4e2de"
FAINT_GRID = "#f1f0ed"
SHADE = "#f6f5f2"

TITLE_SIZE, TEXT_SIZE, SMALL_SIZE = 11.5, 8.5, 7.5
PAGE_WIDTH = 7.0  # inches between the margins of an A4 page

# Open strings and frets of a guitar in standard tuning: E2 to E6 (24 frets), equal temperament on A4 = 440 Hz (ISO 16).
GUITAR_BAND = (82.41, 1318.5)

SETTINGS: Any = {
    "font.family": "sans-serif",
    "font.sans-serif": ["DejaVu Sans", "Verdana", "Arial"],
    "font.size": TEXT_SIZE,
    "text.parse_math": False,  # a dollar sign in a name is a dollar sign
    "axes.unicode_minus": True,
    "svg.fonttype": "none",
    "svg.hashsalt": "ampsim",
    "path.simplify": True,
    "savefig.bbox": None,
}
_ONE_AT_A_TIME = threading.RLock()


@contextmanager
def picture_settings() -> Iterator[None]:
    """Draw and save under these settings: matplotlib keeps them for the whole process, so one thread at a time."""
    from matplotlib import rc_context

    with _ONE_AT_A_TIME, rc_context(SETTINGS):
        yield


@dataclass(frozen=True)
class Look:
    """How one line is drawn: colour, width [pt], dashes in line widths (empty: solid)."""

    colour: str
    width: float
    dashes: tuple[float, ...] = ()

    @property
    def linestyle(self) -> Literal["-"] | tuple[float, tuple[float, ...]]:
        """The dashes as matplotlib takes them [line widths]."""
        return (0.0, self.dashes) if self.dashes else "-"


@dataclass(frozen=True)
class Bar:
    """How one bar is drawn: face, edge, hatch (empty: plain)."""

    face: str
    edge: str
    hatch: str = ""


STOCK_BAR = Bar(SHADE, STOCK, "/////")
MODDED_BAR = Bar(MODDED, MODDED)
STOCK_LOOK = Look(STOCK, 1.6, (4.0, 1.8))
MODDED_LOOK = Look(MODDED, 2.2)
CHANGE_LOOK = Look(MODDED, 1.3)

_DARKEST, _LIGHTEST = (10, 27, 51), (96, 146, 196)
_DARK_RUST, _LIGHT_RUST = (140, 56, 12), (218, 140, 84)
_DASHES: tuple[tuple[float, ...], ...] = ((), (5.0, 1.6), (1.6, 1.4), (6.0, 1.4, 1.4, 1.4))


def family_looks(count: int) -> list[Look]:
    """Looks of an ordered family: lightness runs from dark to light, and neighbours differ in their dashes too."""
    return [Look(_ramp(place / max(count - 1, 1)), 1.7, _DASHES[place % len(_DASHES)]) for place in range(count)]


def candidate_looks(count: int) -> list[Look]:
    """Looks of candidates without an order: two hues in turn, each from dark to light with dashes that differ."""
    steps = max((count - 1) // 2, 1)
    hues = ((_DARKEST, _LIGHTEST), (_DARK_RUST, _LIGHT_RUST))
    return [
        Look(_mixed(*hues[place % 2], place // 2 / steps), 1.7, _DASHES[place // 2 % len(_DASHES)])
        for place in range(count)
    ]


def stock_and_modded(count: int) -> list[Look]:
    """Looks of one or two variants: the modded one alone, or both."""
    return [STOCK_LOOK, MODDED_LOOK][-count:]


def pair_looks(count: int) -> list[tuple[Look, Look]]:
    """Looks of (stock, modded) at `count` positions: lines and dashes get smaller from one to the next."""
    shrink = [0.72**place for place in range(count)]
    return [(Look(STOCK, 1.6 * k, STOCK_LOOK.dashes), Look(MODDED, 2.2 * k)) for k in shrink]


def _ramp(fraction: float) -> str:
    return _mixed(_DARKEST, _LIGHTEST, fraction)


def _mixed(darkest: Sequence[int], lightest: Sequence[int], fraction: float) -> str:
    mixed = (round(dark + fraction * (light - dark)) for dark, light in zip(darkest, lightest, strict=True))
    return "#" + "".join(f"{part:02x}" for part in mixed)


def frequency_ticks(low: float, high: float) -> list[float]:
    """Frequencies [Hz] to label between two limits: 1, 2 and 5 in every decade, 1 alone where there are many."""
    decades = range(math.floor(math.log10(low)), math.ceil(math.log10(high)) + 1)
    steps = (1, 2, 5) if math.log10(high / low) < 4.5 else (1,)
    ticks = (step * 10.0**decade for decade in decades for step in steps)
    return [tick for tick in ticks if low * (1 - 1e-9) <= tick <= high * (1 + 1e-9)]


def frequency_lines(low: float, high: float) -> list[float]:
    """Frequencies [Hz] for faint grid lines: 1 to 9 in every decade."""
    decades = range(math.floor(math.log10(low)), math.ceil(math.log10(high)) + 1)
    lines = (step * 10.0**decade for decade in decades for step in range(1, 10))
    return [line for line in lines if low < line < high]
