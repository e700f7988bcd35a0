"""From what a part carries to what to ask for: rating, tolerance, and kind of part where it matters, and why."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from ...base.wording import in_watts
from ...studies.ratings.usual import (
    ELECTROLYTIC_FARADS,
    FITTED_VOLTS,
    FITTED_WATTS,
    LARGER_VOLTS,
    MAINS,
    SCRATCH_VOLTS,
    WATTS_FACTOR,
    standard_volts,
    standard_watts,
    usual_volts,
)

PULSE_FACTOR = 10.0
"""How many times its rating a film resistor stands for some milliseconds (from memory)."""
CLASS_1_FARADS = 1e-9
"""Below this capacitors are ceramic or mica (common practice, no source)."""
CLASS_2_VOLTS = 10.0
"""From here on class 2 ceramic loses value and is microphonic (from memory)."""
_SOLID_VOLTS = 1.0  # V DC below which an electrolytic capacitor has no side that is surely plus
_ASKED_STEP = 100.0  # V: steps of what is asked for beyond what usual resistors and tracks stand
_LEAK_SHARE, _LEAK_AMPS = 0.01, 3e-6


def electrolytic_leak(farads: float, volts: float) -> float:
    """What an electrolytic capacitor may leak [A]: 0.01 C V, at least 3 uA (usual in data sheets, from memory)."""
    return max(_LEAK_SHARE * farads * volts, _LEAK_AMPS)


@dataclass(frozen=True)
class Surroundings:
    """Where a part stands, as far as that asks for a kind of part.

    `first_valves`: those without a valve before them that a resistor with direct volts hangs on; `short_watts` what it
    would carry when an output valve shorts [W], 0 where none can; `plus`: the end of a capacitor that stands higher at
    rest ("C1.1"), "" where that changes with the position; `dc_volts` across it at rest, with that sign left out.
    `grids`: the valves whose bias the leak of an electrolytic capacitor there would move; `shunts`: it stands at
    ground or a rail. `sets_supply`: a pot that sets volts of the supply.
    """

    first_valves: tuple[str, ...] = ()
    short_watts: float = 0.0
    plus: str = ""
    dc_volts: float = 0.0
    grids: tuple[str, ...] = ()
    shunts: bool = False
    sets_supply: bool = False


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
        reasons.append(f"carries {in_watts(heat)}: half a watt would cook, so at least {WATTS_FACTOR:g} times the mean")
    if carried["pulse [W]"] > PULSE_FACTOR * watts:
        watts = max(watts, standard_watts(carried["pulse [W]"] / PULSE_FACTOR))
        reasons.append(f"peaks of {carried['pulse [W]']:.3g} W when driven hard")
    if MAINS * carried["needs [V]"] > FITTED_VOLTS["resistor"] and watts < 1.0:
        watts = 1.0
        reasons.append(
            f"{carried['needs [V]']:.0f} V across it: a half-watt body stands {FITTED_VOLTS['resistor']:g} V"
        )
    usual = LARGER_VOLTS if watts >= 1.0 else FITTED_VOLTS["resistor"]
    volts = _asked_volts(carried, usual)
    if volts > usual:
        reasons.append(f"more than {usual:g} V on one body: two of half the value in series, or a high-voltage type")
    make, tolerance = ("metal film", 0.01) if watts < 1.0 else ("metal oxide or wirewound, clear of the board", 0.05)
    if where.short_watts > PULSE_FACTOR * watts:
        make = f"{make}, flameproof"
        reasons.append(f"an output valve that shorts puts up to {in_watts(where.short_watts)} on it")
    if where.first_valves:
        valves = " and ".join(where.first_valves)
        reasons.append(f"low noise: direct volts across it at {valves}, before all the gain; carbon composition hisses")
    return Rating(watts, volts, tolerance, make, "; ".join(reasons))


def _asked_volts(carried: Mapping[str, Any], usual: float) -> float:
    """The volts to ask for [V]: what is usual, or what is carried with the mains high, up to the next hundred."""
    needed = MAINS * float(carried["needs [V]"])
    return usual if needed <= usual else _ASKED_STEP * math.ceil(needed / _ASKED_STEP)


def capacitor_rating(carried: Mapping[str, Any], where: Surroundings) -> Rating:
    """A capacitor for the volts it carries: class 1 ceramic or mica, film, or electrolytic by value and volts."""
    farads, needed = carried["value"], MAINS * carried["needs [V]"]
    volts = standard_volts(max(needed, usual_volts(needed, farads)), farads)
    reasons = []
    if carried["cold [V]"] > 1.2 * carried["rest [V]"] + 1.0:
        reasons.append(f"stands at {carried['cold [V]']:.0f} V until the valves are warm")
    if math.isinf(volts):
        reasons.append("more than any common rating: two of twice the value in series, each with a resistor across it")
    make, tolerance, why = _make_of_capacitor(farads, needed, where)
    if make.startswith("film (") and farads >= ELECTROLYTIC_FARADS:
        volts = standard_volts(needed, 0.0)
    return Rating(math.nan, volts, tolerance, make, "; ".join([*reasons, *([why] if why else [])]))


def _make_of_capacitor(farads: float, needed: float, where: Surroundings) -> tuple[str, float, str]:
    """Kind, tolerance and why of a capacitor for so many volts [V]."""
    if farads < CLASS_1_FARADS:
        volts = "volts and heat, and it rings when tapped" if needed > CLASS_2_VOLTS else "heat"
        return "class 1 ceramic (C0G) or silver mica", 0.05, f"class 2 ceramic loses value with {volts}"
    if farads < ELECTROLYTIC_FARADS or (where.grids and not where.shunts):
        grids = " and ".join(where.grids)
        why = f"no electrolytic: its leak would move the bias of {grids}" if grids else ""
        return "film (polyester or polypropylene)", 0.10, why
    if where.dc_volts < _SOLID_VOLTS or not where.plus:
        why = f"{where.dc_volts:.2g} V DC across it: too little to keep an electrolytic polarised"
        if where.dc_volts >= _SOLID_VOLTS:
            why = "its plus end is another one in another position"
        return "film or bipolar electrolytic", 0.20, why
    return f"electrolytic, plus at {where.plus}, 105 degrees", 0.20, "the wrong way round it heats and bursts"


def pot_rating(carried: Mapping[str, Any], where: Surroundings) -> Rating:
    """A pot for the watts that its whole track must stand."""
    watts = max(FITTED_WATTS["pot"], standard_watts(carried["needs [W]"]))
    reasons = []
    if watts > FITTED_WATTS["pot"]:
        reasons.append(
            f"track carries {in_watts(carried['needs [W]'] / WATTS_FACTOR)}: a quarter-watt track would burn"
        )
    if carried["rest [V]"] > SCRATCH_VOLTS and not where.sets_supply:
        reasons.append(f"{carried['rest [V]']:.2g} V DC across its track: it will scratch")
    volts = _asked_volts(carried, FITTED_VOLTS["pot"])
    if volts > FITTED_VOLTS["pot"]:
        reasons.append(f"{carried['needs [V]']:.0f} V across it, more than the usual {FITTED_VOLTS['pot']:g} V")
    return Rating(watts, volts, 0.20, "carbon or plastic track", "; ".join(reasons))
