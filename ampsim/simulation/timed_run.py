"""What is asked of the solvers in time: a circuit with its knobs set, what is played, and how finely."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, replace
from functools import cached_property

from ..circuit.build import SPEAKER, Circuit
from .analyses import Transient
from .netlist import Netlist, is_rail_vector, node_vector, write
from .ngspice.engine import Arrays
from .stimuli import Sine
from .timestep.pace import Pace

Told = Callable[[Transient, Arrays], Mapping[str, float]]
_FINEST = 1e-4  # the tolerance of ngspice in a check, at most
# Steps of ngspice in a check, of those of an answer: an amp far beyond clipping is 0.3 % off, with twice these 7 %.
_SHARE = 0.25


@dataclass(frozen=True)
class Tone:
    """A tone in which ngspice checks a circuit, in steps [s] and with a tolerance [ratio], and the solver's pace."""

    sine: Sine
    step: float
    tolerance: float
    pace: Pace


@dataclass(frozen=True)
class TimedRun:
    """A circuit with its knobs set, what is played into it, and the places and currents that are looked at.

    `share`: the steps of ngspice in a check, of those of its answer [ratio]. `instead`: the circuit to take where the
    solver has no answer for this one; ngspice would look for it long. `told` reads of an answer the numbers that are
    told of it, by what they are in words: those that are worth comparing. `passing`: nobody asks for the solver's
    answer again, so it is not kept.
    """

    wired: Circuit
    setting: Mapping[str, float | str]
    analysis: Transient
    nodes: tuple[str, ...]
    pace: Pace
    currents: bool = False
    share: float = _SHARE
    instead: Circuit | None = None
    told: Told | None = None
    passing: bool = False

    @cached_property
    def netlist(self) -> Netlist:
        """What ngspice reads; of currents those of valves and semiconductors."""
        return self._netlist(self.analysis)

    @property
    def exact(self) -> Netlist:
        """What ngspice reads for a check: in finer steps."""
        tolerance = min(self.analysis.tolerance, _FINEST)
        return self._netlist(replace(self.analysis, step=self.share * self.analysis.step, tolerance=tolerance))

    def played(self, tone: Tone) -> TimedRun:
        """Its circuit in a tone as loud as what is played into it, at one place."""
        analysis = Transient(replace(tone.sine, level=self.level), tone.step, tone.tolerance)
        pace, share = tone.pace, _SHARE
        while share > self.share:  # as often as the steps of this run are halved
            pace, share = pace.halved, 0.5 * share
        return replace(self, analysis=analysis, pace=pace, nodes=self._checked_at, currents=False)

    @property
    def _checked_at(self) -> tuple[str, ...]:
        return (SPEAKER,) if node_vector(self.wired, SPEAKER) else self.nodes

    def sample(self, seconds: float) -> TimedRun:
        """What of it is checked: its stimulus cut to about so many seconds [s], to its end, as far as it is told."""
        stimulus = self.analysis.stimulus
        shorter = stimulus.shorter(seconds)
        cut = stimulus.duration - shorter.duration
        if not cut > 0.0:
            return self
        analysis = replace(self.analysis, stimulus=shorter)
        found = replace(self, analysis=analysis, pace=self.pace.earlier(cut))
        return found if self.told else replace(found, nodes=self._checked_at, currents=False)

    @property
    def finer(self) -> TimedRun:
        """The same with steps half as long, of the solver and of the check."""
        return replace(self, pace=self.pace.halved, share=0.5 * self.share)

    def _netlist(self, analysis: Transient) -> Netlist:
        whole = write(self.wired, self.setting, analysis, self.nodes, self.currents)
        vectors = tuple(name for name in whole.form.vectors if not is_rail_vector(name))
        return Netlist(whole.form._replace(vectors=vectors, once=self.instead is not None), whole.values)

    @property
    def level(self) -> float:
        """The level of its stimulus [V]."""
        return float(getattr(self.analysis.stimulus, "level", 0.0))
