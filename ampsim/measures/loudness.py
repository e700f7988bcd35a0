"""How loud and how bright: gains turned into loudness and sharpness of a guitar-like sound, at equal loudness."""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache
from importlib.resources import files

import numpy as np
import xarray as xr
from numpy.typing import NDArray

from ..base.errors import DescriptionError, shown
from .zwicker import BANDS, loudness_and_sharpness

Array = NDArray[np.float64]

LOUDNESS_SOURCE = "ISO 532-1:2017, method for stationary sounds, free field"
SHARPNESS_SOURCE = "DIN 45692:2009"
# The larger of two figures known from memory: 0.08 (S. You, J. Y. Jeon, Noise Control Engineering Journal 56, 2008,
# refrigerators) and 0.04 acum (E. Pedrielli et al., Acoustics'08, Paris, earth-moving machines).
NOTICED_ACUM = 0.08
NOTICED_SOURCE = "S. You and J. Y. Jeon, Noise Control Engineering Journal 56 (2008), refrigerators, from memory"
# A change of 1 dB over a part of the band is about the least that is noticed: sources in `noticed.py`.
NOTICED_DB = 1.0
SPECTRUM = (
    "every note from E2 (82 Hz) to E6 (1319 Hz) equally often, partial n of each with amplitude 1/n: the velocity of "
    "an ideal plucked string, averaged over where it is plucked and picked up; our choice, no source for real playing"
)

_PASCAL = 2e-5  # reference of sound pressure levels [Pa]
# The evenly spaced frequencies [Hz] that a sound is a spectrum on.
GRID: Array = np.arange(0.0, 24_001.0, 5.0)
_NOTES = tuple(440.0 * 2.0 ** (semitone / 12.0) for semitone in range(-29, 20))
# Upper edge of the highest third-octave band of ISO 532-1, 12.5 kHz.
_TOP = 14_130.0
_SILENT = 1e-14  # power that stands for silence [ratio to the reference]
_CLOSE_DB = 4e-3
_WIDEST_DB = 60.0
_ROUNDS = 60
NO_CONE = "none"  # what `attrs["roll_off"]` says where nothing stands for a loudspeaker


@dataclass(frozen=True)
class Listening:
    """How the sound is listened to.

    `level` is the sound pressure level [dB re 20 uPa] at which the base case is heard. The loudspeaker is no more
    than a fourth-order fall (24 dB per octave, Butterworth) above `roll_off` [Hz], a plain stand-in for a guitar
    cone; None leaves it out. Both figures are our choice, no source.
    """

    level: float = 70.0
    roll_off: float | None = 5000.0

    def __post_init__(self) -> None:
        if not 40.0 <= self.level <= 100.0:
            raise DescriptionError(f"a listening level of {shown(self.level)} dB; expected 40 to 100")
        if self.roll_off is not None and not 500.0 <= self.roll_off <= 20e3:
            raise DescriptionError(f"a roll-off at {shown(self.roll_off)} Hz; expected 500 Hz to 20 kHz, or None")


@lru_cache(maxsize=1)
def guitar_spectrum() -> Array:
    """Power [ratio] of the guitar-like sound on `GRID`, shape (4801,), sum 1: see `SPECTRUM`.

    Partials end at 14.1 kHz, where the bands of ISO 532-1 end. The string's law is textbook matter (N. H. Fletcher
    and T. D. Rossing, The Physics of Musical Instruments, chapter 2, from memory): displacement falls as 1/n^2,
    velocity, which a magnetic pickup follows, as 1/n.
    """
    power = np.zeros_like(GRID)
    for note in _NOTES:
        order = np.arange(1, int(_TOP / note) + 1)
        np.add.at(power, np.round(order * note / GRID[1]).astype(int), order**-2.0)
    share: Array = np.asarray(power / power.sum())
    return share


def loudness(pressure: Array) -> tuple[Array, Array]:
    """Loudness and sharpness of stationary sounds.

    Parameters
    ----------
    pressure : ndarray
        Shape (4801, sounds): sound pressure [Pa rms] at each frequency of `GRID`.

    Returns
    -------
    loudness, sharpness : ndarray
        Shape (sounds,): [sone] (ISO 532-1, free field), rounded as the standard does, and [acum] (DIN 45692).
    """
    return loudness_and_sharpness(10.0 * np.log10(np.maximum(_bands() @ pressure**2 / _PASCAL**2, _SILENT)))


@lru_cache(maxsize=1)
def _bands() -> Array:
    """How much of the power at each frequency of `GRID` passes each third-octave filter [ratio].

    Butterworth's band-pass of third order by the bilinear transform, its edges after ANSI S1.1-1986, equations 5 to 9,
    for a rate of twice the highest frequency.
    """
    centres = 1000.0 * 10.0 ** ((np.arange(BANDS) - 16) / 10.0)
    quotient = np.pi / 6.0 / np.sin(np.pi / 6.0) / (2.0 ** (1.0 / 6.0) - 2.0 ** (-1.0 / 6.0))
    reach = (1.0 + np.sqrt(1.0 + 4.0 * quotient**2)) / 2.0 / quotient
    low, high = (np.tan(0.5 * np.pi * centres * share / GRID[-1])[:, np.newaxis] for share in (1.0 / reach, reach))
    at = np.tan(0.5 * np.pi * np.arange(GRID.size) / GRID.size)
    with np.errstate(divide="ignore"):
        beside = (at**2 - low * high) / (at * (high - low))
    return np.asarray(1.0 / (1.0 + beside**6))


