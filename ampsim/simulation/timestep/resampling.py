"""More samples for the solver and fewer again for the listener, through one linear-phase low-pass."""

from __future__ import annotations

from functools import lru_cache

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]
# Samples of the signal's own rate that the low-pass reaches to either side.
REACH = 32
# 100 dB down in the stop band; half-way down at half the rate.
BETA = 10.06


@lru_cache(maxsize=8)
def low_pass(times: int) -> Array:
    """Coefficients [ratio] for a rate `times` as high: 64 `times` + 1 of them, their sum 1.

    Source: windowed sinc with Kaiser's window, A. V. Oppenheim, R. W. Schafer, Discrete-Time Signal Processing.
    """
    from scipy.signal import firwin

    found = np.asarray(firwin(2 * REACH * times + 1, 1.0 / times, window=("kaiser", BETA)))
    found.setflags(write=False)
    return found


def upsample(signal: Array, times: int) -> Array:
    """A signal [V] at `times` its rate, with `2 REACH` of its samples of silence before and after it.

    Length (samples + 4 REACH) `times`.
    """
    padded = np.pad(signal, 2 * REACH)
    if times == 1:
        return padded
    from scipy.signal import upfirdn

    whole = upfirdn(times * low_pass(times), padded, up=times)
    return np.asarray(whole[REACH * times :][: padded.size * times])


def downsample(signal: Array, times: int) -> Array:
    """What `upsample` made, or the amp made of it [V], at the old rate and length; ends at rest count as zero."""
    if times > 1:
        from scipy.signal import oaconvolve

        # All samples by Fourier's way, and most of them thrown away: a third of the time of summing those that stay.
        signal = oaconvolve(signal, low_pass(times))[::times][REACH:][: signal.size // times]
    return np.array(signal[2 * REACH : signal.size - 2 * REACH])


def halves(few: Array, before: float) -> Array:
    """Samples [V] with those half-way to each of them from the one before; `before` is that of the first [V]."""
    ends = np.concatenate([[before], few])
    return np.stack([0.5 * (ends[:-1] + ends[1:]), few], axis=1).ravel()
