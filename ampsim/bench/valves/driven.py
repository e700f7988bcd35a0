"""What a law gives for driven output stages: a sine from a stiff source, an ideal transformer, a resistive load."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property, partial
from itertools import groupby
from typing import Any

import numpy as np
from numpy.typing import NDArray

from ...circuit.valves.description import Family, Point
from ...circuit.valves.laws import Law
from ...circuit.valves.triodes import Parameters
from .rest import root_between

Array = NDArray[np.float64]
_SAMPLES, _STEPS = 48, 16
_MOST_AMPS = 3.0
CIRCUITS = (
    "single-ended output",
    "single-ended output, triode connected",
    "push-pull output, cathode bias",
    "push-pull output, fixed bias",
    "push-pull output, fixed bias, triode connected",
)
QUANTITIES = ("plate current", "screen current", "output power", "distortion", "second harmonic", "third harmonic")


def is_driven(point: Point) -> bool:
    """Whether a point is one that is worked out here: its volts stand against the chassis, its screens on a rail."""
    at = dict(point.conditions)
    plain = "plate_volts" in at and "screen_ohms" not in at and not {"grid_volts", "cathode_ohms"} <= set(at)
    return point.circuit in CIRCUITS and point.quantity in QUANTITIES and plain and at.get("drive_volts", 0.0) > 0.0


@dataclass(frozen=True)
class _Stage:
    """A stage under drive: rails and bias [V], the load of one valve and the cathode resistor [ohm]."""

    law: Law
    joined: bool
    paired: bool
    plate: float
    screen: float
    grid: float
    load: float
    cathode: float
    drive: float

    @cached_property
    def swing(self) -> Array:
        """The drive over a period [V]."""
        return np.asarray(self.drive * 2.0**0.5 * np.sin(2.0 * np.pi * (np.arange(_SAMPLES) + 0.5) / _SAMPLES))

    def flow(self, p: Parameters, plate: Array, grid: Array, foot: float) -> tuple[Array, Array]:
        """Plate and screen current [A] with the cathode at `foot` [V]; as a triode both in the plate's."""
        screen = plate if self.joined else np.full_like(plate, self.screen - foot)
        current, drawn = self.law.current(p, plate, grid, screen)
        return (current + drawn, 0.0 * drawn) if self.joined else (current, drawn)

    def settled(self, p: Parameters) -> dict[str, float]:
        """What comes out, by the names of `QUANTITIES` [A, W, ratio]."""
        from scipy.optimize import root

        if self.paired and not self.cathode:
            return self._answers(p, 0.0, 0.0)
        foot = 0.04 * self.screen if self.cathode else 0.0
        start = np.array([foot] if self.paired else [foot, 0.03])
        found = root(partial(self._off, p), start, tol=1e-6)
        return self._answers(p, float(found.x[0]), 0.0 if self.paired else float(found.x[1]))

    def _off(self, p: Parameters, x: Any) -> Array:
        """How far the cathode's volts [V] and the mean plate current [scaled A] are from what they make."""
        foot, mean = float(x[0]), 0.0 if self.paired else float(x[1])
        found = self._wave(p, foot, mean)
        total = sum(float(np.mean(each)) for each in found[1:])
        off = [self.cathode * total - foot]
        return np.array(off if self.paired else [*off, 100.0 * (float(np.mean(found[1])) - mean)])

    def _wave(self, p: Parameters, foot: float, mean: float) -> tuple[Array, ...]:
        """Volts across the load of one valve, and the currents: plates, then screens [V, A]."""
        plate, grid, none = self.plate - foot, self.grid - foot, np.zeros(_SAMPLES)
        if not self.paired:
            amps = root_between(lambda i: self.flow(p, plate - self.load * (i - mean), grid + self.swing, foot)[0] - i,
                                none, none + _MOST_AMPS, _STEPS)  # fmt: skip
            volts = self.load * (amps - mean)
            return (volts, *self.flow(p, plate - volts, grid + self.swing, foot))

        def both(volts: Array) -> tuple[Array, Array, Array, Array]:
            first = self.flow(p, plate - volts, grid + self.swing, foot)
            second = self.flow(p, plate + volts, grid - self.swing, foot)
            return first[0], second[0], first[1], second[1]

        def over(volts: Array) -> Array:
            one, other, _, _ = both(volts)
            return self.load * (one - other) - volts

        volts = root_between(over, none - 2.0 * plate, none + 2.0 * plate, _STEPS)
        return (volts, *both(volts))

    def _answers(self, p: Parameters, foot: float, mean: float) -> dict[str, float]:
        volts, *amps = self._wave(p, foot, mean)
        spectrum = np.abs(np.fft.rfft(volts)) / (0.5 * _SAMPLES)
        first = max(float(spectrum[1]), 1e-12)
        valves = 2 if self.paired else 1
        return {
            "plate current": float(np.mean(amps[0])),
            "screen current": float(np.mean(amps[valves])),
            # Of a pair: twice the volts over four times the load of one valve.
            "output power": float(np.mean(volts**2)) / self.load,
            "distortion": float(np.sqrt(np.sum(spectrum[2:12] ** 2))) / first,
            "second harmonic": float(spectrum[2]) / first,
            "third harmonic": float(spectrum[3]) / first,
        }


class DrivenPoints:
    """Points of driven output stages, ready to be worked out for one set of parameters after another.

    Parameters
    ----------
    law : Law
    family : str
        "triode" or "pentode".
    points : sequence of Point
        Of which `is_driven` holds.
    """

    def __init__(self, law: Law, family: Family, points: Sequence[Point]) -> None:
        rows = groupby(points, key=lambda each: (each.circuit, each.conditions))
        self._rows = [(_stage(law, family, key[0], dict(key[1])), [each.quantity for each in row]) for key, row in rows]

    def values(self, p: Parameters) -> Array:
        """What the law with these parameters gives for every point [SI, as the point's own unit]."""
        found = [value for stage, names in self._rows for value in _picked(stage.settled(p), names)]
        return np.array(found, dtype=np.float64)


def _picked(answers: dict[str, float], names: Sequence[str]) -> list[float]:
    return [answers[name] if np.isfinite(answers[name]) else 1e9 for name in names]


def _stage(law: Law, family: Family, circuit: str, at: dict[str, float]) -> _Stage:
    paired = circuit.startswith("push-pull")
    joined = family == "triode" or circuit.endswith("triode connected")
    return _Stage(law, joined, paired, at["plate_volts"], at.get("screen_volts", at["plate_volts"]),
                  at.get("grid_volts", 0.0), at["load_ohms"] / (4.0 if paired else 1.0), at.get("cathode_ohms", 0.0),
                  at["drive_volts"])  # fmt: skip
