"""The switches of an amp as they are planned, and how their levers move between positions.

`lever_way(amp, control, start, end)` is for whoever asks what can happen on the way: a switch goes from one neighbour
on its lever to the next, so `way.steps` are the movements to look at, one after the other, each in `way.order`.
"""

from __future__ import annotations

import itertools
from collections.abc import Iterator, Sequence
from dataclasses import replace
from functools import lru_cache

from ...base.errors import DescriptionError, nearest, shown
from ..amp import Amp, Edit, Switch
from ..build import Circuit, build_circuit
from ..nets import INPUT, Groups, conducting
from ..positions import Switches, every_setting
from ..stages.template import GROUND
from .kinds import Action, ContactOrder, SwitchKind, usual_order
from .plan import LeverWay, SwitchPlan, plan_switch
from .same_circuit import compare_circuits, switched_parts, without_idle
from .wire_pieces import Joint, Piece, Pieces, find_pieces

_BASES = 16  # stands of the other switches from which one is looked at


@lru_cache(maxsize=64)
def planned_switches(amp: Amp) -> tuple[SwitchPlan, ...]:
    """The switches of an amp and its mods, each as the one that was asked for or the smallest usual one that does it.

    Raises
    ------
    DescriptionError
        When a switch changes what no switch can, or two switches work on the same part or wire.
    """
    fault: DescriptionError | None = None
    drawn = tuple((each.control, each.drawn) for each in amp.all_switches)
    for base in itertools.islice(itertools.chain([drawn], every_setting(amp)), _BASES):
        try:
            pieces = find_pieces(amp, base)
        except DescriptionError as error:
            fault = fault or error
            continue
        plans = plan_switches(amp, pieces)
        if _do_it(amp, pieces, plans):
            return plans
    raise fault or DescriptionError(f"{amp.name}: no contacts of its switches do what the description says")


def plan_switches(amp: Amp, pieces: Pieces) -> tuple[SwitchPlan, ...]:
    """The switches of an amp that is taken apart into these pieces."""
    return tuple(
        plan_switch(one, joints, order_needed(amp, each))
        for each in amp.all_switches
        for one, joints in _contacts(each, [joint for joint in pieces.joints if joint.control == each.control])
    )


def _contacts(switch: Switch, joints: Sequence[Joint]) -> Iterator[tuple[Switch, list[Joint]]]:
    """A switch with what it joins; of a relay the contacts, then the switch that feeds its coil."""
    if switch.coil is None:
        yield switch, list(joints)
        return
    feeds = [joint for joint in joints if any(_lug_of(switch, piece) for piece in joint.ends)]
    yield switch, [joint for joint in joints if joint not in feeds]
    yield replace(switch, designator=switch.coil.driver, coil=None, kind=SwitchKind(Action.ON_OFF)), feeds


def _lug_of(relay: Switch, piece: Piece) -> bool:
    return all(place.partition(".")[0] == relay.designator for place in piece.places)


def _do_it(amp: Amp, pieces: Pieces, plans: Sequence[SwitchPlan]) -> bool:
    """Whether the contacts that each position closes make the circuit of every combination of positions."""
    return not any(
        compare_circuits(pieces.bought, _as_wired(amp, pieces, plans, switches), build_circuit(amp, switches))
        for switches in every_setting(amp)
    )


def _as_wired(amp: Amp, pieces: Pieces, plans: Sequence[SwitchPlan], switches: Switches) -> Circuit:
    """The circuit that the pieces make with the contacts of a position closed."""
    stands, nets = dict(switches), Groups[int](lambda piece: piece)
    for plan in plans:
        for pair in plan.closed(stands[plan.control]):
            nets.join(*(id(plan.soldered[terminal]) for terminal in pair))
    root = {str(number): nets.find(id(piece)) for number, piece in enumerate(pieces.pieces)}
    name = {root[str(number)]: net for number, piece in enumerate(pieces.pieces)
            for place, net in (("ground", GROUND), (INPUT, INPUT)) if place in piece.places}  # fmt: skip
    elements = [
        replace(each, pins=tuple((pin, name.get(root[number], f"wire_{root[number]}")) for pin, number in each.pins))
        for each in pieces.elements
    ]
    switched = {*pieces.bought, *pieces.bought.values()} | switched_parts(amp)
    return Circuit(amp, without_idle(elements, switched), (), pieces.parts, {})


