"""What is played into the amp in time: a sine, a burst, a waveform, or silence while a switch moves."""

from __future__ import annotations

import math
import operator
from dataclasses import dataclass, field, fields, replace
from typing import TYPE_CHECKING, SupportsFloat

from ..base.errors import DescriptionError, shown

if TYPE_CHECKING:
    from .timestep.kernel_arguments import Array


def plain_floats(record: object) -> None:
    """Turn numbers of other libraries into plain floats and ints, whose `repr` a netlist can hold.

    Raises
    ------
    DescriptionError
        For a field that is not a number.
    """
    for field_ in fields(record):  # type: ignore[arg-type]
        value, kind = getattr(record, field_.name), field_.type
        if kind in ("float", "int"):
            try:
                object.__setattr__(record, field_.name, float(value) if kind == "float" else operator.index(value))
            except (TypeError, ValueError, OverflowError):
                raise DescriptionError(f"{field_.name}: {shown(value)} is not a number") from None


def _check_tone(tone: Sine | Burst) -> None:
    if not (1.0 <= tone.frequency <= 100e3 and 0.0 <= tone.level <= 1000.0 and tone.duration > 0.0):
        raise DescriptionError(
            f"a {tone.shape} of {shown(tone.level)} V at {shown(tone.frequency)} Hz; "
            "expected 0 to 1000 V peak, 1 Hz to 100 kHz"
        )


@dataclass(frozen=True)
class Sine:
    """A steady sine of `level` [V peak] at `frequency` [Hz]: `settle` [s] to settle, then `cycles` whole periods."""

    frequency: float = 1000.0
    level: float = 0.1
    settle: float = 0.04
    cycles: int = 4

    shape = "sine"

    def __post_init__(self) -> None:
        plain_floats(self)
        _check_tone(self)

    @property
    def duration(self) -> float:
        """Length [s]: a whole number of periods."""
        return (math.ceil(self.settle * self.frequency - 1e-9) + self.cycles) / self.frequency

    def shorter(self, seconds: float) -> Sine:
        """Its beginning: about so many seconds [s], of which half at most are whole periods that are looked at."""
        if self.duration <= seconds:
            return self
        cycles = min(self.cycles, max(1, round(0.5 * seconds * self.frequency)))
        return replace(self, settle=max(0.0, seconds - cycles / self.frequency), cycles=cycles)

    def source(self) -> str:
        """The source as ngspice writes it."""
        return f"dc 0 sin(0 {self.level!r} {self.frequency!r})"

    def volts(self, time: Array) -> Array:
        """What it gives at times [s], in V."""
        import numpy as np

        return np.asarray(self.level * np.sin(2.0 * math.pi * self.frequency * time))


@dataclass(frozen=True)
class Burst:
    """A sine of `level` [V peak] at `frequency` [Hz] from `start` to `stop` [s] in `duration` [s].

    Before and after, the same sine goes on at the level `around` [V peak]; 0 is silence.
    """

    frequency: float = 1000.0
    level: float = 0.1
    start: float = 0.005
    stop: float = 0.025
    duration: float = 0.05
    around: float = 0.0

    shape = "burst"

    def __post_init__(self) -> None:
        plain_floats(self)
        _check_tone(self)

    def shorter(self, seconds: float) -> Burst:
        """One that takes so many seconds [s]: a twentieth of them before the burst, half of them at most in it."""
        if self.duration <= seconds:
            return self
        start = min(self.start, 0.05 * seconds)
        stop = start + min(self.stop - self.start, 0.5 * seconds)
        return replace(self, start=start, stop=stop, duration=seconds)

    def source(self) -> str:
        """The source as ngspice writes it (a behavioural source, written without the leading letter)."""
        omega = 2.0 * math.pi * self.frequency
        level = f"(time<{self.start!r} ? {self.around!r} : (time<{self.stop!r} ? {self.level!r} : {self.around!r}))"
        return f"V={level}*sin({omega!r}*(time-{self.start!r}))"

    def volts(self, time: Array) -> Array:
        """What it gives at times [s], in V."""
        import numpy as np

        level = np.where((time >= self.start) & (time < self.stop), self.level, self.around)
        return np.asarray(level * np.sin(2.0 * math.pi * self.frequency * (time - self.start)))


