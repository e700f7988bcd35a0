"""What the page says of each position: the numbers beside the picture, and why it sounds brighter or duller."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import xarray as xr
from numpy.typing import NDArray

from ...audio.matching import SILENT_DB
from ...base.errors import AmpsimError, DescriptionError
from ...base.progress import Progress
from ...base.wording import in_decibels, in_hertz
from ...circuit.build import SPEAKER
from ...circuit.differences import plan
from ...circuit.nets import INPUT
from ...measures.sweep import gain_at
from ...simulation.response import simulate
from ...studies.audition_request import Audition, Setting
from ...studies.brightness.reasons import explain_brightness
from ...studies.brightness.sentences import brightness_sentences
from .choices import Range, every_place, position_text

Array = NDArray[np.float64]
_EXPLAINED_AT = 3000.0  # Hz
_SAME_DB = 0.01
_SAME = 10.0 ** (_SAME_DB / 20.0) - 1.0
_NO_SIGNAL = "No signal reaches the speaker here, so there is nothing to compare."
_NOTHING = f"Nothing changes here: stock and modded amp differ by less than {_SAME_DB:g} dB at every frequency."


@dataclass(frozen=True)
class Reading:
    """One position in text: its name, a row of cells per frequency (stock, modded, change), and one sentence."""

    name: str
    rows: tuple[tuple[str, str, str], ...]
    sentence: str


@dataclass(frozen=True)
class Reason:
    """Why the position of the switches sounds as it does, and what the figures leave out (empty: no figures)."""

    name: str
    sentences: tuple[str, ...]
    left_out: str


def readings(audition: Audition, offered: Range, response: xr.Dataset) -> list[Reading]:
    """Gain of both amps and the change, at the job's frequencies, for every position in order."""
    asked = audition.frequencies
    levels = gain_at(response, asked, audition.listen_at).transpose("variant", "position", "frequency").values
    with np.errstate(invalid="ignore"):
        changes = levels[1] - levels[0]
    names = [position_text(offered.choices, places) for places in every_place(offered.choices)]
    return [
        _reading(name, asked, stock, modded, change)
        for name, stock, modded, change in zip(names, levels[0], levels[1], changes, strict=True)
    ]


def _reading(name: str, asked: Sequence[float], stock: Array, modded: Array, change: Array) -> Reading:
    rows = tuple(
        (_cell(one), _cell(other), _cell(step, sign=True))
        for one, other, step in zip(stock, modded, change, strict=True)
    )
    changes = ", ".join(
        f"{in_decibels(float(step), sign=True)} at {in_hertz(at)}" for at, step in zip(asked, change, strict=True)
    )
    return Reading(name, rows, f"Change against stock{f' with {name}' if name else ''}: {changes}.")


def _cell(level: float, sign: bool = False) -> str:
    return in_decibels(float(level), sign).removesuffix(" dB")


def reasons(audition: Audition, offered: Range, progress: Progress | None = None) -> list[Reason]:
    """Why each position of the switches sounds as it does, the knobs where they start."""
    settings = offered.switch_settings()
    plain = _plain(audition, settings)
    found = []
    for done, (setting, places) in enumerate(zip(settings, every_place(offered.switches), strict=True), 1):
        known = plain[done - 1]
        why = ((known,), "") if known else _reason(audition, setting)
        found.append(Reason(position_text(offered.switches, places), *why))
        if progress:
            progress(done, len(settings), "positions")
    return found


def _plain(audition: Audition, settings: list[Setting]) -> list[str]:
    """What can be said without further analysis; empty where that is needed."""
    voltage = simulate([audition.stock, audition.modded], positions=settings, nodes=[SPEAKER, INPUT])["voltage"]
    stock, modded = np.abs(voltage.isel(node=0).transpose("variant", "position", "frequency").values)
    least = 10.0 ** (-SILENT_DB / 20.0) * max(float(stock.max()), float(modded.max()))
    sentences = []
    for one, other in zip(stock, modded, strict=True):
        silent = not min(one.max(), other.max()) > least
        same = bool((np.abs(other - one) <= _SAME * one).all())
        sentences.append(_NO_SIGNAL if silent else _NOTHING if same else "")
    return sentences


def _reason(audition: Audition, setting: Setting) -> tuple[tuple[str, ...], str]:
    knob = next((name for name in audition.compare_at if _is_knob(audition, name)), None)
    try:
        answer = explain_brightness(audition.stock, audition.modded, setting, knob, by=_way(audition, setting))
        *sentences, left_out = brightness_sentences(answer, _EXPLAINED_AT, "this position")
    except AmpsimError as problem:
        return (f"Why it sounds as it does could not be worked out here: {problem}.",), ""
    return tuple(sentences), left_out


def _is_knob(audition: Audition, name: str) -> bool:
    return name in audition.stock.controls and audition.stock.controls[name].kind == "knob"


def _way(audition: Audition, setting: Setting) -> str:
    """Counted by part; where there are too many parts to tell apart, by mod."""
    try:
        plan(audition.stock, audition.modded, setting)
    except DescriptionError:
        return "mod"
    return "part"
