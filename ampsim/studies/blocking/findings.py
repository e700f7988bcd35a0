"""What is said of a mod's blocking, against the stock amp."""

from __future__ import annotations

from typing import Any

import numpy as np
import xarray as xr

from ...measures.labels import records
from ...measures.waveforms import stimulus
from ..findings import Finding, Grade, grade_below
from ..settings import in_steps, once_per_setting
from . import TITLE
from .measures import DOWN_DB, blocking_table, tone_table

BLOCKED_MS = 100.0
"""A note that is `DOWN_DB` down for longer after a hard stroke is heard to be missing (our own limit): the ear itself
misses weak sounds for 0.1 to 0.2 s after loud ones (forward masking; from memory)."""
OWN = "limit: our own, from forward masking (from memory); 37 % is what one time constant leaves"


def blocking_findings(response: xr.Dataset, picture: str = "") -> list[Finding]:
    """Blocking of every variant but the first, against the first, at every position.

    `response`: of `ampsim.studies.blocking.simulate.blocking`, the stock amp first. `picture`: name of the picture
    that shows it.

    Returns
    -------
    list of Finding
        One to each setting that matters: how long the small tone at the speaker stays down, against `BLOCKED_MS`, and
        the bias that is pushed most. Near the limit from half of it on; a step milder where the stock amp blocks as
        long.
    """
    facts, tones, biases = stimulus(response), records(tone_table(response)), records(blocking_table(response))
    stock, ends = str(response["variant"].values[0]), 1e3 * (facts.duration - facts.stop)
    until = {(row["variant"], row["position"]): row["down until [ms]"] for row in tones}
    how = (
        f"{1e3 * (facts.stop - facts.start):.0f} ms of {facts.level:g} V peak at {facts.frequency:g} Hz, "
        f"before and after it {1e3 * facts.around:g} mV"
    )
    found = []
    for row in (row for row in tones if row["variant"] != stock):
        now, before = row["down until [ms]"], until[stock, row["position"]]
        here = [each for each in biases if all(each[name] == row[name] for name in ("variant", "position"))]
        words = f"{_tone_words(row, before, ends)}; {_bias_words(here, ends)}."
        finding = Finding(TITLE, "small tone after a hard stroke", row["variant"], row["position"], now, "ms",
                          BLOCKED_MS, _grade(now, before), words, how, OWN, picture)  # fmt: skip
        found.append((finding, _figures(row, most_pushed_valve(here) if here else _NO_VALVE)))
    return once_per_setting(found, response)


# Of an amp without valves.
_NO_VALVE = {"shift [V]": 0.0, "37 % left after [ms]": 0.0}


def _figures(tone: dict[str, Any], bias: dict[str, Any]) -> tuple[float, ...]:
    """What the words say, in steps that are worth telling: of 10 % or 2 ms, half a decibel, 10 % or 0.1 V."""
    return (
        in_steps(tone["down until [ms]"], 0.1, 2.0),
        2.0 * tone["tone lowest [dB]"],
        in_steps(bias["shift [V]"], 0.1, 0.1),
        in_steps(bias["37 % left after [ms]"], 0.1, 2.0),
    )


def most_pushed_valve(rows: list[dict[str, Any]]) -> dict[str, Any]:
    """Of rows of `blocking_table`, the valve pushed furthest for longest: shift over bias, times time to 37 %."""

    def push(row: dict[str, Any]) -> float:
        share = abs(row["shift [V]"]) / max(abs(row["bias before [V]"]), 1.0)
        return float(share * np.nan_to_num(row["37 % left after [ms]"], nan=0.0, posinf=1e3))

    return max(rows, key=push)


def _grade(now: float, before: float) -> Grade:
    """Against the limit; a step milder where the stock amp blocks as long, to a tenth and 2 ms."""
    plain = grade_below(now, BLOCKED_MS, 0.5)
    milder: dict[Grade, Grade] = {Grade.BEYOND: Grade.NEAR, Grade.NEAR: Grade.FINE}
    return milder.get(plain, plain) if now <= 1.1 * before + 2.0 else plain


def _tone_words(row: dict[str, Any], before: float, ends: float) -> str:
    if np.isnan(row["down until [ms]"]):
        return "no tone comes through, so nothing can be said of blocking"
    return (
        f"after a hard stroke a small tone is {_down(row['down until [ms]'], ends)} (stock: {_down(before, ends)}), "
        f"{max(-row['tone lowest [dB]'], 0.0):.0f} dB at its lowest"
    )


def _down(until: float, ends: float) -> str:
    if until == np.inf:
        return f"still more than {DOWN_DB:g} dB down after {ends:.0f} ms"
    return f"more than {DOWN_DB:g} dB down for {until:.0f} ms" if until > 0.0 else f"never {DOWN_DB:g} dB down"


def _bias_words(rows: list[dict[str, Any]], ends: float) -> str:
    if not rows:
        return "there is no valve whose bias could be pushed"
    row = most_pushed_valve(rows)
    shift, left = row["shift [V]"], row["37 % left after [ms]"]
    if np.isnan(left):
        return "no bias is pushed"
    time = (
        f"not back to 37 % of that within {ends:.0f} ms"
        if left == np.inf
        else f"37 % of that is left {left:.0f} ms later"
    )
    return f"{row['valve']} is pushed most: bias {abs(shift):.2g} V {'colder' if shift < 0.0 else 'warmer'}, {time}"
