"""What a search found: the sets of values that meet all wishes, or come nearest, and what one wish costs another."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from functools import cached_property

import numpy as np
import pandas as pd
import xarray as xr
from numpy.typing import NDArray

from ...circuit.amp import Amp
from .wishes import WishList, value_text

CHECK_DB = 1e-6
"""Ports and direct simulation of an answer may differ by this much [dB]."""
RANKING = (
    "by the least room of any wish, then by the next least, and so on; 1 dB, 10 %, 10 degrees and a tenth of a limit "
    "in mA or V weigh the same"
)


@dataclass(frozen=True, eq=False)
class Candidate:
    """A set of values with what a fresh direct simulation of its circuit says.

    Attributes
    ----------
    index
        Its place among all sets.
    values
        Designator to value [ohm or F]; None: left out.
    amp
        The amp with these values.
    reached
        For each wish the lowest and highest found, in its unit.
    rooms
        For each wish how far that lies inside its limits; negative: outside.
    difference_db
        Largest difference [dB] between the gains by ports and by direct simulation, over all frequencies.
    """

    index: int
    values: Mapping[str, float | None]
    amp: Amp
    reached: tuple[tuple[float, float], ...]
    rooms: tuple[float, ...]
    difference_db: float

    @property
    def met(self) -> bool:
        """Whether it meets every wish."""
        return all(each >= 0.0 for each in self.rooms)


@dataclass(frozen=True, eq=False)
class SearchResult:
    """The outcome of a search.

    Attributes
    ----------
    wanted
        What was asked.
    rooms
        Room of every set in every wish, in the wish's unit, shape (sets, wishes); sets in the order of
        `itertools.product` over the choices. nan: not worked out, since another wish had ruled the set out.
    fits
        Whether the parts of a set stand their voltages and powers, shape (sets,).
    order
        Sets that meet all wishes, the best first; when none does, those that come nearest.
    best
        The first of `order`, simulated directly.
    changes
        Change of gain against the stock amp of each of `best` [dB], dims (candidate, position, frequency).
    moving
        Parts that move the bias.
    runs
        Simulations that the search took, the check of `best` included.
    stopped_after
        After how many bias points it was stopped by hand; None when it came to its end.
    unsteady
        Sets that would have been among `best` with which the amp oscillates; they are left out of `order` too.
    """

    wanted: WishList
    rooms: NDArray[np.float64]
    fits: NDArray[np.bool_]
    order: NDArray[np.intp]
    best: tuple[Candidate, ...]
    changes: xr.DataArray
    moving: tuple[str, ...]
    runs: int
    stopped_after: int | None = None
    unsteady: tuple[int, ...] = ()

    @cached_property
    def scores(self) -> NDArray[np.float64]:
        """Least room of any wish [steps], shape (sets,); nan: not worked out; -inf: a part does not stand it."""
        return np.where(self.fits, least_room(self.rooms, self.wanted), -np.inf)

    @property
    def circuits(self) -> int:
        """How many sets of values there are."""
        return len(self.rooms)

    @property
    def worked_out(self) -> int:
        """Sets for which every wish was worked out."""
        return int(np.isfinite(self.scores).sum() + np.isposinf(self.scores).sum())

    @property
    def met(self) -> int:
        """Sets that meet all wishes."""
        return len(self.meeting)

    @property
    def meeting(self) -> NDArray[np.intp]:
        """Places of the sets that meet all wishes, without those with which the amp was seen to oscillate."""
        return np.setdiff1d(np.flatnonzero(self.scores >= 0.0), np.array(self.unsteady, int))

    @property
    def difference_db(self) -> float:
        """Largest difference between ports and direct simulation of the answers [dB]."""
        return max((each.difference_db for each in self.best), default=0.0)

    def values(self, index: int) -> dict[str, float | None]:
        """The values [ohm or F] of a set by its place."""
        places = np.unravel_index(index, sizes(self.wanted))
        return {each.part: each.values[int(n)] for each, n in zip(self.wanted.choices, places, strict=True)}

    def words(self, index: int) -> str:
        """The values of a set in words: "C1 820n, R4 1k5"."""
        kinds = {each.part: each.kind for each in self.wanted.choices}
        return ", ".join(f"{part} {value_text(kinds[part], value)}" for part, value in self.values(index).items())


def sizes(wanted: WishList) -> tuple[int, ...]:
    """How many values each choice has."""
    return tuple(len(choice.values) for choice in wanted.choices)


def room_steps(rooms: NDArray[np.float64], wanted: WishList) -> NDArray[np.float64]:
    """Rooms [steps], so that decibels can be weighed against degrees."""
    return np.asarray(rooms / np.array([wish.step for wish in wanted.wishes]))


def least_room(rooms: NDArray[np.float64], wanted: WishList) -> NDArray[np.float64]:
    """The least room of any wish [steps]; nan where a wish was not worked out."""
    return np.asarray(room_steps(rooms, wanted).min(axis=-1))


def ranking(rooms: NDArray[np.float64], wanted: WishList, places: NDArray[np.intp]) -> NDArray[np.intp]:
    """Places of sets, the best first: see `RANKING`.

    Rooms [unit of each wish] that are equal to nine digits of a step are equal; then the order of sets counts.
    """
    steps = np.sort(room_steps(rooms[places], wanted), axis=1).round(9)
    keys = [-steps[:, column] for column in reversed(range(steps.shape[1]))]
    return np.asarray(places[np.lexsort(keys)])


def value_counts(found: SearchResult) -> pd.DataFrame:
    """Which values occur among the sets that meet all wishes, and how often.

    Returns
    -------
    pandas.DataFrame
        Columns part, value, sets; values that occur in no such set are left out.
    """
    met = found.meeting
    places = np.unravel_index(met, sizes(found.wanted))
    rows = []
    for choice, column in zip(found.wanted.choices, places, strict=True):
        counts = np.bincount(column, minlength=len(choice.values))
        for value, count in zip(choice.values, counts, strict=True):
            if count:
                rows.append({"part": choice.part, "value": value_text(choice.kind, value), "sets": int(count)})
    return pd.DataFrame(rows, columns=["part", "value", "sets"])


def pareto_front(found: SearchResult, first: int = 0, second: int = 1) -> NDArray[np.intp]:
    """Sets for which no other has more room in one of two wishes without having less in the other.

    Parameters
    ----------
    found : Found
    first, second : int
        Places of the two wishes in the list.

    Returns
    -------
    ndarray
        Places of sets, by falling room in the first wish; sets with equal rooms in both count once. Only sets for
        which both wishes were worked out can stand in it.
    """
    rooms = found.rooms[:, [first, second]]
    places = np.flatnonzero(np.isfinite(rooms).all(axis=1) & found.fits)
    ordered = places[np.lexsort((-rooms[places, 1], -rooms[places, 0]))]
    best = np.maximum.accumulate(np.concatenate([[-np.inf], rooms[ordered, 1]]))
    return np.asarray(ordered[rooms[ordered, 1] > best[:-1]])
