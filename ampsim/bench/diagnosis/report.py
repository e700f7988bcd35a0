"""What measured voltages say of an amp: drawing, simulated, measured side by side, and the likeliest single fault."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Mapping
from dataclasses import dataclass
from functools import lru_cache

import numpy as np
import pandas as pd

from ...base.caution import CAUTION
from ...base.errors import DescriptionError
from ...base.progress import Progress
from ...base.tables import text_table
from ...base.wording import signed
from ...circuit.amp import Amp
from ...circuit.build import Circuit, circuit_at
from ...circuit.plugging import plug_in
from ...circuit.positions import Position, position_label
from ...circuit.source import DRAWN_SOURCE
from ...simulation.tolerances import TOLERANCE_SOURCE, Tolerances
from .comparison import evidence, voltage_table
from .fault_model import FaultModel, fault_model
from .faults import Defect, describe_fault
from .next_step import LEAK, NextStep, SizedSuspect, next_steps
from .ranking import Meter, Ranked, Ranking
from .readings import Readings
from .standing import EDGE, Standing, deviations_of, standing

# Two suspects of which each explains the readings at most so many times better than the other are not told apart.
_ALIKE = 3.0
# From so many times its share on the first is told to ask for less of a coincidence, as of a fault that is usual.
_LIKELIER = 5.0
_SHOWN = 5
_UNSURE = " But that does not explain all of it: look for a second fault, or a lead that was on another place."
_SUPPLY = "check the mains, its setting at the transformer, and the rectifier"
# Readings this far from everything foretold come from one amp in so many of those weighed (own choice).
_UNEXPLAINED = 1e-4


@dataclass(frozen=True)
class Suspicion:
    """One part that may be at fault.

    Attributes
    ----------
    part, words
        Designator, and what is wrong with it: "R4 is open".
    share
        Its share of all single faults that were weighed, 0 to 1.
    evidence
        The readings that speak for it most, in words.
    alike
        Further down the list: whether the readings hardly tell it from the first.
    fault
        What it is, with the size that fits best.
    """

    part: str
    words: str
    share: float
    evidence: tuple[str, ...]
    alike: bool
    fault: SizedSuspect


@dataclass(frozen=True)
class Diagnosis:
    """What the readings say.

    Attributes
    ----------
    amp, variant, position, source
        Labels.
    healthy
        Whether tolerances explain the readings.
    gain, threshold
        Logarithm of how much better a fault explains them, and what three of a hundred healthy amps exceed.
    supply
        The supply that fits best, as a factor of the drawing's.
    supply_off
        How far that is from what was told of it, in standard deviations.
    table
        One row to a reading, see `voltage_table`.
    suspicions
        Parts from the likeliest on.
    steps
        What to do next to tell the first two apart.
    unseen
        Parts of which no fault shows in these readings.
    unexplained
        Whether not even what is likeliest explains the readings: two faults, or a lead on another place.
    about_supply, grounded
        What is known of mains and meter, in words; places read that the drawing has on ground.
    """

    amp: str
    variant: str
    position: str
    source: str
    healthy: bool
    gain: float
    threshold: float
    supply: float
    supply_off: float
    table: pd.DataFrame
    suspicions: tuple[Suspicion, ...]
    steps: tuple[NextStep, ...]
    unseen: tuple[str, ...]
    unexplained: bool
    about_supply: str
    grounded: tuple[str, ...]

    def verdict(self) -> str:
        """In one or two sentences."""
        out = [
            str(place)
            for place, deviations in zip(self.table["place"], deviations_of(self.table), strict=True)
            if standing(deviations) is Standing.MATTERS
        ]
        if self.healthy:
            more = f" Alone beyond their limits, so read them again: {', '.join(out)}." if out else ""
            if abs(self.supply_off) > EDGE:
                off = f"{signed(100.0 * (self.supply - 1.0), 0)} %"
                more += f" But the supply stands {off} against the drawing: {_SUPPLY}."
            more += _UNSURE if self.unexplained else ""
            return f"Tolerances of parts and valves explain these readings; no single fault is needed.{more}"
        told = f"{', '.join(out[:6])} out of tolerance" if out else "no single reading is out, but together they are"
        return (
            f"Something is wrong ({told}). Likeliest: {self.suspicions[0].words}.{_UNSURE if self.unexplained else ''}"
        )

    def text(self) -> str:
        """The whole diagnosis as plain text, the caution first."""
        lines = [f"Measured voltages: {self.amp}, {self.variant}, {self.position} ({self.source})", CAUTION]
        off = f"{signed(100.0 * (self.supply - 1.0), 1)} %"
        supply = f"All readings together put the supply at {off} against the drawing."
        lines += [f"{self.about_supply} {supply}", text_table(self.table)]
        lines += [f"On ground in the drawing, so not weighed: {', '.join(self.grounded)}."] if self.grounded else []
        lines += [self.verdict()]
        if not self.healthy:
            lines += ["\n".join(self._suspect_lines()), "\n".join(self._step_lines())]
        lines += [f"No fault of these parts shows in these readings: {', '.join(self.unseen)}."] if self.unseen else []
        return "\n\n".join([*lines, f"Tolerances: {TOLERANCE_SOURCE}."]) + "\n"

    def _suspect_lines(self) -> list[str]:
        found = ["Suspects"]
        shown = [each for number, each in enumerate(self.suspicions[:_SHOWN]) if number < 3 or each.share >= 0.01]
        for number, each in enumerate(shown, 1):
            more = "; it asks for more of a coincidence" if _LIKELIER * each.share < shown[0].share else ""
            alike = f" (these readings hardly tell it from the first{more})" if each.alike else ""
            share = "less than 1" if each.share < 0.01 else f"{100.0 * each.share:.0f}"
            found.append(f"{number}. {each.words}: {share} % of all single faults weighed{alike}")
            found += [f"   {line}" for line in each.evidence] if number <= 3 else []
        return found

    def _step_lines(self) -> list[str]:
        found = ["What to measure next, cold readings first"]
        if len(self.suspicions) < 2:
            return [*found, "- Measure the part itself, out of circuit."]
        names = (self.suspicions[0].part, self.suspicions[1].part)
        found += [f"- {step.words(names)}" for step in self.steps]
        if any(each.fault.suspect.kind.defect is Defect.LEAKING for each in self.suspicions[:2]):
            found.append(f"- {LEAK}")
        if not self.steps:
            found.append(
                f"- No reading in circuit tells {names[0]} from {names[1]}: lift one end of each, cold, and measure it."
            )
        return found


def diagnose(
    amp: Amp,
    readings: Readings,
    position: Position = {},  # noqa: B006
    tolerances: Tolerances | None = None,
    progress: Progress | None = None,
) -> Diagnosis:
    """Simulate an amp with every single fault and weigh them against readings.

    Parameters
    ----------
    amp, readings, position
        What was read, and where the controls stood.
    tolerances : Tolerances
        Of a healthy amp's parts and valves.
    progress : callable
        Called with (done, total), for each lot of simulations anew.

    Raises
    ------
    DescriptionError
        For places, controls or positions that are not there.
    EngineError
        When the healthy amp gives no trustworthy answer.
    """
    if readings.plugged != DRAWN_SOURCE:
        amp = plug_in(amp, readings.plugged)
    model = fault_model(amp, readings.names, position, readings.meter_ohms, tolerances, progress)
    return weigh_readings(amp, readings, position, model)


def weigh_readings(amp: Amp, readings: Readings, position: Position, model: FaultModel) -> Diagnosis:
    """Weigh readings with a model that was simulated before; simulates nothing.

    Parameters
    ----------
    amp : Amp
    readings : Readings
        What was read [V].
    position : mapping
        Where the controls stood.
    model : FaultModel
        Of this amp, position and meter, with every place that was read among its readings.

    Raises
    ------
    DescriptionError
        When the model was simulated for another amp, position or meter, or for other places.
    """
    asked = (amp.name, amp.variant, position_label(position), readings.meter_ohms)
    if asked != (model.amp, model.variant, model.position, model.meter_ohms):
        raise DescriptionError(f"{asked[0]}: the model was simulated for another amp, position or meter")
    meter = Meter(readings.accuracy, readings.digit, readings.supply_known)
    ranking = _ranking(model, readings.names, meter)
    volts = np.array([value for _, value in readings.volts])
    ranked = ranking.rank(volts, readings.supply)
    healthy = ranked.gain <= ranking.threshold
    suspicions = _suspicions(circuit_at(amp, position), readings.names, volts, ranked)
    pair = tuple(each.fault for each in suspicions[:2])
    steps: tuple[NextStep, ...] = ()
    if len(pair) == 2 and not healthy:
        steps = next_steps(amp, position, model, readings.names, volts, readings.supply, meter, (pair[0], pair[1]))
    return Diagnosis(
        amp.name,
        amp.variant,
        model.position,
        readings.source,
        healthy,
        ranked.gain,
        ranking.threshold,
        ranked.supply,
        (ranked.supply - readings.supply) / readings.supply_known,
        voltage_table(ranking.model, volts, ranked),
        suspicions,
        steps,
        _unseen_parts(model, readings.names),
        ranked.misfit < _UNEXPLAINED,
        readings.about_supply,
        readings.grounded,
    )


@lru_cache(maxsize=4)
def _ranking(model: FaultModel, names: tuple[str, ...], meter: Meter) -> Ranking:
    """Kept, because its threshold takes a thousand healthy amps."""
    return Ranking(model.only(names), meter)


def _suspicions(wired: Circuit, names: tuple[str, ...], volts: np.ndarray, ranked: Ranked) -> tuple[Suspicion, ...]:
    """One to each part, its likeliest fault for it."""
    share: dict[str, float] = defaultdict(float)
    best: dict[str, int] = {}
    for number, (suspect, chance) in enumerate(zip(ranked.suspects, ranked.chances, strict=True)):
        share[suspect.part] += chance
        best.setdefault(suspect.part, number)
    order = sorted(share, key=lambda part: -share[part])
    return tuple(
        Suspicion(
            part,
            describe_fault(wired.parts, ranked.suspects[best[part]], ranked.sizes[best[part]]),
            share[part],
            evidence(names, volts, ranked, best[part]),
            part != order[0] and ranked.favour(volts, best[order[0]], best[part]) < _ALIKE,
            SizedSuspect(ranked.suspects[best[part]], ranked.sizes[best[part]]),
        )
        for part in order
    )


def _unseen_parts(model: FaultModel, names: tuple[str, ...]) -> tuple[str, ...]:
    """Parts of which no fault that was tried shows at the places read."""
    shown = _parts_that_show(model.only(names))
    parts: Mapping[str, bool] = {each.part: shown.get(each.part, False) for each in (*model.suspects, *model.unseen)}
    return tuple(part for part, seen in parts.items() if not seen)


def _parts_that_show(model: FaultModel) -> dict[str, bool]:
    limit = 0.01 * np.abs(model.healthy) + 0.01
    found: dict[str, bool] = {}
    for suspect, readings in zip(model.suspects, model.readings, strict=True):
        shows = bool((np.abs(readings - model.healthy) > limit).any())
        found[suspect.part] = found.get(suspect.part, False) or shows
    return found
