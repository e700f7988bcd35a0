"""How the valves of a type differ from each other: measured lots, else a rule of thumb that says so."""

from __future__ import annotations

from dataclasses import dataclass, replace

from ..base.errors import DescriptionError, shown
from ..circuit.valves.description import Valve
from ..circuit.valves.deviation import Deviation, Reference, ValveDraw
from ..circuit.valves.laws import LAWS


@dataclass(frozen=True)
class ValveSpread:
    """How the valves of one type differ, measured at one reference point.

    Attributes
    ----------
    bias_volts
        Standard deviation [V] of the grid voltage that gives the reference current.
    mu_share
        Standard deviation of the logarithm of the amplification factor.
    slope_median, slope_share, worn_share
        gm at the reference current, as a factor on that of the type: median, standard deviation of its logarithm,
        and mean length of a one-sided tail towards worn valves (exponential, in the logarithm).
    plate_volts, plate_amps, screen_volts
        The reference point; a pentode without `screen_volts` is triode connected.
    basis, source
        "fitted" or "guess"; where the figures come from.
    """

    bias_volts: float
    mu_share: float
    slope_median: float
    slope_share: float
    worn_share: float
    plate_volts: float
    plate_amps: float
    screen_volts: float | None
    basis: str
    source: str


_MEASURED = (
    "M. Brennwald, measured valve curves (DC curve tracer): median and range, computed from the published data, of"
)
_GUESS = (
    "a rule of thumb, no measured lot: a standard deviation of 6.5 % of plate volts over mu in bias, as the two types "
    "that were measured show (5 to 8 %), 6 % in mu and 10 % in gm"
)
GRID_SHARE = 0.35
"""Standard deviation of the logarithm of grid current, the same for every type: 2 to 1 within one of it either way.

K. Dempwolf, U. Zoelzer, A physically-motivated triode model for circuit simulations, DAFx 2011, table 1: of three
12AX7 the grid currents lie 1.5 to 1 apart at 0 V and 2.3 to 1 at +3 V, where three of a lot with this spread lie 1.8
to 1 apart on average. That other types are no more alike is an assumption.
"""
SPREADS: dict[str, ValveSpread] = {
    "6DJ8": ValveSpread(
        0.22, 0.10, 0.96, 0.05, 0.15, 90.0, 0.015, None, "fitted", f"{_MEASURED} 61 sections of ECC88 at 90 V, 15 mA"
    ),
    "EL34": ValveSpread(
        1.6, 0.15, 0.91, 0.06, 0.14, 350.0, 0.040, None, "fitted",
        f"{_MEASURED} 28 EL34, triode connected, at 350 V, 40 mA",
    ),
}  # fmt: skip


def spreads(valve: Valve) -> bool:
    """Whether bias, mu and gm of a valve can be shifted apart from each other, as its law says.

    Raises
    ------
    DescriptionError
        When the law says neither how nor why not.
    """
    return not isinstance(_deviation(valve), str)


def _deviation(valve: Valve) -> Deviation | str:
    found = LAWS[valve.law].deviation
    if found is None:
        raise DescriptionError(
            f"valve {valve.type}: the law {shown(valve.law)} says neither how its valves differ nor why they cannot"
        )
    return found


def _spreadable(valve: Valve) -> Deviation:
    found = _deviation(valve)
    if isinstance(found, str):
        able = ", ".join(name for name, law in LAWS.items() if isinstance(law.deviation, Deviation))
        raise DescriptionError(
            f"valve {valve.type}: the law {shown(valve.law)} cannot be spread, {found}; laws that can: {able}. "
            "Draw the parts alone with Tolerances(valves=0)"
        )
    return found


def spread_of(valve: Valve) -> ValveSpread:
    """The spread of a valve's type: `SPREADS`, else a rule of thumb that says so.

    Raises
    ------
    DescriptionError
        When the law of the valve has no parameters that shift bias, mu and gm apart from each other.
    """
    found = _spreadable(valve)
    return SPREADS.get(valve.type) or _rule_of_thumb(valve, found.amplification)


def _rule_of_thumb(valve: Valve, amplification: str) -> ValveSpread:
    """A guess at a usual place of work: 250 V (or four fifths of the rating), half the rated dissipation."""
    most, watts = valve.limits.plate_volts or 300.0, valve.limits.plate_watts or 1.0
    plate = min(250.0, 0.8 * most)
    screen = plate if valve.family == "pentode" else None
    bias = 0.065 * plate / dict(valve.parameters)[amplification]
    return ValveSpread(bias, 0.06, 1.0, 0.10, 0.0, plate, 0.5 * watts / plate, screen, "guess", _GUESS)


def deviating(valve: Valve, draw: ValveDraw) -> Valve:
    """The valve that differs from its type by a draw at the reference point of `spread_of`.

    Its grid takes the drawn multiple of the type's current at every voltage. Mu and gm are exact for the law's plain
    sum. What its width and knee add to them does not follow: a draw of 10 % comes out at 6.7 to
    10.5 % in the types shipped.

    Raises
    ------
    DescriptionError
        As `spread_of`.
    """
    spread, p = spread_of(valve), dict(valve.parameters)
    at = Reference(spread.plate_volts, spread.plate_amps, spread.screen_volts)
    drawn = tuple(_spreadable(valve).parameters(p, at, draw).items())
    grid = valve.grid_current
    if grid is not None:
        ohms, amps = grid.series_ohms / draw.grid_current, grid.saturation_amps * draw.grid_current
        grid = replace(grid, saturation_amps=amps, series_ohms=ohms)
    return replace(valve, parameters=drawn, grid_current=grid)
