"""Output valves that stand in each other's place."""

from __future__ import annotations

from collections.abc import Sequence
from typing import cast

from ...circuit.amp import Socket
from ...circuit.build import Circuit
from ...circuit.output_stage import output_valves
from ...simulation.request import Case

Readings = dict[tuple[str, str, str], float]
_ALIKE = 0.02  # of a reading at rest: what the inverter's load lets two equal valves differ by


def equal_valves(read: Sequence[tuple[Case, Readings]]) -> list[list[str]]:
    """Output valves of one type that idle alike in every case, as groups of two or more.

    Parameters
    ----------
    read : sequence of (Case, dict)
        One variant at each position, with its readings by variable, item and state [V, A].
    """
    groups: list[list[str]] = []
    for valve in output_valves(read[0][0].wired):
        for group in groups:
            if all(_idle_alike(case.wired, row, valve, group[0]) for case, row in read):
                group.append(valve)
                break
        else:
            groups.append([valve])
    return [group for group in groups if len(group) > 1]


def _idle_alike(wired: Circuit, row: Readings, one: str, other: str) -> bool:
    """Whether two valves are of one type and have the same volts and amperes at rest."""
    types = {cast("Socket", wired.parts[name]).type for name in (one, other) if name in wired.parts}
    first, second = (_at_rest(row, name) for name in (one, other))
    return (
        len(types) == 1
        and first.keys() == second.keys()
        and all(abs(value - second[key]) <= _ALIKE * abs(value) + 1e-6 for key, value in first.items())
    )


def _at_rest(row: Readings, valve: str) -> dict[str, float]:
    """Volts and amperes of a valve at rest, by electrode."""
    keys = [(variable, item, state) for variable, item, state in row if state == "rest"]
    return {
        f"{variable} {item.partition('.')[2]}": row[variable, item, state]
        for variable, item, state in keys
        if variable in ("electrode_volts", "cathode_amps") and item.partition(".")[0] == valve
    }
