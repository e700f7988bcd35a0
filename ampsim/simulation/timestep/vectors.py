"""Where the solver has what ngspice calls a vector."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass

import numpy as np

from ...base.errors import EngineError
from ...circuit.amp import Socket
from ...circuit.build import Circuit
from ...circuit.semiconductors.device import Device
from ...circuit.semiconductors.laws import LAWS, pieces_of
from ..devices import package
from ..netlist import piece_vector, valve_vectors
from .branches import Parts
from .kernel_arguments import Array, Integers
from .sockets import Seats

_PORTS = {"plate": 0, "grid": 1, "screen": 2}


@dataclass(frozen=True, eq=False)
class Reading:
    """Vectors by name, where `Machine.observe` has them, and how many of ngspice's units an ampere or volt is."""

    nets: tuple[str, ...]
    names: tuple[str, ...]
    columns: Integers
    units: Array


def reading(wired: Circuit, parts: Parts, seats: Seats, vectors: Sequence[str]) -> Reading:
    """How to read vectors.

    Parameters
    ----------
    wired : Circuit
    parts : Parts
        The same as numbers.
    seats : Seats
        Its valves and semiconductors.
    vectors : sequence of str
        By the names of `netlist.node_vector`, `valve_vectors` and `device_vectors`.

    Raises
    ------
    EngineError
        For a vector that the solver does not have.
    """
    ends = [(each.first, each.second) for each in parts.branches]
    by_vector = {f"v({net})": net for pair in (*ends, *seats.ports) for net in pair} | {
        f"v({net})": net for net in parts.held
    }
    nets = tuple(dict.fromkeys([wired.speaker, *(by_vector[name] for name in vectors if name in by_vector)]))
    known = {name: (nets.index(by_vector[name]), 1.0) for name in vectors if name in by_vector}
    for name, seat, port, unit in _currents(wired):
        if (seat, port) in seats.columns:
            known[name] = (len(nets) + seats.columns[seat, port], unit)
    missing = [name for name in vectors if name not in known]
    if missing:
        raise EngineError(f"the time-step solver does not give {missing[0]}")
    found = [known[name] for name in vectors]
    columns = np.array([at for at, _ in found], dtype=np.int64)
    return Reading(nets, tuple(vectors), columns, np.array([unit for _, unit in found]))


def _currents(wired: Circuit) -> Iterator[tuple[str, str, int, float]]:
    """Vector of a current, its seat and port, and how many of its units an ampere is."""
    for element in wired.elements:
        part = wired.parts.get(element.designator)
        if isinstance(part, Socket):
            family = wired.amp.valve_by_type[part.type].family
            for electrode, vector in valve_vectors(part.designator, family).items():
                yield vector, part.designator.lower(), _PORTS[electrode], 1.0 if electrode == "grid" else 1e3
        elif isinstance(part, Device):
            device = wired.amp.semiconductor_by_type[part.type]
            laws = {each.name: each.law for each in pieces_of(device).laws}
            for name in {name for pieces in LAWS[device.law].into.values() for name in pieces}:
                piece, port = (name, 0) if name in laws else _of_two(name)
                for own in package(part):
                    vector, amperes = piece_vector(own, name, laws.get(name, ""))
                    yield vector, f"{own.lower()}.{piece}", port, 1.0 / amperes


def _of_two(name: str) -> tuple[str, int]:
    """The piece and the port of one of the two currents of a piece: "output_sink"."""
    piece, _, which = name.rpartition("_")
    return piece, 0 if which == "source" else 2
