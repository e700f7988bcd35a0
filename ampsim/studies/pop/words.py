"""The parts of what is said of a pop: known things beside it, its cause, and what lessens it at what cost."""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping

import pandas as pd
import xarray as xr

from ...base.wording import in_volts
from .measures import HELPS, PEAK, Row


def known_words(peak: float, limit: float | None, known: Mapping[str, float]) -> Iterator[str]:
    """A peak [V] beside that of 1 W and of what else the amp does [V]."""
    beside = {} if limit is None else {"playing at 1 W": limit}
    told = [f"{name} makes {in_volts(volts)} ({_against(peak, volts)})" for name, volts in (beside | {**known}).items()]
    if told:
        yield f"Beside it: {', '.join(told)}."


def _against(peak: float, volts: float) -> str:
    level = 20.0 * math.log10(max(peak, 1e-12) / max(volts, 1e-12))
    if abs(level) < 0.5:
        return "as much"
    return f"the pop is {abs(level):.0f} dB {'louder' if level > 0.0 else 'softer'}"


def cause_words(response: xr.Dataset, worst: Row, charge: bool) -> Iterator[str]:
    """What makes it; `charge`: that of the capacitors behind an open contact."""
    here = response.sel({name: worst[name] for name in ("variant", "position", "transition")})
    if charge:
        several = " and " in worst["held"]
        stands, has = ("stand", "have") if several else ("stands", "has")
        yield f"What makes it: {worst['held']} {stands} discharged behind an open contact and {has} to charge."
        return
    valves, capacitor = str(here["valves"].item()), str(here["capacitor"].item())
    volts = [float(each) for each in here["capacitor_volts"].values]
    charges = f"{capacitor} has to go {_way_words(*volts)}" if capacitor else ""
    if valves:
        ma, plate = here["plate_ma"].values, [in_volts(float(each)) for each in here["plate_volts"].values]
        verb = "are" if " and " in valves else "is"
        passed = f"; {charges}, and until it has, the step goes on to the loudspeaker" if charges else ""
        yield (
            f"What makes it: {valves} {verb} biased anew, from {float(ma[0]):.2g} to {float(ma[1]):.2g} mA, the plate "
            f"from {plate[0]} to {plate[1]}{passed}. A pop on re-biasing is usual and by itself no fault."
        )
    elif charges:
        yield f"What makes it: {charges}."
    else:
        yield (
            "What makes it: direct volts that move while the contacts are on their way; at rest both positions stand "
            "at the same volts."
        )


def _way_words(first: float, last: float) -> str:
    """From where to where volts go; of a way that is short beside them how long it is [V]."""
    one, other = in_volts(first), in_volts(last)
    return f"from {one} to {other}" if one != other else f"{in_volts(abs(last - first))} from {one}"


def remedy_words(rows: pd.DataFrame, worst: Row, left: Mapping[str, float]) -> Iterator[str]:
    """What would lessen it and at what cost; `left`: to each bleed what it leaves [V]."""
    good = HELPS * abs(worst[PEAK])
    ways = [*_bleed_words(worst, left, good), *_order_words(rows, worst, good), *_knob_words(rows, worst, good)]
    if ways:
        yield f"What lessens it: {'; '.join(ways)}."
    elif worst["held"]:
        yield f"A bleed across {_contact(worst)} leaves {in_volts(min(left.values()))}."
    else:
        yield "No capacitor hangs on its contacts, so a bleed does nothing."


def _bleed_words(worst: Row, left: Mapping[str, float], good: float) -> Iterator[str]:
    if left and min(left.values()) <= good:
        kept = ", ".join(f"{remedy} leaves {in_volts(volts)}" for remedy, volts in left.items())
        yield f"across {_contact(worst)} {kept} (a resistor)"


def _contact(worst: Row) -> str:
    return f"the contact of {worst['held']}"


def _order_words(rows: pd.DataFrame, worst: Row, good: float) -> Iterator[str]:
    """Another order of the contacts: of the switch that is planned, or of another one."""
    same = rows[(rows["transition"] == worst["transition"]) & (rows["remedy"] == worst["remedy"])]
    for row in sorted(same.to_dict("records"), key=lambda each: abs(each[PEAK])):
        if abs(row[PEAK]) <= good and row["gap"] != 0.0:
            cost = "ask for that kind" if row["possible"] else "takes another kind of switch, such as a rotary"
            yield f"{row['movement']} leaves {in_volts(abs(row[PEAK]))} ({cost})"
            return


def _knob_words(rows: pd.DataFrame, worst: Row, good: float) -> Iterator[str]:
    same = rows[(rows["transition"] == worst["transition"]) & (rows["movement"] == worst["movement"])]
    for row in same[same["turned down"]].to_dict("records"):
        if abs(row[PEAK]) <= good:
            yield f"with {row['remedy']} it is {in_volts(abs(row[PEAK]))} (a hand on the knob before switching)"
