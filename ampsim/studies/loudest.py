"""Where a player's knobs make an amp loudest: what it carries driven hard is known with them there."""

from __future__ import annotations

from collections.abc import Collection, Sequence

import numpy as np

from ..circuit.amp import Amp
from ..circuit.build import SPEAKER, build_circuit
from ..circuit.neighbours import feeds_from_supply
from ..simulation.analyses import FrequencySweep
from ..simulation.response import simulate

_MIDDLE = 0.5
_ENDS = (0.0, 1.0)
_LOUDER_DB = 1.0  # a knob that makes less than this of a difference stays as drawn
_FAINT = 1e-12


def loudest_knobs(amp: Amp, hertz: Sequence[float], apart: Collection[str] = ()) -> dict[str, float | str]:
    """The knobs that make an amp louder, each at that end where it is louder with every knob half way up.

    Parameters
    ----------
    amp : Amp
    hertz : sequence of float
        Frequencies whose levels count together [Hz].
    apart : collection of str
        Controls that stay as drawn; so do knobs that set volts of the supply, such as a bias pot, which nobody plays.

    Raises
    ------
    EngineError
        When ngspice gives no trustworthy answer.
    """
    knobs = [name for name in _played(amp) if name not in apart]
    if not knobs:
        return {}
    middle = dict.fromkeys(knobs, _MIDDLE)
    levels = iter(_levels_db(amp, [middle | {name: end} for name in knobs for end in _ENDS], hertz))
    found: dict[str, float | str] = {}
    for name, low, high in [(name, next(levels), next(levels)) for name in knobs]:
        if abs(high - low) > _LOUDER_DB:
            found[name] = _ENDS[high > low]
    return found


def _played(amp: Amp) -> list[str]:
    wired = build_circuit(amp)
    pots = {each.designator for each in wired.elements if each.kind == "pot"}
    knobs = [each for each in amp.controls.values() if each.kind == "knob" and pots & {*each.designators}]
    return [each.name for each in knobs
            if not all(feeds_from_supply(wired, name) for name in pots & {*each.designators})]  # fmt: skip


def _levels_db(amp: Amp, positions: Sequence[dict[str, float]], hertz: Sequence[float]) -> list[float]:
    """What 1 V at the source makes at the speaker at each position [dB], the mean over the frequencies."""
    levels = []
    for each in hertz:
        found = simulate(amp, FrequencySweep(each, 10.0 * each, 1), positions, [SPEAKER])["voltage"]
        volts = np.abs(found.isel(variant=0, node=0, frequency=0).values)
        levels.append(20.0 * np.log10(np.maximum(volts, _FAINT)))
    return [float(each) for each in np.mean(levels, axis=0)]
