"""What a switch must be: the one that the wiring plans, and in which order its contacts may move."""

from __future__ import annotations

import contextlib
from collections.abc import Iterator
from dataclasses import dataclass, replace
from enum import StrEnum
from functools import lru_cache

from ...base.errors import DescriptionError
from ...circuit.amp import Amp, Edit, Switch
from ...circuit.build import Circuit, build_circuit, conducting
from ...circuit.stages.template import GROUND
from ...circuit.switches.moving import moving
from ...circuit.switches.plan import SwitchPlan
from ..wiring.from_to import Wiring, soldered_to
from ..wiring.readback import wiring


class ContactOrder(StrEnum):
    """In which order the contacts of a switch may move."""

    EITHER = "either"
    MAKE_FIRST = "make before break"


@dataclass(frozen=True)
class SwitchNeed:
    """What to ask for at the counter.

    `kind` names the switch, or says why no usual one does; `poles` and `throws` are its own (0 when no wiring was
    found); `contacts` says in lines what is soldered to each pole and what closes in which position. `sequence` is
    `MAKE_FIRST` where the amp would lose a DC path while every contact is open; `hanging` names
    the capacitors that an open contact leaves without a DC path, which pop unless they are bled.
    """

    designator: str
    control: str
    kind: str
    poles: int
    throws: int
    contacts: tuple[str, ...]
    sequence: ContactOrder
    hanging: tuple[str, ...]


def switch_need(amp: Amp, switch: Switch) -> SwitchNeed:
    """Work out which switch an amp with its mods fitted needs: the one of its wiring."""
    sequence, hanging = _sequence(amp, switch), _hanging(amp, switch)
    try:
        wired = _wiring_of(amp)
    except DescriptionError as problem:
        kind = f"no switch was found: {problem}"
        return SwitchNeed(switch.designator, switch.control, kind, 0, 0, (), sequence, hanging)
    plan = next(each for each in wired.switches if each.control == switch.control)
    kind = plan.kind or f"no usual switch: {plan.reason}"
    told = tuple(_contact_words(wired, plan))
    return SwitchNeed(plan.designator, plan.control, kind, plan.poles, plan.throws, told, sequence, hanging)


@lru_cache(maxsize=8)
def _wiring_of(amp: Amp) -> Wiring:
    return wiring(amp)


def _contact_words(wired: Wiring, plan: SwitchPlan) -> Iterator[str]:
    """One line to each pole: what is soldered to its terminals; then what closes in which position."""
    poles: dict[str, list[str]] = {}
    for terminal, _ in plan.terminals:
        place = soldered_to(wired, plan, terminal.name)
        poles.setdefault(terminal.pole, []).append(f"{terminal.name} to {place}")
    yield from (f"pole {letter}: {', '.join(told)}" for letter, told in poles.items())
    rows = (
        f"{row.label} ({row.stands}): {' and '.join(' to '.join(pair) for pair in row.closed) or 'all open'}"
        for row in plan.rows
    )
    yield "; ".join(rows)


def _sequence(amp: Amp, switch: Switch) -> ContactOrder:
    """Make before break where something loses its DC path while every contact is open."""
    kept = [edit for _, edits in switch.positions for edit in edits if edit.action == "fit" and edit.in_series]
    gone = {edit.part for _, edits in switch.positions for edit in edits if edit.action in ("lift", "replace")}
    between = (*dict.fromkeys(kept), *(Edit("lift", part) for part in sorted(gone)))
    swapped = replace(switch, positions=(("between", between),), drawn="between")
    try:
        opened = build_circuit(_with_switch(amp, switch, swapped))
    except DescriptionError:
        return ContactOrder.MAKE_FIRST
    freed = _floating(opened) - _floating(build_circuit(amp))
    return ContactOrder.MAKE_FIRST if freed else ContactOrder.EITHER


def _floating(wired: Circuit) -> set[str]:
    """Valves whose cathode has no resistance to ground."""
    valves = [each for each in wired.elements if each.kind == "valve"]
    nets = conducting(each for each in wired.elements if each.kind != "valve")
    return {each.designator for each in valves if nets.find(each.net("cathode")) != GROUND}


def _with_switch(amp: Amp, old: Switch, new: Switch) -> Amp:
    def swapped(switches: tuple[Switch, ...]) -> tuple[Switch, ...]:
        return tuple(new if each == old else each for each in switches)

    mods = tuple(replace(mod, switches=swapped(mod.switches)) for mod in amp.mods)
    return replace(amp, switches=swapped(amp.switches), mods=mods)


def _hanging(amp: Amp, switch: Switch) -> tuple[str, ...]:
    found: dict[str, None] = {}
    for label in switch.labels:
        if label != switch.drawn:
            # A valve or a transformer that changes has no pop to work out.
            with contextlib.suppress(DescriptionError):
                held = moving(amp, (), switch.control, label).held
                found |= dict.fromkeys(name.removesuffix("_after") for name in held)
    return tuple(found)
