"""How loud a clip is, by one of three standards; all three count a 1 kHz tone alike.

A level of 0 dB is a root mean square of 1, so a sine at full scale has -3.01 dB: what ITU-R BS.1770 reads for it on one
channel. On two channels at once, as a player sends it to both ears, BS.1770 reads 3.01 more for every clip.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from ..base.errors import DescriptionError, nearest, shown
from ..measures.loudness import GRID, loudness, phon
from ..measures.weighting import a_weight
from .phrases import RATE

Array = NDArray[np.float64]
# Programme level of EBU R 128; what the others aim at counts a 1 kHz tone the same.
TARGET = -23.0
# What a tone of 1 kHz at `TARGET` is taken to be at the ear for ISO 532-1, as `hearing.Listening` does [phon].
TARGET_PHON = 70.0
_PASCAL = 2e-5
_OVER = 4  # oversampling for the peak between samples


@dataclass(frozen=True)
class Standard:
    """One way to say how loud: its `name`, `unit`, `source`, what clips are brought to, and how it is measured.

    `measure` takes sounds at 48 kHz, shape (sounds, samples), and gives shape (sounds,).
    """

    name: str
    unit: str
    source: str
    target: float
    measure: Callable[[Array], Array]


def integrated_loudness(sounds: Array, rate: int = RATE) -> Array:
    """Integrated loudness [LUFS] of sounds: ITU-R BS.1770-4, as computed by pyloudnorm.

    Sounds have shape (sounds, samples), or (sounds, samples, channels) with left, right, centre and so on, and 0.4 s
    or more; minus infinity for one that is below -70 LUFS throughout. The library reads 0.04 dB less than the printed
    filters at every frequency, which makes no difference between sounds.
    """
    # Loaded late: a second that nobody waits for who does not listen.
    import pyloudnorm

    meter = pyloudnorm.Meter(rate)
    with np.errstate(divide="ignore"):
        return np.array([float(meter.integrated_loudness(sound)) for sound in sounds])


def a_weighted_level(sounds: Array) -> Array:
    """A-weighted level [dB(A), 0 for a root mean square of 1 at 1 kHz] over the whole of each sound at 48 kHz.

    The A curve is that of IEC 61672-1, applied to the spectrum.
    """
    count = sounds.shape[1]
    spectrum = np.fft.rfft(sounds, axis=1)
    power = np.abs(spectrum * a_weight(np.fft.rfftfreq(count, 1.0 / RATE))) ** 2
    power[:, 1 : (count + 1) // 2] *= 2.0
    with np.errstate(divide="ignore"):
        return np.asarray(10.0 * np.log10(power.sum(axis=1)) - 20.0 * np.log10(count))


def stationary_loudness(sounds: Array) -> Array:
    """Loudness level [phon] of the mean spectrum of each sound at 48 kHz, a tone at `TARGET` being heard at 70 dB.

    ISO 532-1 for stationary sounds; a phrase is not stationary, so this is the loudness of a steady sound of the same
    spectrum.

    Raises
    ------
    DescriptionError
        For sounds too short for a spectrum.
    """
    from scipy.signal import welch

    segment = round(RATE / GRID[1])
    if sounds.shape[1] < segment:
        raise DescriptionError(f"a sound of {sounds.shape[1] / RATE:.2f} s is too short for a loudness; 0.4 s or more")
    _, density = welch(sounds, RATE, nperseg=segment, axis=1)
    pressure = np.sqrt(density * GRID[1]) * _PASCAL * 10.0 ** ((TARGET_PHON - TARGET) / 20.0)
    return phon(loudness(pressure.T)[0])


BS_1770, A_WEIGHTED, ISO_532 = "BS.1770", "A-weighted", "ISO 532-1"
STANDARDS = {
    BS_1770: Standard(
        BS_1770,
        "LUFS",
        "integrated loudness of ITU-R BS.1770-4, as computed by pyloudnorm",
        TARGET,
        integrated_loudness,
    ),
    A_WEIGHTED: Standard(
        A_WEIGHTED, "dB(A)", "A-weighted level over the whole clip, A curve of IEC 61672-1", TARGET, a_weighted_level
    ),
    ISO_532: Standard(
        ISO_532,
        "phon",
        "loudness level of the mean spectrum, ISO 532-1:2017 for stationary sounds, "
        f"with a 1 kHz tone of {TARGET:g} dB heard at {TARGET_PHON:g} dB",
        TARGET_PHON,
        stationary_loudness,
    ),
}


def find_standard(name: str) -> Standard:
    """The standard of a name in `STANDARDS`.

    Raises
    ------
    DescriptionError
        For another name; says the nearest.
    """
    if name not in STANDARDS:
        raise DescriptionError(f"no standard of loudness {shown(name)}{nearest(name, STANDARDS)}")
    return STANDARDS[name]


def true_peak(sounds: Array) -> Array:
    """Largest value [of the unit given] of each sound between its samples too, shape (sounds,): 4 times oversampled.

    ITU-R BS.1770-4, annex 2, with scipy's polyphase filter in place of the one printed there.
    """
    from scipy.signal import resample_poly

    between = np.abs(resample_poly(sounds, _OVER, 1, axis=1)).max(axis=1)
    return np.asarray(np.maximum(between, np.abs(sounds).max(axis=1)))
