"""What every part of a modded amp carries where a parts list looks; plan, quote and papers ask for the same again."""

from __future__ import annotations

from collections.abc import Sequence

import pandas as pd

from ...base.progress import Progress
from ...circuit.amp import Amp
from ...circuit.positions import Position
from ...measures.labels import records
from ...simulation.kept_work import worked_out
from ...studies.loudest import loudest_knobs
from ...studies.ratings.parts import part_ratings
from ...studies.ratings.simulate import HARD, stress

_TEXTS = {"variant", "position", "part", "kind"}


def loads(stock: Amp, modded: Amp, positions: Sequence[Position], progress: Progress | None = None) -> pd.DataFrame:
    """What parts carry, with the amp's own knobs where it is loudest while driven.

    Parameters
    ----------
    stock, modded : Amp
        Knobs that the first has not are the mods' own, which the positions set.
    positions : sequence of mapping
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
    apart = sorted(modded.controls.keys() - stock.controls.keys())

    def work_out() -> pd.DataFrame:
        loud = loudest_knobs(modded, [tone.frequency for tone in HARD], apart)
        return part_ratings(stress(modded, positions, progress=progress, driven_at=loud))

    asked = ("loads", repr(modded), apart, [sorted(each.items()) for each in positions])
    return worked_out(asked, _read, records, work_out)


def _read(rows: list[dict[str, object]]) -> pd.DataFrame:
    table = pd.DataFrame(rows)
    for name in table.columns:
        kinds = str if name in _TEXTS else float
        if not all(isinstance(each, kinds) for each in table[name]):
            raise TypeError(name)
    if not _TEXTS.issubset(table.columns):
        raise KeyError("part")
    return table
