"""Valves as the compiled loop reads them: ports, parameters, and tables of the grid current."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import lru_cache

import numpy as np
from numpy.typing import NDArray

from ..valves import LAWS, Valve, currents
from .newton import FINE, FINE_COUNT, HIGHEST, KNEE, KNOTS, LOWEST, WIDE
from .parts import Seat

Array = NDArray[np.float64]
# Grid and plate: what one means in the tolerance [V].
UNITS = {"grid": 1.0, "plate": 30.0, "screen": 30.0}
_ORDER = {"triode": ("plate", "grid"), "pentode": ("plate", "grid", "screen")}
_NAMES = tuple(LAWS)
_MOST = max(len(law.parameters) for law in LAWS.values())


@dataclass(frozen=True, eq=False)
class Seats:
    """All valves of a circuit; arrays as `newton` takes them, `ports` as pairs of nets."""

    ports: tuple[tuple[str, str], ...]
    seats: NDArray[np.int64]
    laws: Array
    tables: Array
    unit: Array


def seats_of(seats: Sequence[Seat]) -> Seats:
    """Lay out the valves of a circuit."""
    kinds = tuple(dict.fromkeys(seat.valve for seat in seats))
    ports: list[tuple[str, str]] = []
    unit: list[float] = []
    rows = []
    for seat in seats:
        order = _ORDER[seat.valve.family]
        rows.append((_NAMES.index(seat.valve.law), kinds.index(seat.valve), len(ports), len(order)))
        ports += [(seat.nets[pin], seat.nets["cathode"]) for pin in order]
        unit += [1.0 / UNITS[pin] for pin in order]
    laws = np.zeros((len(seats), _MOST))
    for number, seat in enumerate(seats):
        given = dict(seat.valve.parameters)
        values = [given[each.name] for each in LAWS[seat.valve.law].parameters]
        laws[number, : len(values)] = values
    tables = np.array([grid_table(valve) for valve in kinds]).reshape(len(kinds), KNOTS, 2)
    return Seats(tuple(ports), np.array(rows, dtype=np.int64).reshape(-1, 4), laws, tables, np.array(unit))


@lru_cache(maxsize=64)
def grid_table(valve: Valve) -> Array:
    """Grid current [A] and its slope [S] at the knots of `newton`, from the valve's own law."""
    fine = LOWEST + FINE * np.arange(FINE_COUNT)
    knots = np.concatenate([fine, np.linspace(KNEE, HIGHEST, round((HIGHEST - KNEE) / WIDE) + 1)])
    around = 1e-4 * np.array([-2.0, -1.0, 0.0, 1.0, 2.0])
    near = currents(valve, 100.0, knots[:, None] + around).grid
    slope = (near[:, 0] - 8.0 * near[:, 1] + 8.0 * near[:, 3] - near[:, 4]) / (12.0 * 1e-4)
    table = np.stack([near[:, 2], slope], axis=1)
    table.setflags(write=False)
    return table
