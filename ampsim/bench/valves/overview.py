"""Every valve at one look: its curves over its published points in small, and how far each is off, as a table."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING

import numpy as np
from matplotlib.axes import Axes
from matplotlib.ticker import MaxNLocator

from ...base.errors import DescriptionError
from ...circuit.valves.description import Valve
from ...circuit.valves.deviation import Deviation
from ...circuit.valves.laws import LAWS
from ...library.kinds import listing
from ...library.loader import load_valve
from ...pictures import style
from ...pictures.canvas import Keys, Picture, start_picture
from .curves import curve_families
from .picture import ASIDE, BEYOND, FITTED, LINE, draw_curves, draw_points
from .residuals import Residuals

if TYPE_CHECKING:
    import pandas as pd

_COLUMNS, _TALL, _BETWEEN, _LEFT = 4, 1.22, 0.52, 0.36  # inches but the first


def valves_of(family: str) -> list[Valve]:
    """The valves that come along, "triode" or "pentode", without the published laws of others.

    Among them are types of the very system of another, whose points no fit used.

    Raises
    ------
    DescriptionError
        For another word.
    """
    if family not in ("triode", "pentode"):
        raise DescriptionError(f"{family!r} is no family of valves; triode, pentode")
    found = (load_valve(name) for name in listing()["valves"])
    return [valve for valve in found if valve.family == family and isinstance(LAWS[valve.law].deviation, Deviation)]


def trust_table(valves: Sequence[Valve]) -> pd.DataFrame:
    """A row a valve: how many figures it was fitted to and predicts, and how far off it is [%], at rest."""
    import pandas as pd

    rows = []
    for valve in valves:
        residuals = Residuals(valve)
        ours = residuals.values(np.array([value for _, value in valve.parameters]))
        off = 100.0 * np.abs(ours / residuals.published - 1.0)
        row: dict[str, object] = {"valve": valve.type}
        for used, name in ((True, "fitted"), (False, "predicted")):
            chosen = off[residuals.fitted] if used else off[~residuals.fitted]
            row[name] = len(chosen)
            row[f"{name}, median off [%]"] = float(np.median(chosen)) if chosen.size else np.nan
            row[f"{name}, most off [%]"] = float(chosen.max()) if chosen.size else np.nan
        memory = sum(point.flag == "from memory" for point in valve.points)
        rows.append(row | {"from memory": memory})
    return pd.DataFrame(rows)


@style.picture_settings()
def valves_picture(valves: Sequence[Valve], title: str = "Curves over published points") -> Picture:
    """Draw the curves of many valves in small, each over its published plate currents.

    Parameters
    ----------
    valves : sequence of Valve
    title : str
    """
    rows = -(-len(valves) // _COLUMNS)
    keys: Keys = [("within the range of its points", LINE), ("beyond it: the law's guess", BEYOND),
            ("published, fitted", FITTED), ("published, predicted", ASIDE)]  # fmt: skip
    subtitle = "plate mA over plate volts; a pentode with the screen, or connected, as most of its points are"
    picture, top = start_picture(
        title, subtitle, describe_valves(valves), [0.3, *[_TALL + _BETWEEN] * rows], keys, _LEFT
    )
    wide = (style.PAGE_WIDTH - _LEFT - 0.1) / _COLUMNS
    for number, valve in enumerate(valves):
        row, column = divmod(number, _COLUMNS)
        left, upper = _LEFT + column * wide, top - 0.3 - row * (_TALL + _BETWEEN)
        _draw_small(picture.box(left, upper - _TALL, left + wide - 0.36, upper), valve, number)
    return picture


def describe_valves(valves: Sequence[Valve]) -> str:
    """The same in words and numbers, one paragraph."""
    sentences = [f"Plate current over plate voltage of {len(valves)} valves, over their published points."]
    for row in trust_table(valves).to_dict("records"):
        fitted, predicted = row["fitted, median off [%]"], row["predicted, median off [%]"]
        ahead = f", {row['predicted']} predicted {predicted:.1f} % off" if row["predicted"] else ""
        sentences.append(f"{row['valve']}: {row['fitted']} figures fitted, {fitted:.1f} % off in the middle{ahead}.")
    return " ".join(sentences)


def _draw_small(axes: Axes, valve: Valve, number: int) -> None:
    family = curve_families(valve, 1)[0]
    axes.set_xlim(0.0, family.plate_end)
    axes.set_ylim(0.0, 1e3 * family.amps_end)
    for place, curve in enumerate(family.curves):
        draw_curves(axes, valve, curve, f"valve-{number}-{place}", 0.7)
    draw_points(axes, family, f"valve-{number}", 3.0)
    how = "" if valve.family == "triode" else ", as triode" if family.screen is None else f", {family.screen:g} V"
    axes.set_title(valve.type + how, fontsize=style.SMALL_SIZE, color=style.INK, loc="left", pad=3)
    for axis in (axes.xaxis, axes.yaxis):
        axis.set_major_locator(MaxNLocator(3, steps=[1, 2, 5, 10]))
    axes.tick_params(labelsize=6.5, colors=style.QUIET, length=2, pad=2)
    axes.grid(True, color=style.GRID, linewidth=0.5)
    axes.set_axisbelow(True)
    for side in ("top", "right"):
        axes.spines[side].set_visible(False)
    for side in ("left", "bottom"):
        axes.spines[side].set_color(style.QUIET)
        axes.spines[side].set_linewidth(0.6)
