"""What each candidate costs: the bias it moves, the margins of the loop, noise, and the pop of its switches."""

from __future__ import annotations

import math

import pandas as pd

from ...base.wording import in_volts, signed
from ...measures.bias import BiasState, judged_bias_table
from ...measures.margins import margin_table
from ...simulation.analyses import OperatingPoint
from ...simulation.loop_gain import loop_gain
from ...simulation.response import simulate
from ..findings import most_worrying
from ..noise.measures import noise_table
from ..noise.simulate import noise_spectrum
from ..pop.section import section as pop_section
from ..section import Examination
from ..stability.loop_place import is_closed
from ..stability.steady import unsteady_positions
from .question import Question

_MOVED = 0.01  # [ratio] of a valve's plate current, and as many milliamperes: less is no move


def bias_words(question: Question) -> list[str]:
    """What each moves at rest: the valve whose current moves most, and valves over a limit, which stock has too."""
    table = judged_bias_table(simulate(question.amps, OperatingPoint(), [question.at]))
    rows = {variant: own.set_index("valve") for variant, own in table.groupby("variant")}
    if question.base not in rows:
        return ["no valve" for _ in question.labels]
    stock = rows[question.base]
    first = "; ".join(_over(stock)) or "\u2013"
    return [first, *(_bias_of(stock, rows[question.variant_of(label)]) for label in question.labels[1:])]


def _bias_of(stock: pd.DataFrame, own: pd.DataFrame) -> str:
    # What stock passes too, as far, is told of stock.
    kept = {valve for valve, row in stock.iterrows() if row["state"] == BiasState.OVER and valve in own.index}
    over = _over(own.drop([valve for valve in kept if not _share(stock, own, str(valve))]))
    gone = [f"{valve} out" for valve in stock.index if valve not in own.index]
    moved = sorted(
        ((_share(stock, own, str(valve)), str(valve)) for valve in own.index), key=lambda each: -abs(each[0])
    )
    moved = [(share, valve) for share, valve in moved if share]
    words = []
    if moved:
        share, valve = moved[0]
        before, after = (float(each["plate [mA]"][valve]) for each in (stock, own))
        words.append(f"{valve} {before:.3g} to {after:.3g} mA ({signed(100.0 * share, 0)} %)")
    if len(moved) > 1:
        words.append(f"{len(moved) - 1} more")
    return "; ".join([*words, *gone, *over]) or "as stock"


def _over(own: pd.DataFrame) -> list[str]:
    """The valves over a limit at rest, in words."""
    return [f"{valve} {row['verdict']}" for valve, row in own.iterrows() if row["state"] == BiasState.OVER]


def _share(stock: pd.DataFrame, own: pd.DataFrame, valve: str) -> float:
    """By which share of itself the plate current of a valve moves [ratio]; 0 where it does not or is new."""
    if valve not in stock.index:
        return 0.0
    before, after = (float(each["plate [mA]"][valve]) for each in (stock, own))
    if not abs(after - before) > max(_MOVED * abs(before), _MOVED):
        return 0.0
    return (after - before) / before if before else math.inf


def margin_columns(question: Question) -> dict[str, list[float]]:
    """Gain margin [dB] and phase margin [degrees] of the feedback loop where the controls stand; none without one."""
    closed = [amp for amp in question.amps if is_closed(amp, None, amp.setting(question.at))]
    if not closed:
        return {}
    table = margin_table(loop_gain(closed, None, [question.position_of(*closed)])).set_index("variant")
    names = {"phase margin [deg]": "least margin [deg]", "gain margin [dB]": "gain margin [dB]"}
    return {
        name: [
            float(table[column].get(question.variant_of(label), math.nan)) for label in question.labels
        ]
        for name, column in names.items()
    }  # fmt: skip


def noise_columns(question: Question) -> dict[str, list[float]]:
    """Noise with nothing played [dB(A)] against stock, and what is left of that at equal gain."""
    table = noise_table(noise_spectrum(question.amps, [question.at])).set_index("variant")
    names = {"noise against stock [dB(A)]": "change [dB(A)]", "at equal gain [dB(A)]": "change at equal gain [dB(A)]"}
    return {
        name: [round(float(table[column][question.variant_of(label)]), 1) for label in question.labels]
        for name, column in names.items()
    }


def rest_words(question: Question) -> list[str]:
    """Whether each stays at rest; empty where all do."""
    unsteady = {variant for variant, _ in unsteady_positions(question.amps, [question.at])}
    words = ["OSCILLATES" if question.variant_of(label) in unsteady else "steady" for label in question.labels]
    return words if unsteady else []


def pop_words(question: Question) -> list[str]:
    """The loudest pop of a switch of each, and how it stands to its limit."""
    known: dict[str, str] = {}
    for amp in question.amps:
        if not amp.all_switches:
            known[amp.variant] = "no switch"
            continue
        findings = pop_section(Examination(question.stock, amp, (question.position_of(amp),))).findings
        worst = most_worrying(findings)
        size = "" if math.isnan(worst.value) else f" {in_volts(abs(worst.value))},"
        known[amp.variant] = f"{worst.subject}{size} {worst.grade}"
    return [known[question.variant_of(label)] for label in question.labels]
