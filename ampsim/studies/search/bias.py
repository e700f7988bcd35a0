"""Which parts on trial move the operating point, and every operating point that there can be."""

from __future__ import annotations

import itertools
import math
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from ...base.errors import DescriptionError
from ...base.progress import Progress
from ...circuit.amp import Amp, Part
from ...circuit.build import circuit_at
from ...circuit.positions import Position
from ...circuit.values import with_values
from ...simulation.operating_points import Rest, at_rest
from ...simulation.ports_algebra import bias_moves
from ..ratings.usual import MAINS, WATTS_FACTOR
from .wishes import Choice, Stocked, Wish, WishKind, WishList

At = tuple[tuple[str, float | str], ...]
MOST_RESTS = 20_000  # operating points of one search
_BATCH = 64


@dataclass(frozen=True, eq=False)
class BiasVariant:
    """One set of values of the parts that move the bias: the amp with them, and how it rests at each position.

    `cold` is how it rests before the valves conduct; empty where no rating asks for it.
    """

    amp: Amp
    values: Mapping[str, float | None]
    rests: Mapping[At, Rest]
    cold: Mapping[At, Rest]


@dataclass(frozen=True, eq=False)
class Biases:
    """The choices that move the bias, those that do not, and the amp with every set of values of the former."""

    moving: tuple[Choice, ...]
    still: tuple[Choice, ...]
    variants: tuple[BiasVariant, ...]
    runs: int


def bias_variants(wanted: WishList, progress: Progress | None = None) -> Biases:
    """Split the choices into those that move the bias and those that do not, and settle every bias there can be.

    A capacitor never moves the bias. A resistor does when one of its changes would pass more than 1e-12 A at rest, in
    any bias variant at any position: a voltage that is zero by symmetry alone is lost when another part breaks it.

    Raises
    ------
    DescriptionError
        When there are more than 20,000 operating points to simulate; before any of them is.
    """
    moving: frozenset[str] = frozenset()
    runs = 0
    while True:
        variants = _settle(wanted, moving, progress)
        runs += sum(len(each.rests) + len(each.cold) for each in variants)
        still = [choice for choice in wanted.choices if choice.part not in moving]
        more = {choice.part for choice in still if any(_moves(choice, each) for each in variants)}
        if not more:
            moved = tuple(choice for choice in wanted.choices if choice.part in moving)
            return Biases(moved, tuple(still), variants, runs)
        moving |= more


def _settle(wanted: WishList, moving: frozenset[str], progress: Progress | None) -> tuple[BiasVariant, ...]:
    positions = list(dict.fromkeys(wish.at for wish in wanted.wishes))
    chosen = [choice for choice in wanted.choices if choice.part in moving]
    _refuse_too_many(wanted, chosen, len(positions))
    sets = [
        dict(zip((choice.part for choice in chosen), values, strict=True))
        for values in itertools.product(*(choice.values for choice in chosen))
    ]
    amps = [with_values(wanted.base, values) for values in sets]
    parts = [choice.part for choice in wanted.choices]
    cases: list[tuple[Amp, Position]] = [(amp, dict(at)) for amp in amps for at in positions]
    rated = any(math.isfinite(part.volts) for choice in wanted.choices for part in choice.stocked)
    warm, cold = [], []
    for start in range(0, len(cases), _BATCH):
        batch = cases[start : start + _BATCH]
        warm += at_rest(batch, parts)
        cold += at_rest(batch, parts, cold=True) if rated else []
        if progress is not None and len(cases) > _BATCH:
            progress(start + len(batch), len(cases), "operating points")
    return _variants(sets, amps, positions, iter(warm), iter(cold) if rated else None)


def _variants(
    sets: Sequence[dict[str, float | None]],
    amps: Sequence[Amp],
    positions: Sequence[At],
    warm: Iterator[Rest],
    cold: Iterator[Rest] | None,
) -> tuple[BiasVariant, ...]:
    return tuple(
        BiasVariant(
            amp,
            values,
            {at: next(warm) for at in positions},
            {} if cold is None else {at: next(cold) for at in positions},
        )
        for amp, values in zip(amps, sets, strict=True)
    )


def _refuse_too_many(wanted: WishList, moving: Sequence[Choice], positions: int) -> None:
    count = math.prod(len(choice.values) for choice in moving) * positions
    if count > MOST_RESTS:
        each = ", ".join(f"{choice.part} ({len(choice.values)} values)" for choice in moving)
        raise DescriptionError(
            f"{wanted.file or wanted.name}: {each} move the bias: {count:,} operating points would have to be "
            f"simulated; at most {MOST_RESTS:,}. Give these parts fewer values, or choose one after the other"
        )


def _moves(choice: Choice, variant: BiasVariant) -> bool:
    if choice.kind != "resistor":
        return False
    return any(
        bias_moves(np.array(rest.across[choice.part]), np.array(_changes(choice, variant.amp, at))).any()
        for at, rest in variant.rests.items()
        if choice.part in rest.across
    )


def _changes(choice: Choice, amp: Amp, at: At) -> list[float]:
    stock = 1.0 / base_value(choice, amp, dict(at))
    return [(0.0 if value is None else 1.0 / value) - stock for value in choice.values]


def base_value(choice: Choice, amp: Amp, position: Position) -> float:
    """The value [ohm or F] that a part on trial has in an amp's circuit."""
    part = circuit_at(amp, position).parts[choice.part]
    assert isinstance(part, Part)
    return part.value


def bias_span(wish: Wish, rests: Mapping[At, Rest], stock: Mapping[At, Rest]) -> tuple[float, float]:
    """Lowest and highest that a bias wish's valves show: outright [mA, V] or as a change against the stock [%].

    Raises
    ------
    DescriptionError
        For a change of a valve that the stock amp does not have, or that draws nothing there.
    """
    found = list(_bias(wish, rests[wish.at], stock[wish.at]))
    return min(found), max(found)


def _bias(wish: Wish, rest: Rest, stock: Rest) -> Iterator[float]:
    for valve in wish.of:
        current = wish.kind is WishKind.PLATE_CURRENT
        ours, theirs = ((each.plate_ma if current else each.plate_volts) for each in (rest, stock))
        if wish.unit != "%":
            yield ours[valve]
        elif valve in theirs and theirs[valve] != 0.0:
            yield 100.0 * (ours[valve] / theirs[valve] - 1.0)
        else:
            raise DescriptionError(f"{wish.label}: {valve} shows nothing in the amp as drawn; wish for mA or V instead")


def fit_values(choice: Choice, variant: BiasVariant) -> list[bool]:
    """For each value of a choice, whether a part of the drawer stands what it meets, warm and with cold valves."""
    if not choice.stocked:
        return [True] * len(choice.values)
    states = [*variant.rests.values(), *variant.cold.values()]
    volts = max((abs(rest.across.get(choice.part, 0.0)) for rest in states), default=0.0)
    return [value is None or any(_stands(choice, value, part, volts) for part in choice.stocked if part.value == value)
            for value in choice.values]  # fmt: skip


def _stands(choice: Choice, value: float, part: Stocked, volts: float) -> bool:
    watts = WATTS_FACTOR * volts**2 / value if choice.kind == "resistor" else math.nan
    return part.stands(watts, MAINS * volts)
