"""The laws a valve file may name, each with the parameters it takes and the range of sense."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass

from . import deviation, pentodes, triodes
from .description import Family
from .deviation import Deviation
from .triodes import Array, Parameters


@dataclass(frozen=True)
class Parameter:
    """Name of a law's parameter, the lowest and highest value a file may give it (SI units), and what none means."""

    name: str
    lowest: float
    highest: float
    default: float | None = None


@dataclass(frozen=True)
class GridLaw:
    """A law's own grid current [A] of the grid voltage [V], its ngspice elements and its emission, as in `Law`."""

    current: Callable[[Parameters, Array], Array]
    lines: Callable[[Parameters], tuple[str, ...]]
    emission: Mapping[str, int]


@dataclass(frozen=True)
class Law:
    """A valve law.

    One that does not say its emission or its deviation gives currents all the same; whoever asks for a worn valve or
    for one that differs from its type gets an error that names the law.

    Attributes
    ----------
    family : str
        "triode" or "pentode".
    source : str
        Citation of the formula.
    parameters : tuple of Parameter
    current : callable
        (parameters, plate, grid, screen) [V] to (plate, screen) currents [A]; a triode ignores the screen.
    lines : callable
        ngspice elements that leave the currents in milliamperes on the nodes `ia` (and `is`).
    emission : mapping of str to int
        The parameters that the plate and screen currents go with: in proportion (1) or in inverse proportion (-1). A
        worn valve has a share of its emission, so that share of every current at the same voltages.
    deviation : Deviation or str
        How bias, mu and gm of a valve differ from its type's; a text says why they cannot be shifted apart.
    grid : GridLaw or None
        The law's own grid current, or None where the valve file describes a diode.
    """

    family: Family
    source: str
    parameters: tuple[Parameter, ...]
    current: Callable[[Parameters, Array, Array, Array], tuple[Array, Array]]
    lines: Callable[[Parameters], tuple[str, ...]]
    emission: Mapping[str, int] | None = None
    deviation: Deviation | str | None = None
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
_NO_PLAIN_SUM = "it has no contact voltage and softplus of a plain sum"

LAWS: dict[str, Law] = {
    "space-charge triode": Law(
        "triode",
        _OWN,
        (*_SPACE_CHARGE, Parameter("knee_volts", 1e-3, 1e3)),
        _triode(triodes.space_charge),
        triodes.space_charge_lines,
        {"perveance": 1},
        Deviation("mu", deviation.space_charge_triode),
    ),
    "space-charge triode, two mu": Law(
        "triode",
        _OWN,
        (
            *_SPACE_CHARGE,
            Parameter("knee_volts", 1e-3, 1e3),
            Parameter("slow_share", 0.0, 0.9),
            Parameter("slow_mu", 0.1, 1.0),
        ),
        _triode(triodes.two_mu),
        triodes.two_mu_lines,
        {"perveance": 1},
        Deviation("mu", deviation.two_mu_triode),
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
            Parameter("screen_fall", 0.0, 100.0, 0.0),
            Parameter("screen_focus", 0.0, 1.0, 0.0),
            Parameter("screen_best", 0.1, 100.0, 3.0),
        ),
        pentodes.space_charge,
        pentodes.space_charge_lines,
        {"perveance": 1},
        Deviation("mu", deviation.space_charge_pentode),
    ),
    "koren 1996 triode": Law(
        "triode",
        "N. L. Koren, Improved vacuum tube models for SPICE simulations, Glass Audio 8(5), 1996, p. 18",
        (*_KOREN, Parameter("kG1", 1.0, 1e6), Parameter("kVB", 1e-3, 1e6)),
        _triode(triodes.koren),
        triodes.koren_lines,
        {"kG1": -1},
        _NO_PLAIN_SUM,
    ),
    "koren 1996 pentode": Law(
        "pentode",
        "N. L. Koren, Improved vacuum tube models for SPICE simulations, Glass Audio 8(5), 1996, p. 18",
        (*_KOREN, Parameter("kG1", 1.0, 1e6), Parameter("kG2", 1.0, 1e6), Parameter("kVB", 1e-3, 1e6)),
        pentodes.koren,
        pentodes.koren_lines,
        {"kG1": -1, "kG2": -1},
        _NO_PLAIN_SUM,
    ),
    "dempwolf-zoelzer 2011": Law(
        "triode",
        "K. Dempwolf, U. Zoelzer, A physically-motivated triode model for circuit simulations, DAFx-11, 2011",
        _DEMPWOLF_ZOELZER,
        _triode(triodes.dempwolf_zoelzer),
        triodes.dempwolf_zoelzer_lines,
        {"G": 1},
        _NO_PLAIN_SUM,
        GridLaw(triodes.dempwolf_zoelzer_grid, triodes.dempwolf_zoelzer_grid_lines, {"Gg": 1, "Ig0": 1}),
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
        {"kG": -1},
        _NO_PLAIN_SUM,
    ),
    "three-halves": Law(
        "triode",
        "textbook law, as in the Python companion to S. Parker Smith, p. 361, ex. 20",
        (Parameter("k", 1e-9, 1.0), _MU),
        _triode(triodes.three_halves),
        triodes.three_halves_lines,
        {"k": 1},
        _NO_PLAIN_SUM,
    ),
}
