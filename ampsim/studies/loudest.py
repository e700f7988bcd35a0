"""Where a player's controls make an amp loudest: what it carries driven hard is known with them there."""

from __future__ import annotations

from collections.abc import Collection, Iterator, Sequence

import numpy as np

from ..circuit.amp import Amp
from ..circuit.build import SPEAKER, build_circuit
from ..circuit.control import Control
from ..circuit.neighbours import feeds_from_supply
from ..simulation.analyses import FrequencySweep
from ..simulation.response import simulate

_MIDDLE = 0.5
_ENDS = (0.0, 1.0)
_LOUDER_DB = 1.0  # a control that makes less than this of a difference stays as drawn
_FAINT = 1e-12
Setting = dict[str, float | str]


def loudest_setting(amp: Amp, hertz: Sequence[float], apart: Collection[str] = ()) -> Setting:
    """The controls that make an amp louder, each where it is loudest with every knob half way up.

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
    controls = [each for each in _played(amp) if each.name not in apart]
    middle: Setting = {each.name: _MIDDLE for each in controls if each.kind == "knob"}
    tried = [(each, value) for each in controls for value in (each.positions or _ENDS)]
    if not tried:
        return {}
    levels = _levels_db(amp, [middle | {control.name: value} for control, value in tried], hertz)
    found: Setting = {}
    for control in controls:
        own = {value: level for (each, value), level in zip(tried, levels, strict=True) if each is control}
        if max(own.values()) - min(own.values()) > _LOUDER_DB:
            found[control.name] = max(own, key=lambda value, own=own: own[value])  # type: ignore[misc]
    return found


def _played(amp: Amp) -> Iterator[Control]:
    wired = build_circuit(amp)
    pots = {each.designator for each in wired.elements if each.kind == "pot"}
    for control in amp.controls.values():
        own = pots & {*control.designators}
        if control.kind == "switch" or not all(feeds_from_supply(wired, name) for name in own):
            yield control


def _levels_db(amp: Amp, positions: Sequence[Setting], hertz: Sequence[float]) -> list[float]:
    """What 1 V at the source makes at the speaker at each position [dB], the mean over the frequencies."""
    levels = []
    for each in hertz:
        found = simulate(amp, FrequencySweep(each, 10.0 * each, 1), positions, [SPEAKER])["voltage"]
        volts = np.abs(found.isel(variant=0, node=0, frequency=0).values)
        levels.append(20.0 * np.log10(np.maximum(volts, _FAINT)))
    return [float(each) for each in np.mean(levels, axis=0)]
