"""What a sweep came from of which nobody wrote it down: the source whose simulated sweep it meets best."""

from __future__ import annotations

import numpy as np
import xarray as xr

from ...circuit.amp import Amp
from ...circuit.build import SPEAKER
from ...circuit.plugging import plug_in, usual_sources
from ...circuit.positions import Position
from ...circuit.source import Source
from ...measures.sweep import gain_db
from ...simulation.analyses import FrequencySweep
from ...simulation.response import simulate
from .compare import compare

_ALIKE_DB = 0.1
"""Sources whose sweeps are met as well as this [dB] are not told apart: the first counts (own choice)."""


def likeliest_source(amp: Amp, position: Position, measured: xr.Dataset, node: str = SPEAKER) -> Source:
    """The usual source that a measured sweep meets best, its level aside; the drawing's where it leaves no choice.

    Parameters
    ----------
    amp : Amp
        As it stood on the bench.
    position : mapping
        Where the controls stood; those that the amp does not have are passed over.
    measured : Dataset
        With `gain_db` [dB] over frequency [Hz].
    node : str
        The place that was recorded.

    Raises
    ------
    DescriptionError
        When both share too few frequencies, or the amp has no such place.
    EngineError
        When ngspice gives no trustworthy answer.
    """
    usual = usual_sources(amp)
    if len(usual) == 1:
        return usual[0]
    apart = [_difference_db(plug_in(amp, each), position, measured, node) for each in usual]
    return next(each for each, off in zip(usual, apart, strict=True) if off <= min(apart) + _ALIKE_DB)


def _difference_db(amp: Amp, position: Position, measured: xr.Dataset, node: str) -> float:
    """Root of the mean square of what the sweep is off once its level is taken out [dB]."""
    at = {control: value for control, value in position.items() if control in amp.controls}
    drawn = gain_db(simulate(amp, FrequencySweep(), [at], [node]), node).isel(variant=0, position=0)
    return float(np.sqrt(np.mean(compare(measured["gain_db"], drawn)["difference"].values ** 2)))
