"""A search for the worst corner is made once: stock is the same for every mod. What is told is simulated anew."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from functools import partial
from typing import Any

import pandas as pd

from ...circuit.amp import Amp
from ...circuit.positions import Position
from ...simulation.kept_work import worked_out
from .corner_search import Setting
from .line import Line
from .worst_corner import MOST, Corners, worst_corners


def once_searched(
    amp: Amp, fixed: Position | None = None, most: int = MOST, controls: Sequence[str] | None = None
) -> Corners:
    """As `worst_corners` of the global loop; where the same was searched before ngspice only does what is told.

    Parameters
    ----------
    amp, fixed, most, controls
        As those of `worst_corners`; rotations as ratios.

    Raises
    ------
    DescriptionError, EngineError
        As `worst_corners`.
    """
    held = dict(fixed or {})
    asked = ("worst corners", repr(amp), list(held.items()), most, controls)
    return worked_out(
        asked, partial(_read, amp), _packed, lambda: worst_corners(amp, None, held, most, controls=controls)
    )


def _packed(found: Corners) -> dict[str, Any]:
    places = {name: getattr(found, name) for name in ("start", "worst", "closest", "telling")}
    table = {name: found.table[name].tolist() for name in found.table}
    facts = {"effects": found.effects, "controls": found.controls, "probed": found.probed, "apart": found.apart}
    return {**facts, **places, "table": table}


def _read(amp: Amp, kept: Mapping[str, Any]) -> Corners:
    start, worst, closest, telling = (_setting(amp, kept[name]) for name in ("start", "worst", "closest", "telling"))
    return Corners(
        {amp.controls[name].name: float(effect) for name, effect in kept["effects"].items()},
        tuple(amp.controls[name].name for name in kept["controls"]),
        pd.DataFrame({str(name): column for name, column in kept["table"].items()}),
        int(kept["probed"]),
        start,
        worst,
        closest,
        telling,
        Line(amp, None, ()).closely([start, worst, closest]),
        float(kept["apart"]),
    )


def _setting(amp: Amp, kept: Setting) -> Setting:
    """A setting of controls that the amp has."""
    return {name: amp.controls[name].check(value, amp.file) for name, value in kept.items()}
