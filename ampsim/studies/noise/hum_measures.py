"""How loud the hum is as the ear weighs it, where it comes from, and what a mod does to it."""

from __future__ import annotations

import math
from collections.abc import Hashable, Mapping
from typing import Any

import numpy as np
import pandas as pd
import xarray as xr
from numpy.typing import NDArray

from ...measures.labels import expect
from ...measures.weighting import REFERENCE, a_weight, in_db_a, level_db
from ...simulation.agreement import SWEPT_LIMIT
from ...simulation.facts import get
from ..agreement import percent_words
from ..findings import Finding
from ..settings import once_per_setting
from . import TITLE
from .hum import SOLVERS
from .hum_plan import ASSUMED
from .measures import BEYOND_DB, STEP_DB, THRESHOLDS, change_words, margin_words, noise_grade, told_change

SOURCE = "sawtooth of I/(2 f C) on the reservoir, estimate from memory; A curve of IEC 61672-1; " + THRESHOLDS
SUPPLY, HEATERS = "supply hum", "heater hum"
NOTHING = "none"  # in the tables: where nothing comes through
LEAK_SOURCE = "leakage to each cathode assumed, common practice without a source; A curve of IEC 61672-1; " + THRESHOLDS


def hum_assumptions(response: xr.Dataset) -> tuple[str, ...]:
    """What the hum of a response rests on, in words."""
    assumed = get(response, ASSUMED)
    mains, pair = assumed.frequency, str(response.attrs["pair"])
    found = [
        f"Mains of {mains:g} Hz, full-wave rectified: the ripple of a reservoir is estimated as a sawtooth of "
        "I/(2 f C) peak to peak, with the current I at rest, and carries ten harmonics.",
        f"Heaters: {assumed.heater_volts:g} V at {mains:g} Hz leak through {assumed.leak_ohms / 1e6:g} Mohm to "
        "each cathode, all valves alike; this is an assumption, and a good valve leaks less.",
    ]
    if pair:
        percent = 100.0 * assumed.mismatch
        found.append(
            f"{pair} draws {percent:g} % more plate current than the other valve of its pair: a perfect match would "
            "cancel the ripple at the output transformer's centre tap, which real valves do not."
        )
    by = get(response, SOLVERS)
    if by.apart > SWEPT_LIMIT:
        found.append(
            f"Our own solver of small signals and ngspice differ by {percent_words(by.apart)} in the hum of a sample, "
            f"{percent_words(SWEPT_LIMIT)} is allowed: the hum is ngspice's alone."
        )
    elif by.solved:
        found.append(
            f"Hum of {by.solved} of {by.of} amps and positions by our own solver of small signals; of one ngspice's "
            f"differs by {percent_words(by.apart)}, {percent_words(SWEPT_LIMIT)} is allowed."
        )
    return tuple(found)


def hum_table(response: xr.Dataset) -> pd.DataFrame:
    """Hum of every variant at every position.

    The response is one of `hum_spectrum`.

    Returns
    -------
    pandas.DataFrame
        One row per variant and position: ripple of the reservoir [V peak to peak]; supply hum at the output as it is
        and A-weighted [V rms], its level [dB(A) against 1 W into 8 ohm], the change against the first variant [dB(A)],
        and the supply node that brings most; the same of the heaters, whose shares are added in power, since which
        side of the heater leaks is not known. "none" where nothing comes through.
    """
    expect(response, "ripple sweep")
    supply, heaters = _weigh(response["hum"]), _heaters(response)
    plain = _rms(response["hum"])
    by_node, by_heater = _weigh(response["contribution"]), response["heater"].values
    nodes, valves = response["rail"].values, response["valve"].values
    swing = response["swing"].values.max(axis=-1, initial=0.0)
    variants, positions = response["variant"].values, response["position"].values
    rows = []
    for variant, place in np.ndindex(supply.shape):
        rows.append(
            {
                "variant": str(variants[variant]),
                "position": str(positions[place]),
                "reservoir [V pp]": float(swing[variant, place]),
                "supply hum [mV]": 1e3 * float(plain[variant, place]),
                **_columns(SUPPLY, supply, variant, place),
                "most from": _largest(by_node[variant, place], nodes),
                **_columns(HEATERS, heaters, variant, place),
                "most by": _largest(by_heater[variant, place], valves),
            }
        )
    return pd.DataFrame(rows)


def hum_by_node(response: xr.Dataset) -> pd.DataFrame:
    """Where the hum comes from.

    The response is one of `hum_spectrum`.

    Returns
    -------
    pandas.DataFrame
        For every variant and position each supply node with its ripple [V rms] and what it brings to the output [V
        rms, A-weighted], and each valve with what its heater brings. Shares of nodes add up with their phases, so they
        may cancel in part; "whole supply" and "all heaters" have the sums.
    """
    expect(response, "ripple sweep")
    at_output, sums = _weigh(response["contribution"]), (_weigh(response["hum"]), _heaters(response))
    ripple = _rms(response["ripple"])
    leak = response["heater"].values * _mains_weight(response)
    nodes, valves = response["rail"].values, response["valve"].values
    variants, positions = response["variant"].values, response["position"].values
    rows = []
    for variant, place in np.ndindex(sums[0].shape):
        lines = [
            ("supply", str(name), 1e3 * float(ripple[variant, place, n]), float(at_output[variant, place, n]))
            for n, name in enumerate(nodes)
        ]
        lines.append(("supply", "whole supply", math.nan, float(sums[0][variant, place])))
        lines += [("heater", str(name), math.nan, float(leak[variant, place, n])) for n, name in enumerate(valves)]
        lines.append(("heater", "all heaters", math.nan, float(sums[1][variant, place])))
        head = {"variant": str(variants[variant]), "position": str(positions[place])}
        rows += [
            {**head, "kind": kind, "from": name, "ripple [mV]": volts, "at the output [mV(A)]": 1e3 * weighted}
            for kind, name, volts, weighted in lines
        ]
    return pd.DataFrame(rows)


