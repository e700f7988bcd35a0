"""Which controls and parts change no gain as all the others stand: decided by simulations, not by names."""

from __future__ import annotations

import time
from collections.abc import Sequence

import numpy as np

from ...base.progress import Progress
from ...simulation.analyses import FrequencySweep
from ...simulation.response import simulate
from .dials import Dial
from .simulator import PanelSimulator, Position, own_settings

HEARD_DB = 0.01  # a gain that moves by less has not moved
_SWEEP = FrequencySweep(20.0, 20e3, 4)
_PAUSE, _PAUSES = 0.1, 5  # s, and how many of them


def idle_dials(
    simulator: PanelSimulator, dials: Sequence[Dial], here: Position, node: str, progress: Progress
) -> list[str]:
    """Keys of the knobs, switches and parts that change the gain of neither amp by 0.01 dB, 20 Hz to 20 kHz.

    Knobs and parts are tried at both ends and in the middle, switches in every position.

    Parameters
    ----------
    simulator : PanelSimulator
    dials : sequence of Dial
    here : Position
        Where everything else stands.
    node : str
        The place listened at.
    progress : callable
        Called with (done, total, text) in between; may stop it by raising.

    Raises
    ------
    EngineError
        When ngspice gives no trustworthy answer.
    """
    asked = [dial for dial in dials if dial.kind in ("knob", "switch", "part")]
    drawn = _levels(simulator, here, node)
    found = []
    for number, dial in enumerate(asked):
        for step in _tried(dial):
            progress(number, len(asked), dial.name)
            if np.abs(_levels(simulator, _at(here, dial, step), node) - drawn).max() >= HEARD_DB:
                break
        else:
            found.append(dial.key)
    return found


def idle_at_rest(
    simulator: PanelSimulator, dials: Sequence[Dial], here: Position, node: str, progress: Progress
) -> list[str]:
    """As `idle_dials`, once nothing has moved for a while: a hand that goes on must not wait for these simulations.

    Parameters
    ----------
    simulator, dials, here, node, progress
        As of `idle_dials`.

    Raises
    ------
    EngineError
        As `idle_dials`.
    """
    for _ in range(_PAUSES):
        time.sleep(_PAUSE)
        progress(0, 1, "")
    return idle_dials(simulator, dials, here, node, progress)


def _tried(dial: Dial) -> list[int]:
    last = len(dial.values) - 1
    return [0, last // 2, last] if dial.slides else list(range(last + 1))


def _at(here: Position, dial: Dial, step: int) -> Position:
    value = dial.values[step]
    if dial.kind == "part":
        return Position(here.name, here.settings, {**here.values, dial.name: float(value)})
    return Position(here.name, {**here.settings, dial.name: value}, here.values)


def _levels(simulator: PanelSimulator, position: Position, node: str) -> np.ndarray:
    """Gain of both amps over frequency [dB]; where there is none, all is silent alike."""
    amps = (simulator.stock, simulator.amp_at(position))
    rows = [
        simulate(amp, _SWEEP, [own_settings(amp, position)], [node], workers=1)["voltage"].values.ravel()
        for amp in amps
    ]
    return np.asarray(20.0 * np.log10(np.maximum(np.abs(rows), 1e-12)))
