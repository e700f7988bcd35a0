"""How far a feedback loop is from oscillating."""

from __future__ import annotations

from typing import Any

import numpy as np
import pandas as pd
import xarray as xr
from numpy.typing import NDArray

_MIDBAND = (200.0, 2000.0)


def margin_table(response: xr.Dataset) -> pd.DataFrame:
    """Loop gain in the middle of the band, phase margins, and the closest approach to -1.

    Parameters
    ----------
    response : xarray.Dataset
        Of `ampsim.loop_gain`.

    Returns
    -------
    pandas.DataFrame
        One row per variant and position: loop gain at 400 Hz [dB]; the lowest and highest frequency [Hz] where its
        magnitude passes 1, with the phase margin [degrees] there; the smallest of all phase margins; the smallest
        ``|1 + T|`` with its frequency; a verdict in words. NaN where the loop gain never passes 1.

    Notes
    -----
    Phase margin is 180 degrees minus the angle between the loop gain and the positive real axis (definition). Negative
    real loop gain in mid-band means that the line is connected the wrong way round. Less than 45 degrees rings audibly
    or on a changed load: common practice, no source.
    """
    gain = response["loop_gain"].transpose("variant", "position", "frequency")
    frequency = gain["frequency"].values
    rows = []
    for variant, name in enumerate(gain["variant"].values):
        for place, position in enumerate(gain["position"].values):
            found = _margins(frequency, gain.values[variant, place])
            rows.append({"variant": str(name), "position": str(position), **found})
    return pd.DataFrame(rows)


def _margins(frequency: NDArray[Any], loop: NDArray[Any]) -> dict[str, Any]:
    level, log_f = 20.0 * np.log10(np.abs(loop)), np.log(frequency)
    crossings = [_crossing(log_f, level, loop, int(place)) for place in np.flatnonzero(np.diff(np.sign(level)))]
    nearest = int(np.argmin(np.abs(1.0 + loop)))
    (low, low_margin), (high, high_margin) = (crossings[0], crossings[-1]) if crossings else ((np.nan, np.nan),) * 2
    least = min((margin for _, margin in crossings), default=np.nan)
    middle = loop[(frequency >= _MIDBAND[0]) & (frequency <= _MIDBAND[1])]
    return {
        "loop gain at 400 Hz [dB]": float(np.interp(np.log(400.0), log_f, level)),
        "lowest crossing [Hz]": low,
        "margin there [deg]": low_margin,
        "highest crossing [Hz]": high,
        "margin up there [deg]": high_margin,
        "least margin [deg]": least,
        "closest to -1": float(np.abs(1.0 + loop[nearest])),
        "at [Hz]": float(frequency[nearest]),
        "verdict": _verdict(float(np.mean(middle.real)), least),
    }


def _crossing(log_f: NDArray[Any], level: NDArray[Any], loop: NDArray[Any], place: int) -> tuple[float, float]:
    share = level[place] / (level[place] - level[place + 1])
    turn = np.unwrap(np.angle(loop[place : place + 2]))
    angle = np.degrees(turn[0] + share * (turn[1] - turn[0]))
    angle = (angle + 180.0) % 360.0 - 180.0
    return float(np.exp(log_f[place] + share * (log_f[place + 1] - log_f[place]))), float(180.0 - abs(angle))


def _verdict(middle: float, least: float) -> str:
    if middle < 0.0:
        return "the feedback is positive: the line or the transformer is connected the wrong way round"
    if np.isnan(least):
        return "the loop gain never passes 1"
    if least < 45.0:
        return f"only {least:.0f} degrees of phase margin: it may ring or oscillate on a changed load"
    return f"steady, {least:.0f} degrees of phase margin"
