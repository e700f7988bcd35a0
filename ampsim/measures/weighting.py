"""The A curve: how the ear weighs faint sounds of different pitch."""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike, NDArray

# 1 W into 8 ohm: what levels at the loudspeaker's terminals are counted from.
REFERENCE_VOLTS = 8.0**0.5
REFERENCE = "1 W into 8 ohm"
# Below this [dB(A) against the reference] nothing is graded: with a loudspeaker that gives 100 dB at 1 W and 1 m, our
# assumption, 20 dB(A) at 1 m, which is fainter than a quiet room.
UNHEARD_DB = -80.0
UNHEARD = (
    f"below {UNHEARD_DB:.0f} dB(A) against {REFERENCE} nothing is graded: 20 dB(A) at 1 m from a loudspeaker that "
    "gives 100 dB at 1 W, our assumption"
)


def a_weight(frequency: ArrayLike) -> NDArray[np.float64]:
    """Weight of an amplitude at a frequency [Hz], 1 at 1 kHz; the shape of `frequency`.

    IEC 61672-1: 12200^2 f^4 / ((f^2 + 20.6^2) (f^2 + 12200^2) sqrt(f^2 + 107.7^2) sqrt(f^2 + 737.9^2)), counted from
    its value at 1 kHz.
    """
    square = np.asarray(frequency, dtype=np.float64) ** 2
    return np.asarray(_curve(square) / _curve(np.float64(1e6)))


def _curve(square: NDArray[np.float64] | np.float64) -> NDArray[np.float64]:
    low, high = 20.6**2, 12200.0**2
    root = np.sqrt((square + 107.7**2) * (square + 737.9**2))
    return np.asarray(high * square**2 / ((square + low) * (square + high) * root))


def level_db(volts: ArrayLike) -> NDArray[np.float64]:
    """Level [dB] of a voltage [V rms] against 1 W into 8 ohm, 2.83 V; minus infinity for 0 V."""
    with np.errstate(divide="ignore"):
        return np.asarray(20.0 * np.log10(np.asarray(volts, dtype=np.float64) / REFERENCE_VOLTS))


def in_db_a(level: float, sign: bool = False) -> str:
    """A weighted level or change [dB(A)] in words: "-46.4 dB(A)" with a real minus sign; with `sign` "+5.3 dB(A)"."""
    if np.isneginf(level):
        return "no signal"
    return f"{round(level, 1) + 0.0:{'+' if sign else ''}.1f} dB(A)".replace("-", "\u2212")
