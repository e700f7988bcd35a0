"""A signal at the input jack, and what comes of it at a place of the amp."""

from __future__ import annotations

import itertools
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import ArrayLike, NDArray

from ...base.errors import DescriptionError, EngineError, shown
from ...base.progress import Progress
from ...circuit.amp import Amp
from ...circuit.build import SPEAKER
from ...circuit.positions import Position
from ...circuit.stages.template import GROUND
from ..request import Case, request
from . import resampling
from .moves import Stand, stands

if TYPE_CHECKING:
    from .machine import Machine

Array = NDArray[np.float64]
OVERSAMPLING = (1, 2, 4, 8, 16)
LONGEST = 20_000_000  # samples of one signal: seven minutes at 48 kHz
_CHUNK = 0.1  # seconds between two looks at whether to stop


@dataclass(frozen=True, eq=False)
class Played:
    """What is heard at a place.

    `volts` [V], float64, as long as the signal and at its `rate` [1/s]. `repaired` counts the samples (of the
    oversampled signal) that were solved by going there in smaller steps, which changes nothing about the answer.
    `evaluations` counts how often all valves were worked out.
    """

    volts: Array
    rate: float
    repaired: int
    evaluations: int


def play(
    amp: Amp,
    signal: ArrayLike,
    rate: float,
    *,
    position: Position | None = None,
    node: str = SPEAKER,
    oversampling: int = 8,
    moves: Sequence[tuple[float, Position]] = (),
    still: bool = False,
    progress: Progress | None = None,
) -> Played:
    """Play a signal through an amp as described: every valve, the transformer, feedback, sagging supply.

    Before the signal the amp has stood at rest for ever, but for its tremolo.

    Parameters
    ----------
    amp : Amp
    signal : array_like, shape (samples,)
        At the amp's input jack [V].
    rate : float
        Samples a second [Hz], 8,000 to 384,000.
    position : mapping
        Control to rotation (0 to 1) or switch position, as in `simulate`; what is not named stands as drawn.
    node : str
        The place to listen at.
    oversampling : {1, 2, 4, 8, 16}
        Steps to a sample. Clipping makes harmonics beyond any rate; the more steps, the less of them folds back.
    moves : sequence of (seconds, position)
        Knobs and one switch that move while the signal plays, each at its time.
    still : bool
        Whether oscillators that the amp is meant to have stand still; else they have been going for long.
    progress : callable
        See `base.progress`; called ten times to a second of signal with the samples done.

    Raises
    ------
    DescriptionError
        Unknown control, position or place, a signal that is no signal, a movement that cannot be.
    EngineError
        A sample or the operating point could not be solved; never a sound.
    Stopped
        `progress` raised it.
    """
    samples = _check(signal, rate, oversampling)
    setting = dict(position or {})
    request(amp, [setting, *(dict(there) for _, there in moves)])
    wired, whole = stands(amp, setting, moves, still)
    if wired.net(node) == GROUND:
        return Played(np.zeros(samples.size), rate, 0, 0)
    task = _Task(whole, wired.net(node), float(rate), oversampling, progress)
    where = Case(amp, setting).name
    try:
        heard, machine = task.run(resampling.upsample(samples, oversampling))
    except EngineError as error:
        raise EngineError(f"{where}: {error}") from error
    volts = machine.rest_volts + resampling.downsample(heard - machine.rest_volts, oversampling)
    if not np.isfinite(volts).all():
        raise EngineError(f"{where}: the sound has samples that are not finite")
    return Played(volts, float(rate), machine.repaired, machine.evaluations)


class _Task:
    """One signal through one amp, piece by piece."""

    def __init__(
        self,
        whole: Sequence[Stand],
        net: str,
        rate: float,
        times: int,
        progress: Progress | None,
    ) -> None:
        self._whole, self._net, self._rate, self._times = whole, net, rate, times
        self._progress = progress

    def run(self, signal: Array) -> tuple[Array, Machine]:
        """The oversampled signal, silence around it included, to what is heard; and the machine that did it."""
        from .setting import prepare
        from .starting import machine_going

        step = 1.0 / (self._rate * self._times)
        amp = machine_going(self._whole[0].parts, self._net, step)
        amp.for_long()
        lead = 2 * resampling.REACH
        starts = [0, *((round(stand.at * self._rate) + lead) * self._times for stand in self._whole[1:])]
        heard = np.empty(signal.size)
        for number, (begin, end) in enumerate(itertools.pairwise([*starts, signal.size])):
            if number:
                amp.move(prepare(self._whole[number].parts, amp.seats, [self._net], step))
            for first, last in self._pieces(begin, end, signal.size):
                before = signal[first - 1] if number and first == begin else None
                heard[first:last] = self._piece(amp, signal[first:last], before, first)
        return heard, amp

    def _pieces(self, begin: int, end: int, whole: int) -> Iterator[tuple[int, int]]:
        length = max(1, round(_CHUNK * self._rate)) * self._times
        for first in range(begin, end, length):
            last = min(first + length, end)
            yield first, last
            if self._progress is not None:
                self._progress(last // self._times, whole // self._times, "samples")

    def _piece(self, amp: Machine, signal: Array, before: float | None, first: int) -> Array:
        from .machine import Unsolved

        try:
            return amp.run(signal) if before is None else amp.run_after_move(signal, before)
        except Unsolved as error:
            at = (first + error.sample) / (self._rate * self._times) - 2 * resampling.REACH / self._rate
            raise EngineError(f"no solution was found {at:.6f} s from the start; nothing is played") from error


def _check(signal: ArrayLike, rate: float, oversampling: int) -> Array:
    try:
        samples = np.ascontiguousarray(signal, dtype=np.float64)
    except (TypeError, ValueError):
        raise DescriptionError(f"a signal of no numbers: {shown(signal)}; expected a row of volts") from None
    if samples.ndim != 1 or not 1 <= samples.size <= LONGEST:
        raise DescriptionError(f"a signal of the shape {samples.shape}; expected one row of 1 to {LONGEST:,} samples")
    if not (np.abs(samples) <= 1000.0).all():
        at = int(np.argmax(~(np.abs(samples) <= 1000.0)))
        raise DescriptionError(f"a signal whose sample {at} is {samples[at]:g} V; expected -1000 to 1000 V")
    if not 8000.0 <= rate <= 384000.0:
        raise DescriptionError(f"a signal at {shown(rate)} samples a second; expected 8,000 to 384,000")
    if oversampling not in OVERSAMPLING:
        raise DescriptionError(f"oversampling {shown(oversampling)}; it may be {', '.join(map(str, OVERSAMPLING))}")
    return samples
