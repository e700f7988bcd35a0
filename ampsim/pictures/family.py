"""One variant at many positions: a family of gains, named at their ends, and below what changes against a base."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
import xarray as xr
from matplotlib.axes import Axes

from ..measures.labels import select, short_labels
from ..measures.sweep import difference_db, gain_at, gain_db
from . import captions, style
from .axes import (
    LINE_HEIGHT,
    Array,
    draw,
    end_labels,
    frequency_axis,
    label_room,
    over_frequency,
    tidy,
    wrap_label,
    zero_line,
)
from .canvas import SIDE, Curves, Picture, start_picture
from .gain_and_change import GAIN_HEIGHT, gain_and_change, shown_changes

_MOST_LINES = 12
_HEIGHT, _CHANGE_HEIGHT = 3.6, 1.7  # inches


def family_curves(lines: xr.Dataset, node: str | None = None, reference: str | None = None) -> Curves:
    """Points of the moving parts of `family_picture` [Hz, dB].

    "line-0", ... of the last variant by position; with two variants also "base", the first one at the first position,
    and "change-0", ..., the last against the first at the same position.
    """
    grid, gains = lines["frequency"].values, gain_db(lines, node, reference)
    rows = gains.isel(variant=-1).transpose("position", "frequency").values
    curves = {f"line-{place}": np.column_stack([grid, row]) for place, row in enumerate(rows)}
    if lines.sizes["variant"] > 1:
        base = gains.isel(variant=0).transpose("position", "frequency").values
        with np.errstate(invalid="ignore"):
            changes = rows - base
        curves["base"] = np.column_stack([grid, base[0]])
        curves |= {f"change-{place}": np.column_stack([grid, row]) for place, row in enumerate(changes)}
    return curves


def describe_family(lines: xr.Dataset, node: str | None = None, reference: str | None = None) -> str:
    """The same in words and numbers, one paragraph."""
    at = captions.anchors(lines, (100.0, 1000.0, 5000.0))
    sentences = [
        f"Gain over frequency {captions.path_of(lines, node, reference)}, {captions.span(lines)}, of "
        f"{lines['variant'].values[-1]} at {lines.sizes['position']} positions."
    ]
    levels = gain_at(lines, at, node, reference)
    for place, label in enumerate(short_labels(lines)):
        sentences.append(f"{label}: {captions.levels(levels.isel(variant=-1, position=place))}.")
    if lines.sizes["variant"] > 1:
        sentences.append(f"{_base_label(lines)}: {captions.levels(levels.isel(variant=0, position=0))}.")
        change = difference_db(lines, node, None, reference).isel(variant=0)
        for place, label in enumerate(short_labels(lines)):
            greatest = captions.greatest(change.isel(position=place))
            sentences.append(f"{label} against {lines['variant'].values[0]}: greatest change {greatest}.")
    return " ".join(sentences)


@style.picture_settings()
def family_picture(
    response: xr.Dataset,
    node: str | None = None,
    positions: Sequence[str] | None = None,
    variant: str | None = None,
    base: str | None = None,
    reference: str | None = None,
    title: str | None = None,
) -> Picture:
    """Draw the gains of one variant at up to twelve positions, and with a base the change against it below.

    The lines are told apart by colour and by their labels at the right end. The change is that at the same position.

    Parameters
    ----------
    response : xarray.Dataset
        A frequency sweep.
    node : str
        Where to listen; default the output.
    positions : sequence of str
        Position labels in the order to draw them; default all.
    variant : str
        Default the last of at most two.
    base : str
        A variant to draw beside them as a dashed grey line, at the first of the positions, and to hold each line
        against in axes of their own; default none.
    reference : str
        Node the gain is counted from; default the source.
    title : str
        Default: amp and variant.

    Raises
    ------
    DescriptionError
        For unknown names or too many positions.
    """
    if variant is None:
        captions.refuse_unnamed(captions.variant_names(response))
    name = captions.variant_names(response)[-1] if variant is None else variant
    lines = select(response, [name] if base is None else [base, name], positions)
    count = lines.sizes["position"]
    captions.refuse_more(count, _MOST_LINES)
    curves = family_curves(lines, node, reference)
    heading = title or f"{captions.amp_name(lines)}: {name}"
    subtitle = captions.gain_subtitle(lines, node, reference)
    if base is not None and _base_label(lines) != base:
        subtitle += f"; below, what changes against {base} at the same position"
    changes = {} if base is None else {f"line-{place}": curves[f"change-{place}"][:, 1] for place in range(count)}
    most, gone = shown_changes(changes)
    labels = [f"{label} ({gone[gid]})" if (gid := f"line-{place}") in gone else label
              for place, label in enumerate(short_labels(lines))]  # fmt: skip
    named = list(zip(labels, (f"line-{place}" for place in range(count)), style.family_looks(count), strict=True))
    if base is not None:
        named.append((_base_label(lines), "base", style.STOCK_LOOK))
    room = sum(LINE_HEIGHT * len(wrap_label(label)) + 0.02 for label, _, _ in named)
    words, beside = describe_family(lines, node, reference), label_room([label for label, _, _ in named])
    if base is None:
        height = max(_HEIGHT, room)
        picture, top = start_picture(heading, subtitle, words, (0.22, height, 0.56))
        axes = picture.box(SIDE, top - 0.22 - height, style.PAGE_WIDTH - beside, top - 0.22)
    else:
        sizes = max(_CHANGE_HEIGHT, room - 0.2), beside, max(GAIN_HEIGHT, room - 0.2)
        picture, axes, lower = gain_and_change(heading, subtitle, words, (), *sizes)
        _draw_changes(picture, lower, curves, named[:-1], lines["frequency"].values, most)
    levels = [curves[gid][:, 1] for _, gid, _ in named]
    for place, each in enumerate(changes.values()):
        with np.errstate(invalid="ignore"):
            levels[place] = levels[place] - each + np.clip(each, -most, most)
    over_frequency(axes, "gain [dB]", levels, lines["frequency"].values, ticks=8, labelled=base is None)
    for _, gid, look in named:
        draw(axes, curves, gid, look)
    end_labels(picture, axes, [(label, curves[gid][:, 1], look) for label, gid, look in named])
    return picture


def _draw_changes(
    picture: Picture,
    axes: Axes,
    curves: Curves,
    named: Sequence[tuple[str, str, style.Look]],
    grid: Array,
    most: float,
) -> None:
    """The change of each line against the base [dB], on axes that fit it alone and go no further than `most`."""
    lines = [(label, gid.replace("line", "change"), look) for label, gid, look in named]
    tidy(axes, "change [dB]", [*(np.clip(curves[gid][:, 1], -most, most) for _, gid, _ in lines), np.zeros(1)], 2.0)
    frequency_axis(axes, grid)
    zero_line(axes)
    for _, gid, look in lines:
        draw(axes, curves, gid, look)
    end_labels(picture, axes, [(label, curves[gid][:, 1], look) for label, gid, look in lines])


def _base_label(lines: xr.Dataset) -> str:
    """The name of the base, and at which position when that matters."""
    base = lines.isel(variant=0)
    same = bool((base["voltage"] == base["voltage"].isel(position=0)).all())
    name = str(base["variant"].values)
    return name if same else f"{name}, {short_labels(lines)[0]}"
