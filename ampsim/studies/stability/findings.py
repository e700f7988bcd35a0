"""What the margins of a feedback loop mean for a mod: table and findings, stock beside modded."""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass

import pandas as pd
import xarray as xr

from ...base.wording import in_hertz
from ...measures.margins import Margins, margin_verdict, margins_of
from ..findings import Finding, Grade, grade_above
from . import TITLE

# (beyond the limit below this, near the limit below that): phase margin [degrees], gain margin [dB].
PHASE_LIMITS = (30.0, 45.0)
GAIN_LIMITS = (3.0, 6.0)
_SOURCE = (
    "phase margin at least 45 degrees, 30 at the very least; gain margin at least 6 dB, 3 at the very least: common "
    "practice, no source"
)
_NYQUIST = (
    "encirclement of -1: H. Nyquist, Regeneration theory, Bell System Technical Journal 11(1), 1932 (from memory)"
)
ANY = "any position"
_HOW = "loop gain by double injection, worst of every position of the controls that matter"


@dataclass(frozen=True)
class LoopCase:
    """The worst corner of a loop in one situation.

    `held` says in words what stayed ("" for nothing), `corner` which other settings make it the worst ("" where none
    makes a difference), `load` in words what hangs on the output ("" for the load drawn). `drawn` holds the margins
    with the other controls as drawn, `stock` those of the stock amp at its own worst corner in the same situation
    (None without feedback). `unusual` marks a load that an amp meets by mistake only.
    """

    variant: str
    held: str
    corner: str
    margins: Margins
    drawn: Margins
    stock: Margins | None
    load: str = ""
    unusual: bool = False


def margin_grade(margins: Margins, unusual: bool = False) -> Grade:
    """How a loop stands to the limits; on an unusual load a small margin is merely near the limit."""
    if margins.oscillates or margins.reversed:
        return Grade.BEYOND
    if margins.turns is None:
        return Grade.UNKNOWN
    phase = 180.0 if math.isnan(margins.phase_margin) else margins.phase_margin
    gain = math.inf if math.isnan(margins.gain_margin) else abs(margins.gain_margin)
    found = max(grade_above(phase, *PHASE_LIMITS), grade_above(gain, *GAIN_LIMITS), key=lambda grade: grade.worry)
    return Grade.NEAR if unusual and found == Grade.BEYOND else found


def stability_table(cases: Iterable[LoopCase]) -> pd.DataFrame:
    """One row per case: the worst corner, its margins, the stock amp's margin.

    Returns
    -------
    pandas.DataFrame
        Held, load, worst corner of the other controls, phase margin [deg] with its frequency [Hz], gain margin
        [dB], closest to -1, phase margin with the others as drawn [deg], stock phase margin [deg] (nan without
        feedback), verdict.
    """
    rows = [
        {
            "held": case.held or ANY,
            "load": case.load or "as drawn",
            "worst corner of the others": case.corner or "any",
            "phase margin [deg]": round(case.margins.phase_margin, 1),
            "at [Hz]": float(f"{case.margins.trouble_at:.3g}"),
            "gain margin [dB]": round(case.margins.gain_margin, 1),
            "closest to -1": round(case.margins.distance, 2),
            "others as drawn [deg]": round(case.drawn.phase_margin, 1),
            "stock [deg]": round(case.stock.phase_margin, 1) if case.stock else math.nan,
            "verdict": margin_verdict(case.margins),
        }
        for case in cases
    ]
    return pd.DataFrame(rows)


def travel_table(response: xr.Dataset) -> pd.DataFrame:
    """Least phase margin while one knob at a time is turned.

    The response is one of `ampsim.studies.stability.worst_corner.loop_on_travel`.

    Returns
    -------
    pandas.DataFrame
        One row per rotation (index), one column per control: least phase margin [degrees]; negative where it
        oscillates, nan where the loop gain never passes 1.
    """
    gain = response["loop_gain"].transpose("control", "rotation", "frequency")
    frequency = gain["frequency"].values
    found = [[each.phase_margin for each in margins_of(frequency, loops)] for loops in gain.values]
    columns = dict(zip((str(name) for name in gain["control"].values), found, strict=True))
    return pd.DataFrame(columns, index=pd.Index(gain["rotation"].values, name="rotation"))


