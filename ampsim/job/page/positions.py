"""Every position of the switches, for paper: a small picture of what changes there, and the change in a sentence."""

from __future__ import annotations

import itertools
import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from markupsafe import Markup
from numpy.typing import NDArray

from ...base.wording import minus
from ...circuit.positions import position_label
from ...studies.audition_request import Setting
from .answers import Said, say
from .choices import Range
from .hearing import hear_all
from .played import Played
from .tables import PageTables

MOST_SHOWN = 12
"""As many combinations of the switches are shown, all of them; of more each switch is moved alone."""
_WIDTH, _HEIGHT, _LEFT, _RIGHT, _TOP, _BOTTOM = 236.0, 84.0, 30.0, 4.0, 5.0, 14.0  # pt
_FARTHEST_DB, _STEPS = 48.0, (3.0, 6.0, 12.0, 24.0)  # what the axis of changes reaches, and in which steps
_TICKS = 4
_MARKS = ((50.0, "50"), (100.0, "100"), (200.0, "200"), (500.0, "500"), (1e3, "1k"), (2e3, "2k"), (5e3, "5k"),
          (10e3, "10k"))  # fmt: skip
Array = NDArray[np.float64]


@dataclass(frozen=True)
class Shown:
    """One position: its name, what changes there as a picture, in plain words and in numbers."""

    name: str
    picture: Markup
    words: str
    numbers: str


def switch_positions(offered: Range) -> list[Setting]:
    """The positions of the page's switches that are shown, by themselves: all, or each switch moved alone."""
    switches = [each for each in offered.choices if each.kind == "switch"]
    if not switches:
        return []
    start = {each.name: each.start for each in switches}
    rows: list[Setting] = [
        dict(zip(start, values, strict=True)) for values in itertools.product(*(each.values for each in switches))
    ]
    if len(rows) > MOST_SHOWN:
        rows = [start | {each.name: value} for each in switches for value in each.values]
    return [each for place, each in enumerate(rows) if each not in rows[:place]]


def shown_positions(tables: PageTables, played: Played, loudest: float) -> list[Shown]:
    """Every position of the switches, knobs where the page opens.

    Parameters
    ----------
    tables : PageTables
    played : Played
    loudest : float
        The highest gain of all positions [dB], of `hearing.loudest_of`.
    """
    found = switch_positions(tables.offered)
    if not found:
        return []
    settings = [tables.offered.start() | each for each in found]
    changes = [modded - stock for stock, modded in tables.gains_of(settings)]
    ticks = _ticks(changes)
    said = [
        say(tables, played, setting, heard)
        for setting, heard in zip(settings, hear_all(tables, settings, loudest), strict=True)
    ]
    return [
        Shown(position_label(where), _picture(tables.frequency, change, ticks, position_label(where)), each.headline,
              _numbers(each))
        for where, change, each in zip(found, changes, said, strict=True)
    ]  # fmt: skip


def _numbers(said: Said) -> str:
    """The answers as numbers, those that are noticed."""
    return ", ".join(each.brief for each in said.answers if each.noticed and each.brief)


def _ticks(changes: Sequence[Array]) -> list[float]:
    """The axis of changes [dB], the same for all pictures: even steps, nought and all of every change among them."""
    held = np.clip(np.concatenate(changes), -_FARTHEST_DB, _FARTHEST_DB)
    low, high = float(held.min()), float(held.max())
    step = next(each for each in _STEPS if (high - low) <= _TICKS * each or each == _STEPS[-1])
    first, last = min(math.floor(low / step), 0), max(math.ceil(high / step), 0)
    if last - first < 2:
        first, last = first - (first == 0), last + (last == 0)
    return [step * each for each in range(first, last + 1)]


def _picture(frequency: Array, change: Array, ticks: Sequence[float], name: str) -> Markup:
    """The change [dB] over frequency [Hz] as a small drawing; nothing in it comes from a person but its name."""
    low, high = math.log(frequency[0]), math.log(frequency[-1])
    wide, tall = _WIDTH - _LEFT - _RIGHT, _HEIGHT - _TOP - _BOTTOM
    least, most = ticks[0], ticks[-1]

    def across(hertz: float) -> float:
        return _LEFT + wide * (math.log(hertz) - low) / (high - low)

    def down(level: float) -> float:
        return _TOP + tall * (most - min(max(level, least), most)) / (most - least)

    line = " ".join(
        f"{across(hertz):.1f} {down(level):.1f}"
        for hertz, level in zip(frequency[::2].tolist(), change[::2].tolist(), strict=True)
    )
    grid = "".join(f'<path d="M{across(hertz):.1f} {_TOP}V{_TOP + tall}"/>' for hertz, _ in _MARKS)
    grid += "".join(f'<path d="M{_LEFT} {down(level):.1f}H{_LEFT + wide}"/>' for level in ticks)
    words = "".join(
        f'<text x="{across(hertz):.1f}" y="{_HEIGHT - 4}" text-anchor="middle">{text}</text>' for hertz, text in _MARKS
    )
    words += "".join(
        f'<text x="{_LEFT - 4}" y="{down(level) + 2.4:.1f}" text-anchor="end">'
        f"{minus(f'{level:+g}') if level else '0 dB'}</text>"
        for level in ticks
    )
    zero = f"{down(0.0):.1f}"
    return Markup(
        '<svg xmlns="http://www.w3.org/2000/svg" width="{wide}pt" height="{tall}pt" viewBox="0 0 {wide} {tall}" '
        'role="img"><desc>Change against stock with {name}.</desc>'
        '<g fill="none" stroke="#d5d2cc" stroke-width="0.5">{grid}</g>'
        '<path d="M{left} {zero}L{line}L{end} {zero}Z" fill="#c8642a" fill-opacity="0.18"/>'
        '<path d="M{left} {zero}H{end}" stroke="#77746f" stroke-width="0.8"/>'
        '<path d="M{line}" fill="none" stroke="#c8642a" stroke-width="1.5"/>'
        '<g fill="#5d5a55" font-family="DejaVu Sans, sans-serif" font-size="6.5">{words}</g></svg>'
    ).format(
        wide=f"{_WIDTH:g}", tall=f"{_HEIGHT:g}", name=name, grid=Markup(grid), left=_LEFT, zero=zero,
        end=_LEFT + wide, line=line, words=Markup(words),
    )  # fmt: skip
