"""The frozen data that a valve file becomes."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

from .pinout import Pinout

Family = Literal["triode", "pentode"]
Flag = Literal["verified", "secondary", "computed", "from memory"]


@dataclass(frozen=True)
class GridDiode:
    """Grid current as a diode with series resistance that sees the grid voltage plus an offset.

    Attributes
    ----------
    saturation_amps, emission, series_ohms, offset_volts
        Diode saturation current [A], emission coefficient, series resistance [ohm], offset [V].
    source
        Where the figures come from; never reaches a netlist.
    """

    source: str
    saturation_amps: float
    emission: float
    series_ohms: float
    offset_volts: float


@dataclass(frozen=True)
class Capacitances:
    """Inter-electrode capacitances [F]; for a pentode, grid is grid 1 and cathode includes the screen."""

    source: str
    grid_plate: float
    grid_cathode: float
    plate_cathode: float


@dataclass(frozen=True)
class Heater:
    """Heater voltage [V] and current [A]."""

    volts: float
    amps: float
    source: str


@dataclass(frozen=True)
class Limits:
    """Ratings of one section; None where the source gives none.

    Voltages in V (cold: before the valve conducts; negative_grid_volts as a positive number), dissipations
    in W (driven: where the source allows more while a signal drives the valve), cathode_milliamps in mA, the largest
    grid leak in ohm for self bias and for fixed bias.
    """

    basis: str
    source: str
    plate_volts: float | None = None
    plate_volts_cold: float | None = None
    plate_watts: float | None = None
    plate_watts_driven: float | None = None
    screen_volts: float | None = None
    screen_volts_cold: float | None = None
    screen_watts: float | None = None
    screen_watts_driven: float | None = None
    cathode_milliamps: float | None = None
    heater_cathode_volts: float | None = None
    negative_grid_volts: float | None = None
    grid_leak_self_bias: float | None = None
    grid_leak_fixed_bias: float | None = None


@dataclass(frozen=True)
class FitRange:
    """Lowest and highest voltage [V] that the data behind the parameters reach."""

    plate_volts: tuple[float, float]
    grid_volts: tuple[float, float]
    screen_volts: tuple[float, float] | None = None


@dataclass(frozen=True)
class Point:
    """One published figure.

    Attributes
    ----------
    id
        Row of the source's table; figures printed together share it.
    circuit
        "valve alone", "triode connected", or a circuit around the valve (see `parsing.CIRCUITS`).
    conditions
        Pairs of name and value [V, A, ohm], such as ("plate_volts", 250.0).
    quantity, value, unit
        "plate current", "gm", ... with its value in the SI unit named.
    used_in_fit
        Whether the parameters were fitted to this very figure.
    flag
        "verified", "secondary", "computed" or "from memory": how far the figure itself was checked.
    """

    id: str
    source: str
    circuit: str
    conditions: tuple[tuple[str, float], ...]
    quantity: str
    value: float
    unit: str
    used_in_fit: bool
    flag: Flag


@dataclass(frozen=True)
class Valve:
    """One section of a valve type: a law, its parameters, and what is known of the type.

    Attributes
    ----------
    type
        Type name, letters, digits, "_" and "-" only; names the ngspice subcircuit.
    law, parameters
        Key of `LAWS`, and the pairs of parameter name and value (SI) in the order of the law.
    grid_current
        None exactly when the law has a grid current of its own.
    source
        Where the parameters come from.
    """

    type: str
    family: Family
    law: str
    parameters: tuple[tuple[str, float], ...]
    source: str
    grid_current: GridDiode | None
    capacitances: Capacitances
    limits: Limits
    fit_range: FitRange
    points: tuple[Point, ...]
    heater: Heater | None = None
    pinout: Pinout | None = None
