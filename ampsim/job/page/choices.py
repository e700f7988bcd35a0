"""What can be chosen on the page: switches and at most two knobs, and every position that follows from them."""

from __future__ import annotations

import itertools
import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field

from ...base.errors import DescriptionError, nearest, shown
from ...circuit.amp import Amp
from ...circuit.positions import face, setting_words
from ...studies.audition_request import Audition, Setting

MOST_POSITIONS = 66
MOST_KNOBS = 2
_STEPS = (11, 6, 5, 3)  # of a knob from 0 to 10, as many as there is room for


@dataclass(frozen=True)
class Choice:
    """One control of the page: its values, how they are written, and the place of the one it starts at."""

    name: str
    kind: str
    values: tuple[float | str, ...]
    texts: tuple[str, ...]
    start: int
    drawn: int | None


@dataclass(frozen=True)
class Range:
    """The choices, switches first, and where every other control stands."""

    choices: tuple[Choice, ...]
    fixed: Setting = field(hash=False)

    @property
    def switches(self) -> tuple[Choice, ...]:
        """The choices that are switches."""
        return tuple(each for each in self.choices if each.kind == "switch")

    @property
    def knobs(self) -> tuple[Choice, ...]:
        """The choices that are knobs."""
        return tuple(each for each in self.choices if each.kind == "knob")

    def settings(self) -> list[Setting]:
        """Every position, the last choice moving fastest."""
        return [self.fixed | setting for setting in _product(self.choices)]

    def switch_settings(self) -> list[Setting]:
        """Every position of the switches, the knobs where they start."""
        start: Setting = {each.name: each.values[each.start] for each in self.knobs}
        return [self.fixed | start | setting for setting in _product(self.switches)]

    def start_setting(self) -> Setting:
        """Where everything stands when the page opens."""
        return self.fixed | {each.name: each.values[each.start] for each in self.choices}

    def start(self) -> int:
        """The place among `settings` where the page opens."""
        return place_of(self.choices, [each.start for each in self.choices])

    def start_switches(self) -> int:
        """The place among `switch_settings` where the page opens."""
        return place_of(self.switches, [each.start for each in self.switches])


def _product(choices: Sequence[Choice]) -> Iterator[Setting]:
    for values in itertools.product(*(each.values for each in choices)):
        yield dict(zip((each.name for each in choices), values, strict=True))


def place_of(choices: Sequence[Choice], places: Sequence[int]) -> int:
    """The place of a position among all of them, from the place of each choice."""
    found = 0
    for choice, place in zip(choices, places, strict=True):
        found = found * len(choice.values) + place
    return found


def position_text(choices: Sequence[Choice], places: Sequence[int]) -> str:
    """A position in words: "bright 120p, depth 7"."""
    return ", ".join(setting_words(each.name, each.values[place]) for each, place in zip(choices, places, strict=True))


def every_place(choices: Sequence[Choice]) -> Iterator[tuple[int, ...]]:
    """The places of the choices at every position, in the order of `Range.settings`."""
    return itertools.product(*(range(len(each.values)) for each in choices))


def choose(audition: Audition, named: Sequence[str] | None = None) -> Range:
    """The controls to offer: those that are named, else those that the mods add, as far as there is room.

    Raises
    ------
    DescriptionError
        For an unknown control, and when the named ones have too many positions.
    """
    if named is not None:
        _check(audition.modded, named)
    wanted = (
        named
        if named is not None
        else [name for name in audition.modded.controls if name not in audition.stock.controls]
    )
    switches, knobs = _pick(audition.modded, list(dict.fromkeys(wanted)))
    if named is not None and len(switches) + len(knobs) < len(set(named)):
        raise DescriptionError(
            f"{', '.join(named)}: a page has room for {MOST_POSITIONS} positions and {MOST_KNOBS} knobs; name fewer"
        )
    at = audition.modded.setting(audition.compare_at)
    chosen = [_switch(audition.modded, name, str(at[name])) for name in switches]
    room = MOST_POSITIONS // math.prod(len(each.values) for each in chosen)
    chosen += _knobs(audition.modded, knobs, at, room)
    names = {each.name for each in chosen}
    return Range(tuple(chosen), {name: value for name, value in at.items() if name not in names})


def _check(amp: Amp, named: Sequence[str]) -> None:
    for name in named:
        if name not in amp.controls:
            raise DescriptionError(f"{amp.name} has no control {shown(name)}{nearest(name, amp.controls)}")


def _pick(amp: Amp, wanted: Sequence[str]) -> tuple[list[str], list[str]]:
    """Those that fit, each knob with the fewest steps and the one it starts at."""
    switches: list[str] = []
    knobs: list[str] = []
    count = 1
    for name in sorted(wanted, key=lambda name: amp.controls[name].kind == "knob"):
        control = amp.controls[name]
        more = len(control.positions) if control.kind == "switch" else _STEPS[-1] + 1
        if count * more > MOST_POSITIONS or (control.kind == "knob" and len(knobs) == MOST_KNOBS):
            continue
        count *= more
        (switches if control.kind == "switch" else knobs).append(name)
    return switches, knobs


def _switch(amp: Amp, name: str, start: str) -> Choice:
    control = amp.controls[name]
    names = control.positions
    return Choice(name, "switch", names, names, names.index(start), names.index(str(control.drawn)))


def _knobs(amp: Amp, names: Sequence[str], at: Setting, room: int) -> list[Choice]:
    for steps in _STEPS:
        found = [_knob(amp, name, float(at[name]), steps) for name in names]
        if math.prod(len(each.values) for each in found) <= room:
            break
    return found


def _knob(amp: Amp, name: str, start: float, steps: int) -> Choice:
    """A knob in even steps; where the job has it, and where it is drawn, when that is a step, are among them."""
    even = [step / (steps - 1) for step in range(steps)]
    values = sorted([start, *(each for each in even if not math.isclose(each, start, abs_tol=1e-9))])
    drawn = float(amp.controls[name].drawn)
    marks = [place for place, each in enumerate(values) if math.isclose(each, drawn, abs_tol=1e-9)]
    return Choice(name, "knob", tuple(values), tuple(map(face, values)), values.index(start), next(iter(marks), None))
