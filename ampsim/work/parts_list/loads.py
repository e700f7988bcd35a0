"""What every part of a modded amp carries where a parts list looks; plan, quote and papers ask for the same again."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
import pandas as pd

from ...base.progress import Progress
from ...circuit.amp import Amp
from ...circuit.positions import Position
from ...measures.labels import records
from ...simulation.kept_work import worked_out
from ...studies.loudest import loudest_knobs
from ...studies.ratings.parts import part_ratings
from ...studies.ratings.runs import MISS, QUICK_MISS
from ...studies.ratings.simulate import HARD, Known, stress
from ...studies.ratings.usual import WATTS_FACTOR

_TEXTS = {"variant", "position", "part", "kind"}
# How much more steps that are ever finer may read than quick ones: four times what was seen.
_MORE_VOLTS, _MORE_WATTS = 1.25, 1.05


def loads(
    stock: Amp, modded: Amp, positions: Sequence[Position], quick: bool = False, progress: Progress | None = None
) -> pd.DataFrame:
    """What parts carry, with the amp's own knobs where it is loudest while driven.

    Parameters
    ----------
    stock, modded : Amp
        Knobs that the first has not are the mods' own, which the positions set.
    positions : sequence of mapping
    quick : bool
        Whether peaks may be read a little low, in half the time (`QUICK_MISS`).
    progress : callable
        Called with (done, total).

    Returns
    -------
    pandas.DataFrame
        As `ampsim.studies.ratings.parts.part_ratings` gives it.

    Raises
    ------
    EngineError
        When ngspice gives no trustworthy answer.
    """
    miss = QUICK_MISS if quick else MISS
    apart = sorted(modded.controls.keys() - stock.controls.keys())

    def work_out() -> pd.DataFrame:
        loud = loudest_knobs(modded, [tone.frequency for tone in HARD], apart)
        return part_ratings(stress(modded, positions, progress=progress, known=Known(miss), driven_at=loud))

    asked = ("loads", miss, repr(modded), apart, [sorted(each.items()) for each in positions])
    return worked_out(asked, _read, records, work_out)


def at_most(table: pd.DataFrame) -> pd.DataFrame:
    """What quick loads could come to in finer steps."""
    driven = WATTS_FACTOR * _MORE_WATTS * table["driven [W]"]
    return table.assign(**{
        "needs [V]": np.fmax(table["needs [V]"], _MORE_VOLTS * table["peak [V]"]),
        "needs [W]": np.fmax(table["needs [W]"], driven),
        "pulse [W]": _MORE_VOLTS**2 * table["pulse [W]"],
    })  # fmt: skip


def _read(rows: list[dict[str, object]]) -> pd.DataFrame:
    table = pd.DataFrame(rows)
    for name in table.columns:
        kinds = str if name in _TEXTS else float
        if not all(isinstance(each, kinds) for each in table[name]):
            raise TypeError(name)
    if not _TEXTS.issubset(table.columns):
        raise KeyError("part")
    return table
