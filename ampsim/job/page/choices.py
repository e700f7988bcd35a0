"""What can be chosen on the page: switches, and knobs that turn smoothly or, where they move the bias, in steps."""

from __future__ import annotations

import itertools
import math
from collections.abc import Sequence
from dataclasses import dataclass, field, replace

from ...base.errors import DescriptionError, nearest, shown
from ...circuit.amp import Amp
from ...circuit.positions import face, setting_words
from ...studies.audition_request import Audition, Setting, named_controls

MOST_TABLES = 66
_STEPS = (11, 6, 5, 3)  # of a knob that moves the bias, as many as there is room for


@dataclass(frozen=True)
class Choice:
    """One control of the page; `values` are its positions or steps, none for a knob that turns smoothly.

    `added` is whether the mods bring it, `wanted` whether the page may not do without it.
    """

    name: str
    kind: str
    start: float | str
    drawn: float | str
    values: tuple[float | str, ...] = ()
    added: bool = False
    wanted: bool = True

    @property
    def texts(self) -> tuple[str, ...]:
        """The values as the page shows them: a rotation from 0 to 10."""
        return tuple(each if isinstance(each, str) else face(each) for each in self.values)


@dataclass(frozen=True)
class Range:
    """The choices, switches first, and where every other control stands."""

    choices: tuple[Choice, ...]
    fixed: Setting = field(hash=False)

    @property
    def stepped(self) -> tuple[Choice, ...]:
        """The choices that have a table for each of their values."""
        return tuple(each for each in self.choices if each.values)

    @property
    def smooth(self) -> tuple[Choice, ...]:
        """The knobs that one table holds at every rotation."""
        return tuple(each for each in self.choices if not each.values)

    def start(self) -> Setting:
        """Where everything stands when the page opens."""
        return self.fixed | {each.name: each.start for each in self.choices}

    def start_words(self) -> str:
        """The same in words, without what cannot be moved."""
        return ", ".join(setting_words(each.name, each.start) for each in self.choices)

    def steps(self) -> list[Setting]:
        """Every combination of the stepped choices, the last moving fastest; the others where the page opens."""
        names = [each.name for each in self.stepped]
        return [
            self.start() | dict(zip(names, each, strict=True))
            for each in itertools.product(*(each.values for each in self.stepped))
        ]

    def without(self, name: str) -> Range:
        """The same with one control fast where the page opens."""
        left = tuple(each for each in self.choices if each.name != name)
        return Range(left, self.fixed | {each.name: each.start for each in self.choices if each.name == name})

    def in_steps(self, names: Sequence[str]) -> Range:
        """The same with some knobs in even steps: where one starts, and where it is drawn, are among them.

        Raises
        ------
        DescriptionError
            When there are too many combinations even with three steps.
        """
        for steps in _STEPS:
            made = tuple(_in_steps(each, steps) if each.name in names else each for each in self.choices)
            if math.prod(len(each.values) for each in made if each.values) <= MOST_TABLES:
                return replace(self, choices=made)
        raise DescriptionError(
            f"{', '.join(names)}: with these the page would have to hold more than {MOST_TABLES} positions; name fewer"
        )


def choose(audition: Audition, named: Sequence[str] | None = None) -> Range:
    """The controls to offer: those that are named, else what the mods add, touch or stand beside, and the job names.

    Raises
    ------
    DescriptionError
        For an unknown control, and when the named switches have too many positions.
    """
    amp = audition.modded
    added = [name for name in amp.controls if name not in audition.stock.controls]
    for name in named or ():
        if name not in amp.controls:
            raise DescriptionError(f"{amp.name} has no control {shown(name)}{nearest(name, amp.controls)}")
    asked = list(dict.fromkeys(named)) if named is not None else [*added, *_beside(audition, added)]
    at = amp.setting(audition.compare_at)
    choices: list[Choice] = []
    count = 1
    for name in sorted(asked, key=lambda name: amp.controls[name].kind == "knob"):
        control = amp.controls[name]
        values = control.positions if control.kind == "switch" else ()
        count *= max(len(values), 1)
        if count <= MOST_TABLES:
            wanted = named is not None or name in added
            choices.append(Choice(name, control.kind, at[name], control.drawn, values, name in added, wanted))
        elif named is not None:
            raise DescriptionError(f"{', '.join(named)}: a page has room for {MOST_TABLES} positions; name fewer")
        else:
            count //= len(values)
    names = {each.name for each in choices}
    return Range(tuple(choices), {name: value for name, value in at.items() if name not in names})


def _beside(audition: Audition, added: Sequence[str]) -> list[str]:
    """The amp's own knobs that the job names, then those beside what the mods change; most telling first."""
    return [name for name in named_controls(audition) if name not in added and _is_knob(audition.stock, name)]


def _is_knob(amp: Amp, name: str) -> bool:
    return name in amp.controls and amp.controls[name].kind == "knob"


def _in_steps(choice: Choice, steps: int) -> Choice:
    marks = [float(choice.start), float(choice.drawn), *(step / (steps - 1) for step in range(steps))]
    values: list[float] = []
    for mark in marks:
        if not any(math.isclose(mark, each, abs_tol=1e-9) for each in values):
            values.append(mark)
    return replace(choice, values=tuple(sorted(values)))