def lever_way(amp: Amp, control: str, start: str, end: str) -> LeverWay:
    """What the lever of a switch passes between two of its positions, and in which order its contacts move.

    A centre-off toggle passes its open middle, a rotary switch every position in between, a switch with two positions
    nothing. Contacts of toggles and push-pull switches break before they make; those of a rotary switch as it was
    asked for, or as the amp needs it: `ContactOrder.EITHER` where either will do and both are sold, or where no usual
    switch does what the positions say.

    Parameters
    ----------
    amp : Amp
    control : str
        The switch, by what the owner calls it.
    start, end : str
        Two of its positions.

    Raises
    ------
    DescriptionError
        For no such switch or position, or a switch that stays where it is.

    Examples
    --------
    >>> from ampsim import apply_mods, load_amp, load_mod
    >>> amp = apply_mods(load_amp("workshop-a"), load_mod("bright-switch"))
    >>> lever_way(amp, "bright", "120p", "390p").steps
    (('120p', 'open'), ('open', '390p'))
    """
    switch = _switch_of(amp, control)
    for label in (start, end):
        if label not in switch.labels:
            raise DescriptionError(
                f"{amp.name}: switch '{control}' has no position {shown(label)}{nearest(label, switch.labels)}"
            )
    if start == end:
        raise DescriptionError(f"{amp.name}: switch '{control}' stands at {shown(start)} already; nothing moves")
    return _plan_of(amp, switch).way(start, end)


def lever_steps(amp: Amp, control: str) -> tuple[LeverWay, ...]:
    """Every step of a lever to the next position, both ways: what else happens is made of these.

    Raises
    ------
    DescriptionError
        For no such switch.
    """
    plan = _plan_of(amp, _switch_of(amp, control))
    there = list(itertools.pairwise(plan.lever))
    return tuple(plan.way(*pair) for pair in [*there, *((end, start) for start, end in there)])


def _switch_of(amp: Amp, control: str) -> Switch:
    known = {switch.control: switch for switch in amp.all_switches}
    if control not in known:
        raise DescriptionError(f"{amp.name}: no switch {shown(control)}{nearest(control, known)}")
    return known[control]


def _plan_of(amp: Amp, switch: Switch) -> SwitchPlan:
    """Its plan; where nothing can be planned, one that says only what the description does."""
    try:
        return next(each for each in planned_switches(amp) if each.control == switch.control)
    except DescriptionError as error:
        order = usual_order(switch.kind.action) if switch.kind.order is ContactOrder.EITHER else switch.kind.order
        return SwitchPlan(switch.designator, switch.control, Action.NONE, "", str(error), 0, len(switch.labels),
                          switch.shaft, switch.labels, order, (), ())  # fmt: skip


def order_needed(amp: Amp, switch: Switch) -> ContactOrder:
    """Make before break where something would lose its DC path while every contact is open."""
    return ContactOrder.MAKE_FIRST if freed_between(amp, switch) else ContactOrder.EITHER


@lru_cache(maxsize=64)
def freed_between(amp: Amp, switch: Switch) -> str:
    """What loses its DC path to ground while every contact of a switch is open; "" when nothing does."""
    kept = [edit for _, edits in switch.positions for edit in edits if edit.action == "fit" and edit.in_series]
    gone = {edit.part for _, edits in switch.positions for edit in edits if edit.action in ("lift", "replace")}
    between = (*dict.fromkeys(kept), *(Edit("lift", part) for part in sorted(gone)))
    swapped = replace(switch, positions=(("between", between),), drawn="between")
    try:
        opened = build_circuit(_with_switch(amp, switch, swapped))
    except DescriptionError:
        return "a grid or another part of the circuit"
    freed = sorted(_floating(opened) - _floating(build_circuit(amp)))
    return f"the cathode of {' and '.join(freed)}" if freed else ""


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
