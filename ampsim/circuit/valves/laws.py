"""The laws a valve file may name, each with the parameters it takes and the range of sense."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

from . import pentodes, triodes
from .description import Family
from .triodes import Array, Parameters


@dataclass(frozen=True)
class Parameter:
    """Name of a law's parameter and the lowest and highest value a file may give it (SI units)."""

    name: str
    lowest: float
    highest: float


@dataclass(frozen=True)
class GridLaw:
    """A law's own grid current [A] of the grid voltage, and its ngspice elements."""

    current: Callable[[Parameters, Array], Array]
    lines: Callable[[Parameters], tuple[str, ...]]


@dataclass(frozen=True)
class Law:
    """A valve law.

    Attributes
    ----------
    source
        Citation of the formula.
    current
        (parameters, plate, grid, screen) [V] to (plate, screen) currents [A]; a triode ignores the screen.
    lines
        ngspice elements that leave the currents in milliamperes on the nodes `ia` (and `is`).
    grid
        The law's own grid current, or None where the valve file describes a diode.
    """

    family: Family
    source: str
    parameters: tuple[Parameter, ...]
    current: Callable[[Parameters, Array, Array, Array], tuple[Array, Array]]
    lines: Callable[[Parameters], tuple[str, ...]]
    grid: GridLaw | None = None


def _triode(
    law: Callable[[Parameters, Array, Array], Array],
) -> Callable[[Parameters, Array, Array, Array], tuple[Array, Array]]:
    def both(p: Parameters, plate: Array, grid: Array, _screen: Array) -> tuple[Array, Array]:
        current = law(p, plate, grid)
        return current, 0.0 * current

    return both


_MU, _EXPONENT = Parameter("mu", 1.0, 1000.0), Parameter("exponent", 1.0, 3.0)
_SPACE_CHARGE = (
    _MU,
    Parameter("perveance", 1e-6, 1.0),
    _EXPONENT,
    Parameter("width", 1e-3, 10.0),
    Parameter("width_per_volt", 0.0, 1.0),
    Parameter("contact_volts", -10.0, 10.0),
)
_KOREN = (_MU, Parameter("x", 1.0, 3.0), Parameter("kP", 1.0, 1e4))
_DEMPWOLF_ZOELZER = (
    Parameter("G", 1e-6, 1.0),
    _MU,
    Parameter("gamma", 1.0, 3.0),
    Parameter("C", 0.01, 1e3),
    Parameter("Gg", 1e-9, 1.0),
    Parameter("xi", 1.0, 3.0),
    Parameter("Cg", 0.01, 1e3),
    Parameter("Ig0", 0.0, 1e-5),
)
_OWN = (
    "this package's own; softplus of one linear sum as Dempwolf and Zoelzer 2011, contact potential as"
    " Cohen and Helie 2012"
)

LAWS: dict[str, Law] = {
    "space-charge triode": Law(
        "triode",
        _OWN,
        (*_SPACE_CHARGE, Parameter("knee_volts", 1e-3, 1e3)),
        _triode(triodes.space_charge),
        triodes.space_charge_lines,
    ),
    "space-charge pentode": Law(
        "pentode",
        _OWN,
        (
            *_SPACE_CHARGE,
            Parameter("plate_mu", 10.0, 1e5),
            Parameter("knee_volts", 1e-3, 1e3),
            Parameter("knee_per_volt", 0.0, 100.0),
            Parameter("screen_share", 0.0, 0.9),
            Parameter("screen_return", 0.0, 10.0),
        ),
        pentodes.space_charge,
        pentodes.space_charge_lines,
    ),
    "koren 1996 triode": Law(
        "triode",
        "N. L. Koren, Improved vacuum tube models for SPICE simulations, Glass Audio 8(5), 1996, p. 18",
        (*_KOREN, Parameter("kG1", 1.0, 1e6), Parameter("kVB", 1e-3, 1e6)),
        _triode(triodes.koren),
        triodes.koren_lines,
    ),
    "koren 1996 pentode": Law(
        "pentode",
        "N. L. Koren, Improved vacuum tube models for SPICE simulations, Glass Audio 8(5), 1996, p. 18",
        (*_KOREN, Parameter("kG1", 1.0, 1e6), Parameter("kG2", 1.0, 1e6), Parameter("kVB", 1e-3, 1e6)),
        pentodes.koren,
        pentodes.koren_lines,
    ),
    "dempwolf-zoelzer 2011": Law(
        "triode",
        "K. Dempwolf, U. Zoelzer, A physically-motivated triode model for circuit simulations, DAFx-11, 2011",
        _DEMPWOLF_ZOELZER,
        _triode(triodes.dempwolf_zoelzer),
        triodes.dempwolf_zoelzer_lines,
        GridLaw(triodes.dempwolf_zoelzer_grid, triodes.dempwolf_zoelzer_grid_lines),
    ),
    "cohen-helie 2012": Law(
        "triode",
        "I. Cohen, T. Helie, Measures and models of real triodes (guitar amplifiers), hal-00811215, 2012",
        (
            *_KOREN,
            Parameter("kG", 1.0, 1e6),
            Parameter("Vct", -10.0, 10.0),
            Parameter("kVB", 1e-3, 1e6),
            Parameter("kVB2", 0.0, 1e4),
        ),
        _triode(triodes.cohen_helie),
        triodes.cohen_helie_lines,
    ),
    "three-halves": Law(
        "triode",
        "textbook law, as in the Python companion to S. Parker Smith, p. 361, ex. 20",
        (Parameter("k", 1e-9, 1.0), _MU),
        _triode(triodes.three_halves),
        triodes.three_halves_lines,
    ),
}
