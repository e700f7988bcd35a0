"""The kind of switch: the one asked for where it does what the positions need, else the smallest usual one."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import replace

from ..amp import Switch
from .kinds import CLOSERS, ON_POTS, TOGGLES, Action, ContactOrder
from .poles import Pole
from .throws import fit_poles, lever_order, poles_taken

_MOST_POLES = {
    **dict.fromkeys((*TOGGLES, Action.RELAY), 4),
    Action.ON_OFF: 2,
    **dict.fromkeys(ON_POTS, 2),
    Action.LEVER: 4,
}  # of a usual switch; wafers of rotary switches are counted
_WAFER, _MOST_WAFERS = 12, 3
_SHORT = {1: "SP", 2: "DP", 3: "3P", 4: "4P"}


def choose_action(
    switch: Switch, poles: Sequence[Pole], off: Sequence[str], needed: ContactOrder
) -> tuple[Action, str]:
    """The kind asked for, or the smallest that does; or why there is none.

    Parameters
    ----------
    switch : Switch
    poles : sequence of Pole
        What it must switch.
    off : sequence of str
        The positions in which nothing is closed.
    needed : ContactOrder
        The order in which its contacts must move.
    """
    if not poles:
        return Action.NONE, "its positions do not differ: nothing to switch"
    if switch.kind.action is not Action.NONE or switch.shaft:
        asked = switch.kind.action
        action: Action = Action.PUSH_PULL if asked is Action.NONE else asked
        fault = _fault(switch, action, poles, off)
        return (Action.NONE, fault) if fault else (action, "")
    tried = [Action.ON_OFF, Action.ON_ON, Action.ON_OFF_ON, Action.ON_ON_ON, Action.ROTARY]
    if needed is ContactOrder.MAKE_FIRST and len(switch.labels) > 2:
        tried.remove(Action.ON_ON_ON)
    if switch.kind.order is ContactOrder.MAKE_FIRST:
        tried = [Action.ROTARY]
    for action in tried:
        fault = _fault(switch, action, poles, off)
        if not fault and _is_small(action, poles, switch.labels):
            return action, ""
    return Action.NONE, fault


def _is_small(action: Action, poles: Sequence[Pole], labels: Sequence[str]) -> bool:
    """Whether one would reach for it unasked: on-off with one pole, on-on-on with two."""
    if action is Action.ON_ON_ON:
        return poles_taken(action, fit_poles(action, poles, labels)) <= 2
    return action is not Action.ON_OFF or len(poles) == 1


def _fault(switch: Switch, action: Action, poles: Sequence[Pole], off: Sequence[str]) -> str:
    """Why a switch of this kind does not do it; "" when it does."""
    asked = replace(switch.kind, action=action)
    kind, ways = asked.words, len(switch.labels)
    two = (*CLOSERS, Action.ON_ON, Action.PUSH_PULL, Action.RELAY)
    has = 2 if action in two else 3 if action in TOGGLES else ways
    count = len(poles)
    if ways == has and action in (Action.ON_OFF_ON, Action.ON_ON_ON):
        if action is Action.ON_OFF_ON and not off:
            return f"the centre of a {kind} opens everything; every position of {switch.control} needs a contact closed"
        count = poles_taken(action, fit_poles(action, poles, lever_order(switch, action, off)))
    if action is Action.ON_OFF and not off and ways == has:
        return f"a {kind} closes in one position only; both positions of {switch.control} need a contact closed"
    needs = f"this needs {ways} positions and {_poles(count)}"
    if action is Action.TRACK_END and switch.labels[0] not in off:
        return f"a {kind} closes when the knob is turned up; the first position of {switch.control} needs one closed"
    if ways != has:
        return f"a {kind} has {has} positions; {needs}"
    if asked.poles and count > asked.poles:
        return f"a {kind} was asked for; {needs}"
    if action is Action.ROTARY:
        wafers = -(-count // (_WAFER // _room(ways))) if ways <= _WAFER else math.inf
        return f"no usual switch has {_poles(count)} and {ways} ways" if wafers > _MOST_WAFERS else ""
    most = _MOST_POLES[action]
    return f"a {kind} has up to {_poles(most)}; {needs}" if count > most else ""


def _poles(count: int) -> str:
    return f"{count} pole" + ("s" if count > 1 else "")


def switch_words(action: Action, count: int, ways: int, order: ContactOrder, shaft: str) -> str:
    """The switch as it is asked for at the counter.

    Parameters
    ----------
    action : Action
    count : int
        Of its poles.
    ways : int
        Of each pole.
    order : ContactOrder
        Said of a rotary or lever switch, unless either will do.
    shaft : str
        The pot on whose shaft it is; "" for none.
    """
    poles = _poles(count)
    if action in (Action.ROTARY, Action.LEVER):
        wafers = -(-count // (_WAFER // _room(ways))) if action is Action.ROTARY else 1
        more = [f"{wafers} wafers"] if wafers > 1 else []
        more += [_ORDER_WORDS[order]] if order is not ContactOrder.EITHER else []
        return ", ".join([action.value, poles, f"{ways} ways", *more])
    short = f"{_SHORT[count]}{'ST' if action in CLOSERS else 'DT'}"
    if action is Action.TRACK_END:
        return f"{action.value} of {shaft}, {poles} ({short})"
    if action is Action.PUSH_PULL:
        return f"{action.value} on the shaft of {shaft}, on-on, {poles} ({short})"
    return f"{action.value}, {poles} ({short})"


_ORDER_WORDS = {
    ContactOrder.BREAK_FIRST: "non-shorting",
    ContactOrder.MAKE_FIRST: "shorting",
}


def _room(ways: int) -> int:
    """Contacts one pole takes on a wafer of twelve: 2, 3, 4, 6 or 12."""
    return next(each for each in (2, 3, 4, 6, 12) if each >= ways)
