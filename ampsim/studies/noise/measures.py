"""How loud the noise is as the ear weighs it, who makes it, and what a mod does to it."""

from __future__ import annotations

import math
from collections.abc import Hashable, Sequence
from typing import Any

import numpy as np
import pandas as pd
import xarray as xr

from ...measures.labels import expect
from ...measures.weighting import REFERENCE, UNHEARD, UNHEARD_DB, a_weight, in_db_a, level_db
from ..findings import Finding, Grade
from ..settings import once_per_setting
from . import TITLE

# Rise of the hiss [dB] from which on we look again, and from which on we would not build it. Our own thresholds: 3 dB
# is twice the power, 6 dB twice the voltage.
NEAR_DB, BEYOND_DB = 3.0, 6.0
THRESHOLDS = (
    f"thresholds of our own: look again from +{NEAR_DB:g} dB(A) on, be it more gain or more noise; beyond the limit "
    f"from +{BEYOND_DB:g} dB(A) on at equal gain (turned down below a gain of 1: altogether); {UNHEARD}"
)
SOURCE = "A curve of IEC 61672-1; valve noise 2.5/gm and 2 q Ia Ig2/(Ia + Ig2), from memory; " + THRESHOLDS


def weighted_v(density: xr.DataArray, weight: bool = True) -> xr.DataArray:
    """Voltage [V rms] of a noise [V/sqrt(Hz)] over its frequencies, A-weighted or as it is; dims without frequency.

    The square root of the integral of the squared density, by trapezoid.
    """
    curve = a_weight(density["frequency"].values) if weight else np.ones(density.sizes["frequency"])
    power = ((density * xr.DataArray(curve, dims="frequency")) ** 2).integrate("frequency")
    return power**0.5


def noise_table(response: xr.Dataset) -> pd.DataFrame:
    """Noise of every variant at every position.

    The response is one of `noise_spectrum`.

    Returns
    -------
    pandas.DataFrame
        One row per variant and position: noise at the output as it is and A-weighted [V rms], its level [dB(A) against
        1 W into 8 ohm, 2.83 V] and its change against the first variant; the gain [dB], A-weighted as the noise is
        (root of the weighted mean square), its change, and the change of noise at equal gain, their difference; the
        noise counted at the source [V rms, A-weighted], which is the output's divided by that gain; the contributor
        that brings most and its share of the A-weighted power.
    """
    expect(response, "noise sweep")
    plain, weighted = (weighted_v(response["noise"], weight).values for weight in (False, True))
    flat = weighted_v(xr.ones_like(response["noise"])).values
    gain = weighted_v(response["transfer"]).values / flat
    shares, names = noise_shares(response).values, response["contributor"].values
    variants, positions = response["variant"].values, response["position"].values
    rows = []
    for variant, place in np.ndindex(weighted.shape):
        volts, here_gain = float(weighted[variant, place]), float(gain[variant, place])
        rise = _decibels(volts / float(weighted[0, place]))
        more = _decibels(here_gain) - _decibels(float(gain[0, place]))
        here = shares[variant, place]
        main = int(np.argmax(here))
        rows.append(
            {
                "variant": str(variants[variant]),
                "position": str(positions[place]),
                "noise [mV]": 1e3 * float(plain[variant, place]),
                "noise [mV(A)]": 1e3 * volts,
                f"level [dB(A) against {REFERENCE}]": float(level_db(volts)),
                "change [dB(A)]": rise,
                "gain [dB]": _decibels(here_gain),
                "change of gain [dB]": more,
                "change at equal gain [dB(A)]": rise - more,
                "at the source [uV(A)]": 1e6 * volts / here_gain if here_gain > 0.0 else math.inf,
                "most from": str(names[main]),
                "its share [%]": 100.0 * float(here[main]),
            }
        )
    return pd.DataFrame(rows)


def _decibels(ratio: float) -> float:
    return 20.0 * math.log10(max(ratio, 1e-30))


def noise_shares(response: xr.Dataset) -> xr.DataArray:
    """Share of every contributor in the A-weighted power [ratio], dims (variant, position, contributor); sum 1."""
    power = weighted_v(response["contribution"]) ** 2
    return power / power.sum("contributor")


OTHERS = "all others"
"""What `contributor_table` calls those that are too faint for a row of their own."""


def contributor_table(response: xr.Dataset, least: float = 0.01) -> pd.DataFrame:
    """Who makes the noise.

    Parameters
    ----------
    response : xarray.Dataset
        Of `noise_spectrum`.
    least : float
        Contributors with less of the A-weighted power than this share are left out; the row `OTHERS` has them.

    Returns
    -------
    pandas.DataFrame
        For every variant and position the contributors from the loudest down: what and in which stage they are, their
        noise at the output [V rms, A-weighted] and their share of the A-weighted power.
    """
    expect(response, "noise sweep")
    volts, shares = weighted_v(response["contribution"]).values, noise_shares(response).values
    variants, positions = response["variant"].values, response["position"].values
    known = {name: response[name].values for name in ("contributor", "kind", "stage")}
    rows = []
    for variant, place in np.ndindex(volts.shape[:2]):
        here, share = volts[variant, place], shares[variant, place]
        head = {"variant": str(variants[variant]), "position": str(positions[place])}
        order = [n for n in np.argsort(-share, kind="stable") if share[n] >= least]
        for n in order:
            names = {name: str(values[n]) for name, values in known.items()}
            rows.append({**head, **names, "noise [mV(A)]": 1e3 * here[n], "share [%]": 100.0 * share[n]})
        rest = np.sqrt(max(float((here**2).sum() - (here[order] ** 2).sum()), 0.0))
        others = {"contributor": OTHERS, "kind": "", "stage": ""}
        left = 100.0 * max(1.0 - float(share[order].sum()), 0.0)
        rows.append({**head, **others, "noise [mV(A)]": 1e3 * rest, "share [%]": left})
    return pd.DataFrame(rows)


