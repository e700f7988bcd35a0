"""Zwicker's loudness and sharpness of steady sounds from their third-octave levels, for many sounds at once.

After ISO 532-1:2017, method for stationary sounds, free field (tables A.3 to A.9, as printed in MoSQITo 1.2.1), and DIN
45692:2009. `loudness.js` does the same in a browser.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]

BANDS = 28
"""Third-octave bands, from 25 Hz to 12.5 kHz."""

# Levels [dB] up to which low bands, those to 315 Hz, are weighted by a row of the steps below [dB].
_LOW_LEVELS = np.array([45, 55, 65, 71, 80, 90, 100, 120])
_LOW_STEPS = np.array(
    [
        [-32, -24, -16, -10, -5, 0, -7, -3, 0, -2, 0],
        [-29, -22, -15, -10, -4, 0, -7, -2, 0, -2, 0],
        [-27, -19, -14, -9, -4, 0, -6, -2, 0, -2, 0],
        [-25, -17, -12, -9, -3, 0, -5, -2, 0, -2, 0],
        [-23, -16, -11, -7, -3, 0, -4, -1, 0, -1, 0],
        [-20, -14, -10, -6, -3, 0, -4, -1, 0, -1, 0],
        [-18, -12, -9, -6, -2, 0, -3, -1, 0, -1, 0],
        [-15, -10, -8, -4, -2, 0, -3, -1, 0, -1, 0],
    ]
)
_TOGETHER = ((0, 6), (6, 9), (9, 11))  # the low bands that are one critical band
# Of each critical band [dB]: threshold in quiet, the way to the ear, the step from third octaves to critical bands.
_THRESHOLD = np.array([30, 18, 12, 8, 7, 6, 5, 4, *[3] * 12])
_TO_EAR = np.array([*[0.0] * 10, -0.5, -1.6, -3.2, -5.4, -5.6, -4.0, -1.5, 2.0, 5.0, 12.0])
_TO_CRITICAL = np.array(
    [-0.25, -0.6, -0.8, -0.8, -0.5, 0, 0.5, 1.1, 1.5, 1.7, 1.8, 1.8, 1.7, 1.6, 1.4, 1.2, 0.8, 0.5, 0, -0.5]
)
# Where critical bands end [Bark]; beyond the last one only slopes go on.
_ENDS = (0.9, 1.8, 2.8, 3.5, 4.4, 5.4, 6.6, 7.9, 9.2, 10.6, 12.3, 13.8, 15.2, 16.7, 18.1, 19.3, 20.6, 21.8, 22.7, 23.6,
         24.0)  # fmt: skip
# From which specific loudness [sone/Bark] on a row of slopes [sone/Bark^2] holds; a column to each band but the first.
_FROM = np.array([21.5, 18, 15.1, 11.5, 9, 6.1, 4.4, 3.1, 2.13, 1.36, 0.82, 0.42, 0.3, 0.22, 0.15, 0.1, 0.035, 0])
_SLOPES = np.array(
    [
        [13, 8.2, 6.3, 5.5, 5.5, 5.5, 5.5, 5.5],
        [9, 7.5, 6, 5.1, 4.5, 4.5, 4.5, 4.5],
        [7.8, 6.7, 5.6, 4.9, 4.4, 3.9, 3.9, 3.9],
        [6.2, 5.4, 4.6, 4, 3.5, 3.2, 3.2, 3.2],
        [4.5, 3.8, 3.6, 3.2, 2.9, 2.7, 2.7, 2.7],
        [3.7, 3, 2.8, 2.35, 2.2, 2.2, 2.2, 2.2],
        [2.9, 2.3, 2.1, 1.9, 1.8, 1.7, 1.7, 1.7],
        [2.4, 1.7, 1.5, 1.35, 1.3, 1.3, 1.3, 1.3],
        [1.95, 1.45, 1.3, 1.15, 1.1, 1.1, 1.1, 1.1],
        [1.5, 1.2, 0.94, 0.86, 0.82, 0.82, 0.82, 0.82],
        [0.72, 0.67, 0.64, 0.63, 0.62, 0.62, 0.62, 0.62],
        [0.59, 0.53, 0.51, 0.5, 0.42, 0.42, 0.42, 0.42],
        [0.4, 0.33, 0.26, 0.24, 0.24, 0.22, 0.22, 0.22],
        [0.27, 0.21, 0.2, 0.18, 0.17, 0.17, 0.17, 0.17],
        [0.16, 0.15, 0.14, 0.12, 0.11, 0.11, 0.11, 0.11],
        [0.12, 0.11, 0.1, 0.08, 0.08, 0.08, 0.08, 0.08],
        [0.09, 0.08, 0.07, 0.06, 0.06, 0.06, 0.06, 0.05],
        [0.06, 0.05, 0.03, 0.02, 0.02, 0.02, 0.02, 0.02],
    ]
)
_LAST_ROW, _LAST_COLUMN = len(_FROM) - 1, _SLOPES.shape[1] - 1
_STEP = 0.1  # Bark
_NEAR = 1e-9  # Bark


def loudness_and_sharpness(levels: Array) -> tuple[Array, Array]:
    """Loudness and sharpness of steady sounds.

    Parameters
    ----------
    levels : ndarray
        Shape (28, sounds): sound pressure level in each third-octave band [dB].

    Returns
    -------
    loudness, sharpness : ndarray
        Shape (sounds,): [sone], rounded as the standard does, and [acum], NaN of silence.
    """
    whole, specific = _pattern(_main_loudness(levels))
    digits = np.where(whole <= 16.0, 1000.0, 100.0)
    sone = np.floor(np.maximum(whole, 0.0) * digits + 0.5) / digits
    z = _STEP * np.arange(1, len(specific) + 1)
    weight = np.where(z > 15.8, 0.15 * np.exp(0.42 * (z - 15.8)) + 0.85, 1.0)
    moment = 0.11 * _STEP * ((weight * z) @ specific)
    return sone, np.divide(moment, sone, out=np.full_like(sone, np.nan), where=sone > 0.0)


def _main_loudness(levels: Array) -> Array:
    """Specific loudness [sone/Bark] of each critical band by itself, and none beyond the last; shape (21, sounds)."""
    low = levels[: _LOW_STEPS.shape[1]]
    reaches = low <= _LOW_LEVELS[:, None, None] - _LOW_STEPS[:, :, None]
    reaches[-1] = True
    power = 10.0 ** ((low + _LOW_STEPS[np.argmax(reaches, axis=0), np.arange(len(low))[:, None]]) / 10.0)
    together = [10.0 * np.log10(power[begin:end].sum(axis=0)) for begin, end in _TOGETHER]
    at_ear = np.vstack([*together, levels[len(low) :]]) - _TO_EAR[:, None]
    quiet = _THRESHOLD[:, None]
    excess = 10.0 ** (0.1 * (at_ear - _TO_CRITICAL[:, None] - quiet))
    main = 0.0635 * 10.0 ** (0.025 * quiet) * ((0.75 + 0.25 * excess) ** 0.25 - 1.0)
    main = np.where(at_ear > quiet, np.maximum(main, 0.0), 0.0)
    main[0] *= np.minimum(1.0, 0.4 + 0.32 * main[0] ** 0.2)
    return np.vstack([main, np.zeros(main.shape[1])])


def _pattern(main: Array) -> tuple[Array, Array]:
    """Loudness [sone], and specific loudness [sone/Bark] at every 0.1 Bark: each band masks what lies above it.

    Where the next band is softer the pattern falls to it by slopes that depend on how high it is.
    """
    sounds = main.shape[1]
    sone, specific = np.zeros(sounds), np.zeros((round(_ENDS[-1] / _STEP), sounds))
    height, row, begin = np.zeros(sounds), np.full(sounds, _LAST_ROW), 0.0
    for band, (wanted, end) in enumerate(zip(main, _ENDS, strict=True)):
        samples = np.arange(round(begin / _STEP), round(end / _STEP))
        z = _STEP * (samples[:, None] + 1)
        row = np.where(height < wanted, np.argmax(_FROM[:, None] <= wanted, axis=0), row)
        height, at = np.maximum(height, wanted), np.full(sounds, begin)
        while np.any(at < end - _NEAR):
            slope = np.where(height > wanted, _SLOPES[row, min(max(band - 1, 0), _LAST_COLUMN)], 0.0)
            least = np.maximum(_FROM[row], wanted)
            to = np.divide(height - least, slope, out=np.full(sounds, np.inf), where=slope > 0.0) + at
            after = np.where(to < end, least, height - (end - at) * slope)
            to = np.minimum(to, end)
            sone += 0.5 * (to - at) * (height + after)
            inside = (z > at + _NEAR) & (z <= to + _NEAR)
            specific[samples] = np.where(inside, height - (z - at) * slope, specific[samples])
            row = np.where(after <= _FROM[row], np.minimum(row + 1, _LAST_ROW), row)
            height, at = after, to
        begin = end
    return sone, specific
