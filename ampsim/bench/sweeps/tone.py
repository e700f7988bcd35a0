"""The test tone to play through an amp: a logarithmic sine sweep, and the filter that turns it back into a click.

A. Farina, "Simultaneous measurement of impulse response and distortion with a swept-sine technique", 108th AES
convention, 2000 (from memory). With L = T / ln(f2/f1) the sweep is sin(2 pi f1 L (exp(t/L) - 1)); its inverse is the
sweep backwards, weighed with exp(-t/L). Of a sweep filtered with the inverse, the harmonic of order n comes
L ln(n) ahead of the click.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from ...base.errors import DescriptionError, shown
from ...base.wav import RATES, write_wav

Array = NDArray[np.float64]
_FADE_OUT = 0.01


@dataclass(frozen=True)
class SweepTone:
    """A sweep from `start` to `stop` [Hz] in `seconds`, `quiet` seconds of silence before and after it.

    `level` is the peak in dB of full scale, `rate` the samples a second. The sweep swells over its first quarter of an
    octave and fades over its last 10 ms, so that it neither thumps nor clicks; results hold from `lowest` to `highest`.
    """

    start: float = 15.0
    stop: float = 20e3
    seconds: float = 12.0
    quiet: float = 1.5
    level: float = -6.0
    rate: int = 48_000

    def __post_init__(self) -> None:
        numbers = (self.start, self.stop, self.seconds, self.quiet, self.level)
        plain = all(isinstance(each, (int, float)) and math.isfinite(each) for each in numbers)
        if self.rate not in RATES:
            raise DescriptionError(
                f"a tone of {shown(self.rate)} samples a second; made are {', '.join(map(str, RATES))}"
            )
        if not plain or not (self.start >= 5.0 and 8.0 * self.start <= self.stop <= 0.46 * self.rate):
            raise DescriptionError(
                f"a sweep from {shown(self.start)} to {shown(self.stop)} Hz; expected 5 Hz or more, three octaves or "
                f"more, at most {0.46 * self.rate:g} Hz at {self.rate} samples a second"
            )
        if not (2.0 <= self.seconds <= 60.0 and 0.5 <= self.quiet <= 10.0 and -60.0 <= self.level <= 0.0):
            raise DescriptionError(
                f"a sweep of {shown(self.seconds)} s at {shown(self.level)} dB with {shown(self.quiet)} s of silence; "
                "expected 2 to 60 s, -60 to 0 dB of full scale, 0.5 to 10 s"
            )

    @property
    def stretch(self) -> float:
        """L [s]: the time in which the frequency grows by e."""
        return self.seconds / math.log(self.stop / self.start)

    @property
    def fades(self) -> tuple[float, float]:
        """How long it swells and fades [s]: a quarter of an octave, and 10 ms."""
        return 0.25 * math.log(2.0) * self.stretch, _FADE_OUT

    @property
    def lowest(self) -> float:
        """From here on the sweep is at its full level, with a quarter of an octave to spare [Hz]."""
        return math.sqrt(2.0) * self.start

    @property
    def highest(self) -> float:
        """Up to here the sweep is at its full level, with a sixth of an octave to spare [Hz]."""
        return float(self.stop * 2.0 ** (-1.0 / 6.0))

    def ahead(self, order: int) -> float:
        """By how much the harmonic of an order comes ahead of the click [s]."""
        return self.stretch * math.log(order)

    def sweep(self) -> Array:
        """The sweep alone [ratio to full scale], shape (samples,)."""
        time = np.arange(round(self.seconds * self.rate)) / self.rate
        phase = 2.0 * np.pi * self.start * self.stretch * np.expm1(time / self.stretch)
        return np.asarray(10.0 ** (self.level / 20.0) * np.sin(phase) * self._envelope(time))

    def _envelope(self, time: Array) -> Array:
        """Half a cosine at each end."""
        swell, fade = self.fades
        rise = np.clip(time / swell, 0.0, 1.0)
        fall = np.clip((self.seconds - time) / fade, 0.0, 1.0)
        return np.asarray(0.25 * (1.0 - np.cos(np.pi * rise)) * (1.0 - np.cos(np.pi * fall)))

    def whole(self) -> Array:
        """The sweep with silence before and after it [ratio to full scale], shape (samples,)."""
        silence = np.zeros(round(self.quiet * self.rate))
        return np.concatenate([silence, self.sweep(), silence])

    def inverse(self) -> Array:
        """The inverse filter [ratio], shape (samples,); the sweep itself gives a click of about 1 at its first sample.

        The click stands at the last sample of the sweep in a plain convolution of the two.
        """
        sweep = self.sweep()
        time = np.arange(sweep.size) / self.rate
        backwards = sweep[::-1] * np.exp(-time / self.stretch)
        # The click is the sum of sweep times sweep, weighed: it is made 1.
        return np.asarray(backwards / float(np.dot(sweep, backwards[::-1])))

    def words(self) -> str:
        """What the tone is, for whoever plays it."""
        swell, fade = self.fades
        return (
            f"sweep from {self.start:g} Hz to {self.stop:g} Hz in {self.seconds:g} s, swelling over {swell:.2f} s and "
            f"fading over {fade:g} s, peak {self.level:g} dB of full scale, {self.quiet:g} s of silence before and "
            f"after, {self.rate} samples a second; results hold from {self.lowest:.3g} Hz to {self.highest:.0f} Hz"
        )


def write_tone(path: str | Path, tone: SweepTone | None = None, bits: int = 24, stereo: bool = False) -> SweepTone:
    """Write the WAV file to play through the amp.

    Parameters
    ----------
    path : str or Path
    tone : SweepTone
        Default: `SweepTone()`. Reading the recording needs the same.
    bits : {16, 24, 32}
    stereo : bool
        The same on two channels.

    Raises
    ------
    DescriptionError
        When it cannot be written.
    """
    made = tone or SweepTone()
    samples = made.whole()
    write_wav(path, np.column_stack([samples, samples]) if stereo else samples, made.rate, bits)
    return made