def noise_findings(response: xr.Dataset, picture: str = "", variants: Sequence[str] | None = None) -> list[Finding]:
    """What the mod does to the hiss, a finding to each setting that matters for it, of every variant but the first.

    Parameters
    ----------
    response : xarray.Dataset
        Of `noise_spectrum`, the stock amp first.
    picture : str
        Name of the picture that shows it.
    variants : sequence of str
        Default: all but the first.
    """
    table = noise_table(response)
    stock = str(response["variant"].values[0])
    wanted = [str(each) for each in response["variant"].values[1:]] if variants is None else list(variants)
    return once_per_setting(
        [
            _finding(row, stock, _stage(response, row["most from"]), picture)
            for row in table.to_dict("records")
            if row["variant"] in wanted
        ],
        response,
    )


def _stage(response: xr.Dataset, contributor: str) -> str:
    return str(response["stage"].sel(contributor=contributor).item())


STEP_DB = 0.2
"""Levels that lie closer are alike: a setting that moves none of them by more does not matter."""


def _finding(row: dict[Hashable, Any], stock: str, stage: str, picture: str) -> tuple[Finding, tuple[float, ...]]:
    change, level = float(row["change [dB(A)]"]), float(row[f"level [dB(A) against {REFERENCE}]"])
    more, gain = float(row["change of gain [dB]"]), float(row["gain [dB]"])
    turned_down = min(gain, gain - more) < 0.0
    judged = change if turned_down else change - more
    words = (
        f"hiss {in_db_a(level)} against {REFERENCE}, "
        f"{change_words(change, more, judged, stock, turned_down)}; {margin_words(change, judged, level)}; most of it "
        f"({row['its share [%]']:.0f} %) comes from {row['most from']} ({stage})."
    )
    finding = Finding(
        TITLE, "hiss", str(row["variant"]), str(row["position"]), told_change(change, judged), "dB(A)",
        BEYOND_DB, noise_grade(change, judged, level), words,
        "operating point, then noise sweep with the input silent", SOURCE, picture,
    )  # fmt: skip
    return finding, tuple(each / STEP_DB for each in (level, change, judged))


def told_change(change: float, judged: float) -> float:
    """What a finding is about [dB(A)]: the change at equal gain where that is too much, else whichever is more.

    Parameters
    ----------
    change, judged : float
        The whole change, and what is left of it at equal gain [dB(A)].
    """
    return judged if judged > BEYOND_DB or math.isnan(change) else max(judged, change)


def change_words(change: float, more: float, judged: float, stock: str, turned_down: bool, name: str = "gain") -> str:
    """A change in words: the whole of it, how much of it is gain, and what is left at equal gain.

    Parameters
    ----------
    change, judged : float
        The whole change, and what is left of it at equal gain [dB(A)].
    more : float
        Change of gain [dB].
    stock : str
        What it is a change against.
    turned_down : bool
        Whether the amp is turned down below a gain of 1: then the gain is not told.
    name : str
        What the gain is called.
    """
    words = f"as much as {stock}" if abs(change) < 0.05 else f"{_more_or_less(change)} than {stock}"
    if math.isinf(change):
        words = f"{'silent' if change < 0.0 else 'no longer silent'} beside {stock}"
    if turned_down or abs(more) < 0.05:
        return words
    gain = in_db_a(more, True).removesuffix("(A)")
    return f"{words} ({name} {gain}; at equal gain {'the same' if abs(judged) < 0.05 else _more_or_less(judged)})"


def _more_or_less(change: float) -> str:
    """A change [dB(A)] that is none below nought: "3.1 dB(A) more"."""
    return f"{in_db_a(abs(change))} {'more' if change > 0.0 else 'less'}"


def noise_grade(change: float, judged: float, level: float) -> Grade:
    """Grade a rise of the hiss [dB(A)]: the whole change, the change at equal gain, and the level reached."""
    if math.isnan(change) or math.isnan(judged):
        return Grade.UNKNOWN
    if level < UNHEARD_DB:
        return Grade.FINE
    return Grade.BEYOND if judged > BEYOND_DB else Grade.NEAR if max(change, judged) > NEAR_DB else Grade.FINE


def margin_words(change: float, judged: float, level: float) -> str:
    """How a change [dB(A)] stands to our limit, in words; parameters as `noise_grade`."""
    if level < UNHEARD_DB:
        return f"too faint to matter (below {in_db_a(UNHEARD_DB)})"
    limit = f"our limit is a rise of {in_db_a(BEYOND_DB)}"
    if judged > BEYOND_DB:
        return f"{in_db_a(judged - BEYOND_DB)} too much: {limit}"
    by_gain = change > NEAR_DB >= judged and judged <= change / 2.0
    return f"{limit}{'; it is the gain that brings it up' if by_gain else ''}"
