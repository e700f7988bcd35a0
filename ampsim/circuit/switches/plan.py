"""Poles and throws: the smallest usual switch that makes the contacts every position needs."""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from enum import Enum

from ..amp import Switch
from .wire_pieces import Joint, Piece

LETTERS = "ABCDEFGHJKLM"
_MOST_POLES = 4  # of a toggle switch
_WAFER, _MOST_WAFERS = 12, 3
_EXACT = 9  # joints up to which every way of sharing poles is tried
_SHORT = {1: "SP", 2: "DP", 3: "3P", 4: "4P"}


class Action(Enum):
    """How a usual switch works; `NONE` where nothing is to be switched, or no usual switch does it."""

    NONE = ""
    ON_OFF = "toggle on-off"
    ON_ON = "toggle on-on"
    ON_OFF_ON = "toggle on-off-on, centre off"
    PUSH_PULL = "push-pull switch"
    ROTARY = "rotary"


TOGGLES = (Action.ON_OFF, Action.ON_ON, Action.ON_OFF_ON)


@dataclass(frozen=True)
class Terminal:
    """A terminal of a switch: the letter of its pole, and the number of its throw, 0 for the common one."""

    pole: str
    throw: int = 0

    @property
    def name(self) -> str:
        """Such as "A common" or "A2"."""
        return f"{self.pole}{self.throw or ' common'}"


@dataclass(frozen=True, eq=False)
class Pole:
    """One pole: the piece on its common terminal, and the piece that its lever reaches in each position."""

    letter: str
    common: Piece
    throws: tuple[tuple[str, Piece], ...]


@dataclass(frozen=True)
class Row:
    """One position of a switch: its number among the positions, where the lever stands, which terminals close."""

    label: str
    stands: str
    closed: tuple[tuple[str, str], ...]


@dataclass(frozen=True)
class UsualSwitch:
    """A switch as it is sold: how it works, in words ("" when no usual one does; `reason` then says why), its ways."""

    action: Action
    words: str
    ways: int
    reason: str = ""


@dataclass(frozen=True, eq=False)
class SwitchPlan:
    """How one switch is realised.

    `action` and `kind` say which usual switch does it (`kind` is "" when none does; `reason` then says why); `poles`
    and `ways` of it, `rows` the contact truth table, `terminals` the piece on every wired terminal.
    """

    designator: str
    control: str
    action: Action
    kind: str
    reason: str
    poles: int
    ways: int
    shaft: str
    rows: tuple[Row, ...]
    terminals: tuple[tuple[Terminal, Piece], ...]

    @property
    def throws(self) -> int:
        """Throws of each pole: one for each way, but for a centre that closes nothing."""
        return 1 if self.action is Action.ON_OFF else self.ways - (self.action is Action.ON_OFF_ON)

    @property
    def soldered(self) -> dict[str, Piece]:
        """The piece on every wired terminal, by the terminal's name."""
        return {terminal.name: piece for terminal, piece in self.terminals}

    def closed(self, label: str) -> tuple[tuple[str, str], ...]:
        """The pairs of terminals that close in a position."""
        return next(row.closed for row in self.rows if row.label == label)


def plan_switch(switch: Switch, joints: Sequence[Joint]) -> SwitchPlan:
    """Choose poles, throws and kind of a switch.

    The kinds tried, smallest first: on-off, on-on, on-off-on (one position opens everything and takes the centre),
    rotary. What is usual (toggles up to 4 poles, pull-pots 2, wafers of 12 contacts, 3 of them) is common practice,
    no source.
    """
    poles = share_poles(joints)
    off = [label for label in switch.labels if not any(label in joint.labels for joint in joints)]
    usual = _usual_switch(switch, poles, off)
    ends = _ends(switch, usual.action, off)
    throws = _throw_numbers(usual.action, poles, ends)
    stands = _lever_stands(switch, usual.action, ends)
    rows = tuple(Row(label, stands[label], tuple(_closed_terminals(poles, label, throws))) for label in switch.labels)
    terminals = tuple(pair for pole in poles for pair in _terminals(pole, throws))
    fitted = max(len(poles), 2) if usual.action is Action.PUSH_PULL else len(poles)
    return SwitchPlan(switch.designator, switch.control, usual.action, usual.words, usual.reason, fitted, usual.ways,
                      switch.shaft, rows, terminals)  # fmt: skip


def _ends(switch: Switch, action: Action, off: Sequence[str]) -> list[str]:
    """The positions in which the lever is not in a centre that opens everything."""
    return [label for label in switch.labels if action is not Action.ON_OFF_ON or label != off[0]]


def _throw_numbers(action: Action, poles: Sequence[Pole], ends: Sequence[str]) -> dict[str, int]:
    """The number of the throw that each position closes; the one throw of an on-off switch is the first."""
    if action is Action.ON_OFF:
        return {poles[0].throws[0][0]: 1}
    return {label: number for number, label in enumerate(ends, 1)}


def _closed_terminals(poles: Sequence[Pole], label: str, throws: dict[str, int]) -> Iterator[tuple[str, str]]:
    """The terminals that a position closes, pole by pole."""
    for pole in poles:
        if label in dict(pole.throws):
            yield Terminal(pole.letter).name, Terminal(pole.letter, throws[label]).name


