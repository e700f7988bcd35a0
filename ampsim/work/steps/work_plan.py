"""The steps of a job in a safe order, each with what to measure after it, and the way back."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import pandas as pd

from ...base.caution import CAUTION
from ...base.errors import DescriptionError
from ...base.wording import join_words, one_line
from ...circuit.amp import Amp
from ...circuit.mods import diff, without_mods
from ...circuit.positions import Position
from ..cautions.sheet import CautionSheet, caution_sheet
from ..new_parts import new_mods
from .checks import VOLT_LIMIT
from .cold_readings import cold_steps, places_touched, reading_steps
from .drilling import plug_steps
from .first_power import power_steps
from .making_safe import photograph_steps, safety_steps
from .mounted import said_once
from .soldering import iron_steps, parts_touched
from .step import Phase, Step
from .way_back import back_steps

NOTES = (
    "Cold readings: unplugged, capacitors discharged, valves cold, nothing in the input, discharge lead lifted, "
    "every knob fully down, switches as drawn, until the reading stands still. Limits hold with resistors within 10 %, "
    "pots 20 %, windings 25 % (common practice, no source).",
    f"Volts: limits of {100.0 * VOLT_LIMIT:.0f} % for mains, parts and valves together (common practice, no source); "
    "scale by the first rail's volts before blaming a part.",
    "A reading outside its limits: stop, find out why, go on only when it is understood.",
)


@dataclass(frozen=True)
class WorkPlan:
    """The whole work: steps to the modded amp, steps back to the stock amp, and how the limits were got."""

    amp: str
    variant: str
    steps: tuple[Step, ...]
    undo: tuple[Step, ...]
    notes: tuple[str, ...] = NOTES

    @property
    def table(self) -> pd.DataFrame:
        """Every check of `steps`: number and phase of its step, what, expected, lowest, highest, unit."""
        rows = [
            (number, step.phase, each.what, each.value, each.low, each.high, each.unit)
            for number, step in enumerate(self.steps, 1)
            for each in step.checks
        ]
        return pd.DataFrame(rows, columns=["step", "phase", "what", "expected", "lowest", "highest", "unit"])

    def text(self) -> str:
        """Both ways as plain text, steps numbered, checks to tick off."""
        head = f"Work steps: {one_line(self.amp)}, {one_line(self.variant)}"
        parts = [head, CAUTION, "\n".join(one_line(each) for each in self.notes), _numbered_lines(self.steps)]
        back = ["How to undo it", _numbered_lines(self.undo)] if self.undo else []
        return "\n\n".join([*parts, *back]) + "\n"


def work_steps(
    stock: Amp,
    modded: Amp,
    position: Position | None = None,
    sheet: CautionSheet | None = None,
    quiet_switches: bool = False,
) -> WorkPlan:
    """Lay out the work that leads from the stock amp to the modded one, and back.

    Parameters
    ----------
    stock, modded : Amp
    position : mapping
        Where controls stand when volts are read; as drawn by default.
    sheet : CautionSheet
        Of the stock amp; worked out when not given.
    quiet_switches : bool
        Whether the owner wished that no switch pops: then the proof asks for it.

    Raises
    ------
    DescriptionError
        When nothing leads from one to the other, or they are not the same drawing.
    EngineError
        When ngspice gives no trustworthy answer.
    """
    diff(stock, modded)
    if not new_mods(stock, modded):
        raise DescriptionError(f"{modded.name}: no mod leads from {stock.variant} to {modded.variant}; nothing to do")
    at = position or {}
    before = sheet or caution_sheet(stock)
    places = places_touched(stock, modded)
    steps = [
        *safety_steps(stock, before),
        *photograph_steps(stock, parts_touched(stock, modded)),
        *reading_steps(stock, places),
        *iron_steps(stock, modded),
        *cold_steps(modded, places),
        *power_steps(stock, modded, at, quiet_switches),
    ]
    undo = _steps_back(stock, modded, at)
    return WorkPlan(modded.name, modded.variant, tuple(said_once(steps)), undo)


def undo_plan(modded: Amp, names: Sequence[str], position: Position | None = None) -> WorkPlan:
    """Lay out the way back of some mods of an amp; the others stay, and what is theirs is soldered where it then goes.

    Parameters
    ----------
    modded : Amp
    names : sequence of str
        The mods that come out.
    position : mapping
        Where controls stand when volts are read; as drawn by default.

    Raises
    ------
    DescriptionError
        For a mod that is not fitted, or that another one is built upon.
    EngineError
        When ngspice gives no trustworthy answer.
    """
    left = without_mods(modded, names)
    variant = f"{modded.variant}, back to {left.variant}"
    back = f"way back of {join_words(sorted(mod.name for mod in new_mods(left, modded)))}"
    steps = tuple(replace(each, plan=back) for each in _steps_back(left, modded, position or {}))
    return WorkPlan(modded.name, variant, steps, ())


def _steps_back(stock: Amp, modded: Amp, position: Position) -> tuple[Step, ...]:
    steps = [
        *safety_steps(modded, caution_sheet(modded)),
        *photograph_steps(stock, parts_touched(stock, modded)),
        *back_steps(stock, modded),
        *plug_steps(stock, modded),
        *cold_steps(stock, places_touched(stock, modded)),
        *power_steps(modded, stock, position),
    ]
    return tuple(said_once(sorted(steps, key=lambda each: list(Phase).index(each.phase))))


def _numbered_lines(steps: Sequence[Step]) -> str:
    lines: list[str] = []
    phase: Phase | None = None
    for number, step in enumerate(steps, 1):
        if step.phase != phase:
            phase = step.phase
            lines.append(f"{chr(10) if lines else ''}{phase.upper()}")
        lines.append(f"{number:3d}. {one_line(step.do)}")
        lines += [f"     {name}: {one_line(words)}" for name, words in step.notes()]
        lines += [f"     [ ] {one_line(check.words)}" for check in step.checks]
        lines += [f"     If wrong: {one_line(words)}" for words in step.wrong]
    return "\n".join(lines)
