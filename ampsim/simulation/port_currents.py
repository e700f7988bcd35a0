"""Currents and slopes of all laws of a circuit at many sets of volts at once, in numpy."""

from __future__ import annotations

from collections.abc import Collection, Iterator, Mapping, Sequence
from dataclasses import dataclass
from types import SimpleNamespace
from typing import Any, cast

import numpy as np
from numpy.typing import NDArray

from ..circuit.semiconductors.description import Semiconductor
from ..circuit.semiconductors.junctions import GMIN
from ..circuit.semiconductors.laws import pieces_of
from ..circuit.semiconductors.port_laws import PORT_LAWS
from ..circuit.valves.description import GridDiode, Valve
from ..circuit.valves.grid import diode_current
from ..circuit.valves.laws import LAWS
from .timestep.branches import Seat
from .timestep.state_space import PATH

Array = NDArray[np.float64]
# Forward differences over so many volts: Newton's method wants slopes to a part in a thousand.
_STEP = 1e-5
# Of two central differences, over so many volts and half of it, the one takes away the other's error.
_EXACT_STEP = 5e-4


@dataclass(frozen=True, eq=False)
class Numbers:
    """What the law of one seat takes, a number or one for each set of volts; of its grid's diode too."""

    law: Mapping[str, Any]
    grid: Mapping[str, Any] | None

    def some(self, rows: NDArray[np.int_]) -> Numbers:
        """Those of some sets."""
        return Numbers(_some(self.law, rows), None if self.grid is None else _some(self.grid, rows))


def _some(numbers: Mapping[str, Any], rows: NDArray[np.int_]) -> dict[str, Any]:
    return {name: value[rows] if np.ndim(value) else value for name, value in numbers.items()}


class PortCurrents:
    """The laws of a circuit, port by port in the order of its seats."""

    def __init__(self, seats: Sequence[Seat], fluxes: Collection[str] = ()) -> None:
        self._seats, self._fluxes = tuple(seats), frozenset(fluxes)
        self._beside = np.array([_beside(seat, port, fluxes) for seat in seats for port in range(len(seat.ports))])
        self.ports = tuple(port for seat in seats for port in seat.ports)
        counts = [len(seat.ports) for seat in seats]
        # Seats of one type share their numbers.
        known: dict[tuple[Any, ...], Numbers] = {}
        self._drawn = [known.setdefault((seat.law, seat.numbers, seat.valve, len(seat.ports)), _numbers(seat, ()))
                       for seat in seats]  # fmt: skip
        self._spans = [slice(end - count, end) for count, end in zip(counts, np.cumsum(counts), strict=True)]

    def numbers(self, sockets: Sequence[Mapping[str, Valve | Semiconductor]]) -> list[Numbers]:
        """What the laws take, with the very parts that sets of volts belong to (by name, in lower case)."""
        changed = {name for each in sockets for name in each}
        return [_numbers(seat, sockets) if seat.part in changed else own
                for seat, own in zip(self._seats, self._drawn, strict=True)]  # fmt: skip

    @staticmethod
    def some(numbers: Sequence[Numbers], rows: NDArray[np.int_]) -> list[Numbers]:
        """The numbers of some sets."""
        known = {id(each): each.some(rows) for each in numbers}
        return [known[id(each)] for each in numbers]

    def at(self, volts: Array, numbers: Sequence[Numbers]) -> tuple[Array, Array]:
        """Currents through the ports [A] at their volts [V], shape (sets, ports), and slopes [S] (sets, ports, ports).

        What `state_space.PATH` lets through beside is taken away.
        """
        flow, slope = np.zeros(volts.shape), np.zeros((*volts.shape, volts.shape[1]))
        for span, found in self._moved(volts, numbers, (_STEP,), still=True):
            flow[:, span] = found[:, 0].T
            slope[:, span, span] = np.moveaxis(found[:, 1:] - found[:, :1], -1, 0) / _STEP
        return flow + self._beside * volts, slope + np.diag(self._beside)

    def alone(self, flow: Array, volts: Array) -> Array:
        """Currents of the laws alone [A], of what `at` gives at the same volts [V], and what ngspice lets past them."""
        volts_ports = np.array([port[0] not in self._fluxes for port in self.ports], dtype=bool)
        return np.asarray(flow + PATH * volts * volts_ports)

    def slopes(self, volts: Array, numbers: Sequence[Numbers]) -> Array:
        """The slopes of `at` [S], shape (sets, ports, ports), to some nine digits; takes what that takes [V]."""
        found = np.zeros((*volts.shape, volts.shape[1]))
        half = 0.5 * _EXACT_STEP
        for span, flows in self._moved(volts, numbers, (-_EXACT_STEP, -half, half, _EXACT_STEP)):
            low, lower, upper, high = np.split(flows, 4, axis=1)
            wide, close = (high - low) / (2.0 * _EXACT_STEP), (upper - lower) / _EXACT_STEP
            found[:, span, span] = np.moveaxis((4.0 * close - wide) / 3.0, -1, 0)
        return found + np.diag(self._beside)

    def _moved(
        self, volts: Array, numbers: Sequence[Numbers], steps: Sequence[float], still: bool = False
    ) -> Iterator[tuple[slice, Array]]:
        """The currents of each seat with one of its ports moved by each of some steps [V], before that with none moved.

        Seats of equal numbers are worked out together: what takes time is the call, not the numbers in it.

        Yields
        ------
        (slice, ndarray)
            Where the seat's ports are, and its currents [A], shape (ports, moves, sets); moves are by step, then port.
        """
        groups: dict[int, list[int]] = {}
        for place, own in enumerate(numbers):
            groups.setdefault(id(own), []).append(place)
        for places in groups.values():
            at = np.stack([volts[:, self._spans[place]].T for place in places], axis=1)
            unit = np.eye(len(at))
            moves = np.concatenate([np.zeros((len(at), int(still))), *(step * unit for step in steps)], axis=1)
            flows = _currents(self._seats[places[0]], numbers[places[0]], at[:, None] + moves[:, :, None, None])
            for number, place in enumerate(places):
                yield self._spans[place], flows[:, :, number]


