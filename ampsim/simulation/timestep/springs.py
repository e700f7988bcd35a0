"""The springs of reverb tanks, sample by sample: what comes out late is known before the samples it comes with.

A pass takes longer than a piece of samples, so a piece is driven with what left the springs before it, and what went
into them meanwhile is put in afterwards. The filters are those of `springs_text` by the trapezoidal rule.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np

from ...circuit.reverb_tank import SECTIONS, SHARPNESS, ReverbTank
from .kernel_arguments import Array


@dataclass(frozen=True)
class SpringLine:
    """The springs of one tank: the nets whose voltage tells the current in its input coil, the net they hold."""

    sense: tuple[str, str]
    emf: str
    tank: ReverbTank


Drive = Callable[[Array, Array, int], object]
"""Takes the inputs of samples [V], where to put what is heard at them [V], and the sample to begin with."""


class Springs:
    """All springs of an amp in steps of `step` [s]; `rest` is the voltage of each sense at rest [V]."""

    def __init__(self, lines: Sequence[SpringLine], step: float, rest: Array) -> None:
        self._tanks = [_Tank(line.tank, step, float(volts)) for line, volts in zip(lines, rest, strict=True)]
        self._step, self._waited = step, 0.0
        self._longest = min((tank.shortest for tank in self._tanks), default=0)
        self._last = np.zeros(len(self._tanks))

    def beside(self, drive: Drive, inputs: Array, heard: Array, seconds: float, half: bool) -> None:
        """Have the amp driven, piece by piece, as far as it is known what comes out.

        In steps that are not theirs what comes out stands still until one of theirs is over.

        Parameters
        ----------
        drive : callable
        inputs : ndarray
            Of samples [V]: what springs give stands in the columns after the first.
        heard : ndarray
            Takes what is heard [V]: after the first column two to each tank, which tell the current in it.
        seconds : float
            From sample to sample [s].
        half : bool
            Whether it goes by halves of samples.
        """
        tanks, together = len(self._tanks), math.isclose(seconds, self._step)
        length = self._longest if self._longest and together else len(inputs)
        for first in range(0, len(inputs), length):
            here = slice(first, min(first + length, len(inputs)))
            count = here.stop - first
            inputs[here, 1 : 1 + tanks] = self._ahead(count, half) if tanks and together else self._last
            drive(inputs[: here.stop], heard[: here.stop], first)
            sensed = -np.diff(heard[here, 1 : 1 + 2 * tanks])[:, ::2]
            if together:
                self._take(sensed, half)
            else:
                self._wait(count * seconds * (0.5 if half else 1.0), sensed[-1:])

    def _ahead(self, count: int, half: bool = False) -> Array:
        """What comes out [V] at the next samples, shape (count, tanks); `half`: at `count` halves of samples."""
        found = np.stack([tank.ahead(count // 2 if half else count) for tank in self._tanks], axis=1)
        if half:
            before = np.concatenate([self._last[None], found[:-1]])
            found = np.stack([0.5 * (before + found), found], axis=1).reshape(count, -1)
        self._last = found[-1]
        return np.asarray(found)

    def _take(self, sensed: Array, half: bool = False) -> None:
        """Put in what was sensed [V] at the samples that `_ahead` was asked for."""
        for number, tank in enumerate(self._tanks):
            tank.take(sensed[1::2, number] if half else sensed[:, number])

    def _wait(self, seconds: float, sensed: Array) -> None:
        """Let time pass in other steps [s], what is sensed at its end [V], shape (1, tanks)."""
        self._waited += seconds
        while self._tanks and self._waited > (1.0 - 1e-6) * self._step:
            self._waited -= self._step
            self._ahead(1)
            self._take(sensed)


class _Tank:
    def __init__(self, tank: ReverbTank, step: float, rest: float) -> None:
        self._gain, self._rest = tank.coupling * tank.share / tank.input_resistance, rest
        self._band = _Filter(*_band(tank), step)
        self._springs = [
            _Spring(tank, seconds, kept, step) for seconds, kept in zip(tank.line_seconds, tank.kept, strict=True)
        ]
        self.shortest = min(spring.length for spring in self._springs)

    def ahead(self, count: int) -> Array:
        return np.asarray(np.sum([spring.ahead(count) for spring in self._springs], axis=0))

    def take(self, sensed: Array) -> None:
        wave = self._band(self._gain * (sensed - self._rest))
        for spring in self._springs:
            spring.take(wave)


class _Spring:
    """What is on its way there and back; what arrived waits for what goes in beside it."""

    def __init__(self, tank: ReverbTank, seconds: float, kept: float, step: float) -> None:
        self.length = max(1, int(seconds / step))
        self._rest = seconds / step - self.length
        self._there, self._back = np.zeros(self.length + 1), np.zeros(self.length + 1)
        self._kept = kept
        self._out, self._return = (_Filter(*_section(tank), step, SECTIONS) for _ in range(2))
        self._arrived = self._returned = np.zeros(0)

    def ahead(self, count: int) -> Array:
        self._arrived = self._out(self._late(self._there, count))
        self._returned = self._return(self._late(self._back, count))
        return self._arrived

    def _late(self, wave: Array, count: int) -> Array:
        """On a straight line between two samples, where a pass is no whole number of steps."""
        return self._rest * wave[:count] + (1.0 - self._rest) * wave[1 : count + 1]

    def take(self, wave: Array) -> None:
        count = len(wave)
        self._there = np.concatenate([self._there[count:], wave - self._kept * self._returned])
        self._back = np.concatenate([self._back[count:], self._arrived])


class _Filter:
    """An analogue filter by the trapezoidal rule, `times` of it in a row; it keeps its state."""

    def __init__(self, zeros: Sequence[complex], poles: Sequence[complex], gain: float, step: float, times: int = 1):
        from scipy import signal

        digital = signal.bilinear_zpk(np.array(zeros), np.array(poles), gain, 1.0 / step)
        self._sections = np.tile(signal.zpk2sos(*digital), (times, 1))
        self._state = np.zeros((len(self._sections), 2))

    def __call__(self, samples: Array) -> Array:
        from scipy import signal

        found, self._state = signal.sosfilt(self._sections, samples, zi=self._state)
        return np.asarray(found)


def _band(tank: ReverbTank) -> tuple[list[complex], list[complex], float]:
    low, high = 2.0 * np.pi * tank.low, 2.0 * np.pi * tank.high
    corner = high * np.sqrt(0.5)
    return [0.0], [-low, -corner * (1.0 + 1j), -corner * (1.0 - 1j)], high * high


def _section(tank: ReverbTank) -> tuple[list[complex], list[complex], float]:
    omega = 2.0 * np.pi * tank.high
    width = omega / SHARPNESS
    poles = np.roots([1.0, width, omega * omega])
    return list(-poles), list(poles), 1.0
