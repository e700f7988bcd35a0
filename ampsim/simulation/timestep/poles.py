"""The poles of an amp at rest: whether it stays there, whoever computes it, and at what frequency it leaves."""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np

from ...circuit.build import Circuit
from .branches import parts_of
from .machine import Machine
from .starting import machine_at_rest

_STEP = 1.0 / 48e3  # s; the poles do not depend on it


def rightmost_pole(wired: Circuit, setting: Mapping[str, float | str]) -> complex:
    """The pole [1/s] of a circuit at rest with the largest real part, minus infinity where nothing is stored.

    With a real part above zero the circuit cannot stay at rest; the imaginary part is then its frequency [rad/s].
    Oscillators that it is meant to have stand still.

    Parameters
    ----------
    wired : Circuit
        With its switches as the setting says.
    setting : mapping
        Every control with its rotation or position.

    Raises
    ------
    EngineError
        When no operating point is found.
    """
    return pole_of(machine_at_rest(parts_of(wired, setting, still=True), wired.speaker, _STEP))


def pole_of(machine: Machine) -> complex:
    """As `rightmost_pole`, of a machine that has come to rest [1/s]."""
    from scipy.linalg import eigvals

    found = machine.setting.equations
    if not len(found.energy):
        return complex(-np.inf)
    ports, slopes = found.ports, machine.slopes()
    drive, read = found.drive[:, -ports:], found.read[:ports]
    currents = np.linalg.solve(np.eye(ports) - slopes @ found.through[:ports, -ports:], slopes @ read)
    poles = eigvals(found.slope + drive @ currents, found.energy)
    finite = poles[np.isfinite(poles)]
    return complex(finite[np.argmax(finite.real)])
