"""What a render depends on, as one hash: circuit, knobs, valves, signal, options and the code that computes it."""

from __future__ import annotations

import hashlib
import json
from collections.abc import Sequence
from functools import lru_cache
from importlib import metadata
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from ..circuit.amp import Amp
from ..circuit.positions import Position
from ..simulation.analyses import OperatingPoint
from ..simulation.netlist import build
from .phrases import RATE

_CODE = ("simulation/timestep", "circuit/valves")
_LIBRARIES = ("numpy", "scipy", "numba")


def case_key(
    amp: Amp,
    position: Position,
    moves: Sequence[tuple[float, Position]],
    signal: NDArray[np.float64],
    node: str,
    oversampling: int,
) -> str:
    """64 hexadecimal digits; equal for equal circuits and knobs, whatever amps, mods and positions are called.

    Parameters
    ----------
    amp : Amp
    position : mapping
        Where its controls stand at first.
    moves : sequence of (float, mapping)
        What is turned or switched on the way, and when [s].
    signal : ndarray
        What goes into the amp [V].
    node : str
        The place listened at.
    oversampling : int
        Steps to a sample.

    Raises
    ------
    DescriptionError
        For an unknown place or position.
    """
    stands = [(0.0, position), *whole_moves(position, moves)]
    facts = {
        "circuits": [(float(at), _circuit(amp, there, node)) for at, there in stands],
        "signal": hashlib.sha256(np.ascontiguousarray(signal, "<f8").tobytes()).hexdigest(),
        "rate": RATE,
        "oversampling": oversampling,
        "code": _code(),
    }
    return hashlib.sha256(json.dumps(facts, sort_keys=True).encode()).hexdigest()


def known_controls(amp: Amp, position: Position) -> dict[str, Any]:
    """The part of a position that an amp has controls for; the others are those of another variant."""
    return {name: value for name, value in position.items() if name in amp.controls}


def whole_moves(position: Position, moves: Sequence[tuple[float, Position]]) -> list[tuple[float, dict[str, Any]]]:
    """Moves with everything that stands by then, not only what moves: (when [s], position)."""
    found, stands = [], dict(position)
    for at, there in moves:
        stands = stands | dict(there)
        found.append((float(at), stands))
    return found


def _circuit(amp: Amp, position: Position, node: str) -> list[str]:
    """The netlist at a position, which holds every value and valve; and what it calls the place."""
    netlist = build(amp, position, OperatingPoint(), (node,))
    return [netlist.digest, *netlist.form.vectors]


@lru_cache(maxsize=1)
def _code() -> list[str]:
    """Versions of the libraries, and a hash of the modules that compute: another solver, another sound."""
    from .. import __version__

    found = [f"ampsim {__version__}"]
    for name in _LIBRARIES:
        try:
            found.append(f"{name} {metadata.version(name)}")
        except metadata.PackageNotFoundError:
            found.append(f"{name} none")
    home = Path(__file__).resolve().parent.parent
    files = sorted(path for name in _CODE for path in (home / name).glob("*.py"))
    found.append(hashlib.sha256(b"\0".join(path.read_bytes() for path in files)).hexdigest())
    return found
