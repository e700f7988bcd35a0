"""Why one position sounds brighter than another, in numbers; `sentences` says it in words."""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np
import xarray as xr

from ...base.errors import DescriptionError, nearest, shown
from ...circuit.amp import Amp
from ...circuit.build import SPEAKER
from ...circuit.positions import Position
from ...measures.loudness import Array, Listening, compare
from ...measures.sweep import gain_db
from ...simulation.response import simulate
from .attribution import METHOD, SOURCE, share_out, try_all

# Enough that a straight line between two of them finds a rotation to a tenth of a panel division.
_ROTATIONS = 41


def explain_brightness(
    stock: Amp,
    modded: Amp,
    position: Position | None = None,
    knob: str | None = None,
    node: str = SPEAKER,
    by: str | Mapping[str, str] = "part",
    base_position: Position | None = None,
    listening: Listening | None = None,
) -> xr.Dataset:
    """Find out what makes a position sound brighter or duller than stock, at equal loudness.

    Parameters
    ----------
    stock, modded, position, node, by, base_position
        As those of `attribution.attribute`.
    knob : str
        A knob to turn, all else as it is, until half of the difference in sharpness is gone; default none.
    listening : Listening
        Level and loudspeaker roll-off.

    Raises
    ------
    DescriptionError
        As `attribution.attribute`.

    Returns
    -------
    xarray.Dataset
        At equal loudness: `sharpness` (variant) [acum]; `sharper`, the difference [acum], and `sharper_share` (edit),
        which adds up to it; `difference` (frequency) [dB], and `share` (edit, frequency), which adds up to it;
        `offset` [dB], the turning up that equal loudness took. With a knob: `turned_sharper` (rotation) [acum] and
        `half_at`, the rotation nearest to the present one where at most half is left (NaN: nowhere), beside `now_at`.
        Shares are Shapley values: each subset of the edits is brought to equal loudness by itself.

    References
    ----------
    As `attribution.attribute` (shares) and `hearing` (loudness and sharpness).
    """
    found = try_all(stock, modded, position, node, by, base_position)
    heard = compare(found.gain, listening)
    acum, change = heard["sharpness"].values, heard["difference"].values
    answer = xr.Dataset(
        {
            "sharpness": ("variant", acum[[0, -1]], {"units": "acum"}),
            "sharper": ((), acum[-1] - acum[0], {"units": "acum"}),
            "sharper_share": ("edit", share_out(acum), {"units": "acum"}),
            "difference": ("frequency", change[-1], {"units": "dB"}),
            "share": (("edit", "frequency"), share_out(change), {"units": "dB"}),
            "offset": ((), heard["offset"].values[-1], {"units": "dB"}),
        },
        {
            "variant": ["before", "after"],
            "edit": [step.name for step in found.steps],
            "words": ("edit", [step.words for step in found.steps]),
            "frequency": heard["frequency"],
        },
        heard.attrs | {"node": node, "circuits": len(acum), "method": METHOD, "source": SOURCE},
    )
    if knob is None:
        return answer
    return answer.assign(_turn_knob(stock, modded, position or {}, knob, node, base_position, listening))


def _turn_knob(
    stock: Amp,
    modded: Amp,
    position: Position,
    knob: str,
    node: str,
    base_position: Position | None,
    listening: Listening | None,
) -> xr.Dataset:
    control = modded.controls.get(knob)
    if control is None or control.kind != "knob":
        knobs = [name for name, each in modded.controls.items() if each.kind == "knob"]
        raise DescriptionError(f"{modded.name} has no knob {shown(knob)}{nearest(knob, knobs)}")
    now = float(position.get(knob, control.drawn))
    rotations = np.unique([*np.linspace(0.0, 1.0, _ROTATIONS), now])
    before = _gains(stock, position if base_position is None else base_position, knob, rotations, node)
    after = _gains(modded, position, knob, rotations, node)
    both = xr.DataArray(
        np.concatenate([before, after]), {"frequency": before["frequency"]}, ("case", "frequency"), attrs=before.attrs
    )
    start = int(np.searchsorted(rotations, now))
    acum = compare(both, listening, base=start)["sharpness"].values
    sharper = acum[rotations.size :] - acum[: rotations.size]
    return xr.Dataset(
        {
            "turned_sharper": ("rotation", sharper, {"units": "acum"}),
            "half_at": ((), _half_at(rotations, sharper, start), {"units": "1"}),
            "now_at": ((), now, {"units": "1"}),
        },
        {"rotation": ("rotation", rotations, {"units": "1"}), "knob": knob},
    )


def _gains(amp: Amp, position: Position, knob: str, rotations: Array, node: str) -> xr.DataArray:
    known = {name: value for name, value in position.items() if name in amp.controls}
    # An amp without the knob, which a mod brings, sounds the same all along.
    turns = [known | {knob: float(rotation)} for rotation in rotations] if knob in amp.controls else [known]
    gain = gain_db(simulate(amp, positions=turns, nodes=[node]), node).isel(variant=0)
    return gain.isel(position=[place % len(turns) for place in range(rotations.size)])


def _half_at(rotations: Array, sharper: Array, start: int) -> float:
    """Rotation nearest to the present one where half of the difference is left, by straight lines between points."""
    left = np.abs(sharper) - 0.5 * abs(sharper[start])
    found = [
        _zero(rotations[[place - step, place]], left[[place - step, place]])
        for step in (1, -1)
        for place in _first_below(left, start, step)
    ]
    return min(found, key=lambda rotation: abs(rotation - rotations[start]), default=float("nan"))


def _first_below(left: Array, start: int, step: int) -> list[int]:
    places = range(start + 1, left.size) if step > 0 else range(start - 1, -1, -1)
    return [place for place in places if left[place] <= 0.0 < left[start]][:1]


def _zero(rotation: Array, left: Array) -> float:
    return float(rotation[0] - left[0] * (rotation[1] - rotation[0]) / (left[1] - left[0]))
