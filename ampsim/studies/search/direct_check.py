"""The answers of a search once more, each by a fresh direct simulation of its whole circuit."""

from __future__ import annotations

import itertools
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import replace

import numpy as np
import xarray as xr

from ...circuit.amp import Amp
from ...circuit.positions import position_label
from ...circuit.values import with_values
from ...measures.margins import margins
from ...simulation.loop_gain import loop_gain
from ...simulation.operating_points import Rest, at_rest
from ...simulation.ports import PortCase, reduce, simulate_directly
from ...simulation.ports_algebra import branches
from ..stability.steady import growth_at
from .bias import At, bias_span
from .result import Candidate, sizes
from .rooms import LOOP_SWEEP, SWEEP, Floats, decibels, gain_spans, gain_view, loop_of, phase_degrees, room
from .wishes import Wish, WishKind, WishList

Reached = tuple[float, float]
_NO_LOOP = 180.0


def check_directly(
    wanted: WishList, places: Sequence[int], moving: Sequence[str], stock_db: Mapping[At, Floats]
) -> tuple[tuple[Candidate, ...], xr.DataArray, int]:
    """Simulate sets of values directly: what each wish reaches, and how far the gains lie from those by ports.

    Parameters
    ----------
    wanted : WishList
    places : sequence of int
        The sets, by their place among all.
    moving : sequence of str
        Parts that move the bias.
    stock_db : mapping
        Gain of the stock amp [dB] at each position to listen at, shape (f,).

    Returns
    -------
    tuple
        The candidates; their changes of gain [dB], dims (candidate, position, frequency); how many simulations.
    """
    values = [_values(wanted, place) for place in places]
    amps = [with_values(wanted.base, each) for each in values]
    positions = list(stock_db)
    requests = [PortCase(amp, dict(at), (), (wanted.listen_at,)) for amp in amps for at in positions]
    heard = [decibels(found[0]) for found in simulate_directly(requests, SWEEP)]
    guessed, runs = _by_ports(wanted, values, moving, positions)
    shape = (len(amps), len(positions), SWEEP.points)
    gains, by_ports = (np.array(each).reshape(shape) for each in (heard, guessed))
    changes = gains - np.array(list(stock_db.values()))
    away = np.abs(gains - by_ports).max(axis=(1, 2), initial=0.0)
    reached, more = _reaches(wanted, amps, dict(zip(positions, changes.transpose(1, 0, 2), strict=True)))
    best = tuple(
        Candidate(place, each, amp, spans, _rooms(wanted, spans), float(far))
        for place, each, amp, spans, far in zip(places, values, amps, reached, away, strict=True)
    )
    coords = {
        "candidate": list(places),
        "position": [position_label(dict(at)) for at in positions],
        "frequency": ("frequency", SWEEP.grid(), {"units": "Hz"}),
    }
    table = xr.DataArray(changes, coords, ("candidate", "position", "frequency"), "change of gain", {"units": "dB"})
    return best, table, runs + len(requests) + more


def at_rest_first(wanted: WishList, order: Iterable[int], keep: int) -> tuple[list[int], list[int]]:
    """The first sets with which the amp stays at rest at every position wished for, and those between that do not.

    Parameters
    ----------
    wanted : WishList
    order : iterable of int
        Sets by their place among all, the best first.
    keep : int
        How many are wanted; four times as many are looked at.
    """
    positions = list(dict.fromkeys([(), *(wish.at for wish in wanted.wishes)]))
    steady: list[int] = []
    howling: list[int] = []
    for place in itertools.islice(order, 4 * keep):
        if len(steady) == keep:
            break
        amp = with_values(wanted.base, _values(wanted, int(place)))
        grows = any(growth.modes for growth in growth_at([(amp, dict(at)) for at in positions]))
        (howling if grows else steady).append(int(place))
    return steady, howling


def _values(wanted: WishList, place: int) -> dict[str, float | None]:
    picked = np.unravel_index(place, sizes(wanted))
    return {each.part: each.values[int(n)] for each, n in zip(wanted.choices, picked, strict=True)}


def _by_ports(
    wanted: WishList, sets: Sequence[Mapping[str, float | None]], moving: Sequence[str], positions: Sequence[At]
) -> tuple[list[Floats], int]:
    views = []
    for values in sets:
        amp = with_values(wanted.base, {part: value for part, value in values.items() if part in moving})
        still = [replace(each, values=(values[each.part],)) for each in wanted.choices if each.part not in moving]
        views += [gain_view(amp, dict(at), still, wanted.listen_at) for at in positions]
    models = reduce([view.case for view in views], SWEEP)
    found = []
    for view, model in zip(views, models, strict=True):
        (block,) = branches(model.table(), view.changes(model.frequency))
        found.append(decibels(block[0, 0, 0]))
    return found, sum(model.runs for model in models)


def _rooms(wanted: WishList, spans: Sequence[Reached]) -> tuple[float, ...]:
    pairs = zip(wanted.wishes, spans, strict=True)
    return tuple(float(room(wish, np.array(low), np.array(high))) for wish, (low, high) in pairs)


def _reaches(
    wanted: WishList, amps: Sequence[Amp], changes: Mapping[At, Floats]
) -> tuple[list[tuple[Reached, ...]], int]:
    """For each amp what each wish reaches, lowest and highest; and how many simulations that took."""
    columns, runs = [], 0
    for wish in wanted.wishes:
        if wish.kind is WishKind.GAIN:
            low, high = gain_spans(changes[wish.at], SWEEP.grid(), wish)
            columns.append([(float(a), float(b)) for a, b in zip(low, high, strict=True)])
        elif wish.kind is WishKind.LOOP_MARGIN:
            columns.append([(each, each) for each in (_margin(amp, wish) for amp in amps)])
            runs += 2 * len(amps)
        else:
            columns.append(_spans(wanted, amps, wish))
            runs += len(amps) + 1
    return list(zip(*columns, strict=True)), runs


def _spans(wanted: WishList, amps: Sequence[Amp], wish: Wish) -> list[Reached]:
    rests = at_rest([(amp, wish.position) for amp in (wanted.stock, *amps)], ())
    stock: dict[At, Rest] = {wish.at: rests[0]}
    return [bias_span(wish, {wish.at: rest}, stock) for rest in rests[1:]]


def _margin(amp: Amp, wish: Wish) -> float:
    if loop_of(wish, amp) is None:
        return _NO_LOOP
    loop = loop_gain(amp, wish.of[0] if wish.of else None, [wish.position], LOOP_SWEEP)
    return phase_degrees(margins(loop["frequency"].values, loop["loop_gain"].values[0, 0]))
