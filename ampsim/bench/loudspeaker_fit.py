"""A loudspeaker from its measured impedance: the network of `circuit.loudspeaker` fitted to a curve of columns."""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache

import numpy as np
from numpy.typing import NDArray

from ..base.errors import DescriptionError
from ..circuit.loudspeaker import Loudspeaker, coil_sections
from .sweeps.curve_table import read_curve

Array = NDArray[np.float64]
MOST_PEAKS = 3
_ROWS = 120  # of a longer table: the rest says nothing more
_LOWEST, _HIGHEST = 10.0, 30e3
_FAR = 0.05  # a further resonance must bring the typical deviation down by so much of itself
_EXPONENTS = (0.3, 1.0)


@dataclass(frozen=True)
class FittedLoudspeaker:
    """A network, how far it is from the curve, and what was guessed of the file.

    `typical` is the root mean square of the deviation, `worst` the largest [ratio of the measured ohms], found at
    `worst_at` [Hz]; `lowest` and `highest` frequency [Hz] of the curve.
    """

    part: Loudspeaker
    typical: float
    worst: float
    worst_at: float
    lowest: float
    highest: float
    guesses: tuple[str, ...]

    def text(self) -> str:
        """What was fitted and how well, in words."""
        return (
            f"Within {100.0 * self.typical:.1f} % of the measured ohms, r.m.s. from {self.lowest:.3g} to "
            f"{self.highest:.3g} Hz; at worst {100.0 * self.worst:.0f} %, at {self.worst_at:.3g} Hz. Beyond these "
            "frequencies the network goes on as a coil does."
        )


def fit_loudspeaker(data: bytes, name: str, designator: str = "LS1") -> FittedLoudspeaker:
    """Fit a loudspeaker to the bytes of a text of frequencies and ohms; a phase is used where there is one.

    Parameters
    ----------
    data : bytes
        Of the file; nothing of it is run.
    name : str
        File name for messages.
    designator : str
        Of the part.

    Raises
    ------
    DescriptionError
        When the file is no such text, or its curve is none of a loudspeaker.

    Notes
    -----
    Least squares of the relative deviation over evenly weighted octaves, by as many resonances as make it better.
    """
    curve = read_curve(data, name, ohms=True)
    hertz = np.array(curve.frequency)
    seen = (hertz >= _LOWEST) & (hertz <= _HIGHEST)
    if seen.sum() < 8 or hertz[seen][-1] < 4.0 * hertz[seen][0]:
        raise DescriptionError(
            f"{name}: {int(seen.sum())} rows between 10 Hz and 30 kHz; 8 over two octaves are needed"
        )
    hertz, ohms = hertz[seen], np.array(curve.level)[seen].astype(complex)
    if curve.phase:
        ohms = ohms * np.exp(1j * np.radians(np.array(curve.phase)[seen]))
    grid = np.geomspace(hertz[0], hertz[-1], min(_ROWS, 4 * len(hertz)))
    measured = _between(grid, hertz, ohms)
    best = _fitted(grid, measured, bool(curve.phase), 1)
    for count in range(2, MOST_PEAKS + 1):
        more = _fitted(grid, measured, bool(curve.phase), count)
        if more[1] > best[1] * (1.0 - _FAR):
            break
        best = more
    found = best[0]
    off = np.abs(np.abs(_impedance(found, hertz)) / np.abs(ohms) - 1.0)
    typical = float(np.sqrt(np.mean(np.abs(np.abs(_impedance(found, grid)) / np.abs(measured) - 1.0) ** 2)))
    part = _part(found, designator)
    place = int(np.argmax(off))
    return FittedLoudspeaker(part, typical, float(off[place]), float(hertz[place]), float(hertz[0]), float(hertz[-1]),
                             curve.guesses)  # fmt: skip


