"""What is heard at one position, for small signals: brightness, bass, middle, loudness; `hearing.js` does the same."""

from __future__ import annotations

import itertools
import math
from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
import xarray as xr
from numpy.typing import NDArray

from ...audio.matching import SILENT_DB
from ...base.wording import join_words, signed
from ...circuit.amp import Pot
from ...circuit.positions import setting_clause
from ...measures.loudness import NOTICED_ACUM, compare
from ...studies.audition_request import Audition, Setting
from ...studies.brightness.attribution import share_out
from .choices import Choice, Range
from .tables import PageTables

Array = NDArray[np.float64]
SAME_DB = 0.01
BASS, MIDDLE, HEARD = (80.0, 200.0), (300.0, 1000.0), (80.0, 8000.0)  # Hz
MOST_SHARED = 4  # controls among which a difference is shared out
NO_SIGNAL = "No signal reaches the place listened at here, so there is nothing to compare."
NOTHING = f"Nothing changes here: stock and modded amp differ by less than {SAME_DB:g} dB at every frequency."
ACUM = (
    "Acum is the measure of sharpness, how bright a sound is: a hiss around 1 kHz has 1 acum, a hiss around 4 kHz "
    "nearly 3."
)


@dataclass(frozen=True)
class Heard:
    """The change at one position.

    `state` is "silent", "same" or "heard". At equal loudness: `acum` of both amps, how much more there is in `bass` and
    `middle` [dB], and the `most` that any frequency differs by [dB]; as they stand: how much `louder` [dB] the modded
    amp is. `shares` are those of the difference in acum, each with whose it is.
    """

    state: str
    acum: tuple[float, float] = (0.0, 0.0)
    bass: float = 0.0
    middle: float = 0.0
    most: float = 0.0
    louder: float = 0.0
    shares: tuple[tuple[str, float], ...] = ()

    @property
    def sharper(self) -> float:
        """Modded less stock [acum], as the rounded figures have it."""
        return round(round(self.acum[1], 2) - round(self.acum[0], 2), 2)


def loudest_of(gains: Array) -> float:
    """The highest gain [dB] of all positions, shape (positions, 2, f)."""
    return float(gains.max())


def hear(audition: Audition, tables: PageTables, setting: Setting, loudest: float) -> Heard:
    """Work out what is heard at a position.

    Parameters
    ----------
    audition : Audition
    tables : PageTables
    setting : mapping
        Where the choices stand.
    loudest : float
        The highest gain of all positions [dB], of `loudest_of`.
    """
    grid = tables.frequency
    stock, modded = tables.gains(setting)
    if min(_highest(grid, stock), _highest(grid, modded)) < loudest - SILENT_DB:
        return Heard("silent")
    if np.abs(modded - stock).max() <= SAME_DB:
        return Heard("same")
    moved = movers(tables.offered.choices, setting)
    partly = [tables.gains(each)[1] for each in partly_moved(moved, setting)] if len(moved) <= MOST_SHARED else []
    if any(_highest(grid, each) < loudest - SILENT_DB for each in partly):
        partly = []
    acum, (found,) = _compared(grid, [stock, modded, *partly], 1)
    shares: list[tuple[str, float]] = []
    if partly and moved:
        own = share_out(acum[2:])
        named = [setting_clause(each.name, setting[each.name]) for each in moved]
        shares = [
            *zip(named, map(float, own), strict=True),
            (rest_words(audition, tables.offered), float(acum[2] - acum[0])),
        ]
    return replace(found, shares=tuple(shares))


def hear_all(tables: PageTables, settings: Sequence[Setting], loudest: float) -> list[Heard]:
    """What is heard at many positions, without shares: those with the same stock amp are compared in one go.

    Parameters
    ----------
    tables : PageTables
    settings : sequence of mapping
        Where the choices stand.
    loudest : float
        The highest gain of all positions [dB], of `loudest_of`.
    """
    grid, gains = tables.frequency, tables.gains_of(list(settings))
    found = [
        Heard("silent") if min(_highest(grid, each) for each in pair) < loudest - SILENT_DB
        else Heard("same") if np.abs(pair[1] - pair[0]).max() <= SAME_DB else None
        for pair in gains
    ]  # fmt: skip
    left = [place for place, each in enumerate(found) if each is None]
    while left:
        alike = [place for place in left if np.array_equal(gains[place][0], gains[left[0]][0])]
        _, heard = _compared(grid, [gains[left[0]][0], *(gains[place][1] for place in alike)], len(alike))
        for place, each in zip(alike, heard, strict=True):
            found[place] = each
        left = [place for place in left if place not in alike]
    return [each for each in found if each is not None]


