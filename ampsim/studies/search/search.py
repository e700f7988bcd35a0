"""From wishes to values: every allowed set of values is tried, by ports where the bias stays, afresh where it moves."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field
from typing import Any

import numpy as np
from numpy.typing import NDArray

from ...base.errors import DescriptionError, Stopped
from ...base.progress import Progress
from ...circuit.positions import position_label
from ...simulation.operating_points import Rest, at_rest
from ...simulation.ports import PortCase, PortModel, reduce
from .bias import At, Biases, BiasVariant, bias_span, bias_variants, fit_values
from .direct_check import at_rest_first, check_directly
from .result import SearchResult, ranking, room_steps, sizes
from .rooms import (
    LOOP_SWEEP,
    SWEEP,
    Floats,
    PortView,
    decibels,
    gain_rooms,
    gain_view,
    loop_of,
    loop_view,
    margin_rooms,
    room,
)
from .wishes import Wish, WishKind, WishList

# Up to so many circuits (and bias variants) every wish is worked out for each; beyond, cheap wishes rule out first.
_WHOLE, _WHOLE_VARIANTS = 20_000, 500
_BATCH, _CHUNK = 16, 500
_NEAREST = 1000
_NO_LOOP = 180.0


def find_values(wanted: WishList, keep: int = 10, progress: Progress | None = None) -> SearchResult:
    """Try every set of values that a wish list allows and rank those that meet all wishes.

    Parameters
    ----------
    wanted : WishList
    keep : int
        How many of the best to simulate directly and hand back with their responses.
    progress : callable
        Called with (done, in all, "operating points" or "bias points"). A search that is stopped by hand, or by
        raising `Stopped` here, hands back the best of what it had worked out.

    Returns
    -------
    Found
        Ranked by the least room of any wish, then by the next least (see `found.RANKING`): the first is the true best
        of all sets. When none meets every wish, the nearest misses, ranked alike.

    Raises
    ------
    DescriptionError
        For a wish that cannot be compared with the amp as drawn, or more than 20,000 operating points.
    EngineError
        When ngspice gives no trustworthy answer.

    Notes
    -----
    Bias wishes are settled first, for every set of values that moves the bias; then gains, by one reduction to ports
    for each such set and position; then loop margins. Where there are more than 20,000 circuits, a set is dropped as
    soon as its room so far is below that of the best set and below nought: it can be neither the best nor the nearest.
    """
    search = _Search(wanted, bias_variants(wanted, progress))
    search.hear_stock()
    search.settle_bias()
    stopped_after = search.work_or_stop(progress)
    rooms, fits = search.in_wish_order(search.rooms), search.in_wish_order(search.fits)
    order = _order(rooms, fits, wanted)
    moving = tuple(choice.part for choice in search.biases.moving)
    steady, howling = at_rest_first(wanted, order, keep)
    best, changes, runs = check_directly(wanted, steady, moving, search.stock_db)
    order = order[~np.isin(order, howling)]
    return SearchResult(
        wanted, rooms, fits, order, best, changes, moving, search.runs + runs, stopped_after, tuple(howling)
    )


def _order(rooms: Floats, fits: NDArray[np.bool_], wanted: WishList) -> NDArray[np.intp]:
    least = np.where(fits, room_steps(rooms, wanted).min(axis=1), np.nan)
    known = np.flatnonzero(~np.isnan(least))
    met = known[least[known] >= 0.0]
    if not len(met) and len(known) > _NEAREST:
        known = known[least[known] >= np.partition(least[known], -_NEAREST)[-_NEAREST]]
    return ranking(rooms, wanted, met if len(met) else known)


@dataclass(eq=False)
class _Search:
    """One search at work: rooms of (bias variant, set of the other values, wish), and the best found so far."""

    wanted: WishList
    biases: Biases
    rooms: Floats = field(init=False)
    fits: NDArray[np.bool_] = field(init=False)
    stock_db: dict[At, Floats] = field(init=False, default_factory=dict)
    best: float = -np.inf
    runs: int = 0

    def __post_init__(self) -> None:
        wishes, variants, still = self.wanted.wishes, self.biases.variants, self.biases.still
        shape = (len(variants), int(np.prod([len(choice.values) for choice in still], dtype=int)))
        self.rooms = np.full((*shape, len(wishes)), np.nan)
        self.fits = np.array([_fitting(variant, self.biases) for variant in variants])
        self.runs = self.biases.runs
        self.whole = self.wanted.circuits <= _WHOLE and len(variants) <= _WHOLE_VARIANTS
        self.gains = [n for n, wish in enumerate(wishes) if wish.kind is WishKind.GAIN]
        self.loops = [n for n, wish in enumerate(wishes) if wish.kind is WishKind.LOOP_MARGIN]
        self.places = list(dict.fromkeys(wishes[n].at for n in self.gains)) or [()]

    def hear_stock(self) -> None:
        """Take the gains of the amp as drawn, from which changes are counted."""
        stock, outputs = self.wanted.stock, (self.wanted.listen_at,)
        models = reduce([PortCase(stock, dict(at), (), outputs) for at in self.places], SWEEP)
        self.runs += sum(model.runs for model in models)
        for at, model in zip(self.places, models, strict=True):
            if not np.abs(model.h0).min() > 0.0:
                raise DescriptionError(f"{stock.name}: no signal at {outputs[0]}, {position_label(dict(at))}")
            self.stock_db[at] = decibels(model.h0[0])

    def in_wish_order(self, values: NDArray[Any]) -> NDArray[Any]:
        """From (variant, set, ...) to (set of all choices in the order of the wish list, ...)."""
        searched = [*self.biases.moving, *self.biases.still]
        more = values.shape[2:]
        table = values.reshape(*(len(choice.values) for choice in searched), *more)
        axes = [searched.index(choice) for choice in self.wanted.choices]
        rest = range(len(searched), len(searched) + len(more))
        return np.asarray(table.transpose(*axes, *rest)).reshape(int(np.prod(sizes(self.wanted))), *more)

    @property
    def bound(self) -> float:
        """A set with less room than this can be neither the best nor the nearest miss."""
        return -np.inf if self.whole else min(self.best, 0.0)

    def settle_bias(self) -> None:
        """Work out the wishes on plate currents and voltages for every bias variant."""
        wishes = [(n, wish) for n, wish in enumerate(self.wanted.wishes) if wish.kind.of_bias]
        stock = self._stock_rests([wish for _, wish in wishes])
        for number, variant in enumerate(self.biases.variants):
            for n, wish in wishes:
                low, high = bias_span(wish, variant.rests, stock)
                self.rooms[number, :, n] = room(wish, np.array(low), np.array(high))

    def _stock_rests(self, wishes: Sequence[Wish]) -> dict[At, Rest]:
        places = list(dict.fromkeys(wish.at for wish in wishes))
        rests = at_rest([(self.wanted.stock, dict(at)) for at in places], ()) if places else []
        self.runs += len(rests)
        return dict(zip(places, rests, strict=True))

    def room_so_far(self, number: int) -> Floats:
        """Least room [steps] of each set of a variant among the wishes worked out so far; shape (sets,)."""
        steps = np.nan_to_num(room_steps(self.rooms[number], self.wanted), nan=np.inf, posinf=np.inf, neginf=-np.inf)
        return np.where(self.fits[number], steps.min(axis=1), -np.inf)

    def work_or_stop(self, progress: Progress | None) -> int | None:
        """Work until the end or until stopped; returns after how many bias variants it was stopped, None at the end.

        Raises
        ------
        Stopped, KeyboardInterrupt
            When nothing was worked out yet.
        """
        done = 0

        def count(now: int, total: int, text: str) -> None:
            nonlocal done
            done = now
            if progress is not None:
                progress(now, total, text)

        try:
            self.work(count)
        except (Stopped, KeyboardInterrupt):
            if done == 0:
                raise
            return done
        return None

    def work(self, progress: Progress) -> None:
        """Work out gains and margins, the bias variants with most room first."""
        upper = np.array([self.room_so_far(number).max() for number in range(len(self.biases.variants))])
        order = [int(number) for number in np.argsort(-upper, kind="stable")]
        for start in range(0, len(order), _BATCH):
            batch = [number for number in order[start : start + _BATCH] if upper[number] >= self.bound]
            self._work_gains(batch)
            for number in batch:
                self._work_margins(number)
            progress(min(start + _BATCH, len(order)), len(order), "bias points")

    def _work_gains(self, batch: Sequence[int]) -> None:
        if not self.gains:
            return
        choices, listen_at = self.biases.still, self.wanted.listen_at
        cases = [(number, at) for number in batch for at in self.places]
        views = [gain_view(self.biases.variants[number].amp, dict(at), choices, listen_at) for number, at in cases]
        models = reduce([view.case for view in views], SWEEP)
        self.runs += sum(model.runs for model in models)
        for (number, at), view, model in zip(cases, views, models, strict=True):
            here = [n for n in self.gains if self.wanted.wishes[n].at == at]
            wishes = [self.wanted.wishes[n] for n in here]
            self.rooms[number][:, here] = gain_rooms(view, model, self.stock_db[at], wishes)

    def _work_margins(self, number: int) -> None:
        """Work out margins of the sets with most room first, as long as they can still be the best."""
        least = self.room_so_far(number)
        if self.loops and least.max() >= self.bound:
            lines = self._lines(number)
            order = np.argsort(-least, kind="stable")
            for start in range(0, len(order), _CHUNK):
                sets = order[start : start + _CHUNK]
                sets = sets[least[sets] >= self.bound]
                if not len(sets):
                    return
                for n, rooms in self._margins(lines, sets):
                    self.rooms[number, sets, n] = rooms
                self.best = max(self.best, float(self.room_so_far(number)[sets].max()))
        elif not self.loops:
            self.best = max(self.best, float(least.max()))

    def _lines(self, number: int) -> list[tuple[int, PortView | None, PortModel | None]]:
        """For each margin wish: its place and its loop's reduction, with the wires that close it; None without one."""
        amp, found = self.biases.variants[number].amp, []
        for n in self.loops:
            wish = self.wanted.wishes[n]
            loop = loop_of(wish, amp)
            found.append((n, loop_view(amp, wish.position, self.biases.still, loop.cut) if loop else None))
        models = iter(reduce([view.case for _, view in found if view is not None], LOOP_SWEEP))
        lines = [(n, view, None if view is None else next(models)) for n, view in found]
        self.runs += sum(model.runs for *_, model in lines if model is not None)
        return lines

    def _margins(
        self, lines: Sequence[tuple[int, PortView | None, PortModel | None]], sets: NDArray[np.intp]
    ) -> Iterator[tuple[int, Floats]]:
        for n, view, model in lines:
            wish = self.wanted.wishes[n]
            if view is None or model is None:
                steady = np.full(len(sets), _NO_LOOP)
                yield n, room(wish, steady, steady)
            else:
                yield n, margin_rooms(view, model, wish, sets)


def _fitting(variant: BiasVariant, biases: Biases) -> NDArray[np.bool_]:
    """For each set of the other values whether every part from the drawer stands what it meets; shape (sets,)."""
    moving = all(
        fit_values(choice, variant)[choice.values.index(variant.values[choice.part])] for choice in biases.moving
    )
    fits = np.array([moving])
    for choice in biases.still:
        fits = (fits[:, None] & np.array(fit_values(choice, variant))).ravel()
    return fits
