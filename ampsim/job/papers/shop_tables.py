"""The tables of the shop's record: readings of both rounds side by side, parts, charges, frozen files."""

from __future__ import annotations

import math
from collections.abc import Sequence

import pandas as pd

from ...bench.proof.sheet import ProofSheet
from ...work.cautions.sheet import CautionSheet
from ...work.parts_list.parts_list import PartsList
from ..quote.invoice import compare, has_quote
from ..record.data import Record
from ..record.words import Phase
from .volts import Volts

_BLANK = ""


def readings_table(tested: ProofSheet, rounds: Sequence[Volts]) -> pd.DataFrame:
    """What was read at each place [V], as the amp came and after the work, beside what was to be expected.

    Where nothing was read after the work, every place of the test sheet is there with a blank to write into.
    """
    came = {str(row["place"]): row for each in rounds if each.phase == Phase.ARRIVAL for row in each.rows()}
    read = [row for row in tested.rows if row.measured is not None]
    after = [(row.place, row) for row in read or tested.rows]
    once = {place for place, _ in after}
    rows = []
    for place, proof in [*after, *((place, None) for place in came if place not in once)]:
        arrival = came.pop(place, None)  # of several readings at one place the first has it beside it
        rows.append({
            "place": place,
            "expected as it came [V]": arrival["at this supply [V]"] if arrival else math.nan,
            "read as it came [V]": arrival["measured [V]"] if arrival else math.nan,
            "as it came": arrival["standing"] if arrival else _BLANK,
            "expected after [V]": proof.expected if proof else math.nan,
            "from [V]": proof.low if proof else math.nan,
            "to [V]": proof.high if proof else math.nan,
            "read after [V]": proof.measured if proof and proof.measured is not None else math.nan,
            "after": str(proof.verdict) if proof else _BLANK,
            "controls": proof.position if proof else _BLANK,
            "round": proof.read if proof else _BLANK,
        })  # fmt: skip
    table = pd.DataFrame(rows)
    alone = [name for name in ("controls", "round") if len({*table[name]} - {_BLANK}) < 2]
    table = table.drop(columns=alone)
    if not read:
        table["read after [V]"] = _BLANK
        table = table.drop(columns="after")
    arrived = table["read as it came [V]"].notna().any()
    return table if arrived else table.drop(columns=["expected as it came [V]", "read as it came [V]", "as it came"])


def unread_places(tested: ProofSheet) -> list[str]:
    """Places of the test sheet that nobody read after the work, where others were."""
    unread = [row.place for row in tested.rows if row.measured is None]
    return unread if len(unread) < len(tested.rows) else []


def fitted_parts(parts: PartsList) -> pd.DataFrame:
    """Each part with what it must be, columns that say nothing left out."""
    if parts.table.empty:
        return parts.table
    table = parts.table[["part", "what", "kind of part", "tolerance [%]", "rating [W]", "rating [V]"]]
    return table.loc[:, [name for name in table if not _says_nothing(table[name])]]


def part_words(parts: PartsList) -> dict[str, str]:
    """To each part of the list what it is and must stand, in a line: "R7: 1k, 0.5 W, 350 V, metal film"."""
    found = {}
    for each in parts.lines:
        rating = [f"{value:g} {unit}" for value, unit in ((each.rating.watts, "W"), (each.rating.volts, "V"))
                  if math.isfinite(value)]  # fmt: skip
        words = ", ".join(filter(None, [each.wanted, *rating, each.rating.make]))
        found[each.part] = f"{each.part}: {words}"
    return found


def rated_parts(parts: PartsList) -> pd.DataFrame:
    """The parts of which it is known what they carry."""
    if parts.table.empty:
        return parts.table
    names = ["part", "what", "carries [W]", "rating [W]", "times [W]", "carries [V]", "rating [V]", "times [V]"]
    rated = parts.table[names]
    numbers = rated.iloc[:, 2:].notna().any(axis=1)
    renamed = rated[numbers].rename(columns={"times [W]": "margin, W (times)", "times [V]": "margin, V (times)"})
    return renamed.reset_index(drop=True)


def charge_tables(sheet: CautionSheet) -> dict[str, pd.DataFrame]:
    """What is stored, and how long it stays, by title."""
    table = sheet.table
    if table.empty:
        return {}
    falls = table[[name for name in table if name == "part" or "[s]" in str(name)]]
    never = falls.astype(object).map(lambda cell: "never" if cell == float("inf") else cell)
    return {
        "what is stored": table[["part", "value", "at rest [V]", "cold [V]", "at rest [J]", "cold [J]", "bleeder"]],
        "how long until it is below 60 V": pd.DataFrame(never),
    }


def frozen_table(record: Record | None) -> pd.DataFrame | None:
    """The frozen files of a job; None where it has none."""
    if record is None or not record.frozen:
        return None
    rows = [(each.file, each.sha256, each.ampsim, str(each.date)) for each in record.frozen]
    return pd.DataFrame(rows, columns=["file", "sha256", "ampsim", "frozen on"])


def _says_nothing(column: pd.Series) -> bool:
    return all(cell == _BLANK or (isinstance(cell, float) and math.isnan(cell)) for cell in column)


def compared_table(record: Record | None) -> pd.DataFrame:
    """What was estimated in the quote beside what it took; no rows without a quote."""
    rows = compare(record).rows() if record is not None and has_quote(record) else []
    return pd.DataFrame(rows, columns=["what", "estimated", "taken", "difference"])
