"""The phrase through the amp as if it never clipped: what a change does to tone alone.

The gains of ngspice's small-signal sweep are applied to the spectrum of the phrase.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence

import numpy as np
import xarray as xr
from numpy.typing import NDArray

from ..base.errors import DescriptionError
from ..circuit.amp import Amp
from ..circuit.build import SPEAKER
from ..circuit.positions import Position, position_label
from ..simulation.analyses import FrequencySweep
from ..simulation.response import simulate
from ..studies.stability.steady import refuse_unsteady
from .loads import LOUDSPEAKER, load_words, with_load
from .phrases import RATE, Phrase, phrase

Array = NDArray[np.float64]
SWEEP = FrequencySweep(2.0, 25e3, 100)
_TAIL = 1.0  # s in which what still rings at the end dies away, so that it does not come round to the beginning


def render_linear(
    amps: Amp | Sequence[Amp],
    positions: Iterable[Position] = ({},),
    played: Phrase | None = None,
    *,
    load: str = LOUDSPEAKER,
    node: str = SPEAKER,
) -> xr.Dataset:
    """Play a phrase through amps at positions by their small-signal gains: no clipping, no sag, no bias shift.

    Parameters
    ----------
    amps, positions, played, node
        As in `render`.
    load : str
        "loudspeaker" or "resistor".

    Returns
    -------
    xarray.Dataset
        `volts` (variant, position, time) [V], as from `render`; larger than any amp gives where it would clip.

    Raises
    ------
    DescriptionError, EngineError
        As `simulate`; DescriptionError also for an amp that oscillates, and a place without signal.
    """
    played = played or phrase()
    given = [amps] if isinstance(amps, Amp) else list(amps)
    settings = [dict(position) for position in positions]
    variants = [with_load(amp, load) for amp in given]
    refuse_unsteady([(amp, setting) for amp in variants for setting in settings], "A clip")
    gains = simulate(variants, SWEEP, settings, [node])["voltage"].isel(node=0)
    silent = np.argwhere(~(np.abs(gains.values) > 0.0).all(axis=-1))
    if silent.size:
        variant, position = silent[0]
        raise DescriptionError(
            f"{node} of {given[variant].name}, {given[variant].variant}, {position_label(settings[position])}: "
            "no signal comes there, so there is nothing to listen to"
        )
    rows = [through(row, gains["frequency"].values, played.volts) for row in gains.values.reshape(-1, SWEEP.points)]
    volts = np.stack(rows).reshape(*gains.shape[:2], -1)
    words = f"{played.words} {load_words(given[0], load)} Computed without any clipping, from small-signal gains."
    facts = {"words": words, "phrase": played.words, "node": node, "rate": RATE, "amp": given[0].name}
    coords = {name: gains.coords[name] for name in gains.coords if "frequency" not in gains.coords[name].dims}
    coords["variant"] = ("variant", [amp.variant for amp in given])
    coords.pop("node", None)
    time = ("time", np.arange(volts.shape[-1]) / RATE, {"units": "s"})
    return xr.Dataset(
        {"volts": (("variant", "position", "time"), volts, {"units": "V"})}, {**coords, "time": time}, facts
    )


def through(gain: NDArray[np.complex128], frequency: Array, sound: Array) -> Array:
    """A sound at 48 kHz through gains at rising frequencies [Hz]; shape of `sound`.

    Between the frequencies logarithm and phase of the gain run on cubics; beyond them the gain stays. It is never 0.
    """
    from scipy.interpolate import CubicSpline

    count = 1 << int(sound.size + _TAIL * RATE - 1).bit_length()
    wanted = np.clip(np.fft.rfftfreq(count, 1.0 / RATE), frequency[0], frequency[-1])
    curve = np.stack([np.log(np.abs(gain)), np.unwrap(np.angle(gain))])
    level, angle = CubicSpline(np.log(frequency), curve, axis=1)(np.log(wanted))
    return np.asarray(np.fft.irfft(np.fft.rfft(sound, count) * np.exp(level + 1j * angle), count)[: sound.size])
