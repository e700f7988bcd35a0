"""An amp in time by the solver and by ngspice, from the same input: `python -m tests.figures.in_time` compares all."""

from __future__ import annotations

import math
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from ampsim import load_amp, load_mod
from ampsim.base.errors import EngineError
from ampsim.circuit.amp import Amp
from ampsim.circuit.mods import apply_mods
from ampsim.circuit.positions import position_label
from ampsim.simulation.analyses import Transient
from ampsim.simulation.netlist import Netlist, build, node_vector
from ampsim.simulation.ngspice import engine
from ampsim.simulation.ngspice.engine import Arrays
from ampsim.simulation.timestep import resampling
from ampsim.simulation.timestep.moves import stands
from ampsim.simulation.timestep.poles import pole_of
from ampsim.simulation.timestep.solver import play
from ampsim.simulation.timestep.starting import machine_at_rest
from ampsim.simulation.uneven_times import resample
from tests.tools import random_amps

Array = NDArray[np.float64]
Position = dict[str, float | str]
RATE = 48_000.0
STEP = 1e-6
# For tests: over the demo amps ngspice's own answer is moved by 0.0002 of the signal, a twentieth of what they allow.
TWICE = 2.0 * STEP
LEVELS = (5e-3, 50e-3, 0.3, 1.0)
SECONDS = 0.3
# The low-pass looks ahead: the last samples of a signal that is cut off are not compared.
_EDGE = resampling.REACH + 1
_FINE = 8
# Below a tenth of a volt at the loudspeaker (amps that give 20 V, turned down) ngspice's own tolerances are heard of.
FAINT = 0.1
_MODS = {
    "workshop-a": ("bright-switch", "cathode-switch", "depth", "feedback-resistor", "tight-switch"),
    "workshop-b": ("feedback-with-presence", "smaller-coupling"),
    "rehearsal-room": ("volume-bright", "tight-switch"),
}


class NoAnswerError(EngineError):
    """ngspice itself gave no answer."""


@dataclass(frozen=True)
class Plucked:
    """A string's partials that die away, `level` [V] at the most; a formula, so that ngspice and we have the same."""

    level: float
    duration: float = SECONDS
    fundamental: float = 110.0
    partials: int = 28

    shape = "burst"

    def _terms(self) -> list[tuple[float, float, float]]:
        """Weight, radians a second, and decay [1/s] of each partial."""
        pairs = range(1, self.partials + 1)
        return [
            (math.sin(math.pi * n / 7.3) / n**1.1, 2.0 * math.pi * self.fundamental * n * (1.0 + 1e-5 * n * n), 2.0 + n)
            for n in pairs
        ]

    def _shape(self, times: Array) -> Array:
        begin = 1.0 - np.exp(-times / 2e-3)
        return begin * sum(w * np.exp(-decay * times) * np.sin(omega * times) for w, omega, decay in self._terms())

    @property
    def _scale(self) -> float:
        return float(self.level / np.abs(self._shape(np.arange(0.0, self.duration, 1e-5))).max())

    def samples(self, rate: float = RATE) -> Array:
        """Volts at a rate."""
        return self._scale * self._shape(np.arange(round(self.duration * rate) + 1) / rate)

    def source(self) -> str:
        """As ngspice writes it."""
        terms = "+".join(f"{w!r}*exp(-{decay!r}*time)*sin({omega!r}*time)" for w, omega, decay in self._terms())
        return f"V={self._scale!r}*(1-exp(-time/2e-3))*({terms})"


@dataclass(frozen=True)
class Case:
    """An amp at a position, played at a level [V]."""

    amp: Amp
    position: Position
    level: float
    seconds: float = SECONDS

    @property
    def label(self) -> str:
        """For people."""
        where = position_label(self.position)
        return f"{self.amp.name}, {self.amp.variant}, {where}, {self.level * 1e3:g} mV"

    @property
    def stimulus(self) -> Plucked:
        """What goes in."""
        return Plucked(self.level, self.seconds)

    def netlist(self, step: float = STEP) -> Netlist:
        """What ngspice gets, in steps so long [s]."""
        return build(self.amp, self.position, Transient(self.stimulus, step), ("speaker",))  # type: ignore[arg-type]

    def ours(self, oversampling: int = _FINE) -> Array:
        """Volts at the loudspeaker by the solver."""
        samples = self.stimulus.samples()
        # Oscillators stand still: ngspice would only set them going, where we have them going for ever.
        return play(self.amp, samples, RATE, position=self.position, oversampling=oversampling, still=True).volts

    def theirs(self, outcome: Any) -> Array:
        """The same from what ngspice gave."""
        wired = stands(self.amp, self.position)[0]
        if not isinstance(outcome, Arrays):
            raise NoAnswerError(f"{self.label}: {outcome}")
        return heard(outcome, node_vector(wired, "speaker"), self.seconds)


