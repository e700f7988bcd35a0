"""A valve whose cathode gives more or less than that of its type, by what its law says of its emission."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace

from ...base.errors import DescriptionError, shown
from .description import Valve
from .laws import LAWS


def stronger_valve(valve: Valve, factor: float) -> Valve:
    """The valve whose plate and screen currents [A] are `factor` times those of another at the same voltages [V].

    Raises
    ------
    DescriptionError
        When the law does not say which parameters are its emission, or names one that it does not have.
    """
    return _scaled(valve, factor, _powers(valve))


def worn_valve(valve: Valve, share: float) -> Valve:
    """The valve with a share of its emission: every current [A] of its law scaled, that of the grid included.

    Raises
    ------
    DescriptionError
        As `stronger_valve`.
    """
    own = LAWS[valve.law].grid
    return _scaled(valve, share, {**_powers(valve), **(_known(valve, own.emission) if own else {})})


def _scaled(valve: Valve, factor: float, powers: Mapping[str, int]) -> Valve:
    parameters = tuple((name, value * factor ** powers.get(name, 0)) for name, value in valve.parameters)
    return replace(valve, parameters=parameters)


def _powers(valve: Valve) -> Mapping[str, int]:
    return _known(valve, LAWS[valve.law].emission)


def _known(valve: Valve, emission: Mapping[str, int] | None) -> Mapping[str, int]:
    if not emission:
        raise DescriptionError(
            f"valve {valve.type}: the law {shown(valve.law)} does not say which of its parameters is the emission"
        )
    strange = [name for name in emission if name not in dict(valve.parameters)]
    if strange:
        raise DescriptionError(
            f"valve {valve.type}: the law {shown(valve.law)} has no parameter {shown(strange[0])} to be its emission"
        )
    return emission
