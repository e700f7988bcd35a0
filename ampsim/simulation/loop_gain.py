"""Loop gain of a feedback amp, measured with the loop closed."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import replace
from typing import Any

import numpy as np
import xarray as xr
from numpy.typing import NDArray

from ..base.progress import Progress
from ..circuit.amp import Amp
from ..circuit.feedback import feedback_place
from ..circuit.positions import Position
from .analyses import LoopSweep
from .drives import PROBE_VECTORS
from .netlist import build
from .request import answers, request
from .response import provenance


def loop_gain(
    amps: Amp | Sequence[Amp],
    at: str | None = None,
    positions: Iterable[Position] = ({},),
    sweep: LoopSweep | None = None,
    progress: Progress | None = None,
) -> xr.Dataset:
    """Loop gain of one or more variants over positions of their controls.

    It is measured with the loop closed, so the amp stays at its operating point.

    Parameters
    ----------
    amps : Amp or sequence of Amp
    at : str
        The part's end whose wire carries the whole feedback, such as ``R20.1``. Default: found from the output
        transformer of the first variant, see `feedback_place`.
    positions : iterable of mapping
        As in `simulate`.
    sweep : LoopSweep
        Frequencies; default 1 Hz to 1 MHz, 25 a decade.
    progress : callable
        Called with (done, total).

    Returns
    -------
    xarray.Dataset
        `loop_gain` complex, without unit, dims (variant, position, frequency): positive and real where the feedback
        is negative. The loop becomes unstable when it encircles -1.

    Raises
    ------
    DescriptionError
        When no feedback is found and no place is named, or the place does not exist.
    EngineError
        When ngspice gives no trustworthy answer.

    References
    ----------
    R. D. Middlebrook, Measurement of loop gain in feedback systems, Int. J. Electronics 38(4), 1975; double injection
    with both directions of the loop as in M. Tian et al., Striving for small-signal stability, IEEE Circuits and
    Devices Magazine 17(1), 2001 (both from memory).
    """
    asked = request(amps, positions)
    base = replace(sweep or LoopSweep(), at=at or feedback_place(asked.variants[0]))
    runs = [(case, replace(base, injection=kind)) for case in asked.cases for kind in ("voltage", "current")]
    netlists = [build(case.amp, case.position, run, ()) for case, run in runs]
    found = answers([case for case, _ in runs], netlists, f"loop gain at {base.at}")
    rows = [_return_ratio(one, two) for one, two in zip(found[::2], found[1::2], strict=True)]
    table = np.array(rows).reshape(*asked.shape, -1)
    data = {"loop_gain": (("variant", "position", "frequency"), table, {"units": "1"})}
    coords = asked.coords() | {"frequency": ("frequency", base.grid(), {"units": "Hz"})}
    return xr.Dataset(data, coords, provenance(asked.variants, base, netlists, found) | {"at": base.at})


def _return_ratio(voltage: Any, current: Any) -> NDArray[np.complex128]:
    v1, i1 = (np.asarray(voltage.vectors[name]) for name in PROBE_VECTORS)
    v2, i2 = (np.asarray(current.vectors[name]) for name in PROBE_VECTORS)
    d = 2.0 * (i1 * v2 - v1 * i2) - v1 - i2
    return np.asarray(-1.0 / (1.0 - 1.0 / d))