def hum_findings(response: xr.Dataset, noise: xr.Dataset, pictures: Mapping[str, str] | None = None) -> list[Finding]:
    """What the mod does to the hum of supply and heaters, at each setting that matters, in all variants but the first.

    Parameters
    ----------
    response : xarray.Dataset
        Of `hum_spectrum`, the stock amp first.
    noise : xarray.Dataset
        Of `noise_spectrum`, of the same amps and positions: how much of a change is gain.
    pictures : mapping
        Names of the pictures that show "supply hum" and "heater hum".
    """
    stock, mains = str(response["variant"].values[0]), get(response, ASSUMED).frequency
    rows = hum_table(response).to_dict("records")
    found = []
    for kind, frequency in ((SUPPLY, 2.0 * mains), (HEATERS, mains)):
        gain = _gain_db(noise, frequency)
        lines = [(row, here, here - first) for row, (here, first) in zip(rows, gain, strict=True)]
        picture = (pictures or {}).get(kind, "")
        found += [_finding(*line, kind, frequency, stock, picture) for line in lines if line[0]["variant"] != stock]
    return once_per_setting(found, response)


def _gain_db(noise: xr.Dataset, frequency: float) -> list[tuple[float, float]]:
    """Gain [dB] at a frequency of each variant at each position, and of the first variant there."""
    grid = np.log(noise["frequency"].values)
    level = 20.0 * np.log10(np.maximum(noise["transfer"].values, 1e-30))
    at = [[float(np.interp(math.log(frequency), grid, curve)) for curve in rows] for rows in level]
    return [(here, first) for rows in at for here, first in zip(rows, at[0], strict=True)]


def _finding(
    row: dict[Hashable, Any], gain: float, more: float, kind: str, frequency: float, stock: str, picture: str
) -> tuple[Finding, tuple[float, ...]]:
    change, level = float(row[f"{kind}: change [dB(A)]"]), float(row[f"{kind}: level [dB(A) against {REFERENCE}]"])
    turned_down = min(gain, gain - more) < 0.0
    # What does not pass the stages whose gain changed does not rise with them: more gain excuses, less does not.
    judged = change if turned_down else change - max(more, 0.0)
    origin = row["most from"] if kind == SUPPLY else row["most by"]
    come_from = f"; most of it comes from {origin}" + ("" if kind == SUPPLY else "'s heater")
    words = (
        f"{kind} {in_db_a(level)} against {REFERENCE}, "
        f"{change_words(change, max(more, 0.0), judged, stock, turned_down, f'gain at {frequency:g} Hz')}; "
        f"{margin_words(change, judged, level)}"
        f"{'' if origin == NOTHING else come_from}."
    )
    how = "operating point, then ripple sweeps" if kind == SUPPLY else "a current into each cathode, swept"
    finding = Finding(
        TITLE, kind, str(row["variant"]), str(row["position"]), told_change(change, judged), "dB(A)", BEYOND_DB,
        noise_grade(change, judged, level), words, how, SOURCE if kind == SUPPLY else LEAK_SOURCE, picture,
    )  # fmt: skip
    return finding, tuple(each / STEP_DB for each in (level, change, judged))


def _weigh(volts: xr.DataArray) -> NDArray[np.float64]:
    """Voltage [V rms] of harmonics, A-weighted, over the dims without frequency, which is the last."""
    return _rms(volts * xr.DataArray(a_weight(volts["frequency"].values), dims="frequency"))


def _rms(volts: xr.DataArray) -> NDArray[np.float64]:
    return np.asarray(np.sqrt((np.abs(volts.transpose(..., "frequency").values) ** 2).sum(axis=-1)))


def _mains_weight(response: xr.Dataset) -> float:
    return float(a_weight(get(response, ASSUMED).frequency))


def _heaters(response: xr.Dataset) -> NDArray[np.float64]:
    return np.asarray(_mains_weight(response) * np.sqrt((response["heater"].values ** 2).sum(axis=-1)))


def _columns(kind: str, volts: NDArray[np.float64], variant: int, place: int) -> dict[str, float]:
    here, first = float(volts[variant, place]), float(volts[0, place])
    change = 0.0 if here == first else float(level_db(here) - level_db(first))
    return {
        f"{kind} [mV(A)]": 1e3 * here,
        f"{kind}: level [dB(A) against {REFERENCE}]": float(level_db(here)),
        f"{kind}: change [dB(A)]": change,
    }


def _largest(shares: NDArray[np.float64], names: NDArray[Any]) -> str:
    return str(names[int(np.argmax(shares))]) if shares.any() else NOTHING
