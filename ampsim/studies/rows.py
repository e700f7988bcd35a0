"""Rows of a table that repeat, and the position a response is shown at."""

from __future__ import annotations

import pandas as pd
import xarray as xr

from .findings import Finding, most_worrying


def worst_position(findings: list[Finding], response: xr.Dataset) -> str:
    """The position of the most worrying finding; the first of the response without findings."""
    return most_worrying(findings).position if findings else str(response["position"].values[0])


def without_repeats(table: pd.DataFrame) -> pd.DataFrame:
    """One row instead of several for a variant that is the same at all positions, as the stock amp often is."""
    kept = []
    for _, rows in table.groupby("variant", sort=False):
        alike = len(rows) > 1 and len(rows.drop(columns="position").drop_duplicates()) == 1
        kept.append(rows.head(1).assign(position="every position") if alike else rows)
    return pd.concat(kept, ignore_index=True)
