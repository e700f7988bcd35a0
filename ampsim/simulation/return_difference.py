"""What all valves of an amp together do to its stability: the return difference of their currents."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from ..base.progress import Progress
from ..circuit.amp import Socket
from ..circuit.build import Circuit
from ..circuit.semiconductors.device import Device
from .analyses import FrequencySweep, PortSweep
from .kept_sweeps import kept_table
from .netlist import Netlist, device_vectors, node_vector, valve_vectors, write
from .ngspice import engine
from .ports_algebra import Complex
from .request import Case, answers

WIDE = FrequencySweep(1e-3, 1e9, 16)
# What stays beside every current that is taken away [S]: it damps what is left, so that only the amp's own resonances
# are sharp.
_DAMPING = 2e-4
_MILLI = 1e-3


@dataclass(frozen=True)
class _Current:
    """A current of a valve or of a channel: the place it comes from, that it goes to, the vector that holds it [mA]."""

    source: str
    sink: str
    vector: str


def return_differences(
    cases: Sequence[Case], sweep: FrequencySweep = WIDE, progress: Progress | None = None
) -> Complex:
    """Return difference of the currents of all valves, of amps at positions of their controls.

    Unlike the loop gain of one loop it leaves nothing out: whatever makes an amp oscillate at rest, a feedback line,
    a resistor that two valves share, a supply, goes through the current of a valve.

    Parameters
    ----------
    cases : sequence of Case
    sweep : FrequencySweep
        Frequencies; default 1 mHz to 1 GHz, 16 a decade.
    progress : callable
        Called with (done, total).

    Returns
    -------
    ndarray
        complex, without unit, shape (cases, f); each time one goes clockwise around 0, positive and negative
        frequencies together, is a growing mode (`measures.growing_modes`).

    Raises
    ------
    DescriptionError
        As `simulate`.
    EngineError
        When ngspice gives no trustworthy answer.

    Notes
    -----
    The determinant of the amp's equations over that of the same amp with the plate and screen currents of its valves
    replaced by resistors, which cannot oscillate: H. W. Bode, Network analysis and feedback amplifier design, 1945
    (from memory). It is measured in the amp as it is: with I + M, the total of each current for 1 A put in beside
    each in turn, it is 1 / det(I + M).
    """
    runs = [_currents(case.wired) for case in cases]
    netlists = [_netlists(case, currents, sweep) for case, currents in zip(cases, runs, strict=True)]
    flat = [netlist for own in netlists for netlist in own]
    each_case = [case for case, own in zip(cases, netlists, strict=True) for _ in own]

    def measured() -> Complex:
        rest = iter(answers(each_case, flat, "return difference", progress=progress))
        rows = [
            _difference(case.wired, currents, [next(rest) for _ in currents], sweep)
            for case, currents in zip(cases, runs, strict=True)
        ]
        return np.array(rows, complex).reshape(len(cases), -1)

    return kept_table(flat, (len(cases), sweep.points), __file__, measured)


def _currents(wired: Circuit) -> list[_Current]:
    found = []
    for each in wired.elements:
        socket = wired.parts.get(each.designator)
        if isinstance(socket, Socket):
            vectors = valve_vectors(each.designator, wired.amp.valve_by_type[socket.type].family)
            for pin in ("plate", "screen"):
                if pin in vectors and each.net(pin) != each.net("cathode"):
                    found.append(_Current(f"{each.designator}.{pin}", f"{each.designator}.cathode", vectors[pin]))
        elif isinstance(socket, Device) and socket.kind == "transistor" and each.net("drain") != each.net("source"):
            ends = f"{each.designator}.drain", f"{each.designator}.source"
            (vector, unit), *_ = device_vectors(each.designator, wired.amp.semiconductor_by_type[socket.type])["drain"]
            found.append(_Current(*(ends if unit > 0.0 else ends[::-1]), vector))
    return found


def _netlists(case: Case, currents: Sequence[_Current], sweep: FrequencySweep) -> list[Netlist]:
    # The current put in flows as the valve's own does: out of the plate's net, into the cathode's.
    ports = tuple((each.sink, each.source) for each in currents)
    base = PortSweep(sweep.start, sweep.stop, sweep.per_decade, ports)
    places = tuple(dict.fromkeys(place for port in ports for place in port))
    wired, setting = case.wired, case.setting
    return [write(wired, setting, replace(base, driven=number), places, True) for number in range(len(ports))]


def _difference(
    wired: Circuit, currents: Sequence[_Current], outcomes: Sequence[engine.Arrays], sweep: FrequencySweep
) -> Complex:
    if not currents:
        return np.ones(sweep.points, complex)
    more = np.array([[_more(wired, each, outcome) for outcome in outcomes] for each in currents])
    return np.asarray(1.0 / np.linalg.det(np.eye(len(currents)) + np.moveaxis(more, -1, 0)))


def _more(wired: Circuit, current: _Current, outcome: engine.Arrays) -> NDArray[np.complex128]:
    """A valve's current [A] beyond that of the resistor in its place."""
    across = _volts(wired, current.source, outcome) - _volts(wired, current.sink, outcome)
    return np.asarray(_MILLI * outcome.vectors[current.vector] - _DAMPING * across)


def _volts(wired: Circuit, place: str, outcome: engine.Arrays) -> NDArray[np.complex128]:
    vector = node_vector(wired, place)
    return np.asarray(outcome.vectors[vector] if vector else np.zeros(outcome.scale.size), complex)
