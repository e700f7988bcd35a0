"""What is usually fitted, which common ratings there are, and what a part is chosen for."""

from __future__ import annotations

import math
from collections.abc import Sequence

WATTS_FACTOR = 2.0
"""A resistor is chosen for twice the mean power it carries: common practice, no source."""
MAINS = 1.1
"""Rails are simulated at the volts of the description; the mains may stand 10 % higher (IEC 60038, from memory)."""
FITTED_WATTS, FITTED_VOLTS = {"resistor": 0.5, "pot": 0.25}, {"resistor": 350.0, "pot": 350.0}
"""What is usually fitted: half-watt film resistors that stand 350 V, quarter-watt tracks (from memory)."""
LARGER_VOLTS = 500.0
"""What film resistors of one watt and more stand (from memory)."""
FILM_VOLTS = 400.0
"""What capacitors below 1 uF are usually made for where they carry more than the least rating (common practice, no
source)."""
SCRATCH_VOLTS = 0.1
"""Direct volts across a track from which on a pot scratches (common practice, no source)."""
ELECTROLYTIC_FARADS = 1e-6
STANDARD_WATTS = (0.25, 0.5, 1.0, 2.0, 3.0, 5.0, 7.0, 10.0, 15.0, 20.0, 25.0, 50.0)
STANDARD_VOLTS = {
    # Below 1 uF: the R5 series of preferred numbers, which rated voltages follow (IEC 60384-1, from memory).
    "film": (63.0, 100.0, 160.0, 250.0, 400.0, 630.0, 1000.0, 1600.0),
    # Common practice, no source.
    "electrolytic": (16.0, 25.0, 35.0, 50.0, 63.0, 100.0, 160.0, 250.0, 350.0, 400.0, 450.0, 500.0),
}


def usual_volts(needed: float, farads: float) -> float:
    """What is usually fitted [V] where a capacitor carries so much [V]; 0 where its volts alone decide."""
    if farads >= ELECTROLYTIC_FARADS:
        return 0.0
    return FILM_VOLTS if needed > STANDARD_VOLTS["film"][0] else STANDARD_VOLTS["film"][0]


def standard_watts(watts: float) -> float:
    """The next common power rating [W]; infinite above the largest."""
    return _next(watts, STANDARD_WATTS)


def standard_volts(volts: float, farads: float) -> float:
    """The next common working voltage [V] of a capacitor; infinite above the largest (then two in series)."""
    return _next(volts, STANDARD_VOLTS["electrolytic" if farads >= ELECTROLYTIC_FARADS else "film"])


def _next(value: float, standard: Sequence[float]) -> float:
    return math.nan if math.isnan(value) else next((each for each in standard if each >= value), math.inf)
