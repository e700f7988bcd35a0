"""Poles of a switch: which pieces of wire share a common terminal, so that as few poles as possible do."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from .wire_pieces import Joint, Piece

_EXACT = 9  # joints up to which every way of sharing poles is tried


@dataclass(frozen=True, eq=False)
class Pole:
    """One pole: the piece on its common terminal, and the piece that it reaches in each position that closes it."""

    common: Piece
    throws: Mapping[str, Piece]


def share_poles(joints: Sequence[Joint]) -> tuple[Pole, ...]:
    """Share joints among as few poles as possible: those of one pole have one piece in common, no position twice."""
    groups: list[list[Joint]] = _best(list(joints)) if len(joints) <= _EXACT else _greedy(joints)
    return tuple(_pole(group) for group in groups)


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


def _pole(group: Sequence[Joint]) -> Pole:
    common = _common(group)[0]
    throws = {
        label: next(piece for piece in joint.ends if piece is not common)
        for joint in group
        for label in sorted(joint.labels)
    }
    return Pole(common, throws)