def stability_findings(cases: Sequence[LoopCase], picture: str = "") -> list[Finding]:
    """One finding per case: oscillation, wrong polarity, or the margin against what is commonly asked for.

    Parameters
    ----------
    cases : sequence of LoopCase
    picture : str
        Name of the picture of the section that shows the margins.
    """
    return [
        Finding(
            topic=TITLE,
            subject=f"feedback loop on {case.load}" if case.load else "feedback loop",
            variant=case.variant,
            position=case.held or ANY,
            value=case.margins.phase_margin,
            unit="degrees",
            limit=PHASE_LIMITS[1],
            grade=Grade.FINE if _stays(case) else margin_grade(case.margins, case.unusual),
            words=_words(case),
            how=_HOW,
            source=_NYQUIST if case.margins.oscillates else _SOURCE,
            picture=picture,
            names_position=True,
            least=True,
        )
        for case in cases
    ]


def _stays(case: LoopCase) -> bool:
    """Whether a mod leaves the margin on an unusual load as it was, within a degree."""
    if not case.unusual or case.stock is None or case.margins.oscillates or case.margins.reversed:
        return False
    return case.margins.phase_margin > case.stock.phase_margin - 1.0


def _words(case: LoopCase) -> str:
    stands = f"at its worst with {case.corner}" if case.corner else "" if case.held else "at any position"
    where = ", ".join(filter(None, (case.held, stands, case.load and f"on {case.load}")))
    drawn = (
        ""
        if margin_grade(case.margins) == Grade.FINE or not case.corner
        else (f"; with all else as drawn, {_briefly(case.drawn)}")
    )
    stock = f"the stock amp has {_briefly(case.stock)} at its own worst" if case.stock else "the stock amp has none"
    return f"{where}: {_state(case.margins)}{drawn}; {stock}"


def _state(found: Margins) -> str:
    if found.reversed or found.oscillates or found.turns is None:
        return margin_verdict(found)
    parts = []
    if not math.isnan(found.phase_margin):
        held = _held_against(found.phase_margin, PHASE_LIMITS, "degrees")
        degrees = _told(found.phase_margin, PHASE_LIMITS)
        parts.append(f"phase margin {degrees} degrees at {in_hertz(found.trouble_at)}, {held}")
    if not math.isnan(found.gain_margin):
        gain = abs(found.gain_margin)
        parts.append(f"gain margin {_told(gain, GAIN_LIMITS)} dB, {_held_against(gain, GAIN_LIMITS, 'dB')}")
    return "; ".join(parts) or margin_verdict(found)


def _told(margin: float, limits: tuple[float, float]) -> str:
    """A margin rounded, but not up to a limit that it misses."""
    rounded_up = any(margin < limit <= round(margin) for limit in limits)
    return f"{math.floor(10.0 * margin) / 10.0:.1f}" if rounded_up else f"{margin:.0f}"


def _held_against(margin: float, limits: tuple[float, float], unit: str) -> str:
    """How a margin stands to what is asked for, so that it reads once."""
    least, usual = limits
    if margin >= usual:
        return f"enough ({usual:.0f} are asked for)"
    if margin >= least:
        return f"less than the usual {usual:.0f}"
    return f"less than the {least:.0f} {unit} that are the very least"


def _briefly(found: Margins) -> str:
    if found.reversed:
        return "positive feedback"
    if found.oscillates:
        return f"a loop that oscillates near {in_hertz(found.trouble_at)}"
    if math.isnan(found.phase_margin):
        return "a loop gain that never passes 1"
    return f"{found.phase_margin:.0f} degrees"
