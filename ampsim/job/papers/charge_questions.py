"""Questions on what the capacitors of an amp hold, and for how long."""

from __future__ import annotations

import math
from collections.abc import Iterator

from ...base.quantities import FARAD, format_value
from ...base.wording import join_words
from ...measures.labels import records
from ...work.cautions.sheet import CautionSheet
from ...work.cautions.stored_charges import discharge_s
from .exercise_questions import EQUAL, Question

_ONE_CONSTANT = 0.1  # [ratio] by which a time worked out by hand may be off


def charge(sheet: CautionSheet) -> Iterator[Question]:
    """Which capacitor holds most, and how long it does."""
    held = records(sheet.table)
    if not held:
        return
    most = max(float(each["cold [J]"]) for each in held)
    first = [each for each in held if float(each["cold [J]"]) >= (1.0 - EQUAL) * most]
    row = first[0]
    known = [f"{each['part']} ({each['value']}) at {each['cold [V]']:.0f} V" for each in held]
    yield Question(
        "Which capacitor holds the most energy when the valves are cold?",
        " or ".join(str(each["part"]) for each in first),
        reason=f"{row['cold [J]']:.3g} J at {row['cold [V]']:.0f} V: C V squared, halved.",
        data=f"Cold they stand as follows: {join_words(known)}.",
        formula="The energy is C V squared, halved.",
    )
    yield from _time(sheet, str(row["part"]))


def _time(sheet: CautionSheet, part: str) -> Iterator[Question]:
    """How long a capacitor holds what it does; not asked where that is no time constant of one resistance.

    A bleeder empties every capacitor that hangs on it, whichever it is soldered across.
    """
    held = next(each for each in sheet.charges if each.part == part)
    ask = f"How many seconds after switching off does {part} need to fall under 60 V, nothing else helping?"
    others = [each for each in sheet.charges if each is not held and set(each.bleeder) & set(held.bleeder)]
    known = f"It is {format_value(held.farads, FARAD)}, and stands at {held.cold_volts:.0f} V when the valves are cold."
    if others:
        beside = join_words([f"{each.part} ({format_value(each.farads, FARAD)})" for each in others])
        known += f" {beside} empty{'' if len(others) > 1 else 's'} the same way."
    formula = (
        "The time is R C ln(V / 60 V), R being what leads from it to ground with cold valves, and C all that empties "
        "that way."
    )
    if math.isinf(held.falls_s):
        yield Question(f"{ask} (Write never where nothing bleeds it.)", "never", reason="No bleeder: discharge it.",
                       data=known, formula=formula)  # fmt: skip
        return
    by_hand = discharge_s(held.cold_volts, held.farads + sum(each.farads for each in others), held.bleeder_ohms)
    if abs(by_hand - held.falls_s) <= _ONE_CONSTANT * held.falls_s:
        reason = (
            f"{held.bleeder_words} and all that empties through it set the time: R C ln(V / 60). Discharge and verify "
            "all the same."
        )
        yield Question(ask, held.falls_s, "s", 0.8 * held.falls_s, 1.2 * held.falls_s, reason, known, formula)
