"""Every law that the compiled loop knows, of valves and of semiconductors, in one form."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from typing import Any

from ...circuit.semiconductors.port_laws import PORT_LAWS
from ...circuit.valves.laws import LAWS, Law

# What one means in the tolerance of plate, grid and screen volts [V].
_PLATE, _GRID, _SCREEN = 30.0, 1.0, 30.0


@dataclass(frozen=True)
class StepLaw:
    """A law as the loop takes it.

    `parameters` names its numbers in their order; `units` says for each port what one means in the tolerance [V].
    `currents` takes the numbers and the volts [V] of all three ports, whether it has them or not, to the currents [A]
    through the first and third port; what flows through the second follows its own volts alone.
    """

    parameters: tuple[str, ...]
    units: tuple[float, ...]
    currents: Callable[[Mapping[str, Any], Any, Any, Any], tuple[Any, ...]]


def _of_valve(law: Law) -> StepLaw:
    triode = law.family == "triode"
    count = 1 if triode else 2
    units = (_PLATE, _GRID) if triode else (_PLATE, _GRID, _SCREEN)
    return StepLaw(tuple(each.name for each in law.parameters), units, lambda p, *volts: law.current(p, *volts)[:count])


def _of_ports(name: str) -> StepLaw:
    law = PORT_LAWS[name]
    count = len(law.units)
    return StepLaw(law.parameters, law.units, lambda p, *volts: law.currents(p, *volts[:count]))


STEP_LAWS: Mapping[str, StepLaw] = {
    **{name: _of_valve(law) for name, law in LAWS.items()},
    **{name: _of_ports(name) for name in PORT_LAWS},
}
"""By name, in the order in which the compiled code numbers them."""