def _between(grid: Array, hertz: Array, ohms: NDArray[np.complex128]) -> NDArray[np.complex128]:
    size = np.exp(np.interp(np.log(grid), np.log(hertz), np.log(np.abs(ohms))))
    turn = np.interp(np.log(grid), np.log(hertz), np.unwrap(np.angle(ohms)))
    return np.asarray(size * np.exp(1j * turn))


@lru_cache(maxsize=4096)
def _sections(exponent: float) -> tuple[tuple[float, float], ...]:
    return tuple(coil_sections(1.0, exponent))


def _impedance(numbers: Array, hertz: Array) -> NDArray[np.complex128]:
    """Impedance [ohm] of resistance, reactance, exponent, and frequency, peak, q of each resonance."""
    resistance, reactance, exponent = numbers[:3]
    omega = 2j * np.pi * hertz
    coil = np.zeros(len(hertz), dtype=complex)
    for ohms, henries in _sections(float(exponent)):
        coil += omega * henries * (ohms / (ohms + omega * henries) if np.isfinite(ohms) else 1.0)
    whole = resistance + reactance * coil
    for middle, peak, q in numbers[3:].reshape(-1, 3):
        whole = whole + peak / (1.0 + 1j * q * (hertz / middle - middle / hertz))
    return np.asarray(whole)


def _fitted(grid: Array, measured: NDArray[np.complex128], with_phase: bool, count: int) -> tuple[Array, float]:
    """Numbers as `_impedance` takes them, and the root mean square of the deviation."""
    from scipy.optimize import least_squares

    size = np.abs(measured)
    low = float(size.min())
    tops = _tops(grid, size, count)
    start = [low, max(0.3 * low, float(np.sqrt(max(size[-1] ** 2 - low**2, 0.01))) / (grid[-1] / 1e3) ** 0.7), 0.7]
    least, most = [low * 0.3, 1e-3 * low, _EXPONENTS[0]], [low * 1.5, 50.0 * low, _EXPONENTS[1]]
    for middle, peak in tops:
        start += [middle, max(peak - low, 0.05 * low), 4.0]
        least += [max(0.5 * grid[0], 0.5 * middle), 1e-3 * low, 0.31]
        most += [min(2.0 * grid[-1], 2.0 * middle), 300.0 * low, 29.0]

    def deviation(logs: Array) -> Array:
        z = _impedance(np.exp(logs), grid)
        off = np.log(np.abs(z) / size)
        return np.concatenate([off, np.angle(z / measured)]) if with_phase else off

    bounds = (np.log(least), np.log(most))
    begin = np.clip(np.log(start), bounds[0] + 1e-9, bounds[1] - 1e-9)
    found = least_squares(deviation, begin, bounds=bounds, max_nfev=80)
    return np.exp(found.x), float(np.sqrt(np.mean(found.fun**2)))


def _tops(grid: Array, size: Array, count: int) -> list[tuple[float, float]]:
    """The highest local peaks below 1 kHz, frequency [Hz] and height [ohm]; where there are fewer, places between."""
    places = [n for n in range(1, len(grid) - 1) if size[n] >= size[n - 1] and size[n] > size[n + 1] and grid[n] < 1e3]
    places = sorted(places, key=lambda n: -size[n])[:count] or [int(np.argmax(size[grid <= max(1e3, 2.0 * grid[0])]))]
    tops = [(float(grid[n]), float(size[n])) for n in places]
    for n in range(count - len(tops)):
        tops.append((tops[0][0] * (0.6, 1.6)[n % 2], 0.3 * tops[0][1]))
    return tops


def _part(numbers: Array, designator: str) -> Loudspeaker:
    """The loudspeaker, its figures rounded as a file writes them: four figures."""
    resistance, reactance, exponent, *rest = (float(f"{value:.4g}") for value in numbers)
    peaks = sorted(zip(rest[::3], rest[1::3], rest[2::3], strict=True), key=lambda each: -each[1])
    (hertz, peak, q), more = peaks[0], tuple(peaks[1:])
    return Loudspeaker(designator, resistance, hertz, peak, q, reactance, exponent, more)
