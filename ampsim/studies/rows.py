"""Rows of a table and findings of a response: the worst position, and rows that repeat."""

from __future__ import annotations

import math

import pandas as pd
import xarray as xr

from .findings import GRADES, Finding


def worst_position(findings: list[Finding], response: xr.Dataset) -> str:
    """The position of the most worrying finding, of equals that of the largest number; the first without findings."""
    if not findings:
        return str(response["position"].values[0])
    return max(findings, key=_worry).position


def without_repeats(table: pd.DataFrame) -> pd.DataFrame:
    """One row instead of several for a variant that is the same at all positions, as the stock amp often is."""
    kept = []
    for _, rows in table.groupby("variant", sort=False):
        alike = len(rows) > 1 and len(rows.drop(columns="position").drop_duplicates()) == 1
        kept.append(rows.head(1).assign(position="every position") if alike else rows)
    return pd.concat(kept, ignore_index=True)


def _worry(finding: Finding) -> tuple[int, float]:
    return GRADES.index(finding.grade), 0.0 if math.isnan(finding.value) else abs(finding.value)
