"""Loudness against the signals that its documents prescribe, and the curves against their printed figures.

The signals are those of EBU Tech 3341 and ITU-R BS.1770, both from memory; they are made here from their description.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from functools import partial

import numpy as np
from numpy.typing import NDArray

from ampsim.audio.loudness_standards import a_weighted_level, integrated_loudness, true_peak
from ampsim.audio.phrases import RATE
from tests.truth.claims import CLOSED, Case, Claim, Limit

Array = NDArray[np.float64]
_EBU = "EBU Tech 3341, minimum requirements test signals, from memory"
_ITU = "ITU-R BS.1770-4, annex 1, from memory"
_FILTER = "filter coefficients printed in ITU-R BS.1770-4 for 48 kHz, from memory, worked out in the test"
_IEC = "IEC 61672-1, table of the A curve at exact frequencies"
_ASKED = Limit(0.1, "the tolerance that the document gives a meter", "dB")
_DIGIT = Limit(0.05, "half of the last printed digit", "dB")
_PEAK = Limit(0.2, "the tighter side of the tolerance that the document gives a meter, +0.2 and -0.4 dB", "dB")
# Stretches of a stereo tone of 1 kHz: (dB of full scale, seconds); each comes to -23 LUFS but the second.
_TONES: dict[str, tuple[float, Sequence[tuple[float, float]]]] = {
    "1": (-23.0, [(-23.0, 20.0)]),
    "2": (-33.0, [(-33.0, 20.0)]),
    "3": (-23.0, [(-36.0, 10.0), (-23.0, 60.0), (-36.0, 10.0)]),
    "4": (-23.0, [(-72.0, 10.0), (-36.0, 10.0), (-23.0, 60.0), (-36.0, 10.0), (-72.0, 10.0)]),
    "5": (-23.0, [(-26.0, 20.0), (-20.0, 20.1), (-26.0, 20.0)]),
}
_FIVE = (-28.0, -28.0, -24.0, -30.0, -30.0)  # left, right, centre, both surrounds
# Samples to a period, phase [degrees], amplitude, and what the peak between samples is [dB].
_PEAKS = {"15": (4, 0.0, 0.5, -6.0), "16": (4, 45.0, 0.5, -6.0), "17": (6, 60.0, 0.5, -6.0), "18": (8, 67.5, 0.5, -6.0),
          "19": (4, 45.0, 1.41, 3.0)}  # fmt: skip
_HEAD = ((1.53512485958697, -2.69169618940638, 1.19839281085285), (1.0, -1.69065929318241, 0.73248077421585))
_LOW_CUT = ((1.0, -2.0, 1.0), (1.0, -1.99004745483398, 0.99007225036621))
_PRINTED_A = {100.0: -19.1, 1000.0: 0.0, 10e3: -2.5}


def tone(hertz: float, seconds: float, level: float) -> Array:
    """A sine whose peak is `level` [dB of full scale], shape (samples,)."""
    return 10.0 ** (level / 20.0) * np.sin(2.0 * math.pi * hertz * np.arange(round(seconds * RATE)) / RATE)


def k_weight_db(hertz: float) -> float:
    """Gain of the two filters of BS.1770 [dB], from their printed coefficients."""
    z = np.exp(-2j * math.pi * hertz / RATE * np.arange(3))
    parts = [abs(np.dot(above, z) / np.dot(below, z)) for above, below in (_HEAD, _LOW_CUT)]
    return 20.0 * math.log10(math.prod(parts))


def _loudness(pieces: Sequence[tuple[float, float]]) -> dict[str, float]:
    row = np.concatenate([tone(1000.0, seconds, level) for level, seconds in pieces])
    return {"integrated loudness": float(integrated_loudness(np.stack([row, row], axis=-1)[np.newaxis])[0])}


def _five_channels() -> dict[str, float]:
    rows = np.stack([tone(1000.0, 20.0, level) for level in _FIVE], axis=-1)
    return {"integrated loudness": float(integrated_loudness(rows[np.newaxis])[0])}


def _full_scale() -> dict[str, float]:
    return {"one channel": float(integrated_loudness(tone(997.0, 5.0, 0.0)[np.newaxis])[0])}


def _peak(period: int, phase: float, amplitude: float) -> dict[str, float]:
    count = np.arange(RATE)
    # Faded in and out: a sine that begins at once swings over at its beginning, which is no fault of the meter.
    fade = np.minimum(1.0, np.minimum(count, count[::-1]) / (0.1 * RATE))
    sound = fade * amplitude * np.sin(2.0 * math.pi * count / period + math.radians(phase))
    return {"true peak": 20.0 * math.log10(float(true_peak(sound[np.newaxis])[0]))}


def _k_level(hertz: float) -> dict[str, float]:
    heard = float(integrated_loudness(tone(hertz, 10.0, -20.0)[np.newaxis])[0])
    return {"K weight": heard + 0.691 + 20.0 + 10.0 * math.log10(2.0)}


def _a_level(hertz: float) -> dict[str, float]:
    return {"A weight": float(a_weighted_level(tone(hertz, 1.0, -20.0)[np.newaxis])[0]) + 20.0 + 10.0 * math.log10(2.0)}


def _claim(row: str, what: str, value: float, unit: str, source: str, limit: Limit) -> Claim:
    return Claim(row, what, value, unit, source, "from memory", CLOSED, limit)


def cases() -> list[Case]:
    """Every signal with what a meter shall read."""
    loud = "integrated loudness"
    found = [
        Case((_claim(f"EBU signal {name}", loud, value, "LUFS", _EBU, _ASKED),), partial(_loudness, pieces))
        for name, (value, pieces) in _TONES.items()
    ]
    found.append(Case((_claim("EBU signal 6", loud, -23.0, "LUFS", _EBU, _ASKED),), _five_channels))
    found.append(Case((_claim("997 Hz at full scale", "one channel", -3.01, "LUFS", _ITU, _ASKED),), _full_scale))
    found += [
        Case((_claim(f"EBU signal {name}", "true peak", value, "dBTP", _EBU, _PEAK),),
             partial(_peak, period, phase, amplitude))
        for name, (period, phase, amplitude, value) in _PEAKS.items()
    ]  # fmt: skip
    found += [
        Case((_claim(f"tone of {hertz:g} Hz", "K weight", k_weight_db(hertz), "dB", _FILTER, _DIGIT),),
             partial(_k_level, hertz))
        for hertz in (50.0, 200.0, 1000.0, 3000.0, 10e3)
    ]  # fmt: skip
    found += [
        Case((_claim(f"tone of {hertz:g} Hz", "A weight", value, "dB", _IEC, _DIGIT),), partial(_a_level, hertz))
        for hertz, value in _PRINTED_A.items()
    ]
    return found
