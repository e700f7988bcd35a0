"""Valves and semiconductors as the compiled loop reads them: ports, numbers, and where to find grid currents."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np

from .branches import Seat
from .compiled import eights
from .differentiate import LANES, PARAMETERS, ROWS
from .grid_currents import KNOTS, grid_table
from .kernel_arguments import Array, Valves
from .step_laws import STEP_LAWS


@dataclass(frozen=True, eq=False)
class Seats:
    """All valves and semiconductors of a circuit, as the loop takes them.

    `ports`, pairs of nets, are those where something flows; `width` is how many ports the loop works with; `columns`
    finds a port by the name of its seat and its number there.
    """

    ports: tuple[tuple[str, str], ...]
    width: int
    valves: Valves
    unit: Array
    columns: Mapping[tuple[str, int], int]

    def spread(self, matrix: Array) -> Array:
        """A vector [V] or square matrix [ohm] over the ports, as one over all ports of the loop: zeros for the rest."""
        return np.pad(matrix, (0, self.width - len(self.ports)))


def seats_of(given: Sequence[Seat]) -> Seats:
    """Lay out the valves and semiconductors of a circuit: four of one law side by side."""
    # Told apart by their place in memory first: to compare two valves is to go through all that is known of them.
    valves = {id(seat.valve): seat.valve for seat in given}
    types = tuple(dict.fromkeys(valves.values()))
    number = {key: types.index(valve) for key, valve in valves.items()}
    ports: list[tuple[str, str]] = []
    unit: list[float] = []
    columns: dict[tuple[str, int], int] = {}
    spans, places, grids, blocks = [], [], [], []
    for kind, (name, law) in enumerate(STEP_LAWS.items()):
        of_law = [seat for seat in given if seat.law == name]
        for some in (of_law[first : first + LANES] for first in range(0, len(of_law), LANES)):
            empty, row = LANES - len(some), []
            for port, volts in enumerate(law.units):
                row += [len(ports) + lane for lane in range(len(some))] + [len(ports)] * empty
                columns |= {(seat.name, port): len(ports) + lane for lane, seat in enumerate(some)}
                ports += [seat.ports[port] for seat in some]
                unit += [1.0 / volts] * len(some)
            spans.append((kind, len(law.units), len(some)))
            places.append(row + [0] * (3 * LANES - len(row)))
            filled = [*some, *([some[0]] * empty)]
            grids.append([number[id(seat.valve)] for seat in filled])
            blocks.append(_block(filled))
    laid = Valves(
        np.array(spans, dtype=np.int64).reshape(-1, 3),
        np.array(places, dtype=np.int64).reshape(-1, 3 * LANES),
        np.array(grids, dtype=np.int64).reshape(-1, LANES),
        np.array(blocks).reshape(-1, ROWS * LANES),
        np.array([grid_table(valve) for valve in types]).reshape(len(types), KNOTS, 2),
    )
    bare = Seats(tuple(ports), eights(len(ports)), laid, np.array(unit), columns)
    return replace(bare, unit=bare.spread(bare.unit))


def _block(seats: Sequence[Seat]) -> Array:
    """Numbers of four places of one law."""
    block = np.zeros((ROWS, LANES))
    for lane, seat in enumerate(seats):
        block[PARAMETERS : PARAMETERS + len(seat.numbers), lane] = seat.numbers
    return block.ravel()
