"""Throws of a switch as it is sold: which terminal each position closes, and what is wired to which terminal."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass

from ..amp import Switch
from .kinds import CLOSERS, Action
from .poles import Pole
from .wire_pieces import Piece

LETTERS = "ABCDEFGHJKLM"


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
class FittedPole:
    """A pole of a switch as it is sold: the letter, what is on it, and the throw that each position closes."""

    letter: str
    pole: Pole
    numbers: Mapping[str, int]

    def closed(self, label: str) -> Iterator[tuple[str, str]]:
        """The terminals that it closes in a position, where both are wired."""
        if label in self.pole.throws:
            yield Terminal(self.letter).name, Terminal(self.letter, self.numbers[label]).name

    def terminals(self) -> Iterator[tuple[Terminal, Piece]]:
        """Its wired terminals, the common one first."""
        yield Terminal(self.letter), self.pole.common
        found = {self.numbers[label]: piece for label, piece in self.pole.throws.items()}
        yield from ((Terminal(self.letter, number), found[number]) for number in sorted(found))


def lever_order(switch: Switch, action: Action, off: Sequence[str]) -> tuple[str, ...]:
    """The positions in the order in which the lever takes them: as described, an open centre apart."""
    labels = switch.labels
    if action is Action.PUSH_PULL:
        return (switch.drawn, *(label for label in labels if label != switch.drawn))
    if action is not Action.ON_OFF_ON:
        return labels
    centre = labels[1] if labels[1] in off else off[0]
    first, last = (label for label in labels if label != centre)
    return first, centre, last


def throw_numbers(action: Action, lever: Sequence[str], late: bool = False) -> dict[str, int]:
    """The throw that a pole closes in each position.

    In the middle of an on-on-on switch one pole of each pair stands on its second throw already, the other (`late`)
    still on its first.
    """
    if action is Action.ON_OFF_ON:
        return {lever[0]: 1, lever[2]: 2}
    if action is Action.ON_ON_ON:
        return dict(zip(lever, (1, 1, 2) if late else (1, 2, 2), strict=True))
    return {label: number for number, label in enumerate(lever, 1)}


def fit_poles(action: Action, poles: Sequence[Pole], lever: Sequence[str]) -> list[FittedPole]:
    """Give every pole its letter and throws."""
    if action is Action.ON_ON_ON:
        return _fit_on_on_on(poles, lever)
    numbers = throw_numbers(action, lever)
    if action in CLOSERS:
        closed = next(label for label in lever if any(label in pole.throws for pole in poles))
        numbers = {closed: 1}
    return [FittedPole(letter, pole, numbers) for letter, pole in zip(_letters(), poles, strict=False)]


def _fit_on_on_on(poles: Sequence[Pole], lever: Sequence[str]) -> list[FittedPole]:
    """Poles A, C move first, B, D last; a pole with three different throws takes one of each, the second on the first.

    The contact table of the usual on-on-on switch (common practice, no source): buzz it, some are the other way round.
    """
    early: list[Pole] = []
    late: list[Pole] = []
    first, *others = lever
    alone = {id(pole): _same_throws(pole, lever) for pole in poles}
    for pole in sorted(poles, key=lambda pole: any(alone[id(pole)])):
        begins, ends = alone[id(pole)]
        if begins or ends:
            (early if ends else late).append(pole)
            continue
        jumper = Piece((), ())
        start = {label: piece for label, piece in pole.throws.items() if label == first}
        early.append(Pole(pole.common, start | dict.fromkeys(others, jumper)))
        late.append(Pole(jumper, {label: piece for label, piece in pole.throws.items() if label != first}))
    found = []
    for poles_of, letters, is_late in ((early, LETTERS[0::2], False), (late, LETTERS[1::2], True)):
        numbers = throw_numbers(Action.ON_ON_ON, lever, is_late)
        found += [FittedPole(letter, pole, numbers) for letter, pole in zip(letters, poles_of, strict=False)]
    return sorted(found, key=lambda each: each.letter)


def _same_throws(pole: Pole, lever: Sequence[str]) -> tuple[bool, bool]:
    """Whether the middle is as the first position, and as the last: the same piece, or none."""
    one, two, three = (pole.throws.get(label) for label in lever)
    return one is two, two is three


def poles_taken(action: Action, fitted: Sequence[FittedPole]) -> int:
    """How many poles the switch must have; on-on-on switches have theirs in pairs."""
    if action is not Action.ON_ON_ON:
        return len(fitted)
    return 2 * max((LETTERS.index(each.letter) // 2 + 1 for each in fitted), default=0)


def _letters() -> Iterator[str]:
    yield from LETTERS
    yield from (first + second for first in LETTERS for second in LETTERS)
