"""What the owner asked for, wish by wish, and what the mod does for it where the controls of the page stand."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np
from markupsafe import Markup
from numpy.typing import NDArray

from ...base.wording import join_words, minus, signed
from ...circuit.positions import setting_clause
from ...studies.audition_request import Setting
from ...studies.search.wishes import Wish, WishKind
from ..record.data import Record
from ..record.frozen import open_job
from .tables import PageTables

Array = NDArray[np.float64]
_ROUNDED = 0.05  # dB: what is printed to one digit counts as it is printed
REACHES = (6.0, 12.0, 24.0, 48.0, 96.0)
"""What the ends of a wish's scale stand for [dB]."""
WIDTH, HEIGHT, LEFT = 150.0, 17.0, 7.0  # pt


@dataclass(frozen=True)
class Wished:
    """One wish in the owner's words, a remark of the shop's, and the measurable wish that it is tied to, if any."""

    words: str
    note: str = ""
    wish: Wish | None = None

    @property
    def is_measured(self) -> bool:
        """Whether it asks for a change of gain, which the page can tell everywhere."""
        return self.wish is not None and self.wish.kind is WishKind.GAIN


@dataclass(frozen=True)
class Granted:
    """What the mod does for a wish: in words, and the lowest and highest change in its band [dB], None for no scale."""

    wished: Wished
    words: str = ""
    span: tuple[float, float] | None = None

    @property
    def scale(self) -> Markup:
        """What was asked for, shaded, and what is reached, on a scale of decibels."""
        if self.span is None or self.wished.wish is None:
            return Markup("")
        wish = self.wished.wish
        reach = reach_of([wish.least, wish.most, *self.span])
        asked, got = (_bar(*each, reach) for each in ((wish.least, wish.most), self.span))
        return Markup(
            '<svg xmlns="http://www.w3.org/2000/svg" class="gauge" width="{w}pt" height="{h}pt" viewBox="0 0 {w} {h}" '
            'aria-hidden="true"><rect class="asked" x="{a[0]:.1f}" y="3" width="{a[1]:.1f}" height="11" fill="#2f6db3" '
            'fill-opacity="0.3"/><path d="M{left} 8.5H{right}M{middle} 3V14" stroke="#77746f" stroke-width="1"/>'
            '<rect class="got" x="{g[0]:.1f}" y="6" width="{g[1]:.1f}" height="5" rx="2.5" fill="#c8642a"/></svg>'
        ).format(
            w=f"{WIDTH:g}", h=f"{HEIGHT:g}", a=asked, g=got, left=LEFT, right=WIDTH - LEFT, middle=WIDTH / 2.0
        )  # fmt: skip

    @property
    def ends(self) -> tuple[str, str]:
        """What the ends of the scale stand for."""
        wish = self.wished.wish
        reach = reach_of([wish.least, wish.most, *self.span]) if wish and self.span else REACHES[0]
        return minus(f"-{reach:g} dB"), f"+{reach:g} dB"


def grant(wished: Wished, tables: PageTables, setting: Setting) -> Granted:
    """What the mod does for a wish where the controls stand; those that the wish names stand as it says.

    Parameters
    ----------
    wished : Wished
    tables : PageTables
    setting : mapping
        Where the choices stand.
    """
    wish = wished.wish
    if wish is None or not wished.is_measured:
        return Granted(wished)
    at = where(wish, tables)
    stock, modded = tables.gains({**setting, **at})
    low, high = wish.band
    frequency, change = tables.frequency, modded - stock
    inside = change[(frequency >= low) & (frequency <= high)]
    ends = np.interp(np.log([low, high]), np.log(frequency), change)
    span = float(min(*ends, *inside)), float(max(*ends, *inside))
    return Granted(wished, f"{asked_words(wish, at)} {reached_words(span, wish.least, wish.most)}", span)


def where(wish: Wish, tables: PageTables) -> Setting:
    """The controls that a wish names, as far as the page can put them there."""
    choices = {each.name: each for each in tables.offered.choices}
    return {
        name: value for name, value in wish.at
        if name in choices and (not choices[name].values or value in choices[name].values)
    }  # fmt: skip


def asked_words(wish: Wish, at: Setting) -> str:
    """What was asked for, and with which controls where."""
    clauses = [setting_clause(name, value) for name, value in at.items()]
    return f"That is: {wish.words}{f', with {join_words(clauses)}' if clauses else ''}."


def reached_words(span: tuple[float, float], least: float, most: float) -> str:
    """How what was reached, the lowest and highest change of the band, stands to what was asked for [all in dB]."""
    low, high = span
    if low >= least - _ROUNDED and high <= most + _ROUNDED:
        how = "as asked for"
    elif low > most:
        how = "more than asked for"
    elif high < least:
        how = "less than asked for"
    else:
        how = "partly as asked for"
    one, other = (signed(each, 1) for each in span)
    return f"Here it is {one} dB, {how}." if one == other else f"Here it is {one} to {other} dB, {how}."


def reach_of(sizes: Sequence[float]) -> float:
    """What the ends of a scale stand for that holds some sizes [all in dB]; infinite ones do not count."""
    most = max(abs(each) for each in sizes if math.isfinite(each))
    return next((each for each in REACHES if most <= each), REACHES[-1])


def _bar(low: float, high: float, reach: float) -> tuple[float, float]:
    """Where a bar between two sizes [dB] begins on the scale, and how long it is [pt]; it can always be seen."""
    middle, half = WIDTH / 2.0, WIDTH / 2.0 - LEFT
    one, other = (middle + half * min(max(each / reach, -1.0), 1.0) for each in (low, high))
    wide = max(other - one, 5.0)
    return (one + other - wide) / 2.0, wide


def wish_facts(wished: Wished, tables: PageTables) -> dict[str, Any] | None:
    """What the page's script needs to say it where its controls stand; None for what it cannot tell."""
    if wished.wish is None or not wished.is_measured:
        return None
    wish, at = wished.wish, where(wished.wish, tables)
    limits = [each if math.isfinite(each) else None for each in (wish.least, wish.most)]
    return {"band": wish.band, "limits": limits, "at": at, "asked": asked_words(wish, at), "reaches": REACHES}


def wishes_of(record: Record, folder: str | Path) -> list[Wished]:
    """The wishes of a job, in the owner's words.

    Raises
    ------
    DescriptionError
        As `open_job`.
    """
    files = open_job(record, folder).wishes if any(each.wish for each in record.wishes) else {}
    return [
        Wished(each.words, each.note, files[each.wish].wishes[each.entry - 1] if each.wish else None)
        for each in record.wishes
    ]
