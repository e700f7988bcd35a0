"""Frames of numbers as plain text; units stand in the headers."""

from __future__ import annotations

import unicodedata

import pandas as pd
import xarray as xr

from .wording import rounded


def frame(values: xr.DataArray) -> pd.DataFrame:
    """A labelled array as a table: one row per variant and position, one column per place on its last dimension.

    Parameters
    ----------
    values : xarray.DataArray
        dims (variant, position) or (variant, position, one more), such as `measures.gain_at` gives; the unit is in
        ``attrs["units"]``.

    Returns
    -------
    pandas.DataFrame
        Columns variant, position, then for instance "1000 Hz [dB]".
    """
    last = [str(dim) for dim in values.dims if dim not in ("variant", "position")]
    ordered = values.transpose("variant", "position", *last)
    table = pd.DataFrame([
        {"variant": str(variant), "position": str(position)}
        for variant in values["variant"].values
        for position in values["position"].values
    ])  # fmt: skip
    unit = f" [{values.attrs['units']}]"
    columns = [_place(values, dim, label) for dim in last for label in values[dim].values] or [str(values.name)]
    for column, numbers in zip(columns, ordered.values.reshape(len(table), -1).T, strict=True):
        table[column + unit] = numbers
    return table


def text_table(table: pd.DataFrame) -> str:
    """The table as aligned plain text: texts to the left, numbers to the right, a rule under the header."""
    columns, numeric = table_cells(table)
    widths = [max(map(_width, cells)) for cells in columns]
    lines = [
        "  ".join(_padded(*cell) for cell in zip(row, widths, numeric, strict=True)).rstrip()
        for row in zip(*columns, strict=True)
    ]
    return "\n".join([lines[0], "  ".join("-" * width for width in widths), *lines[1:]]) if lines else ""


def _place(values: xr.DataArray, dim: str, label: object) -> str:
    unit = values[dim].attrs.get("units")
    name = f"{label:g}" if isinstance(label, float) else str(label)
    return f"{name} {unit}" if unit else f"{dim} {name}"


def table_cells(table: pd.DataFrame) -> tuple[list[list[str]], list[bool]]:
    """Header and cells of each column as text, and whether it holds numbers."""
    places = range(table.shape[1])
    return [_cells(table, place) for place in places], [_is_numeric(table, place) for place in places]


def _cells(table: pd.DataFrame, place: int) -> list[str]:
    """Header and cells of a column, each on one line without control characters."""
    cells = [str(table.columns[place]), *rounded(table.iloc[:, place].tolist())]
    return ["".join(sign if sign.isprintable() else " " for sign in cell) for cell in cells]


def _is_numeric(table: pd.DataFrame, place: int) -> bool:
    return bool(pd.api.types.is_numeric_dtype(table.dtypes.iloc[place]))


def _width(cell: str) -> int:
    """Columns of a terminal: wide signs take two, combining ones none."""
    return sum(
        0 if unicodedata.combining(sign) else 2 if unicodedata.east_asian_width(sign) in "WF" else 1 for sign in cell
    )


def _padded(cell: str, width: int, numeric: bool) -> str:
    gap = " " * (width - _width(cell))
    return gap + cell if numeric else cell + gap
