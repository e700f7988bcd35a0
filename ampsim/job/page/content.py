"""What the page says of each position: the numbers beside the picture, and why it sounds brighter or duller."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np
import xarray as xr
from numpy.typing import NDArray

from ...base.errors import AmpsimError, DescriptionError
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
_TOLD_AT = 3000.0  # Hz
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
    said: tuple[str, ...]
    left_out: str


def readings(job: Audition, offered: Range, response: xr.Dataset) -> list[Reading]:
    """Gain of both amps and the change, at the job's frequencies, for every position in order."""
    asked = job.frequencies
    levels = gain_at(response, asked, job.listen_at).transpose("variant", "position", "frequency").values
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
    told = ", ".join(
        f"{in_decibels(float(step), sign=True)} at {in_hertz(at)}" for at, step in zip(asked, change, strict=True)
    )
    return Reading(name, rows, f"Change against stock{f' with {name}' if name else ''}: {told}.")


def _cell(level: float, sign: bool = False) -> str:
    return in_decibels(float(level), sign).removesuffix(" dB")


def reasons(job: Audition, offered: Range, said: Callable[[int, int], object] | None = None) -> list[Reason]:
    """Why each position of the switches sounds as it does, the knobs where they start."""
    settings = offered.switch_settings()
    plain = _plain(job, settings)
    found = []
    for done, (setting, places) in enumerate(zip(settings, every_place(offered.switches), strict=True), 1):
        said_plainly = plain[done - 1]
        told = ((said_plainly,), "") if said_plainly else _reason(job, setting)
        found.append(Reason(position_text(offered.switches, places), *told))
        if said:
            said(done, len(settings))
    return found


def _plain(job: Audition, settings: list[Setting]) -> list[str]:
    """What can be said without further analysis; empty where that is needed."""
    voltage = simulate([job.stock, job.modded], positions=settings, nodes=[SPEAKER, INPUT])["voltage"]
    stock, modded = np.abs(voltage.isel(node=0).transpose("variant", "position", "frequency").values)
    said = []
    for one, other in zip(stock, modded, strict=True):
        silent = not one.any() or not other.any()
        same = bool((np.abs(other - one) <= _SAME * one).all())
        said.append(_NO_SIGNAL if silent else _NOTHING if same else "")
    return said


def _reason(job: Audition, setting: Setting) -> tuple[tuple[str, ...], str]:
    knob = next((name for name in job.compare_at if _is_knob(job, name)), None)
    try:
        answer = explain_brightness(job.stock, job.modded, setting, knob, by=_way(job, setting))
        *told, left_out = brightness_sentences(answer, _TOLD_AT, "this position")
    except AmpsimError as problem:
        return (f"Why it sounds as it does could not be worked out here: {problem}.",), ""
    return tuple(told), left_out


def _is_knob(job: Audition, name: str) -> bool:
    return name in job.stock.controls and job.stock.controls[name].kind == "knob"


def _way(job: Audition, setting: Setting) -> str:
    """Counted by part; where there are too many parts to tell apart, by mod."""
    try:
        plan(job.stock, job.modded, setting)
    except DescriptionError:
        return "mod"
    return "part"
