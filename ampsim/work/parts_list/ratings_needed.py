"""From what a part carries to what to ask for: rating, tolerance, and kind of part where it matters, and why."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from ...studies.ratings.parts import (
    ELECTROLYTIC_FARADS,
    FILM_VOLTS,
    FITTED_VOLTS,
    FITTED_WATTS,
    LARGER_VOLTS,
    WATTS_FACTOR,
    standard_volts,
    standard_watts,
)

MAINS = 1.1
"""Rails are simulated at the volts of the description; the mains may stand 10 % higher (IEC 60038, from memory)."""
PULSE_FACTOR = 10.0
"""How many times its rating a film resistor stands for some milliseconds (from memory)."""
CLASS_1_FARADS = 1e-9
"""Below this capacitors are ceramic or mica (common practice, no source)."""
_SOLID_VOLTS = 1.0  # V DC below which an electrolytic capacitor has no side that is surely plus


@dataclass(frozen=True)
class Surroundings:
    """Where a part stands, as far as that asks for a kind of part.

    `first_valve`: a pin of the first valve; `output_valve`: screen or cathode of an output valve; `plus`: the end
    that stands higher at rest ("C1.1"), of a capacitor only; `dc_volts` across it at rest, with that sign left out.
    """

    first_valve: bool = False
    output_valve: bool = False
    plus: str = ""
    dc_volts: float = 0.0


@dataclass(frozen=True)
class Rating:
    """What to ask for: watts and volts (NaN where they do not matter), tolerance (0.1 is 10 %), kind of part, why."""

    watts: float
    volts: float
    tolerance: float
    make: str
    why: str


def resistor_rating(carried: Mapping[str, Any], where: Surroundings) -> Rating:
    """A resistor for the watts and volts it carries (a row of `part_ratings`)."""
    heat = carried["needs [W]"] / WATTS_FACTOR
    watts = max(FITTED_WATTS["resistor"], standard_watts(carried["needs [W]"]))
    reasons = []
    if watts > FITTED_WATTS["resistor"]:
        reasons.append(f"carries {heat:.2g} W: half a watt would cook, so at least {WATTS_FACTOR:g} times the mean")
    if carried["pulse [W]"] > PULSE_FACTOR * watts:
        watts = max(watts, standard_watts(carried["pulse [W]"] / PULSE_FACTOR))
        reasons.append(f"peaks of {carried['pulse [W]']:.3g} W when driven hard")
    if MAINS * carried["needs [V]"] > FITTED_VOLTS["resistor"] and watts < 1.0:
        watts = 1.0
        reasons.append(
            f"{carried['needs [V]']:.0f} V across it: a half-watt body stands {FITTED_VOLTS['resistor']:g} V"
        )
    volts = LARGER_VOLTS if watts >= 1.0 else FITTED_VOLTS["resistor"]
    if MAINS * carried["needs [V]"] > volts:
        reasons.append(f"more than {volts:g} V on one body: two of half the value in series, or a high-voltage type")
    make, tolerance = ("metal film", 0.01) if watts < 1.0 else ("metal oxide or wirewound, clear of the board", 0.05)
    if where.output_valve:
        make = f"{make}, flameproof"
        reasons.append("an output valve that shorts overloads it (from memory)")
    if where.first_valve:
        reasons.append("low noise: direct volts across it before all the gain; carbon composition hisses")
    return Rating(watts, volts, tolerance, make, "; ".join(reasons))


def capacitor_rating(carried: Mapping[str, Any], where: Surroundings) -> Rating:
    """A capacitor for the volts it carries: class 1 ceramic or mica, film, or electrolytic by value and volts."""
    farads, needed = carried["value"], MAINS * carried["needs [V]"]
    least = 0.0 if farads >= ELECTROLYTIC_FARADS else FILM_VOLTS
    volts = standard_volts(max(needed, least), farads)
    reasons = []
    if carried["cold [V]"] > 1.2 * carried["rest [V]"] + 1.0:
        reasons.append(f"stands at {carried['cold [V]']:.0f} V until the valves are warm")
    if math.isinf(volts):
        reasons.append("more than any common rating: two of twice the value in series, each with a resistor across it")
    if farads < CLASS_1_FARADS:
        make, tolerance = "class 1 ceramic (C0G) or silver mica", 0.05
        reasons.append("class 2 ceramic loses value with volts and heat, and it rings when tapped")
    elif farads < ELECTROLYTIC_FARADS:
        make, tolerance = "film (polyester or polypropylene)", 0.10
        reasons.append("in the signal path no electrolytic leakage: a leak moves the next grid's bias")
    elif where.dc_volts < _SOLID_VOLTS:
        make, tolerance = "film or bipolar electrolytic", 0.20
        reasons.append(f"{where.dc_volts:.2g} V DC across it: too little to keep an electrolytic polarised")
    else:
        make, tolerance = f"electrolytic, plus at {where.plus}, 105 degrees", 0.20
        reasons.append("the wrong way round it heats and bursts")
    return Rating(math.nan, volts, tolerance, make, "; ".join(reasons))


def pot_rating(carried: Mapping[str, Any]) -> Rating:
    """A pot for the watts that its whole track must stand."""
    watts = max(FITTED_WATTS["pot"], standard_watts(carried["needs [W]"]))
    reasons = []
    if watts > FITTED_WATTS["pot"]:
        reasons.append(f"track carries {carried['needs [W]'] / WATTS_FACTOR:.2g} W: a quarter-watt track would burn")
    if carried["rest [V]"] > 0.1:
        reasons.append(f"{carried['rest [V]']:.2g} V DC across its track: it will scratch")
    if MAINS * carried["needs [V]"] > FITTED_VOLTS["pot"]:
        reasons.append(f"{carried['needs [V]']:.0f} V across it, more than the usual {FITTED_VOLTS['pot']:g} V")
    return Rating(watts, FITTED_VOLTS["pot"], 0.20, "carbon or plastic track", "; ".join(reasons))
