"""Poles and throws: the smallest usual switch that makes the contacts every position needs."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass

from ...circuit.amp import Switch
from .wire_pieces import Joint, Piece

LETTERS = "ABCDEFGHJKLM"
_MOST_POLES = 4  # of a toggle switch
_WAFER, _MOST_WAFERS = 12, 3
_EXACT = 9  # joints up to which every way of sharing poles is tried
_SHORT = {1: "SP", 2: "DP", 3: "3P", 4: "4P"}


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


@dataclass(frozen=True, eq=False)
class SwitchPlan:
    """How one switch is realised.

    `kind` names the usual switch ("" when none does; `reason` then says why); `poles` and `ways` of it, `rows` the
    contact truth table, `soldered` the piece on every wired terminal.
    """

    designator: str
    control: str
    kind: str
    reason: str
    poles: int
    ways: int
    shaft: str
    rows: tuple[Row, ...]
    soldered: tuple[tuple[str, Piece], ...]

    @property
    def throws(self) -> int:
        """Throws of each pole: one for each way, but for a centre that closes nothing."""
        return 1 if self.kind.endswith("(SPST)") else self.ways - ("centre off" in self.kind)

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
    kind, ways, reason = _kind(switch, poles, off)
    centre = off[0] if "on-off-on" in kind else ""
    ends = [label for label in switch.labels if label != centre]
    numbers = {label: number for number, label in enumerate(ends, 1)}
    if kind.endswith("(SPST)"):
        numbers = dict.fromkeys(poles[0].throws[0][:1], 1)
    stands = _stands(switch, kind, ends)
    rows = tuple(
        Row(label, stands[label], tuple(_closed(pole, label, numbers) for pole in poles if label in dict(pole.throws)))
        for label in switch.labels
    )
    soldered = tuple(pair for pole in poles for pair in _terminals(pole, numbers))
    fitted = max(len(poles), 2) if switch.shaft and kind else len(poles)
    return SwitchPlan(switch.designator, switch.control, kind, reason, fitted, ways, switch.shaft, rows, soldered)


def _closed(pole: Pole, label: str, numbers: dict[str, int]) -> tuple[str, str]:
    return f"{pole.letter} common", f"{pole.letter}{numbers[label]}"


def _terminals(pole: Pole, numbers: dict[str, int]) -> Iterator[tuple[str, Piece]]:
    yield f"{pole.letter} common", pole.common
    for label, piece in pole.throws:
        yield f"{pole.letter}{numbers[label]}", piece


def _kind(switch: Switch, poles: Sequence[Pole], off: Sequence[str]) -> tuple[str, int, str]:
    """Name of the smallest usual switch, its ways, and why there is none."""
    count, ways = len(poles), len(switch.labels)
    if not count:
        return "", ways, "its positions do not differ: nothing to switch"
    if switch.shaft:
        if ways == 2 and count <= 2:
            return f"push-pull switch on the shaft of {switch.shaft}, on-on, 2 poles (DPDT)", 2, ""
        return "", ways, f"a push-pull pot has 2 positions and 2 poles; this needs {ways} positions and {count} poles"
    if ways == 2 and count <= _MOST_POLES:
        if count == 1 and len(poles[0].throws) == 1:
            return "toggle on-off, 1 pole (SPST)", 2, ""
        return f"toggle on-on, {_poles(count)} ({_SHORT[count]}DT)", 2, ""
    if ways == 3 and off and count <= _MOST_POLES:
        return f"toggle on-off-on, centre off, {_poles(count)} ({_SHORT[count]}DT)", 3, ""
    if ways <= _WAFER:
        wafers = -(-count // (_WAFER // _room(ways)))
        if wafers <= _MOST_WAFERS:
            return f"rotary, {_poles(count)}, {ways} ways" + (f", {wafers} wafers" if wafers > 1 else ""), ways, ""
    return "", ways, f"no usual switch has {count} poles and {ways} ways"


def _room(ways: int) -> int:
    """Contacts one pole takes on a wafer of twelve: 2, 3, 4, 6 or 12."""
    return next(each for each in (2, 3, 4, 6, 12) if each >= ways)


def _poles(count: int) -> str:
    return f"{count} pole" + ("s" if count > 1 else "")


def _stands(switch: Switch, kind: str, ends: Sequence[str]) -> dict[str, str]:
    if "push-pull" in kind:
        out = next(label for label in switch.labels if label != switch.drawn)
        return {switch.drawn: "pushed in", out: "pulled out"}
    if kind.startswith("toggle"):
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
