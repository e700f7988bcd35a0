"""How far a figure may lie from that of an average valve: what published rows leave of the laws, by kind of figure."""

from __future__ import annotations

import math
from collections.abc import Mapping

from ..circuit.valves.description import Valve
from ..circuit.valves.evaluation import currents

REST, CUT_OFF, SCREEN = "current at rest", "current near cut-off", "screen current"
# Twice what nine in ten of the rows that valves were fitted to keep within, since a fit flatters itself; a test works
# them out anew, and `python -m tests.truth` prints how many of the rows that no fit used lie inside.
BANDS: Mapping[str, float] = {
    REST: 0.13,
    CUT_OFF: 0.26,
    SCREEN: 0.23,
    "slope": 0.15,
    "gain": 0.14,
    "watts": 0.21,
    "distortion": 0.31,
}
"""Kind of figure to its band, as a share of the figure, to both sides."""
_NEAR_CUT_OFF = 0.1  # of the current at 0 V on grid 1


def current_kind(valve: Valve, plate: float, grid: float, screen: float | None = None) -> str:
    """Which band a plate current has: near cut-off a law is known less well.

    Parameters
    ----------
    valve : Valve
    plate, grid, screen : float
        Against the cathode [V]; as for `circuit.valves.evaluation.currents`.
    """
    here, open_grid = (float(currents(valve, plate, volts, screen).plate) for volts in (grid, 0.0))
    return CUT_OFF if here < _NEAR_CUT_OFF * open_grid else REST


def likely(kind: str, value: float) -> str:
    """From where to where a figure of an average valve's lies: "27 to 35" [its own unit].

    Parameters
    ----------
    kind : str
        One of `BANDS`.
    value : float
        The figure [its own unit]; one that is not finite gives "".
    """
    share = BANDS[kind]
    low, high = (value * (1.0 - share), value * (1.0 + share))
    if not abs(value) < float("inf"):
        return ""
    return f"{_plain(low)} to {_plain(high)}"


def with_likely(kind: str, value: float, digits: int = 3) -> str:
    """A figure and where it lies: "31, 24 to 38" [its own unit]; "" for one that is not finite."""
    return f"{_plain(value, digits)}, {likely(kind, value)}" if likely(kind, value) else ""


def _plain(value: float, digits: int = 2) -> str:
    """So many digits, never as a power of ten."""
    rounded = float(f"{value:.{digits}g}")
    return f"{rounded:.0f}" if abs(rounded) >= 10.0 ** (digits - 1) else f"{rounded:.{digits}g}"


def band_words(*kinds: str) -> str:
    """A sentence that says the bands of some kinds of figures [%].

    Raises
    ------
    KeyError
        For a kind that has no band.
    """
    decibels = {"gain": f" ({20.0 * math.log10(1.0 + BANDS['gain']):.1f} dB) for each stage"}
    shares = ", ".join(f"{kind} within {100.0 * BANDS[kind]:.0f} %{decibels.get(kind, '')}" for kind in kinds)
    return (
        f"Figures are those of an average valve of each type. Published stages lie as near to them as that: {shares}; "
        "that is twice what nine in ten of the rows used in fits keep within. Single valves differ more; what a mod "
        "changes is known better, since both amps have the same valves."
    )
