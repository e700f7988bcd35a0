"""Stock against modded: both gains, and the change below."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
import xarray as xr
from matplotlib.axes import Axes
from numpy.typing import NDArray

from ..base.errors import DescriptionError
from ..measures.labels import select, short_labels
from ..measures.sweep import difference_db, gain_at, gain_db
from . import captions, style
from .axes import area_between, draw, end_labels, fill, frequency_axis, label_room, over_frequency, tidy, zero_line
from .candidates import candidates_picture
from .canvas import Curves, Picture
from .gain_and_change import gain_and_change

_KINDS = ("stock", "modded")
_MOST_POSITIONS = 4
_SAME_DB = 0.005  # curves that lie on one another have one label
_CHANGE_HEIGHT = 1.15  # inches


def overlay_curves(response: xr.Dataset, node: str | None = None, reference: str | None = None) -> Curves:
    """Points of the moving parts of `overlay_picture`, of two variants at all positions: [Hz, dB].

    "stock-0", "modded-0", "change-0" and so on by position; with one position also "between" (the area between the two
    gains) and "change-area".
    """
    pair = captions.select_pair(response)
    grid = pair["frequency"].values
    gains = gain_db(pair, node, reference).transpose("variant", "position", "frequency").values
    with np.errstate(invalid="ignore"):
        changes = gains[1] - gains[0]
    curves = {}
    for place, change in enumerate(changes):
        curves[f"stock-{place}"] = np.column_stack([grid, gains[0, place]])
        curves[f"modded-{place}"] = np.column_stack([grid, gains[1, place]])
        curves[f"change-{place}"] = np.column_stack([grid, change])
    if len(changes) == 1:
        curves["between"] = area_between(grid, gains[0, 0], gains[1, 0])
        curves["change-area"] = area_between(grid, np.zeros_like(grid), changes[0])
    return curves


def describe_overlay(response: xr.Dataset, node: str | None = None, reference: str | None = None) -> str:
    """The same in words and numbers, one paragraph."""
    pair = captions.select_pair(response)
    names = captions.variant_names(pair)
    at = captions.anchors(pair)
    levels = gain_at(pair, at, node, reference)
    change = difference_db(pair, node, names[0], reference).isel(variant=0)
    sentences = [f"Gain over frequency {captions.path_of(pair, node, reference)}, {captions.span(pair)}."]
    for place, position in enumerate(pair["position"].values):
        stock, other = (levels.isel(variant=each, position=place) for each in (0, 1))
        sentences.append(
            f"{position}: {names[0]} {captions.levels(stock)}; {names[1]} changes it by "
            f"{captions.levels(other - stock, sign=True)}; "
            f"greatest change {captions.greatest(change.isel(position=place))}."
        )
    return " ".join(sentences)


@style.picture_settings()
def overlay_picture(
    response: xr.Dataset,
    node: str | None = None,
    positions: Sequence[str] | None = None,
    base: str | None = None,
    modded: str | None = None,
    reference: str | None = None,
    title: str | None = None,
) -> Picture:
    """Draw stock against modded over frequency, at one or a few positions, and the change below.

    Both panels share the axis of frequency, so that a change can be read off where it stands.

    Parameters
    ----------
    response : xarray.Dataset
        A frequency sweep of at least two variants. More than two, of which no pair is named, are drawn side by side
        (`candidates_picture`), which takes one position.
    node : str
        Where to listen; default the output.
    positions : sequence of str
        Position labels, at most four; default all.
    base, modded : str
        Variants; default the only two, or all of them.
    reference : str
        Node the gain is counted from; default the source.
    title : str
        Default: amp, and which variant stands against which.

    Raises
    ------
    DescriptionError
        For unknown names, a single variant, or too many positions.
    """
    if base is None and modded is None and response.sizes["variant"] > 2:
        return candidates_picture(select(response, positions=positions), node, None, reference, title)
    pair = captions.select_pair(response, base, modded, positions)
    names, count = captions.variant_names(pair), pair.sizes["position"]
    if not 1 <= count <= _MOST_POSITIONS:
        raise DescriptionError(f"{count} positions in one comparison; at most {_MOST_POSITIONS} stay readable: "
                               "name some, or draw a family")  # fmt: skip
    curves = overlay_curves(pair, node, reference)
    subtitle = captions.gain_subtitle(pair, node, reference)
    heading = title or f"{captions.amp_name(pair)}: {names[1]} against {names[0]}"
    keys = list(zip(names, (style.STOCK_LOOK, style.MODDED_LOOK), strict=True))
    labels = short_labels(pair)
    beside = label_room(labels) if count > 1 else 0.25
    words = describe_overlay(pair, node, reference)
    picture, upper, lower = gain_and_change(heading, subtitle, words, keys, _CHANGE_HEIGHT, beside)
    _draw_gains(picture, upper, curves, labels, names[0])
    _draw_changes(picture, lower, curves, labels)
    return picture


def _draw_gains(picture: Picture, axes: Axes, curves: Curves, labels: Sequence[str], stock: str) -> None:
    looks = style.pair_looks(len(labels))
    levels = [curves[f"{kind}-{place}"][:, 1] for kind in _KINDS for place in range(len(labels))]
    over_frequency(axes, "gain [dB]", levels, curves["stock-0"][:, 0], labelled=False)
    if "between" in curves:
        fill(axes, curves, "between")
    named = []
    firsts = _firsts([curves[f"stock-{place}"][:, 1] for place in range(len(labels))])
    for place, (stock_look, modded_look) in enumerate(looks):
        first = firsts[place]
        draw(axes, curves, f"stock-{place}", looks[first][0])
        if first == place:
            named.append((_stock_label(labels, firsts, place, stock), curves[f"stock-{place}"][:, 1], stock_look))
        draw(axes, curves, f"modded-{place}", modded_look)
        named.append((labels[place], curves[f"modded-{place}"][:, 1], modded_look))
    if len(labels) > 1:
        end_labels(picture, axes, named)


def _firsts(levels: Sequence[NDArray[np.float64]]) -> list[int]:
    """To each curve the first that it lies on: a stock amp stands still where a control of the mods is moved."""
    found: list[int] = []
    for place, each in enumerate(levels):
        same = (other for other in range(place) if np.allclose(levels[other], each, atol=_SAME_DB, equal_nan=True))
        found.append(next(same, place))
    return found


def _stock_label(labels: Sequence[str], firsts: Sequence[int], place: int, stock: str) -> str:
    """What is said at a stock line that stands for several positions: no more than they have in common."""
    if len(set(firsts)) == 1:
        return stock
    own = [label.split(", ") for label, first in zip(labels, firsts, strict=True) if first == place]
    return ", ".join(part for part in own[0] if all(part in each for each in own)) or stock


def _draw_changes(picture: Picture, axes: Axes, curves: Curves, labels: Sequence[str]) -> None:
    looks = [style.Look(modded.colour, 0.65 * modded.width) for _, modded in style.pair_looks(len(labels))]
    values = [curves[f"change-{place}"][:, 1] for place in range(len(labels))]
    tidy(axes, "change [dB]", [*values, np.zeros(1)], 2.0, ticks=4)
    frequency_axis(axes, curves["stock-0"][:, 0])
    zero_line(axes)
    if "change-area" in curves:
        fill(axes, curves, "change-area")
    for place, look in enumerate(looks):
        draw(axes, curves, f"change-{place}", look)
    if len(labels) > 1:
        end_labels(picture, axes, list(zip(labels, values, looks, strict=True)))