@dataclass(frozen=True)
class Waveform:
    """A given waveform: `samples` [V] at `rate` [1/s], starting at 0 s. At most 20,000 samples."""

    samples: tuple[float, ...] = field(repr=False)
    rate: float = 48e3

    shape = "waveform"

    def __post_init__(self) -> None:
        plain_floats(self)
        if not 2 <= len(self.samples) <= 20_000:
            raise DescriptionError(f"a waveform of {len(self.samples)} samples; 2 to 20,000 can be played")
        for at, sample in enumerate(self.samples):
            if not (isinstance(sample, SupportsFloat) and math.isfinite(sample)):
                raise DescriptionError(f"a waveform whose sample {at} is {shown(sample)}; expected finite volts")
        if not 1.0 <= self.rate <= 1e9:
            raise DescriptionError(f"a waveform at {shown(self.rate)} samples a second; expected 1 to 1e9")

    @property
    def duration(self) -> float:
        """Length [s]."""
        return (len(self.samples) - 1) / self.rate

    def shorter(self, seconds: float) -> Waveform:
        """Its beginning, so many seconds of it [s]."""
        return self if self.duration <= seconds else replace(self, samples=self.samples[: 2 + int(seconds * self.rate)])

    def source(self) -> str:
        """The source as ngspice writes it."""
        first = self.samples[0]
        pairs = " ".join(f"{n / self.rate!r} {float(sample)!r}" for n, sample in enumerate(self.samples))
        return f"dc {float(first)!r} pwl({pairs})"

    def volts(self, time: Array) -> Array:
        """What it gives at times [s], in V."""
        import numpy as np

        samples = np.array(self.samples, dtype=float)
        return np.asarray(np.interp(time * self.rate, np.arange(len(samples)), samples))


@dataclass(frozen=True)
class Throw:
    """A switch moves at the time `at` [s] of `duration` [s], and the input is silent.

    Old contacts open; new ones close `gap` [s] later, or that much earlier when it is negative. Then they open again
    `bounces` times, for `bounce` [s] each time and closed as long in between.
    """

    gap: float = 0.0
    bounces: int = 0
    bounce: float = 0.5e-3
    at: float = 0.01
    duration: float = 0.31

    shape = "throw"
    edge = 1e-6

    def __post_init__(self) -> None:
        plain_floats(self)
        if not (abs(self.gap) <= 0.1 and 0 <= self.bounces <= 20 and 1e-4 <= self.bounce <= 0.01):
            raise DescriptionError(
                f"a switch with a gap of {shown(self.gap)} s and {shown(self.bounces)} bounces of {shown(self.bounce)} "
                "s; expected at most 0.1 s, and at most 20 bounces of 0.0001 to 0.01 s"
            )
        if not 0.0 < self.at < self.end < self.duration:
            raise DescriptionError(
                f"a switch that moves from {shown(self.at)} to {shown(self.end)} s of {shown(self.duration)} s"
            )

    @property
    def end(self) -> float:
        """When the last contact has moved [s]."""
        return self.at + abs(self.gap) + 2 * self.bounces * self.bounce + self.edge

    def shorter(self, seconds: float) -> Throw:
        """Its beginning, until so many seconds [s] after the last contact has moved."""
        return self if self.duration <= self.end + seconds else replace(self, duration=self.end + seconds)

    def source(self) -> str:
        """The silent input as ngspice writes it."""
        return "dc 0"

    def volts(self, time: Array) -> Array:
        """The silent input at times [s], in V."""
        return 0.0 * time

    def control(self, closed: str) -> str:
        """The source that closes the contacts which are closed "before" or "after" at 1 V."""
        first = int(closed == "before")
        edges = (f"{at!r} {1 - new} {at + self.edge!r} {new:d}" for at, new in self.movements(closed))
        return f"dc {first} pwl(0 {first} {' '.join(edges)})"

    def movements(self, closed: str) -> list[tuple[float, bool]]:
        """When [s] the contacts that are closed "before" or "after" move, and whether they are closed from then on."""
        if closed == "before":
            return [(self.at + max(-self.gap, 0.0), False)]
        start = self.at + max(self.gap, 0.0)
        found = [(start, True)]
        for number in range(self.bounces):
            opens = start + (2 * number + 1) * self.bounce
            found += [(opens, False), (opens + self.bounce, True)]
        return found
