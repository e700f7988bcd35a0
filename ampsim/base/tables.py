"""Frames of numbers as plain text; units stand in the headers. Loads pandas only where a frame is made."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING

from .notebook import line_width
from .table_layout import Column, lay_out
from .wording import one_line, round_column

if TYPE_CHECKING:
    import pandas as pd
    import xarray as xr


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
    import pandas as pd

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
    """The table as aligned plain text, at most 100 signs to a line (76 in a notebook): numbers to the right."""
    return _aligned(*table_cells(table))


def text_of_rows(header: Sequence[str], rows: Sequence[Sequence[object]]) -> str:
    """Rows of texts and numbers as `text_table` writes them, under a header."""
    columns = list(zip(*rows, strict=True)) if rows else [() for _ in header]
    numeric = [bool(column) and all(isinstance(each, (int, float)) for each in column) for column in columns]
    return _aligned([_cells(*each) for each in zip(header, columns, strict=True)], numeric)


def _aligned(columns: list[list[str]], numeric: list[bool]) -> str:
    made = [Column(each[0], tuple(each[1:]), kind) for each, kind in zip(columns, numeric, strict=True)]
    return lay_out(made, line_width())


def _place(values: xr.DataArray, dim: str, label: object) -> str:
    unit = values[dim].attrs.get("units")
    name = f"{label:g}" if isinstance(label, float) else str(label)
    return f"{name} {unit}" if unit else f"{dim} {name}"


def table_cells(table: pd.DataFrame) -> tuple[list[list[str]], list[bool]]:
    """Header and cells of each column as text, and whether it holds numbers."""
    places = range(table.shape[1])
    cells = [_cells(table.columns[place], table.iloc[:, place].tolist()) for place in places]
    return cells, [_is_numeric(table, place) for place in places]


def _cells(header: object, values: Sequence[object]) -> list[str]:
    """Header and cells of a column, each on one line without control characters."""
    cells = [str(header), *round_column(values)]
    return [one_line(cell) for cell in cells]


def _is_numeric(table: pd.DataFrame, place: int) -> bool:
    import pandas as pd

    return bool(pd.api.types.is_numeric_dtype(table.dtypes.iloc[place]))
