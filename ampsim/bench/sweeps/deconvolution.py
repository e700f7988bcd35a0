"""From the recording of a sweep to gain, phase, harmonics and their uncertainty; arrays only, no files.

Filtered with the inverse of the sweep, a linear response becomes a click and each harmonic a click of its own, further
ahead the higher its order (see `tone`). Each is cut out, and its spectrum is held against that of the bare sweep
treated in the same way, so that ends and fades of the sweep cancel. The spectrum is then evened out by a polynomial of
fourth degree through the neighbours of each frequency, its delay taken out before (local polynomial method:
R. Pintelon, J. Schoukens, System Identification, 2nd ed., chapter 7, from memory): noise shrinks, a smooth curve stays
what it is.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from .tone import SweepTone

Array = NDArray[np.float64]
Complex = NDArray[np.complex128]
ORDERS = (2, 3, 4, 5)
PER_OCTAVE = 24
# The polynomial goes through what lies this many octaves to either side, and through five lines at least.
REACH = 1.0 / 24.0
_LEAST_LINES = 5
# The linear response is taken from this share of the way to the second harmonic, for at most so long after it.
_LEAD, _LONGEST = 0.35, 0.6
_TAPER = 0.25  # share of each side of a cut that fades


@dataclass(frozen=True)
class Clicks:
    """A recording filtered with the inverse sweep.

    `samples`, shape (n,); the click of the linear response is at index `peak`; `sharpness` says by how many dB it
    stands above the rest, taken as root mean square.
    """

    samples: Array
    peak: int
    sharpness: float
    delay: int


@dataclass(frozen=True)
class Response:
    """Of one click: frequencies [Hz] and complex ratio to the bare sweep, both of shape (points,).

    `gain` is how much of the variance of a single line is left after evening out, shape (points,); `energy` the sum
    of the squares of the cut.
    """

    frequency: Array
    ratio: Complex
    gain: Array
    energy: float


def find_clicks(samples: Array, tone: SweepTone) -> Clicks:
    """Filter a recording, shape (samples,), with the inverse of the tone; `delay` [samples] is when the sweep began."""
    inverse = tone.inverse()
    filtered = _convolve(samples, inverse)
    peak = int(np.argmax(np.abs(filtered)))
    rest = float(np.sqrt(np.mean(filtered**2)))
    sharpness = 20.0 * np.log10(max(abs(float(filtered[peak])), 1e-300) / max(rest, 1e-300))
    return Clicks(filtered, peak, float(sharpness), peak - (inverse.size - 1))


def linear_response(found: Clicks, tone: SweepTone) -> Response:
    """The linear response from `lowest` to `highest`."""
    reach = tone.ahead(2)
    return _response(found, tone, 0.0, _LEAD * reach, min(_LONGEST, reach), frequencies(tone))


def harmonic_response(found: Clicks, tone: SweepTone, order: int) -> Response:
    """The response of one harmonic, at the frequencies of the fundamental; NaN beyond the sweep over its order."""
    earlier = tone.ahead(order + 1) - tone.ahead(order)
    later = tone.ahead(order) - tone.ahead(order - 1)
    grid = frequencies(tone)
    inside = order * grid <= tone.highest
    part = _response(found, tone, tone.ahead(order), 0.25 * earlier, 0.6 * later, order * grid[inside])
    ratio = np.full(grid.size, complex(np.nan, np.nan))
    gain = np.full(grid.size, np.nan)
    ratio[inside], gain[inside] = part.ratio, part.gain
    return Response(grid, ratio, gain, part.energy)


def frequencies(tone: SweepTone) -> Array:
    """Frequencies [Hz] of the result, 24 to an octave."""
    count = int(np.floor(PER_OCTAVE * np.log2(tone.highest / tone.lowest) + 1e-9)) + 1
    return np.asarray(tone.lowest * 2.0 ** (np.arange(count) / PER_OCTAVE))


def noise_share(response: Response, density: Array, tone: SweepTone, order: int = 1) -> Array:
    """Root mean square of the noise in a response, shape (points,), as its ratio is counted.

    Parameters
    ----------
    response : Response
    density : ndarray
        Power density of the noise of the recording [1/Hz, full scale 1], one-sided, at the frequencies that sound:
        `order` times those of the response.
    tone : SweepTone
        What was played.
    order : int
        Of the harmonic; 1 for the linear response.

    Notes
    -----
    A cut g out of white noise has the power density / 2 * rate * sum(g^2) in each line; a sweep of amplitude A that
    passes f at f/L hertz a second has (A rate / 2)^2 L / f there (stationary phase).
    """
    sounding = order * response.frequency
    amplitude = 10.0 ** (tone.level / 20.0)
    sweep = (0.5 * amplitude * tone.rate) ** 2 * tone.stretch / sounding
    return np.asarray(np.sqrt(0.5 * density * tone.rate * response.energy / sweep * response.gain))


def _response(found: Clicks, tone: SweepTone, ahead: float, lead: float, tail: float, grid: Array) -> Response:
    window, before = _cut(round(lead * tone.rate), round(tail * tone.rate))
    bare = _convolve(tone.sweep(), tone.inverse())
    place = found.peak - round(ahead * tone.rate) - before
    measured = np.fft.rfft(np.roll(_piece(found.samples, place, window.size) * window, -before))
    reference = np.fft.rfft(
        np.roll(_piece(bare, round(tone.seconds * tone.rate) - 1 - before, window.size) * window, -before)
    )
    lines = np.asarray(np.fft.rfftfreq(window.size, 1.0 / tone.rate), np.float64)
    inside = (lines >= tone.start) & (lines <= tone.stop)
    ratio, gain = _smooth(lines[inside], measured[inside] / reference[inside], grid)
    return Response(grid, ratio, gain, float(np.sum(window**2)))


def _cut(before: int, after: int) -> tuple[Array, int]:
    """A window that is 1 around its click and fades at both sides, and the place of the click in it."""
    window = np.ones(before + after)
    for side, part in ((window[:before], before), (window[::-1][:after], after)):
        fade = max(int(_TAPER * part), 1)
        side[:fade] = 0.5 * (1.0 - np.cos(np.pi * (np.arange(fade) + 0.5) / fade))
    return window, before


def _piece(samples: Array, start: int, count: int) -> Array:
    """A piece of an array; zeros where it reaches beyond its ends."""
    piece = np.zeros(count)
    low, high = max(start, 0), min(start + count, samples.size)
    if high > low:
        piece[low - start : high - start] = samples[low:high]
    return piece


def _smooth(lines: Array, values: Complex, grid: Array) -> tuple[Complex, Array]:
    """The curve evened out at each frequency, and the share of the variance of a single line that is left."""
    step = lines[1] - lines[0]
    ratio, gain = np.empty(grid.size, complex), np.empty(grid.size)
    for place, centre in enumerate(grid):
        reach = max(centre * (2.0**REACH - 1.0), 0.5 * _LEAST_LINES * step)
        first, last = np.searchsorted(lines, (centre - reach, centre + reach))
        first = min(first, lines.size - _LEAST_LINES)
        last = max(last, first + _LEAST_LINES)
        x = (lines[first:last] - centre) / reach
        weights = np.linalg.pinv(np.vander(x, 5, increasing=True))[0]
        near = values[first:last]
        # The delay, in turns per line, is that of neighbours on average.
        turn = np.angle(np.sum(near[1:] * np.conj(near[:-1])))
        still = near * np.exp(-1j * turn * (lines[first:last] - centre) / step)
        ratio[place], gain[place] = weights @ still, float(weights @ weights)
    return ratio, gain


def _convolve(samples: Array, other: Array) -> Array:
    from scipy.signal import fftconvolve

    return np.asarray(fftconvolve(samples, other))