def _compared(grid: Array, rows: Sequence[Array], count: int) -> tuple[Array, list[Heard]]:
    """Sharpness of all rows [acum] of gains [dB], and what is heard of so many behind the first, beside it."""
    compared = compare(xr.DataArray(np.array(rows), {"frequency": grid}, ("case", "frequency")))
    acum, change = compared["sharpness"].values, compared["difference"].values
    return acum, [
        Heard(
            "heard",
            (float(acum[0]), float(acum[place])),
            _mean(grid, change[place], BASS),
            _mean(grid, change[place], MIDDLE),
            float(np.abs(change[place][_within(grid, HEARD)]).max()),
            -float(compared["offset"].values[place]),
        )
        for place in range(1, count + 1)
    ]


def movers(choices: Sequence[Choice], setting: Setting) -> list[Choice]:
    """The mods' controls that do not stand as drawn."""
    return [each for each in choices if each.added and setting[each.name] != each.drawn]


def partly_moved(moved: Sequence[Choice], setting: Setting) -> list[Setting]:
    """Every subset of them moved, the others as drawn; control k is moved in those whose number has bit k set."""
    subsets = itertools.product((False, True), repeat=len(moved))
    return [
        {**setting, **{each.name: each.drawn for each, on in zip(moved, reversed(subset), strict=True) if not on}}
        for subset in subsets
    ]


def rest_words(audition: Audition, offered: Range) -> str:
    """What the mods change besides what their controls on the page do."""
    named = []
    for mod in audition.modded.mods:
        pots = [part.control for part in mod.parts if isinstance(part, Pot)]
        own = dict.fromkeys([*pots, *(switch.control for switch in mod.switches)])
        named += [setting_clause(name, offered.fixed[name]) for name in own if name in offered.fixed]
        named += [] if own else [mod.name]
    return join_words(named) if named else "what else is fitted"


def brightness_words(heard: Heard) -> str:
    """How bright it is beside stock, and whose doing that is."""
    sharper, (before, after) = heard.sharper, heard.acum
    if sharper == 0.0:
        return f"As bright as stock: {after:.2f} acum."
    way, size = "brighter" if sharper > 0.0 else "duller", f"{abs(sharper):.2f} acum"
    if abs(sharper) < NOTICED_ACUM:
        return f"About as bright as stock: {size} {way} ({after:.2f} against {before:.2f})."
    told = f"{way.capitalize()} at equal loudness, by {size} ({after:.2f} against {before:.2f})."
    return f"{told} {_shared(sharper, heard.shares)}" if heard.shares else told


def _shared(sharper: float, shares: Sequence[tuple[str, float]]) -> str:
    """Shares rounded so that they add up to the rounded whole: the missing last digits go to those cut most."""
    whole = round(100.0 * sharper)
    floors = [math.floor(100.0 * share) for _, share in shares]
    missing = whole - sum(floors)
    cut_most = sorted(range(len(shares)), key=lambda place: floors[place] - 100.0 * shares[place][1])
    for place in range(abs(missing)):
        floors[cut_most[place % len(shares)]] += 1 if missing > 0 else -1
    told = [(words, count) for (words, _), count in zip(shares, floors, strict=True) if count]
    if len(told) == 1:
        return f"All of it comes from {told[0][0]}."
    listed = join_words([f"{signed(count / 100.0, 2)} from {words}" for words, count in told])
    return f"Of the {signed(sharper, 2)} acum: {listed}."


def _within(grid: Array, span: tuple[float, float]) -> NDArray[np.bool_]:
    return (grid >= span[0]) & (grid <= span[1])


def _highest(grid: Array, gain: Array) -> float:
    return float(gain[_within(grid, HEARD)].max())


def _mean(grid: Array, change: Array, span: tuple[float, float]) -> float:
    """Mean over log frequency; the grid has its points evenly there."""
    return float(change[_within(grid, span)].mean())
