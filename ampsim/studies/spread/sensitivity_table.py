"""Which parts matter most: sensitivities of every part, ranked."""

from __future__ import annotations

import numpy as np
import pandas as pd
import xarray as xr

from ...base.errors import DescriptionError
from ...measures.labels import index_of


def sensitivity_table(
    response: xr.Dataset,
    band: tuple[float, float] = (80.0, 6000.0),
    variant: str | None = None,
    position: str | None = None,
) -> pd.DataFrame:
    """Rank the parts by what they do to the gain in a band.

    Parameters
    ----------
    response : xarray.Dataset
        Of `ampsim.studies.spread.sensitivity.sensitivity`.
    band : (float, float)
        Frequencies [Hz]; both equal: the point of the sweep nearest to it.
    variant, position : str
        Default the last variant and the first position.

    Returns
    -------
    pandas.DataFrame
        part, for ("10 %" or "1 standard deviation"), "change [dB]": mean over log frequency of the change of gain;
        "largest [dB]" and "at [Hz]": where in the band it is largest. Largest mean first.

    Raises
    ------
    DescriptionError
        For unknown labels or a band without a frequency of the sweep.
    """
    row = -1 if variant is None else index_of(response, "variant", variant)
    place = 0 if position is None else index_of(response, "position", position)
    slope = response["slope"].isel(variant=row, position=place).dropna("part", how="all")
    frequency = slope["frequency"].values
    inside = (frequency >= band[0] * (1.0 - 1e-9)) & (frequency <= band[1] * (1.0 + 1e-9))
    if band[0] == band[1]:
        inside = np.arange(frequency.size) == int(np.argmin(np.abs(np.log(frequency / band[0]))))
    if not inside.any():
        raise DescriptionError(f"no frequency of this sweep lies from {band[0]:g} to {band[1]:g} Hz")
    here = slope.values[:, inside]
    most = np.argmax(np.abs(here), axis=1)
    table = pd.DataFrame(
        {
            "part": slope["part"].values,
            "for": slope["per"].values,
            "change [dB]": here.mean(axis=1),
            "largest [dB]": here[np.arange(len(here)), most],
            "at [Hz]": frequency[inside][most],
        }
    )
    return table.sort_values("change [dB]", key=abs, ascending=False, kind="stable").reset_index(drop=True)
