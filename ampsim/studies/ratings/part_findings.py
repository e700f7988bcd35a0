"""What is said of the load on resistors, capacitors and pots."""

from __future__ import annotations

import math
from collections.abc import Collection, Iterator, Mapping, Set
from typing import Any

import pandas as pd
import xarray as xr

from ...base.quantities import FARAD, OHM, format_value
from ...measures.labels import records
from ...simulation.facts import get
from ..findings import Finding, Grade, grade_below
from ..settings import Positions, in_steps, positions_of
from . import TITLE
from .parts import part_ratings, stock_rows, with_fitted_ratings, worst_parts
from .simulate import IN_PLACE_OF, SUPPLY_POTS
from .usual import ELECTROLYTIC_FARADS, SCRATCH_VOLTS, WATTS_FACTOR
from .valve_findings import HOW
from .valves import TELLING

_PRACTICE = f"{WATTS_FACTOR:g} times the mean watts; next common rating (common practice, no source)"


def part_findings(response: xr.Dataset, outside: Collection[str] = ()) -> Iterator[Finding]:
    """One finding to each part of the last variant that nears or passes what is taken to be fitted, or that is new.

    One more when no part is in danger, and one to each pot whose track the mod puts direct voltage on.

    The response is one of `ampsim.studies.ratings.simulate.stress`; parts that are `outside` the amp, such as what it
    works into, are left out.
    """
    stock, modded = (str(response["variant"].values[place]) for place in (0, -1))
    everywhere = part_ratings(response)
    everywhere = everywhere[~everywhere["part"].isin(list(outside))]
    in_place_of = get(response, IN_PLACE_OF)
    table = with_fitted_ratings(worst_parts(everywhere), stock, in_place_of)
    where = _Where(positions_of(response), records(everywhere[everywhere["variant"] == modded]))
    old = stock_rows(table, stock, in_place_of)
    quiet = True
    for row in records(table[table["variant"] == modded]):
        before = old.get(row["part"])
        grade, value, unit, limit = _part_grade(row)
        if grade == Grade.FINE and before is not None:
            continue
        quiet = quiet and grade == Grade.FINE
        words = f"{_part_name(row)}{_newness(row, before)}: {part_words(row, before)}"
        yield Finding(TITLE, f"{row['part']} rating", modded, row["position"], value, unit, limit, grade, words, HOW,
                      _PRACTICE, "ratings", where=where.words(row, unit))  # fmt: skip
    if quiet:
        yield _nothing_worse(table, modded, where)
    supply_pots = get(response, SUPPLY_POTS)
    yield from _scratches(table, old, modded, where, frozenset(supply_pots))


class _Where:
    """The settings that make what a part carries."""

    def __init__(self, positions: Positions, rows: list[dict[str, Any]]) -> None:
        self._positions, self._rows = positions, rows

    def words(self, row: Mapping[str, Any], unit: str, state: str = "needs", position: str = "") -> str:
        """In words, for a row of `worst_parts`: those that make its volts or watts in a state."""
        figures = {
            each["position"]: (in_steps(each[f"{state} [{unit}]"], TELLING, 1e-3),)
            for each in self._rows
            if each["part"] == row["part"]
        }
        return self._positions.words(position or row["position"], figures)

    def highest(self, row: Mapping[str, Any], column: str) -> str:
        """The first position at which a part has its highest reading."""
        own = [each for each in self._rows if each["part"] == row["part"]]
        return str(max(own, key=lambda each: float(each[column]))["position"])


def _part_grade(row: Mapping[str, Any]) -> tuple[Grade, float, str, float]:
    """The worse of watts and volts: grade, value, unit, limit."""
    mean = row["needs [W]"] / WATTS_FACTOR
    heat = (grade_below(mean, row["fitted [W]"], 1.0 / WATTS_FACTOR + 1e-9), mean, "W", row["fitted [W]"])
    volts = (grade_below(row["needs [V]"], row["fitted [V]"], 1.0), row["needs [V]"], "V", row["fitted [V]"])
    if row["kind"] == "capacitor":
        return volts
    return max(heat, volts, key=lambda each: each[0].worry)


def _part_name(row: Mapping[str, Any]) -> str:
    return f"{row['part']} ({format_value(row['value'], FARAD if row['kind'] == 'capacitor' else OHM)})"


