"""The ngspice subcircuit of a valve."""

from __future__ import annotations

from ...base.entry_texts import NAME
from ...base.errors import DescriptionError, shown
from .description import Valve
from .grid import diode_lines
from .laws import LAWS
from .spice_text import number

# Without emission the grid is an insulator.
_COLD_GRID = ("VGO grid gi 0", "RGI gi cathode 1e12 noisy=0")
PINS = {"triode": "plate grid cathode", "pentode": "plate grid screen cathode"}


def subcircuit(valve: Valve, suffix: str = "", cold: bool = False) -> str:
    """Return the subcircuit `valve_<type in lower case, "_" for "-">`, pins plate, grid, (screen,) cathode.

    Inside an instance `xv1`, `v(xv1.ia)` is the plate current and `v(xv1.is)` the screen current, both in mA,
    and `v.xv1.vgo#branch` is the current into the grid in A. Only checked names and numbers are written.
    `suffix` is added to the name, for one valve that differs from its type; `cold`: the valve draws no current,
    whatever the law leaves on `ia` and `is`.

    Raises
    ------
    DescriptionError
        The valve was built by hand with a name that ngspice could take for text, or with no grid current.
    """
    if not NAME.fullmatch(valve.type + suffix):
        raise DescriptionError(f"valve type {shown(valve.type)}: only letters, digits, '_' and '-' will do")
    name = f"valve_{(valve.type + suffix).lower().replace('-', '_')}"
    siemens = "0" if cold else "1e-3"
    lines = (
        f".subckt {name} {PINS[valve.family]}",
        *LAWS[valve.law].lines(dict(valve.parameters)),
        f"GP plate cathode ia 0 {siemens}",
        *((f"GS screen cathode is 0 {siemens}",) if valve.family == "pentode" else ()),
        *(_COLD_GRID if cold else _grid_lines(valve)),
        *_capacitor_lines(valve),
        f".ends {name}",
    )
    return "\n".join(lines) + "\n"


def _grid_lines(valve: Valve) -> tuple[str, ...]:
    own = LAWS[valve.law].grid
    if own is not None:
        return own.lines(dict(valve.parameters))
    if valve.grid_current is None:
        raise DescriptionError(f"valve {valve.type}: the law {valve.law!r} needs a grid_current")
    return diode_lines(valve.grid_current)


def _capacitor_lines(valve: Valve) -> tuple[str, ...]:
    held = valve.capacitances
    pairs = (
        ("CGP grid plate", held.grid_plate),
        ("CGK grid cathode", held.grid_cathode),
        ("CPK plate cathode", held.plate_cathode),
    )
    return tuple(f"{element} {number(farads)}" for element, farads in pairs if farads > 0.0)
