"""Invented recordings: the sweep through filters that are known, with noise of a stated level, as WAV files."""

from __future__ import annotations

import math
from pathlib import Path

import numpy as np
from numpy.typing import NDArray
from scipy import signal
from scipy.interpolate import CubicSpline

from ampsim.base.wav import write_wav
from ampsim.bench.sweeps.tone import SweepTone
from ampsim.circuit.amp import Amp
from ampsim.simulation.analyses import FrequencySweep
from ampsim.simulation.response import simulate

Array = NDArray[np.float64]


def peaking(frequency: float, q: float, gain_db: float, rate: int) -> Array:
    """A second-order section that lifts or cuts around a frequency, by the bilinear transform (from memory)."""
    a, w = 10.0 ** (gain_db / 40.0), 2.0 * np.pi * frequency / rate
    alpha = np.sin(w) / (2.0 * q)
    above = np.array([1.0 + alpha * a, -2.0 * np.cos(w), 1.0 - alpha * a])
    below = np.array([1.0 + alpha / a, -2.0 * np.cos(w), 1.0 - alpha / a])
    return np.concatenate([above / below[0], below / below[0]])


def known_filter(rate: int) -> Array:
    """Second-order sections of about what an amp into a loudspeaker does: resonance, scoop, rise, both ends."""
    middle = [peaking(82.0, 5.0, 9.0, rate), peaking(700.0, 1.0, -15.0, rate), peaking(3000.0, 1.5, 6.0, rate)]
    ends = [signal.butter(1, 20.0, "high", fs=rate, output="sos"), signal.butter(2, 7000.0, fs=rate, output="sos")]
    return np.vstack([*middle, *ends])


def known_db(sections: Array, rate: int, frequency: Array) -> Array:
    """Gain [dB] of second-order sections by their transfer function, at half the level."""
    return np.asarray(20.0 * np.log10(0.5) + 20.0 * np.log10(np.abs(signal.freqz_sos(sections, frequency, fs=rate)[1])))


def noisy(samples: Array, tone: SweepTone, snr_db: float, seed: int = 0) -> Array:
    """Add white noise, `snr_db` below the mean power while the sweep runs."""
    if math.isinf(snr_db):
        return samples
    start = round(tone.quiet * tone.rate)
    power = float(np.mean(samples[start : start + round(tone.seconds * tone.rate)] ** 2))
    noise = np.random.default_rng(seed).standard_normal(samples.size)
    return np.asarray(samples + noise * math.sqrt(power) * 10.0 ** (-snr_db / 20.0))


def recording(
    path: Path, tone: SweepTone, sections: Array, snr_db: float, seed: int = 0, *,
    lead: float = 0.0, polarity: float = 1.0, bits: int = 24,
) -> Path:  # fmt: skip
    """The sweep through a filter with noise, at half its level, the recorder started `lead` seconds earlier."""
    heard = 0.5 * polarity * signal.sosfilt(sections, tone.whole())
    whole = np.concatenate([np.zeros(round(lead * tone.rate)), noisy(np.asarray(heard), tone, snr_db, seed)])
    return write_wav(path, whole, tone.rate, bits)


def through(frequency: Array, gain: NDArray[np.complex128], tone: SweepTone) -> Array:
    """The tone through a linear response that is known at some frequencies [Hz], shape (samples,)."""
    log, sweep = np.log(frequency), tone.whole()
    size = 2 * sweep.size  # what rings on after the end must not come round to the beginning
    lines = np.fft.rfftfreq(size, 1.0 / tone.rate)
    at = np.log(np.clip(lines, frequency[0], frequency[-1]))
    turns = np.exp(1j * CubicSpline(log, np.unwrap(np.angle(gain)))(at))
    whole = np.exp(CubicSpline(log, np.log(np.abs(gain)))(at)) * turns * (lines >= frequency[0])
    return np.asarray(np.fft.irfft(np.fft.rfft(sweep, size) * whole, size)[: sweep.size])


def through_amp(path: Path, amp: Amp, tone: SweepTone, snr_db: float, seed: int = 0) -> Path:
    """The sweep through the small-signal response of a simulated amp, peak at half of full scale, with noise."""
    response = simulate(amp, FrequencySweep(2.0, 30e3, 50), nodes=["speaker"])
    heard = through(response["frequency"].values, response["voltage"].values.ravel(), tone)
    return write_wav(path, noisy(0.5 * heard / np.abs(heard).max(), tone, snr_db, seed), tone.rate)