def _beside(seat: Seat, port: int, fluxes: Collection[str]) -> float:
    """What flows beside a law [S]: what ngspice lets past a grid's diode, less `state_space.PATH`; past a flux nothing.

    The law of a semiconductor's junction has it already.
    """
    if seat.ports[port][0] in fluxes:
        return 0.0
    diode = seat.valve is not None and port == 1 and LAWS[seat.valve.law].grid is None
    return GMIN * diode - PATH


def _numbers(seat: Seat, sockets: Sequence[Mapping[str, Valve | Semiconductor]]) -> Numbers:
    if seat.valve is None:
        return Numbers(_of_pieces(seat, sockets), None)
    if not sockets:
        return Numbers(dict(seat.valve.parameters), _grid(seat.valve))
    valves = [cast("Valve", each.get(seat.name, seat.valve)) for each in sockets]
    kinds = {id(valve): valve for valve in valves}
    row = {key: number for number, key in enumerate(kinds)}
    which = np.array([row[id(valve)] for valve in valves])
    rows = np.array([[value for _, value in valve.parameters] for valve in kinds.values()])[which]
    grids = [_grid(valve) for valve in kinds.values()]
    law = dict(zip(dict(seat.valve.parameters), rows.T, strict=True))
    if grids[0] is None:
        return Numbers(law, None)
    return Numbers(
        law, {name: np.array([cast("dict[str, float]", grid)[name] for grid in grids])[which] for name in grids[0]}
    )


def _of_pieces(seat: Seat, sockets: Sequence[Mapping[str, Valve | Semiconductor]]) -> dict[str, Any]:
    """The numbers of a piece of a semiconductor, or of what has no name in a drawing."""
    rows = [_piece(seat, each.get(seat.part)) for each in sockets]
    numbers = np.array(rows).T if rows else seat.numbers
    return dict(zip(PORT_LAWS[seat.law].parameters, numbers, strict=True))


def _piece(seat: Seat, device: Valve | Semiconductor | None) -> tuple[float, ...]:
    if not isinstance(device, Semiconductor):
        return seat.numbers
    named = {each.name: each.numbers for each in pieces_of(device).laws}[seat.name.removeprefix(f"{seat.part}.")]
    return tuple(named[name] for name in PORT_LAWS[seat.law].parameters)


def _grid(valve: Valve | None) -> dict[str, float] | None:
    held = valve.grid_current if valve is not None and LAWS[valve.law].grid is None else None
    if held is None:
        return None
    return {name: getattr(held, name) for name in ("saturation_amps", "emission", "series_ohms", "offset_volts")}


def _currents(seat: Seat, numbers: Numbers, across: Array) -> Array:
    """Currents through the ports of a seat [A] at their volts [V], shape (ports, ..., sets)."""
    found = np.zeros(across.shape)
    if seat.valve is None:
        for port, flow in zip((0, 2), PORT_LAWS[seat.law].currents(numbers.law, *across), strict=False):
            found[port] = flow
        return found
    law, plate, grid = LAWS[seat.valve.law], across[0], across[1]
    flows = law.current(cast("Any", numbers.law), plate, grid, across[-1])
    for port, flow in zip((0, 2)[: len(across) - 1], flows, strict=False):
        found[port] = flow
    if law.grid is not None:
        found[1] = law.grid.current(cast("Any", numbers.law), grid)
    elif numbers.grid is not None:
        found[1] = diode_current(cast("GridDiode", SimpleNamespace(**numbers.grid)), grid)
    return found
