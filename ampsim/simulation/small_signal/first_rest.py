"""The operating point of a circuit as drawn, from nothing, by any way that the time-step solver knows."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np

from ..timestep.arrival import arrive
from ..timestep.branches import Seat
from ..timestep.compiled import align
from ..timestep.kernel_arguments import COUNTS, ROWS, TOLERANCE, WANTED, Array, Solver, V
from ..timestep.sockets import seats_of
from ..timestep.step_laws import STEP_LAWS


def first_volts(given: Sequence[Seat], still: Array, ohms: Array) -> Array | None:
    """Volts at the laws' ports [V], in the order of the seats, about as they are at rest; None where it knows none.

    Parameters
    ----------
    given : sequence of Seat
    still : ndarray
        Volts [V] while no law lets anything through, shape (ports,).
    ohms : ndarray
        What a current through each port does at all of them [ohm], shape (ports, ports).
    """
    if any(seat.law not in STEP_LAWS for seat in given):
        return None
    named = [replace(seat, name=f"{number}") for number, seat in enumerate(given)]
    seats = seats_of(named)
    order = [seats.columns[seat.name, port] for seat in named for port in range(len(seat.ports))]
    wanted, coupling = np.zeros(len(order)), np.zeros((len(order),) * 2)
    wanted[order] = still
    coupling[np.ix_(order, order)] = ohms
    work = align(np.zeros((ROWS, seats.width)))
    work[WANTED] = seats.spread(wanted)
    valves = seats.valves._replace(blocks=align(seats.valves.blocks))
    state = np.zeros(COUNTS, dtype=np.int64)
    whole = align(seats.spread(coupling.T))
    if not arrive(Solver(valves, whole, seats.unit, TOLERANCE, work, align(np.eye(seats.width)), state)):
        return None
    return np.asarray(work[V, order])
