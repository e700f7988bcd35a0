"""What the page says where it opens: the numbers beside the picture, and which knob takes the brightness away."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from ...base.errors import AmpsimError
from ...base.wording import in_decibels, in_hertz
from ...studies.audition_request import Audition, Setting
from ...studies.brightness.reasons import explain_brightness
from ...studies.brightness.sentences import knob_sentence
from .tables import NO_SIGNAL_DB

Array = NDArray[np.float64]


def table_rows(frequency: Array, stock: Array, modded: Array, asked: Sequence[float]) -> list[tuple[str, str, str]]:
    """Gain of both amps and the change at the job's frequencies, as the page prints them [dB].

    Parameters
    ----------
    frequency : ndarray
        Of the gains [Hz].
    stock, modded : ndarray
        Gain of either amp [dB].
    asked : sequence of float
        The job's frequencies [Hz].
    """
    at = np.log(asked)
    one, other = (np.interp(at, np.log(frequency), row) for row in (stock, modded))
    return [_cells(*pair) for pair in zip(one, other, strict=True)]


def _cells(stock: float, modded: float) -> tuple[str, str, str]:
    levels = [level if level > NO_SIGNAL_DB + 1.0 else -np.inf for level in (stock, modded)]
    silent = np.isinf(levels)
    change = -np.inf if silent[1] else np.inf if silent[0] else levels[1] - levels[0]
    change = np.nan if silent.all() else change
    return _cell(levels[0]), _cell(levels[1]), _cell(change, sign=True)


def _cell(level: float, sign: bool = False) -> str:
    return in_decibels(float(level), sign).removesuffix(" dB")


def change_sentence(name: str, rows: Sequence[tuple[str, str, str]], asked: Sequence[float]) -> str:
    """The picture in one sentence, for who cannot see it: the changes [dB] of `table_rows` at frequencies [Hz]."""
    told = ", ".join(f"{_with_unit(row[2])} at {in_hertz(at)}" for row, at in zip(rows, asked, strict=True))
    return f"Change against stock{f' with {name}' if name else ''}: {told}."


def _with_unit(cell: str) -> str:
    return f"{cell} dB" if cell[-1:].isdigit() else cell


def knob_words(audition: Audition, setting: Setting) -> str:
    """Where a knob that the job names takes half of the brightness away; "" for none, or where nobody hears it."""
    knob = next((name for name in audition.compare_at if _is_knob(audition, name)), None)
    if knob is None:
        return ""
    try:
        return knob_sentence(explain_brightness(audition.stock, audition.modded, setting, knob, by="mod"))
    except AmpsimError:
        return ""


def _is_knob(audition: Audition, name: str) -> bool:
    return name in audition.stock.controls and audition.stock.controls[name].kind == "knob"
