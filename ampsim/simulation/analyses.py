"""What is asked of the engine: operating point, frequency sweep, or a transient with a stimulus."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from ..base.errors import DescriptionError, shown
from .stimuli import Burst, Sine, Throw, Waveform, plain_floats

if TYPE_CHECKING:
    from numpy.typing import NDArray

__all__ = [
    "Analysis",
    "Burst",
    "FrequencySweep",
    "LoopSweep",
    "NoiseSweep",
    "OperatingPoint",
    "PortSweep",
    "RippleSweep",
    "Sine",
    "Throw",
    "Transient",
    "Waveform",
]


@dataclass(frozen=True)
class OperatingPoint:
    """Volts and currents at rest; `cold`: with the supplies up and no valve conducting yet."""

    cold: bool = False

    name = "operating point"


@dataclass(frozen=True)
class FrequencySweep:
    """Small-signal sweep with 1 V at the source, logarithmic from `start` to at most `stop` [Hz]."""

    start: float = 20.0
    stop: float = 20e3
    per_decade: int = 50

    name = "frequency sweep"

    def __post_init__(self) -> None:
        plain_floats(self)
        if not (1e-3 <= self.start < self.stop <= 1e9 and 1 <= self.per_decade <= 1000):
            raise DescriptionError(
                f"frequency sweep from {shown(self.start)} to {shown(self.stop)} Hz with {shown(self.per_decade)} "
                "points a decade; expected 0.001 <= start < stop <= 1e9 and 1 to 1000 points"
            )
        # ngspice never comes back from a logarithmic sweep of one point.
        if FrequencySweep.points.fget(self) < 2:  # type: ignore[attr-defined]
            raise DescriptionError(
                f"frequency sweep from {shown(self.start)} to {shown(self.stop)} Hz holds one frequency only; "
                "widen it or ask for more points a decade"
            )

    @property
    def points(self) -> int:
        """How many frequencies the sweep has."""
        return math.floor(self.per_decade * math.log10(self.stop / self.start) + 1e-6) + 1

    def grid(self) -> NDArray[Any]:
        """The frequencies [Hz], shape (points,)."""
        import numpy as np

        return np.asarray(self.start * 10.0 ** (np.arange(self.points) / self.per_decade))


@dataclass(frozen=True)
class LoopSweep(FrequencySweep):
    """Loop gain with the loop closed: a small voltage or current is put into the wires that close it.

    `cut` gives for each net that drives the loop the places whose wires lead back, such as ``R20.1``; all places of a
    net are one wire. Wire number `driven` gets the `injection`. A `whole` sweep goes on beyond its ends, two decades at
    most, where the loop gain has not faded there.
    """

    start: float = 1.0
    stop: float = 1e6
    per_decade: int = 25
    cut: tuple[tuple[str, ...], ...] = ()
    driven: int = 0
    injection: str = "voltage"
    whole: bool = False

    name = "loop sweep"


@dataclass(frozen=True)
class PortSweep(FrequencySweep):
    """Sweep with 1 A into the first place of port number `driven` and out of the second; -1: 1 V at the source.

    `ports` are pairs of places. With the `cut` of a loop, as for `LoopSweep`, a current into each of its wires and a
    voltage in each of them follow the ports in number. Sweeps that differ in `driven` alone share one load of the
    netlist.
    """

    ports: tuple[tuple[str, str], ...] = ()
    driven: int = -1
    cut: tuple[tuple[str, ...], ...] = ()

    name = "port sweep"


@dataclass(frozen=True)
class RippleSweep(FrequencySweep):
    """Sweep with 1 V of ripple in the source of a rail and a silent input.

    With `harmonics`, two or more: at so many multiples of `start`, whatever `stop` and `per_decade` say.
    """

    rail: str = ""
    harmonics: int = 0

    name = "ripple sweep"

    @property
    def points(self) -> int:
        """How many frequencies the sweep has."""
        return self.harmonics or super().points

    def grid(self) -> NDArray[Any]:
        """The frequencies [Hz], shape (points,)."""
        import numpy as np

        return self.start * np.arange(1.0, self.harmonics + 1.0) if self.harmonics else super().grid()


@dataclass(frozen=True)
class NoiseSweep(FrequencySweep):
    """Noise at the place `output`, with a silent input.

    `valves` gives each valve's noise as resistors [ohm] whose thermal noise voltage drives 1 mS from plate to
    cathode and, for partition noise, from plate to screen (0: none): designator, plate, partition, and how much of the
    plate's noise the screen has beside it (screen current over plate current).
    """

    output: str = "speaker"
    valves: tuple[tuple[str, float, float, float], ...] = ()

    name = "noise sweep"


_STEADY = Sine()


@dataclass(frozen=True)
class Transient:
    """The amp in time, from rest at its operating point, driven by a stimulus; results every `step` [s] or less.

    `tolerance` is the error ngspice allows itself in each step, as a fraction of each voltage and current. Oscillators
    that the amp is meant to have stand still unless they are `moving`: then they get a push at the start.
    """

    stimulus: Sine | Burst | Waveform | Throw = _STEADY
    step: float = 20e-6
    tolerance: float = 1e-4
    moving: bool = False

    name = "transient"

    def __post_init__(self) -> None:
        plain_floats(self)
        if not (0.0 < self.step <= 1e-3 and 0.0 < self.stimulus.duration <= 60.0):
            raise DescriptionError(
                f"a transient of {shown(self.stimulus.duration)} s in steps of {shown(self.step)} s; "
                "expected up to 60 s in steps of at most 1 ms"
            )
        if not 1e-7 <= self.tolerance <= 1e-2:
            raise DescriptionError(f"a transient to {shown(self.tolerance)} of each value; expected 1e-7 to 0.01")

    @property
    def points(self) -> int:
        """How many samples the result has."""
        per_cycle = 0
        if isinstance(self.stimulus, Sine):
            per_cycle = math.ceil(1.0 / (self.stimulus.frequency * self.step) - 1e-9)
            return round(self.stimulus.duration * self.stimulus.frequency) * per_cycle + 1
        return math.ceil(self.stimulus.duration / self.step - 1e-9) + 1

    def grid(self) -> NDArray[Any]:
        """The times [s], shape (points,), uniform; a whole number of samples to a period of a sine."""
        import numpy as np

        return np.linspace(0.0, self.stimulus.duration, self.points)


Analysis = OperatingPoint | FrequencySweep | Transient  # the other sweeps are kinds of `FrequencySweep`
