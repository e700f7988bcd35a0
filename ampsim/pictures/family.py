"""One variant at many positions: a family of gains, ordered from dark to light and named at their ends."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
import xarray as xr

from ..measures.labels import select, short_labels
from ..measures.sweep import gain_at, gain_db
from . import captions, style
from .axes import LINE_HEIGHT, draw, end_labels, frequency_axis, guitar_bracket, label_room, tidy
from .canvas import SIDE, Curves, Picture, header, header_height

_MOST_LINES = 12
_HEIGHT = 3.6  # inches


def family_curves(
    response: xr.Dataset,
    node: str | None = None,
    positions: Sequence[str] | None = None,
    variant: str | None = None,
    base: str | None = None,
    reference: str | None = None,
) -> Curves:
    """Points of the moving parts of `family` (same parameters): "line-0", ... and, with a base, "base" [Hz, dB]."""
    lines = _lines(response, positions, variant)
    grid = lines["frequency"].values
    rows = gain_db(lines, node, reference).isel(variant=0).transpose("position", "frequency").values
    curves = {f"line-{place}": np.column_stack([grid, row]) for place, row in enumerate(rows)}
    if base is not None:
        stock = gain_db(_lines(response, positions, base), node, reference).isel(variant=0, position=0)
        curves["base"] = np.column_stack([grid, stock.values])
    return curves


def describe_family(
    response: xr.Dataset,
    node: str | None = None,
    positions: Sequence[str] | None = None,
    variant: str | None = None,
    base: str | None = None,
    reference: str | None = None,
) -> str:
    """`family` in words and numbers, one paragraph."""
    lines = _lines(response, positions, variant)
    at = captions.anchors(lines, (100.0, 1000.0, 5000.0))
    sentences = [
        f"Gain over frequency {captions.path_of(lines, node, reference)}, {captions.span(lines)}, of "
        f"{lines['variant'].values[0]} at {lines.sizes['position']} positions."
    ]
    levels = gain_at(lines, at, node, reference).isel(variant=0)
    for place, label in enumerate(short_labels(lines)):
        sentences.append(f"{label}: {captions.levels(levels.isel(position=place))}.")
    if base is not None:
        chosen = gain_at(_lines(response, positions, base), at, node, reference)
        sentences.append(
            f"{_base_label(response, positions, base)}: {captions.levels(chosen.isel(variant=0, position=0))}."
        )
    return " ".join(sentences)


@style.applied()
def family_picture(
    response: xr.Dataset,
    node: str | None = None,
    positions: Sequence[str] | None = None,
    variant: str | None = None,
    base: str | None = None,
    reference: str | None = None,
    title: str | None = None,
) -> Picture:
    """Draw the gains of one variant at up to twelve positions.

    Parameters
    ----------
    response : xarray.Dataset
        A frequency sweep.
    node : str
        Where to listen; default the output.
    positions : sequence of str
        Position labels in the order to draw them; default all.
    variant : str
        Default the last.
    base : str
        A variant to draw beside them as a dashed grey line, at the first of the positions; default none.
    reference : str
        Node the gain is counted from; default the source.
    title : str
        Default: amp and variant.

    Raises
    ------
    DescriptionError
        For unknown names or too many positions.
    """
    lines = _lines(response, positions, variant)
    count = lines.sizes["position"]
    captions.refuse_more(count, _MOST_LINES)
    curves = family_curves(response, node, positions, variant, base, reference)
    heading = title or f"{captions.amp_name(lines)}: {lines['variant'].values[0]}"
    subtitle = captions.gain_subtitle(lines, node, reference)
    labels = short_labels(lines)
    named = list(zip(labels, (f"line-{place}" for place in range(count)), style.family_looks(count), strict=True))
    if base is not None:
        named.append((_base_label(response, positions, base), "base", style.STOCK_LOOK))
    height = max(_HEIGHT, sum(2.2 * LINE_HEIGHT if len(label) > 26 else LINE_HEIGHT + 0.02 for label, _, _ in named))
    tall = header_height(heading, subtitle, style.PAGE_WIDTH) + 0.22 + height + 0.56
    text = describe_family(response, node, positions, variant, base, reference)
    picture = Picture(style.PAGE_WIDTH, tall, heading, text)
    top = header(picture, subtitle) - 0.22
    axes = picture.box(SIDE, top - height, style.PAGE_WIDTH - label_room([label for label, _, _ in named]), top)
    tidy(axes, "gain [dB]", [points[:, 1] for points in curves.values()], 6.0, ticks=8)
    frequency_axis(axes, lines["frequency"].values)
    guitar_bracket(axes)
    for _, gid, look in named:
        draw(axes, curves, gid, look)
    end_labels(picture, axes, [(label, curves[gid][:, 1], look) for label, gid, look in named])
    return picture


def _lines(response: xr.Dataset, positions: Sequence[str] | None, variant: str | None) -> xr.Dataset:
    name = str(response["variant"].values[-1]) if variant is None else variant
    return select(response, [name], positions)


def _base_label(response: xr.Dataset, positions: Sequence[str] | None, base: str) -> str:
    """The name of the base, and at which position when that matters."""
    chosen = _lines(response, positions, base)
    voltage = chosen["voltage"]
    same = bool((voltage == voltage.isel(position=0)).all())
    return base if same else f"{base}, {short_labels(chosen)[0]}"