def _terminals(pole: Pole, throws: dict[str, int]) -> Iterator[tuple[Terminal, Piece]]:
    yield Terminal(pole.letter), pole.common
    for label, piece in pole.throws:
        yield Terminal(pole.letter, throws[label]), piece


def _usual_switch(switch: Switch, poles: Sequence[Pole], off: Sequence[str]) -> UsualSwitch:
    """The smallest usual switch, or why there is none."""
    count, ways = len(poles), len(switch.labels)
    if not count:
        return UsualSwitch(Action.NONE, "", ways, "its positions do not differ: nothing to switch")
    if switch.shaft:
        return _push_pull(switch.shaft, count, ways)
    if ways == 2 and count <= _MOST_POLES:
        return _two_ways(poles)
    if ways == 3 and off and count <= _MOST_POLES:
        return _toggle(Action.ON_OFF_ON, count, 3)
    wafers = -(-count // (_WAFER // _room(ways))) if ways <= _WAFER else math.inf
    if wafers > _MOST_WAFERS:
        return UsualSwitch(Action.NONE, "", ways, f"no usual switch has {count} poles and {ways} ways")
    more = f", {wafers} wafers" if wafers > 1 else ""
    return UsualSwitch(Action.ROTARY, f"{Action.ROTARY.value}, {_poles(count)}, {ways} ways{more}", ways)


def _push_pull(shaft: str, count: int, ways: int) -> UsualSwitch:
    if ways == 2 and count <= 2:
        words = f"{Action.PUSH_PULL.value} on the shaft of {shaft}, on-on, 2 poles (DPDT)"
        return UsualSwitch(Action.PUSH_PULL, words, 2)
    why = f"a push-pull pot has 2 positions and 2 poles; this needs {ways} positions and {count} poles"
    return UsualSwitch(Action.NONE, "", ways, why)


def _two_ways(poles: Sequence[Pole]) -> UsualSwitch:
    if len(poles) == 1 and len(poles[0].throws) == 1:
        return UsualSwitch(Action.ON_OFF, f"{Action.ON_OFF.value}, 1 pole (SPST)", 2)
    return _toggle(Action.ON_ON, len(poles), 2)


def _toggle(action: Action, count: int, ways: int) -> UsualSwitch:
    return UsualSwitch(action, f"{action.value}, {_poles(count)} ({_SHORT[count]}DT)", ways)


def _room(ways: int) -> int:
    """Contacts one pole takes on a wafer of twelve: 2, 3, 4, 6 or 12."""
    return next(each for each in (2, 3, 4, 6, 12) if each >= ways)


def _poles(count: int) -> str:
    return f"{count} pole" + ("s" if count > 1 else "")


def _lever_stands(switch: Switch, action: Action, ends: Sequence[str]) -> dict[str, str]:
    """Where the lever stands in each position."""
    if action is Action.PUSH_PULL:
        out = next(label for label in switch.labels if label != switch.drawn)
        return {switch.drawn: "pushed in", out: "pulled out"}
    if action in TOGGLES:
        return dict.fromkeys(switch.labels, "centre") | dict(zip(ends, ("one end", "other end"), strict=False))
    return {label: f"position {number}" for number, label in enumerate(switch.labels, 1)}


def share_poles(joints: Sequence[Joint]) -> tuple[Pole, ...]:
    """Share joints among as few poles as possible: those of one pole have one piece in common, no position twice."""
    groups: list[list[Joint]] = _best(list(joints)) if len(joints) <= _EXACT else _greedy(joints)
    return tuple(_pole(letter, group) for letter, group in zip(_names(), groups, strict=False))


def _names() -> Iterator[str]:
    yield from LETTERS
    yield from (first + second for first in LETTERS for second in LETTERS)


def _common(group: Sequence[Joint]) -> list[Piece]:
    found = list(group[0].ends)
    for joint in group[1:]:
        found = [piece for piece in found if piece in joint.ends]
    return found


def _fits(group: Sequence[Joint], joint: Joint) -> bool:
    return not any(joint.labels & other.labels for other in group) and bool(_common([*group, joint]))


def _greedy(joints: Sequence[Joint]) -> list[list[Joint]]:
    groups: list[list[Joint]] = []
    for joint in joints:
        home = next((group for group in groups if _fits(group, joint)), None)
        if home is None:
            groups.append([joint])
        else:
            home.append(joint)
    return groups


def _best(joints: list[Joint]) -> list[list[Joint]]:
    best = _greedy(joints)

    def sort_in(left: list[Joint], groups: list[list[Joint]]) -> None:
        nonlocal best
        if len(groups) >= len(best):
            return
        if not left:
            best = groups
            return
        for number, group in enumerate(groups):
            if _fits(group, left[0]):
                sort_in(left[1:], [*groups[:number], [*group, left[0]], *groups[number + 1 :]])
        sort_in(left[1:], [*groups, [left[0]]])

    sort_in(joints, [])
    return best


def _pole(letter: str, group: Sequence[Joint]) -> Pole:
    common = _common(group)[0]
    throws = [
        (label, next(piece for piece in joint.ends if piece is not common))
        for joint in group
        for label in sorted(joint.labels)
    ]
    return Pole(letter, common, tuple(throws))
