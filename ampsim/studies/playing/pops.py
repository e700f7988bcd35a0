"""How loud each switch of an amp pops, knobs as drawn, and whether that is how such a switch is."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from enum import StrEnum

import xarray as xr

from ...base.errors import AmpsimError, EngineError
from ...base.progress import Progress
from ...circuit.amp import Amp
from ..pop.findings import bled
from ..pop.measures import AUDIBLE_W, HELPS, PEAK, Row, loud_v, pop_table, possible_rows
from ..pop.moves import Transition, transitions
from ..pop.simulate import pop

_Setting = dict[str, float | str]


class Why(StrEnum):
    """What makes a pop, as far as an owner should know."""

    REBIASED = "a valve is set to another working point"
    CHARGE = "a capacitor charges when the contact closes"
    STEP = "a steady voltage moves with the contacts"


@dataclass(frozen=True)
class Pop:
    """The loudest pop of a switch: peak [V] at the loudspeaker, that of 1 W there [V], what makes it.

    `peak` is NaN where it is not known, `loud` where the loudspeaker's ohms are not.
    """

    control: str
    peak: float
    loud: float
    why: Why

    @property
    def watts(self) -> float:
        """The power [W] of a steady tone with that peak; NaN where it is not known."""
        return (self.peak / self.loud) ** 2


def pops(amp: Amp, alone: Sequence[_Setting], missing: list[str], progress: Progress | None = None) -> tuple[Pop, ...]:
    """The loudest pop of each switch of an amp, over positions of the others.

    Parameters
    ----------
    amp : Amp
    alone : sequence of mapping
        The positions.
    missing : list of str
        Gets what could not be worked out, and why.
    progress : callable
        Called with (done, total).
    """
    found = []
    for switch in amp.all_switches:
        control = switch.control
        others = [{name: value for name, value in each.items() if name != control} for each in alone]
        others = [each for place, each in enumerate(others) if each not in others[:place]]
        try:
            worst, response = _loudest(amp, control, others, progress)
            why = _why(amp, worst, response, others)
        except AmpsimError as problem:
            missing.append(f"the pop of {control}: {problem}")
            continue
        found.append(Pop(control, abs(float(worst[PEAK])), loud_v(response, amp.variant), why))
    return tuple(found)


def _loudest(amp: Amp, control: str, others: Sequence[_Setting], progress: Progress | None) -> tuple[Row, xr.Dataset]:
    """Its loudest pop of what the planned switch can do, and all of them."""
    moves = transitions(amp, [control])
    response = pop(amp, moves, others, bleeds=(None,), turned_down=(), progress=progress, checks=0)
    rows = possible_rows(pop_table(response)).to_dict("records")
    known: list[Row] = [row for row in rows if not math.isnan(row[PEAK])]
    if not known:
        raise EngineError("no answer from ngspice for any of its movements")
    return max(known, key=lambda row: abs(row[PEAK])), response


def _why(amp: Amp, worst: Row, response: xr.Dataset, others: Sequence[_Setting]) -> Why:
    """What makes it: remedies are tried where a capacitor hangs on a contact and the pop is heard."""
    here = {name: worst[name] for name in ("variant", "position", "transition")}
    if worst["held"] and not abs(worst[PEAK]) < math.sqrt(AUDIBLE_W) * loud_v(response, amp.variant):
        control, start, end = next(each for each in transitions(amp) if each.label == worst["transition"])
        cured = pop(amp, [Transition(control, start, end)], others, turned_down=(), checks=0)
        if any(volts <= HELPS * abs(worst[PEAK]) for volts in bled(pop_table(cured), worst).values()):
            return Why.CHARGE
    return Why.REBIASED if response["valves"].sel(here).item() else Why.STEP
