"""What a switch must be: the one that the wiring plans, and in which order its contacts move."""

from __future__ import annotations

import contextlib
from collections.abc import Iterator
from dataclasses import dataclass, replace
from functools import lru_cache

from ...base.errors import DescriptionError
from ...circuit.amp import Amp, AnyPart, Switch
from ...circuit.build import circuit_at
from ...circuit.designators import part_of
from ...circuit.output_stage import output_valves
from ...circuit.stages.template import GROUND
from ...circuit.switches.kinds import Action, ContactOrder
from ...circuit.switches.moving import moving
from ...circuit.switches.plan import SwitchPlan
from ...circuit.switches.planning import freed_between
from ...simulation.analyses import OperatingPoint
from ...simulation.operating_points import at_rest
from ...simulation.response import simulate
from ...studies.pop.causes import LEAST_VOLTS
from ..wiring.from_to import Wiring, soldered_to
from ..wiring.readback import wiring

_OTHER_WAY_ROUND = (
    "buzz it in its middle position first: some close the other pole there; then exchange pole A with B, C with D"
)


@dataclass(frozen=True)
class SwitchNeed:
    """What to ask for at the counter.

    `kind` names the switch, or says why no usual one does; `poles` and `throws` are its own (0 when no wiring was
    found); `contacts` says in lines what is soldered to each pole and what closes in which position. `sequence` is
    the order in which its contacts move; `freed` says what would lose its DC path while every contact is open ("" when
    nothing does); `hanging` names the capacitors that an open contact leaves without a DC path and that stand at direct
    volts when it is closed: they pop unless they are bled. `volts` is the most that its lugs come to [V].
    """

    designator: str
    control: str
    kind: str
    poles: int
    throws: int
    contacts: tuple[str, ...]
    sequence: ContactOrder
    freed: str
    hanging: tuple[str, ...]
    action: Action = Action.NONE
    volts: float = 0.0


@lru_cache(maxsize=32)  # parts list, plan and record ask for the same
def switch_need(amp: Amp, switch: Switch) -> SwitchNeed:
    """Work out which switch an amp with its mods fitted needs: the one of its wiring."""
    freed, hanging = freed_between(amp, switch), _hanging(amp, switch)
    try:
        wired = wiring_of(amp)
    except DescriptionError as problem:
        kind = f"no switch was found: {problem}"
        return SwitchNeed(switch.designator, switch.control, kind, 0, 0, (), ContactOrder.EITHER, freed, hanging)
    plan = next(each for each in wired.switches if each.designator == switch.designator)
    kind = plan.kind or f"no usual switch: {plan.reason}"
    kind += f", {switch.coil.words}" if switch.coil is not None else ""
    told = (*_contact_words(wired, plan), *([_OTHER_WAY_ROUND] if plan.action is Action.ON_ON_ON else []))
    return SwitchNeed(
        plan.designator, plan.control, kind, plan.poles, plan.throws, told, plan.order, freed, hanging, plan.action,
        _most_volts(amp, switch, wired, plan),
    )  # fmt: skip


def needs_of(amp: Amp, switch: Switch) -> tuple[SwitchNeed, ...]:
    """What a switch needs; after a relay the switch that feeds its coil."""
    if switch.coil is None:
        return (switch_need(amp, switch),)
    driver = replace(switch, designator=switch.coil.driver, coil=None)
    return switch_need(amp, switch), replace(switch_need(amp, driver), freed="", hanging=())


@lru_cache(maxsize=8)
def wiring_of(amp: Amp) -> Wiring:
    """The wiring of an amp, found once."""
    return wiring(amp)


def name_in_wiring(amp: Amp, part: AnyPart) -> str:
    """What the from-to list calls a part: one that a switch puts in place of another has a letter of its own."""
    try:
        wired = wiring_of(amp)
    except DescriptionError:
        return part.designator
    names = [name for name, old in wired.bought.items() if old == part.designator]
    same = [name for name in names if replace(wired.parts[name], designator=part.designator) == part]
    return same[0] if same else part.designator


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


def _most_volts(amp: Amp, switch: Switch, wired: Wiring, plan: SwitchPlan) -> float:
    """The most volts to ground that lugs of a switch come to [V], warm or with cold valves, in any of its positions.

    The plate of an output valve swings to about twice its supply behind a transformer (common practice, no source).
    """
    ends = [(wire.start, wire.end) for wire in wired.wires] + [(wire.end, wire.start) for wire in wired.wires]
    places = {end for end, lug in ends if part_of(lug) == plan.designator and part_of(end) != plan.designator}
    most = 0.0
    for position in ({switch.control: label} for label in switch.labels):
        circuit = circuit_at(amp, position)
        plates = {each.net("plate") for each in circuit.elements if each.designator in output_valves(circuit)}
        there = [each for each in sorted(places) if circuit.net_by_place.get(each, GROUND) != GROUND]
        for cold in (False, True) if there else ():
            volts = simulate(amp, OperatingPoint(cold), [position], nodes=there)["voltage"].values[0, 0]
            swings = [2.0 if circuit.net(place) in plates else 1.0 for place in there]
            most = max(most, *(abs(float(each)) * swing for each, swing in zip(volts, swings, strict=True)))
    return most


def _hanging(amp: Amp, switch: Switch) -> tuple[str, ...]:
    held: dict[str, None] = {}
    for label in switch.labels:
        if label != switch.drawn:
            # A valve or a transformer that changes has no pop to work out.
            with contextlib.suppress(DescriptionError):
                loose = moving(amp, (), switch.control, label).held
                held |= dict.fromkeys(name.removesuffix("_after") for name in loose)
    rests = at_rest([(amp, {switch.control: label}) for label in switch.labels], list(held)) if held else []
    return tuple(name for name in held if any(abs(rest.across.get(name, 0.0)) > LEAST_VOLTS for rest in rests))
