"""A search for the worst corner is made once, what is told of it included: stock is the same for every mod."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from functools import partial
from typing import Any

import numpy as np
import pandas as pd
import xarray as xr

from ...circuit.amp import Amp
from ...circuit.positions import Position
from ...simulation.kept_work import worked_out
from ...simulation.loop_gain import as_response
from ...simulation.request import request
from .corner_search import Setting
from .line import different
from .worst_corner import MOST, Corners, worst_corners


def once_searched(
    amp: Amp, fixed: Position | None = None, most: int = MOST, controls: Sequence[str] | None = None
) -> Corners:
    """As `worst_corners` of the global loop; where the same was searched before nothing is simulated.

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
    return {**facts, **places, "table": table, "response": _packed_response(found.response)}


def _packed_response(response: xr.Dataset) -> dict[str, Any]:
    gains = response["loop_gain"].values[0]
    parts = {"real": gains.real.tolist(), "imaginary": gains.imag.tolist()}
    return {"hertz": response["frequency"].values.tolist(), **parts, "facts": response.attrs}


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
        _response(amp, different([start, worst, closest]), kept["response"]),
        float(kept["apart"]),
    )


def _response(amp: Amp, positions: Sequence[Setting], kept: Mapping[str, Any]) -> xr.Dataset:
    hertz, *parts = (np.array(kept[name], float) for name in ("hertz", "real", "imaginary"))
    known = all(np.isfinite(each).all() for each in (hertz, *parts)) and bool((np.diff(hertz) > 0.0).all())
    if not known or any(each.shape != (len(positions), hertz.size) for each in parts):
        raise ValueError(kept)
    facts = {str(name): each for name, each in kept["facts"].items() if isinstance(each, str)}
    return as_response(request(amp, positions), hertz, parts[0] + 1j * parts[1], facts)


def _setting(amp: Amp, kept: Setting) -> Setting:
    """A setting of controls that the amp has."""
    return {name: amp.controls[name].check(value, amp.file) for name, value in kept.items()}
