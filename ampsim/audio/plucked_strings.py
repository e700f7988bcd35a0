"""Plucked strings, computed: a loop of delay whose filter is the string's loss.

K. Karplus and A. Strong, "Digital Synthesis of Plucked-String and Drum Timbres", and D. A. Jaffe and J. O. Smith,
"Extensions of the Karplus-Strong Plucked-String Algorithm", both Computer Music Journal 7(2), 1983: loss filter with
decay stretching and shortening, tuning filter, comb of the plucking place. The tuning filter here is a third-order
Lagrange interpolator (T. I. Laakso and others, "Splitting the Unit Delay", IEEE Signal Processing Magazine, 1996).
All from memory. In place of their burst of noise the loop is struck by a smoothed pulse, which makes the string's
velocity nearly that of `hearing.SPECTRUM`: partial n is 1/sqrt(1 + n^2), up to the corner that the pick's width makes.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]
# Where the string is plucked and picked up, as parts of its sounding length: our choice, kept for every string.
PLUCKED, PICKED_UP = 0.13, 0.24


@dataclass(frozen=True)
class Note:
    """One string plucked.

    `at` [s] when, `hertz` which pitch, `seconds` until the hand stops it, `strength` relative; `ring` [s] in which
    the fundamental falls by 60 dB; `losses` how often Karplus and Strong's average of two neighbours is taken, twice
    each, in a turn of the loop: more under the heel of a hand; `pick` [Hz], the corner that its width makes.
    """

    at: float
    hertz: float
    seconds: float
    strength: float = 1.0
    ring: float = 4.0
    losses: int = 1
    pick: float = 5000.0


def pluck(note: Note, rate: int) -> Array:
    """The velocity of a plucked string at the pickup, shape (samples,) at `rate` [1/s], largest about `strength`.

    The hand stops it within 10 ms at the end.
    """
    count = round(note.seconds * rate)
    sound = _ringing(_struck(note, count, rate), note, rate)
    hand = max(1, min(count, round(0.01 * rate)))
    sound[count - hand :] *= 0.5 + 0.5 * np.cos(np.pi * np.arange(1, hand + 1) / hand)
    return sound


def _struck(note: Note, count: int, rate: int) -> Array:
    """What goes into the loop: a pulse, smoothed below the fundamental, through the combs of pick and pickup."""
    from scipy.signal import lfilter

    period = rate / note.hertz
    pulse = np.zeros(count)
    pulse[0] = note.strength
    # A first-order fall from the fundamental on: partial n gets 1/n.
    corner = math.exp(-2.0 * math.pi * note.hertz / rate)
    pulse = np.asarray(lfilter([1.0], [1.0, -corner], pulse))
    width = math.exp(-2.0 * math.pi * note.pick / rate)
    pulse = np.asarray(lfilter([1.0 - width], [1.0, -width], pulse))
    for place in (PLUCKED, PICKED_UP):
        lag = max(1, round(place * period))
        pulse[lag:] -= pulse[:-lag].copy()
    # The rest of the exponential fall would sound once more in every turn of the loop.
    pulse[2 * round(period) :] = 0.0
    return pulse


def _ringing(struck: Array, note: Note, rate: int) -> Array:
    """Solve y(n) = x(n) + sum of h(k) y(n - D - k), a block of the loop's delay at a time."""
    delay, taps = loop_filter(note, rate)
    sound = struck.copy()
    for start in range(delay, sound.size, delay):
        stop = min(start + delay, sound.size)
        for lag, tap in enumerate(taps):
            first = start - delay - lag
            skip = max(0, -first)
            sound[start + skip : stop] += tap * sound[first + skip : stop - delay - lag]
    return sound


def loop_filter(note: Note, rate: int) -> tuple[int, Array]:
    """Whole samples of delay and the taps behind them: loss and tuning, so that the loop's phase closes at the pitch.

    Parameters
    ----------
    note : Note
    rate : int
        Samples a second [1/s].

    Returns
    -------
    delay : int
    taps : ndarray
        Shape (4 + 2 losses,). Their gain at the pitch makes the fundamental fall by 60 dB in `Note.ring`.
    """
    turn = 2.0 * math.pi * note.hertz / rate
    wanted = rate / note.hertz - note.losses
    delay = int(wanted) - 1
    taps = _lagrange(wanted - delay)
    for _ in range(note.losses):
        # Even about its middle: it delays every partial by one sample, no more and no less.
        taps = np.convolve(taps, (0.25, 0.5, 0.25))
    gain = abs(np.sum(taps * np.exp(-1j * turn * np.arange(taps.size))))
    # Below 1 at zero frequency, or what little lies there would grow.
    return delay, taps * min(10.0 ** (-3.0 / (note.hertz * note.ring)) / gain, 0.9999)


def _lagrange(lag: float) -> Array:
    """Taps that delay by `lag` samples, 1 to 2 of four taps: a cubic through the samples, read between them."""
    nodes = np.arange(4.0)
    return np.array([np.prod((lag - nodes[nodes != k]) / (k - nodes[nodes != k])) for k in nodes])