def heard(outcome: Any, vector: str, seconds: float) -> Array:
    """A voltage that ngspice gave in time, brought to `RATE` through the low-pass that the solver's goes through."""
    volts = outcome.vectors[vector]
    times = np.arange((round(seconds * RATE) + 1) * _FINE) / (RATE * _FINE)
    fine = resample(outcome.scale, volts[None], np.minimum(times, outcome.scale[-1]))[0] - volts[0]
    return np.asarray(volts[0] + resampling.downsample(np.pad(fine, 2 * resampling.REACH * _FINE), _FINE))


def every_position() -> Iterator[tuple[Amp, Position]]:
    """Every demo amp as drawn and at each position of its own switches and of those of its mods."""
    for name in ("workshop-a", "workshop-b", "rehearsal-room", "lesson-stage"):
        stock = load_amp(name)
        yield stock, {}
        yield from _switched(stock)
        for mod in _MODS.get(name, ()):
            modded = apply_mods(stock, load_mod(mod))
            new = [control for control in modded.controls if control not in stock.controls]
            switches = {switch.control for switch in modded.all_switches}
            knobs: list[Position] = [{control: at} for control in new if control not in switches for at in (0.0, 1.0)]
            yield from ((modded, position) for position in knobs)
            yield from _switched(modded)
            if not new:
                yield modded, {}


def _switched(amp: Amp) -> Iterator[tuple[Amp, Position]]:
    for switch in amp.all_switches:
        for label in switch.labels:
            yield amp, {switch.control: label}


def cases(levels: Sequence[float] = LEVELS, seconds: float = SECONDS) -> list[Case]:
    """All of them at each level; positions that are the same circuit once."""
    every = (Case(amp, position, level, seconds) for amp, position in every_position() for level in levels)
    return list({case.netlist().text: case for case in every}.values())


def by_lot(numbers: Iterable[int], seconds: float) -> list[Case]:
    """Amps drawn by lot that can stay at rest, played at levels by lot."""
    found = []
    for number in numbers:
        case = random_amps.draw(number, with_transient=False)
        if growth(case.amp, case.position) < 0.0:
            level = float(10.0 ** np.random.default_rng([8, number]).uniform(-3.0, 0.0))
            found.append(Case(case.amp, case.position, level, seconds))
    return found


def relative(found: Array, exact: Array, least: float = 0.0) -> float:
    """Root mean square of the difference over that of the signal, or over `least` [V]; the cut end left out."""
    count = min(len(found), len(exact)) - _EDGE
    difference, signal = (
        float(np.sqrt(np.mean(each**2))) for each in (found[:count] - exact[:count], exact[:count] - exact[0])
    )
    return difference / max(signal, least)


def compared(
    given: Sequence[Case], least: float = 0.0, step: float = STEP
) -> Iterator[tuple[Case, float | EngineError]]:
    """Each case with how far the solver lies beside ngspice in such steps [s], or why one of the two has no answer.

    A core's worth of cases at a time.
    """
    for first in range(0, len(given), 4):
        some = given[first : first + 4]
        for case, outcome in zip(some, engine.run([case.netlist(step) for case in some]), strict=True):
            try:
                yield case, relative(case.ours(), case.theirs(outcome), least)
            except EngineError as error:
                yield case, error


def errors(given: Sequence[Case], least: float = 0.0, step: float = STEP) -> Iterator[tuple[Case, float]]:
    """The same where both must have an answer."""
    for case, found in compared(given, least, step):
        if isinstance(found, EngineError):
            raise found
        yield case, found


def apart(case: Case, least: float = 0.0) -> float:
    """How far the solver lies beside ngspice [ratio]; where that is a thousandth, both in steps half as long.

    Parameters
    ----------
    case : Case
    least : float
        Of less signal than this [V] no share is taken.
    """
    found = next(iter(errors([case], least)))[1]
    if found < 1e-3:
        return found
    (outcome,) = engine.run([case.netlist(STEP / 2.0)])
    return relative(case.ours(2 * _FINE), case.theirs(outcome), least)


def growth(amp: Amp, position: Position) -> float:
    """Real part [1/s] of the amp's rightmost pole at rest: above zero it cannot stay there, whoever computes it."""
    wired, whole = stands(amp, position)
    return pole_of(machine_at_rest(whole[0].parts, wired.speaker, 1.0 / RATE)).real


def main() -> None:
    """Compare everything and print a line for each."""
    for case, error in errors(cases()):
        print(f"{100.0 * error:7.3f} %  {case.label}", flush=True)


if __name__ == "__main__":
    main()
