"""Poles and throws: the switch that was asked for, or the smallest usual one, with its contacts in every position."""

from __future__ import annotations

import itertools
from collections.abc import Sequence
from dataclasses import dataclass

from ..amp import Switch
from .choice import choose_action, switch_words
from .kinds import CLOSERS, TOGGLES, Action, ContactOrder, usual_order
from .poles import share_poles
from .throws import Terminal, fit_poles, lever_order, poles_taken, throw_numbers
from .wire_pieces import Joint, Piece


@dataclass(frozen=True)
class Row:
    """One position of a switch: where the lever stands, and which terminals close."""

    label: str
    stands: str
    closed: tuple[tuple[str, str], ...]


@dataclass(frozen=True)
class LeverWay:
    """The way of a lever from one position to another.

    Attributes
    ----------
    start, end : str
    passes : tuple of str
        The positions it goes through in between, in the order in which it does.
    order : ContactOrder
        Whether its contacts break before they make or make before they break on each step; `EITHER` where both kinds
        are sold and the description does not say which, or no usual switch does it.
    """

    start: str
    end: str
    passes: tuple[str, ...]
    order: ContactOrder

    @property
    def steps(self) -> tuple[tuple[str, str], ...]:
        """From each position on the way to the next: what happens when the lever goes all the way."""
        stops = (self.start, *self.passes, self.end)
        return tuple(itertools.pairwise(stops))


@dataclass(frozen=True, eq=False)
class SwitchPlan:
    """How one switch is realised.

    Attributes
    ----------
    designator, control : str
    action : Action
        How the switch works that does it; `NONE` when none does.
    kind : str
        That switch in words, "" when no usual switch does it.
    reason : str
        Why none does; "" when one does.
    poles, ways : int
        Of the switch as it is sold.
    shaft : str
        The pot on whose shaft it is, "" for a switch of its own.
    lever : tuple of str
        The positions in the order in which the lever takes them.
    order : ContactOrder
        In which order its contacts move from one position to the next.
    rows : tuple of Row
        The contact truth table, in the order of the description.
    terminals : tuple of (Terminal, Piece)
        What is on every wired terminal. A piece without places is a wire between terminals of the switch.
    """

    designator: str
    control: str
    action: Action
    kind: str
    reason: str
    poles: int
    ways: int
    shaft: str
    lever: tuple[str, ...]
    order: ContactOrder
    rows: tuple[Row, ...]
    terminals: tuple[tuple[Terminal, Piece], ...]

    @property
    def throws(self) -> int:
        """Throws of each pole: those that its table can close."""
        return 1 if self.action in CLOSERS else len(set(throw_numbers(self.action, self.lever).values()))

    @property
    def soldered(self) -> dict[str, Piece]:
        """The piece on every wired terminal, by the terminal's name."""
        return {terminal.name: piece for terminal, piece in self.terminals}

    def closed(self, label: str) -> tuple[tuple[str, str], ...]:
        """The pairs of terminals that close in a position."""
        return next(row.closed for row in self.rows if row.label == label)

    def way(self, start: str, end: str) -> LeverWay:
        """The way of the lever from one position to another."""
        first, last = self.lever.index(start), self.lever.index(end)
        between = self.lever[first + 1 : last] if first < last else self.lever[last + 1 : first][::-1]
        return LeverWay(start, end, between, self.order)


def plan_switch(switch: Switch, joints: Sequence[Joint], needed: ContactOrder = ContactOrder.EITHER) -> SwitchPlan:
    """Choose poles, throws and kind of a switch.

    What the description asks for is taken when it does what the positions need. Where it says nothing, the kinds
    tried, smallest first: on-off, on-on, on-off-on (one position opens everything and takes the centre), on-on-on with
    two poles, rotary. What is usual (toggles up to 4 poles, on-off and pull-pots 2, wafers of 12 contacts, 3 of them)
    is common practice, no source.

    Parameters
    ----------
    switch : Switch
    joints : sequence of Joint
        What it joins, and in which positions.
    needed : ContactOrder
        The order in which its contacts must move; a rotary switch is asked for accordingly.
    """
    poles = share_poles(joints)
    off = tuple(label for label in switch.labels if not any(label in joint.labels for joint in joints))
    action, reason = choose_action(switch, poles, off, needed)
    lever = lever_order(switch, action, off)
    fitted = fit_poles(action, poles, lever)
    count = max(poles_taken(action, fitted), switch.kind.poles, 2 if action is Action.PUSH_PULL else 0)
    order = usual_order(action) if switch.kind.order is ContactOrder.EITHER else switch.kind.order
    order = needed if order is ContactOrder.EITHER and action is not Action.NONE else order
    stands = _lever_stands(switch, action, lever)
    rows = tuple(Row(each, stands[each], tuple(pair for one in fitted for pair in one.closed(each)))
                 for each in switch.labels)  # fmt: skip
    terminals = tuple(pair for one in fitted for pair in one.terminals())
    ways = max(len(switch.labels), switch.kind.ways)
    words = "" if action is Action.NONE else switch_words(action, count, ways, order, switch.shaft)
    return SwitchPlan(switch.designator, switch.control, action, words, reason, count, ways, switch.shaft, lever, order,
                      rows, terminals)  # fmt: skip


_STANDS = {
    Action.PUSH_PULL: ("pushed in", "pulled out"),
    Action.TRACK_END: ("turned down past the click", "turned up"),
    Action.RELAY: ("at rest", "pulled in"),
}


def _lever_stands(switch: Switch, action: Action, lever: Sequence[str]) -> dict[str, str]:
    """Where the lever stands in each position."""
    if action in _STANDS:
        return dict(zip(lever, _STANDS[action], strict=True))
    if action in TOGGLES:
        return {lever[0]: "one end", lever[-1]: "other end"} | dict.fromkeys(lever[1:-1], "centre")
    return {label: f"position {number}" for number, label in enumerate(switch.labels, 1)}
