"""Bias and ratings: what valves and parts carry with the mod, and what they may carry."""

from __future__ import annotations

from collections.abc import Iterable
from typing import Any

import pandas as pd
import xarray as xr

from ...base.progress import Progress
from ...base.quantities import OHM, with_unit
from ...base.wording import in_hertz
from ...circuit.amp import Amp
from ...circuit.build import build_circuit
from ...measures.labels import records
from ...measures.law_bands import REST, SCREEN, band_words, likely
from ..agreement import agreement_findings, agreement_of, agreement_words
from ..section import Examination, Section
from ..settings import in_steps
from . import TITLE
from .combined import stressed
from .devices import worst_devices
from .findings import moved_ratings
from .parts import part_ratings, worst_parts
from .picture import ratings_picture
from .simulate import HARD
from .valves import valve_ratings, worst_rows

_DEVICES = "rectifiers and semiconductors against their limits, each quantity at its worst position"
_VALVES, _MOVED = "valves against their limits, each at its worst position", "moved by more than 5 %"


def section(examined: Examination, progress: Progress | None = None) -> Section:
    """Simulate both amps at rest, cold and driven hard, and say what it means for valves and parts."""
    outside = _outside(examined.variants)
    response, findings = stressed(examined, outside, progress)
    devices, agreement = worst_devices(response), agreement_of(response)
    return Section(
        title=TITLE,
        findings=(*findings, *agreement_findings(agreement, TITLE, examined.modded.variant)),
        tables={
            _VALVES: _valves(response),
            **({_DEVICES: devices} if len(devices) else {}),
            "what parts carry and need, largest over the positions": _parts(response),
            _MOVED: moved_ratings(response),
        },
        pictures={"ratings": ratings_picture(response)},
        notes=(*_notes(), agreement_words(agreement)),
        key_tables=(_VALVES, *((_DEVICES,) if len(devices) else ()), _MOVED),
    )


def _outside(amps: Iterable[Amp]) -> set[str]:
    """What amps work into: no part of them."""
    return {each.designator for amp in amps for each in build_circuit(amp).load}


def _valves(response: xr.Dataset) -> pd.DataFrame:
    """The last variant at the worst position of each quantity; what has no limit is left out."""
    table = valve_ratings(response)
    known = table[(table["variant"] == str(response["variant"].values[-1])) & table["limit"].notna()]
    # In steps of one part in a thousand, so that the first of positions that are alike is named.
    worst = worst_rows(records(known), response, lambda row: round(in_steps(row["value"], 1e-3)))
    return pd.DataFrame([_valve_row(row | {"position": row["where"]}) for row in worst])


def _valve_row(row: dict[str, Any]) -> dict[str, Any]:
    carried, limit = (
        f"{row[name]:.3g} {row['unit']}" if row[name] < 999.5 else f"{row[name]:.0f} {row['unit']}"
        for name in ("value", "limit")
    )
    if row["unit"] == "ohm":
        carried, limit = (with_unit(row[name], OHM) for name in ("value", "limit"))
    if row["unit"] in ("W", "mA"):
        carried += f", {likely(SCREEN if row['quantity'].startswith('screen') else REST, row['value'])}"
    return {
        "valve": f"{row['valve']} ({row['type']})",
        "quantity": f"{row['quantity']}, {row['state']}",
        "carries": carried,
        "at most": limit,
        "of limit [%]": round(row["of limit [%]"]),
        "kind of limit": row["kind of limit"],
        "position": row["position"],
    }


def _parts(response: xr.Dataset) -> pd.DataFrame:
    worst = worst_parts(part_ratings(response))
    last = worst[worst["variant"] == str(response["variant"].values[-1])]
    return last.drop(columns=["variant", "kind", "value", "position"]).reset_index(drop=True)


def _notes() -> tuple[str, ...]:
    tones = " and ".join(
        f"{tone.level:g} V peak at {in_hertz(tone.frequency)} for {tone.duration:.2g} s" for tone in HARD
    )
    return (
        f"Driven hard: {tones}, knobs as each position says; peaks over the whole run, means over its last cycles. "
        "Where controls meet, at rest and cold at every combination, driven at the loudest and where rest is worse. "
        "On the two workshop amps, against the same tones for 0.5 to 1.2 s, mean watts of resistors read between 18 % "
        "low (slow supplies and cathodes) and 16 % high, of screens up to 8 % high. Other knobs may load more: parts "
        "lists rate with the amp's own where it is loudest.",
        band_words(REST, SCREEN),
        "Cold: rails at their drawn volts (behind a mains transformer at the peak of its winding) and no valve "
        "conducting, the peak on capacitors when valves warm up more slowly than filters fill. Of given rails the "
        "mains transformer's rise without load is not in it, nor are the rectifier's inrush and the mains' tolerance.",
        "Where a plate swings far below its screen nearly all the cathode gives is taken to go to the screen, of which "
        "no curve was published in what we saw: watts of screens and of their resistors there are an upper end.",
        "Heaters are taken to stand at ground. The description gives no ratings for parts: a part of the stock amp is "
        "taken to have the common rating that the stock amp asks for, at least half a watt; new resistors are taken to "
        "be half-watt film, new capacitors below 1 uF for 400 V, larger ones chosen by their volts at rest.",
        "Valves that idle alike in one output stage are read at one position, where one of them reads worst, and equal "
        "parts that stand alike at them carry what the one does that carries most: which side is driven harder follows "
        "from the tone's phase.",
        "The ratings of the transformer and of what the amp works into are not looked at.",
    )
