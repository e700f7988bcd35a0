"""What pictures over level share: the axis, marks of stock and modded, and levels in words."""

from __future__ import annotations

import math
from typing import Any

import xarray as xr
from matplotlib.axes import Axes
from matplotlib.ticker import FixedLocator, FuncFormatter, NullLocator

from ...base.wording import in_volts
from ...pictures import style
from ...pictures.axes import faint_lines


def level_words(level: float, chosen: xr.Dataset) -> str:
    """A level [V peak] in words; 0 is below the ladder of a response, infinite above it."""
    lowest, highest = chosen["level"].values[[0, -1]]
    if level == 0.0:
        return f"below {in_volts(lowest)}"
    return in_volts(level) if math.isfinite(level) else f"not up to {in_volts(highest)}"


def level_axis(axes: Axes, chosen: xr.Dataset, labelled: bool) -> None:
    """Log level over the whole ladder of a response [V peak].

    Parameters
    ----------
    axes : matplotlib Axes
    chosen : xarray.Dataset
        Of `ampsim.studies.headroom.simulate.headroom`.
    labelled : bool
        Whether the levels are written below.
    """
    lowest, highest = (float(each) for each in chosen["level"].values[[0, -1]])
    axes.set_xscale("log")
    axes.set_xlim(lowest / 1.15, highest * 1.15)
    below, beyond = math.floor(math.log10(lowest)), math.ceil(math.log10(highest))
    axes.xaxis.set_major_locator(FixedLocator([10.0**decade for decade in range(below, beyond + 1)]))
    axes.xaxis.set_minor_locator(NullLocator())
    axes.xaxis.set_major_formatter(
        FuncFormatter(lambda volts, _: f"{volts:g} V" if volts > 0.9 else f"{1e3 * volts:g} mV")
    )
    faint_lines(axes, [n * 10.0**decade for decade in range(below, beyond) for n in range(2, 10)])
    axes.tick_params(axis="x", labelbottom=labelled)
    if labelled:
        where = f"level {chosen.attrs['source']} [peak]"
        axes.set_xlabel(where, fontsize=style.TEXT_SIZE, color=style.INK, labelpad=4)


def marks_of(chosen: xr.Dataset) -> list[dict[str, Any]]:
    """How the mark of each variant is drawn, for `Axes.plot`: open for stock, filled for modded."""
    stock = {
        "marker": "D",
        "markersize": 6.5,
        "markerfacecolor": "white",
        "markeredgecolor": style.STOCK,
        "markeredgewidth": 1.6,
    }
    modded = {"marker": "o", "markersize": 5.0, "markerfacecolor": style.MODDED, "markeredgecolor": style.MODDED}
    return [stock, modded][-chosen.sizes["variant"] :]
