"""Finding variants, positions and nodes of a response by name, and naming positions briefly."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import numpy as np
import pandas as pd
import xarray as xr

from ..base.errors import DescriptionError, nearest, shown
from ..circuit.positions import AS_DRAWN, control_named, setting_words


def expect(response: xr.Dataset, analysis: str) -> None:
    """Insist that a response comes from this kind of analysis.

    Raises
    ------
    DescriptionError
        When it does not.
    """
    given = response.attrs.get("analysis", "nothing known")
    if given != analysis:
        raise DescriptionError(f"this needs the response of a {analysis}; given: {given}")


def index_of(response: xr.Dataset | xr.DataArray, dim: str, label: str) -> int:
    """Place of a variant, position, node or branch along its dimension, whatever the values are ([V], [A], [dB]).

    Raises
    ------
    DescriptionError
        For an unknown label, with the nearest known ones.
    """
    known = [str(each) for each in response[dim].values]
    if label not in known:
        raise DescriptionError(f"no {dim} {shown(label)} in this response{nearest(label, known)}")
    return known.index(label)


def select(
    response: xr.Dataset, variants: Sequence[str] | None = None, positions: Sequence[str] | None = None
) -> xr.Dataset:
    """The response at some variants and positions, in the order asked; None takes all.

    Raises
    ------
    DescriptionError
        For an unknown label, with the nearest known ones.
    """
    for dim, labels in (("variant", variants), ("position", positions)):
        if labels is not None:
            response = response.isel({dim: [index_of(response, dim, label) for label in labels]})
    return response


def voltage_at(response: xr.Dataset, node: str | None, analysis: str) -> xr.DataArray:
    """Voltage [V] at a node (None: the output), dims (variant, position, frequency or time)."""
    expect(response, analysis)
    name = str(response.attrs["output"]) if node is None else node
    return response["voltage"].isel(node=index_of(response, "node", name))


def with_units(values: xr.DataArray, units: str, name: str, **attributes: Any) -> xr.DataArray:
    """The same numbers with a name, a unit ("V" for [V]) and nothing else in their attributes."""
    values = values.rename(name)
    values.attrs = {"units": units, **attributes}
    return values


def short_labels(response: xr.Dataset) -> list[str]:
    """Name each position by the settings that differ between positions: "bright 120p"; else by its full label."""
    varying = [name for name, values in _settings(response).items() if len(set(values)) > 1]
    labels = [
        ", ".join(words for name in varying if (words := _settings(response)[name][place]))
        or str(response["position"].values[place])
        for place in range(response.sizes["position"])
    ]
    return labels if len(set(labels)) == len(labels) else [str(each) for each in response["position"].values]


def common_settings(response: xr.Dataset) -> str:
    """The settings that all positions share, "gain 3, master 5"; empty when there are none."""
    shared = (values[0] for values in _settings(response).values() if len(set(values)) == 1)
    return ", ".join(words for words in shared if words)


def records(table: pd.DataFrame) -> list[dict[str, Any]]:
    """The rows of a table, column name to cell."""
    names = [str(name) for name in table.columns]
    columns = [table.iloc[:, place].tolist() for place in range(len(names))]
    return [dict(zip(names, row, strict=True)) for row in zip(*columns, strict=True)]


def control_values(response: xr.Dataset) -> dict[str, list[float | str]]:
    """Where each control that was set stands at each position [ratio, or a name]; NaN or `AS_DRAWN` where it is not."""
    along = ((str(name), coord) for name, coord in response.coords.items() if coord.dims == ("position",))
    named = ((control_named(name), coord.values) for name, coord in along)
    return {control: values.tolist() for control, values in named if control is not None}


def _settings(response: xr.Dataset) -> dict[str, list[str]]:
    """Control name to "control value" at each position, empty where the control stands as drawn."""
    return {name: [_setting(name, value) for value in values] for name, values in control_values(response).items()}


def _setting(name: str, value: Any) -> str:
    if isinstance(value, str):
        return "" if value == AS_DRAWN else setting_words(name, value)
    return "" if np.isnan(value) else setting_words(name, float(value))