def compare(gain: xr.DataArray, listening: Listening | None = None, base: int = 0) -> xr.Dataset:
    """Bring sounds to equal loudness, since ears take louder for better, and tell how sharp each then is.

    Parameters
    ----------
    gain : xarray.DataArray
        dims (any one, frequency) [dB], from the source to the loudspeaker terminals; at least 80 Hz to 14.1 kHz.
    listening : Listening
    base : int
        The case that is heard at `Listening.level`; the others are turned up or down until they are as loud.

    Returns
    -------
    xarray.Dataset
        `offset` [dB], the turning up of each case (0 for the base); `loudness` [sone] and `sharpness` [acum] after
        it; `difference` [dB] to the base after it, over frequency.

    Raises
    ------
    DescriptionError
        When the gains do not cover the band, or a case has no signal.
    """
    listening = listening or Listening()
    case = str(next(dim for dim in gain.dims if dim != "frequency"))
    gain = gain.transpose(case, "frequency")
    sound = _at_ear(gain, listening)
    power = np.sum(sound**2, axis=0)
    pressure = sound * _PASCAL * 10.0 ** (listening.level / 20.0) / np.sqrt(power[base])
    offset, sone, acum = _equally_loud(pressure, base)
    difference = gain.values - gain.values[base] + offset[:, np.newaxis]
    coords = {name: coord for name, coord in gain.coords.items() if coord.dims != ()}
    return xr.Dataset(
        {
            "offset": (case, offset, {"units": "dB"}),
            "loudness": (case, sone, {"units": "sone"}),
            "sharpness": (case, acum, {"units": "acum"}),
            "difference": ((case, "frequency"), difference, {"units": "dB"}),
        },
        coords,
        listening_facts(listening),
    )


def loudness_script() -> str:
    """`loudness.js`, which does the same in a browser: functions only, nothing runs by itself."""
    return (files(__package__) / "loudness.js").read_text("utf-8")


def phon(sone: Array) -> Array:
    """Loudness level [phon] of a loudness [sone]: 40 + 10 log2 N, below 1 sone 40 N^0.35 (ISO 532-1)."""
    return np.asarray(np.where(sone < 1.0, 40.0 * sone**0.35, 40.0 + 10.0 * np.log2(np.maximum(sone, 1.0))))


def _at_ear(gain: xr.DataArray, listening: Listening) -> Array:
    """Relative amplitude of the guitar-like sound behind each gain, shape (grid, cases)."""
    frequency = gain["frequency"].values
    power = guitar_spectrum()
    sounding = power > 0.0
    low, high = GRID[sounding][[0, -1]]
    if not (frequency[0] <= low and high <= frequency[-1] * (1.0 + 1e-9)):
        raise DescriptionError(
            f"the gains run from {frequency[0]:g} to {frequency[-1]:g} Hz; loudness needs {low:g} Hz to {high:g} Hz"
        )
    silent = np.flatnonzero(~np.isfinite(gain.values).all(axis=1))
    if silent.size:
        raise DescriptionError(
            f"sound {silent[0] + 1} of {len(gain)} is at a place without signal, which has no loudness to compare"
        )
    sound = np.zeros((GRID.size, len(gain)))
    for column, row in enumerate(gain.values):
        level = np.interp(np.log(GRID[sounding]), np.log(frequency), row)
        sound[sounding, column] = np.sqrt(power[sounding]) * 10.0 ** (level / 20.0)
    if listening.roll_off is not None:
        sound /= np.sqrt(1.0 + (GRID[:, np.newaxis] / listening.roll_off) ** 8)
    return sound


def _equally_loud(pressure: Array, base: int) -> tuple[Array, Array, Array]:
    """Offset [dB] that makes each column as loud as the base, and loudness and sharpness with it.

    The corrections of ISO 532-1 for low bands change in steps, so loudness jumps a little at some levels; where the
    wanted loudness lies in a jump, the jump is found to a few thousandths of a decibel.
    """
    wanted = phon(loudness(pressure[:, [base]])[0])
    power = np.sum(pressure**2, axis=0)
    offset = 10.0 * np.log10(power[base] / power)
    low, high = offset - _WIDEST_DB, offset + _WIDEST_DB
    for _ in range(_ROUNDS):
        sone, acum = loudness(pressure * 10.0 ** (offset / 20.0))
        error = wanted - phon(sone)
        if np.all((np.abs(error) <= _rounding(sone)) | (high - low <= _CLOSE_DB)):
            return offset, sone, acum
        low, high = np.where(error > 0.0, offset, low), np.where(error < 0.0, offset, high)
        # One dB more is about one phon more, so the error in phon is nearly the correction in dB.
        guess = offset + error
        inside = (low < guess) & (guess < high) | (error == 0.0)
        offset = np.where(inside, guess, 0.5 * (low + high))
    raise DescriptionError("the sounds could not be brought to equal loudness; their spectra are too far apart")


def _rounding(sone: Array) -> Array:
    """The standard prints 0.001 sone, above 16 sone 0.01: what half of the last digit is worth in phon."""
    digit = np.where(sone <= 16.0, 1e-3, 1e-2)
    return np.asarray(phon(sone + 0.51 * digit) - phon(sone))


def listening_facts(listening: Listening) -> dict[str, str | float]:
    """How it is listened to, and by which sources, as attributes of `compare`."""
    cone = f"24 dB per octave above {listening.roll_off:g} Hz" if listening.roll_off else NO_CONE
    return {
        "spectrum": SPECTRUM,
        "level_db": listening.level,
        "roll_off": cone,
        "loudness_source": LOUDNESS_SOURCE,
        "sharpness_source": SHARPNESS_SOURCE,
        "noticed_acum": NOTICED_ACUM,
        "noticed_source": NOTICED_SOURCE,
    }
