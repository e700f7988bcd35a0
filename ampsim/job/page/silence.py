"""Positions at which nothing is heard, such as a volume turned down: they are no positions to compare."""

from __future__ import annotations

import itertools
from dataclasses import replace

import numpy as np
import xarray as xr
from numpy.typing import NDArray

from ...audio.matching import SILENT_DB
from ...base.wording import join_words
from ...circuit.positions import setting_clause
from .choices import Choice, Range, every_place

_HEARD = (80.0, 5000.0)  # Hz between which something must come out


def silent_positions(response: xr.Dataset, place: str) -> NDArray[np.bool_]:
    """At which positions one of the amps is more than `SILENT_DB` [dB] below the loudest; none where all are silent.

    Parameters
    ----------
    response : xarray.Dataset
        Of a frequency sweep of both amps.
    place : str
        Where it is listened.
    """
    voltage = response["voltage"].sel(node=place, frequency=slice(*_HEARD))
    peaks = np.abs(voltage.transpose("variant", "position", "frequency").values).max(axis=2)
    return np.asarray(peaks.min(axis=0) < 10.0 ** (-SILENT_DB / 20.0) * peaks.max())


def leave_out_silent(offered: Range, silent: NDArray[np.bool_]) -> tuple[Range, list[int], str]:
    """Leave out the values of controls with which every position is silent.

    Parameters
    ----------
    offered : Range
    silent : ndarray
        Of `silent_positions`, in the order of ``offered.settings()``.

    Returns
    -------
    tuple of Range, list of int, str
        What is left to offer, the places of its positions among those before, and what was left out, in words.
    """
    places = list(every_place(offered.choices))
    out = {
        (number, value)
        for number, choice in enumerate(offered.choices)
        for value in range(len(choice.values))
        # Where the page opens stays, whatever is heard there.
        if value != choice.start and all(silent[n] for n, each in enumerate(places) if each[number] == value)
    }
    kept = [n for n, each in enumerate(places) if not out & set(enumerate(each))]
    choices = tuple(
        _without(choice, {value for at, value in out if at == number}) for number, choice in enumerate(offered.choices)
    )
    return replace(offered, choices=choices), kept, _left_out_words(offered, sorted(out))


def _without(choice: Choice, out: set[int]) -> Choice:
    stay = [value not in out for value in range(len(choice.values))]
    drawn = None if choice.drawn is None or not stay[choice.drawn] else sum(stay[: choice.drawn])
    return replace(
        choice,
        values=tuple(itertools.compress(choice.values, stay)),
        texts=tuple(itertools.compress(choice.texts, stay)),
        start=sum(stay[: choice.start]),
        drawn=drawn,
    )


def _left_out_words(offered: Range, out: list[tuple[int, int]]) -> str:
    if not out:
        return ""
    named = [setting_clause(offered.choices[at].name, offered.choices[at].values[value]) for at, value in out]
    return (
        f"Left out is {join_words(named)}: nothing is heard there, more than {SILENT_DB:g} dB below the loudest "
        "position (a limit of ours)."
    )
