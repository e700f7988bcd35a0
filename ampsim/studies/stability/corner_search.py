"""Searching every position of some controls for the worst one: corners and a grid first, then from the worst of these.

The worst often hides in a narrow dip at the end of a pot's travel, where a search that starts from the middle misses
it. So travel is counted logarithmically towards both ends, and the ends themselves always come first.
"""

from __future__ import annotations

import itertools
import math
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field

from ...circuit.control import Control

Setting = dict[str, float | str]
Scores = tuple[float, ...]
Judge = Callable[[list[Setting]], Sequence[Scores]]
"""Positions to their scores, one tuple each; the lower a score, the worse the position."""

# Rotation at which travel turns from linear to logarithmic.
_BEND = 0.002
_GRIDS = (9, 7, 5, 3, 2)
_LEAST_STEP = 1.0 / 32.0
# Less than this share of a score is no step forward.
_GAIN = 1e-3
# Scores that differ by less than this share are told as one.
_ALIKE = 3e-3


def rotation(travel: float) -> float:
    """Rotation [0 to 1] for a travel [0 to 1] logarithmic towards both ends: 0.25 is about 0.03."""
    if travel > 0.5:
        return 1.0 - rotation(1.0 - travel)
    return _BEND * math.expm1(2.0 * travel * math.log1p(0.5 / _BEND))


def travel(turned: float) -> float:
    """The travel [0 to 1] for a rotation [0 to 1]; undoes `rotation`."""
    if turned > 0.5:
        return 1.0 - travel(1.0 - turned)
    return math.log1p(turned / _BEND) / math.log1p(0.5 / _BEND) / 2.0


def grid(controls: Sequence[Control], most: int, points: int | None = None) -> list[Setting]:
    """Every combination of switch positions and of rotations, both ends of every knob among them.

    Parameters
    ----------
    controls : sequence of Control
        The first matter most: where not even all corners are allowed, the last ones stay out.
    most : int
        As many combinations are allowed; the grid is as fine as fits.
    points : int
        Rotations to a knob, whatever `most` says.
    """
    kept = list(controls)
    while kept:
        for count in (points,) if points else _GRIDS:
            places = [rotation(n / (count - 1)) for n in range(count)]
            ranges: list[Sequence[float | str]] = [c.positions if c.kind == "switch" else places for c in kept]
            if points or math.prod(map(len, ranges)) <= most:
                names = [control.name for control in kept]
                return [dict(zip(names, values, strict=True)) for values in itertools.product(*ranges)]
        kept.pop()
    return [{}]


@dataclass
class Search:
    """Every position judged so far with its scores, and the search for worse ones.

    `controls` may be moved; `fixed` are settings that stay and are part of every position.
    """

    judge: Judge
    controls: Sequence[Control]
    fixed: Mapping[str, float | str]
    found: dict[tuple[tuple[str, float | str], ...], tuple[Setting, Scores]] = field(default_factory=dict)

    def look(self, positions: Iterable[Setting]) -> None:
        """Judge those positions that were not judged before, all at once; controls not named stand as drawn."""
        wholes = [self._whole(position) for position in positions]
        fresh = {key: whole for whole in wholes if (key := tuple(whole.items())) not in self.found}
        if fresh:
            for (key, whole), scores in zip(fresh.items(), self.judge(list(fresh.values())), strict=True):
                # What differs by the last digits of the arithmetic is the same: the first found stays first.
                self.found[key] = (whole, tuple(float(f"{score:.7g}") for score in scores))

    def worst(self, kind: int, count: int = 1) -> list[Setting]:
        """The positions with the lowest of one kind of score, the lowest first."""
        ranked = sorted(self.found.values(), key=lambda each: each[1][kind])
        return [position for position, _ in ranked[:count]]

    def plain(self, kind: int) -> Setting:
        """The worst position, its rotations rounded as far as that makes next to no difference."""
        place = self.worst(kind)[0]
        rounded = [
            self._whole({name: each if isinstance(each, str) else round(each, digits) for name, each in place.items()})
            for digits in (1, 2, 3)
        ]
        self.look(rounded)
        most = self._lowest(kind) + _ALIKE * abs(self._lowest(kind))
        alike = (each for each in rounded if self.found[tuple(each.items())][1][kind] <= most)
        return next(alike, self.worst(kind)[0])

    def descend(self, kinds: int, starts: int) -> None:
        """From the worst few by each kind of score go on to worse ones, in steps that halve when none is left."""
        step = 0.25
        while step >= _LEAST_STEP:
            before = [self._lowest(kind) for kind in range(kinds)]
            places = [each for kind in range(kinds) for each in self.worst(kind, starts)]
            self.look(moved for place in places for moved in self._beside(place, step))
            if not any(self._lowest(kind) < was - _GAIN * abs(was) for kind, was in enumerate(before)):
                step /= 2.0

    def _lowest(self, kind: int) -> float:
        return min(scores[kind] for _, scores in self.found.values())

    def _whole(self, position: Setting) -> Setting:
        whole: Setting = dict(self.fixed)
        for control in self.controls:
            value = position.get(control.name, control.drawn)
            whole[control.name] = value if isinstance(value, str) else round(value, 9)
        return whole

    def _beside(self, position: Setting, step: float) -> Iterator[Setting]:
        for control in self.controls:
            here = position.get(control.name, control.drawn)
            if isinstance(here, str):
                others: Sequence[float | str] = control.positions
            else:
                places = (travel(here) - step, travel(here) + step, 0.0, 1.0)
                others = [rotation(min(max(place, 0.0), 1.0)) for place in places]
            yield from ({**position, control.name: other} for other in others)