def _newness(row: Mapping[str, Any], stock: Mapping[str, Any] | None) -> str:
    if stock is None:
        return ", new"
    return "" if stock["part"] == row["part"] else f", in place of {stock['part']}"


def part_words(row: Mapping[str, Any], stock: Mapping[str, Any] | None) -> str:
    """What a part needs and carries, and what is taken to be fitted: volts are needed where they pass that.

    Parameters
    ----------
    row, stock : mapping
        Of `with_fitted_ratings`; None where the stock amp has no such part.
    """
    rest, cold, peak = (_volts(row[f"{state} [V]"]) for state in ("rest", "cold", "peak"))
    states = f"{rest} at rest, {cold} cold, {peak} driven hard"
    if row["kind"] == "capacitor":
        fitted = _rating(row["fitted [V]"], "V")
        taken = f"the one fitted is taken to stand {fitted}"
        if stock is None:
            taken = f"chosen by its volts at rest it stands {fitted}"
            if row["value"] < ELECTROLYTIC_FARADS:
                taken = f"one for {fitted} is usual there"
        return f"{_needs(row, 'V')}: {states}; {taken}."
    before = f" (stock {_watts(stock['needs [W]'] / WATTS_FACTOR)})" if stock else ""
    track = "the track " if row["kind"] == "pot" else ""
    volts = f" and {row['needs [V]']:.0f} V" if row["needs [V]"] > row["fitted [V]"] else ""
    return (
        f"{track}{_needs(row, 'W')}{volts}: mean {_watts(row['rest [W]'])} at rest and {_watts(row['driven [W]'])} "
        f"driven hard{before}, {WATTS_FACTOR:g} times the mean allowed for, {states}; what is fitted is taken to stand "
        f"{_rating(row['fitted [W]'], 'W')} and {row['fitted [V]']:.0f} V."
    )


def _needs(row: Mapping[str, Any], unit: str) -> str:
    return f"needs {_rating(row[f'next [{unit}]'], unit)}"


def _volts(volts: float) -> str:
    few = f"{volts:.3g}" if volts < 999.5 else f"{volts:.0f}"
    return f"{few} V" if volts >= 1e-3 else "0 V"


def _watts(watts: float) -> str:
    if watts < 5e-6:
        return "nothing"
    return f"{1e3 * watts:.2g} mW" if watts < 0.1 else f"{watts:.2g} W"


def _rating(value: float, unit: str) -> str:
    return "more than any common rating" if math.isinf(value) else f"{value:g} {unit}"


def _nothing_worse(table: pd.DataFrame, modded: str, where: _Where) -> Finding:
    words = "Every part that stays carries no more than the rating the stock amp asks for."
    hot = [row for row in records(table) if row["variant"] == modded and row["kind"] == "resistor"]
    if not hot:
        return Finding(TITLE, "parts", modded, "as drawn", math.nan, "W", None, Grade.FINE, words, HOW, _PRACTICE)
    row = max(hot, key=lambda each: float(each["needs [W]"]))
    mean = row["needs [W]"] / WATTS_FACTOR
    words += f" The hottest resistor is {_part_name(row)} with {_watts(mean)}: a {_rating(row['next [W]'], 'W')} part."
    return Finding(TITLE, "parts", modded, row["position"], mean, "W", row["fitted [W]"], Grade.FINE, words, HOW,
                   _PRACTICE, "ratings", where=where.words(row, "W"))  # fmt: skip


def _scratches(
    table: pd.DataFrame, old: Mapping[str, Mapping[str, Any]], modded: str, where: _Where, meant: Set[str]
) -> Iterator[Finding]:
    for row in records(table[(table["variant"] == modded) & (table["kind"] == "pot")]):
        volts, before = row["rest [V]"], old.get(row["part"], {}).get("rest [V]", 0.0)
        if volts > SCRATCH_VOLTS and volts > 2.0 * before and row["part"] not in meant:
            words = f"{_part_name(row)}: {volts:.2g} V DC across its track (stock {before:.2g} V); it will scratch."
            position = where.highest(row, "rest [V]")
            yield Finding(TITLE, f"{row['part']} DC", modded, position, volts, "V", SCRATCH_VOLTS,
                          Grade.NEAR, words, "operating point", "common practice, no source",
                          where=where.words(row, "V", "rest", position))  # fmt: skip
