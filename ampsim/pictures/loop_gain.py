"""Loop gain over frequency at several positions."""

from __future__ import annotations

import numpy as np
import xarray as xr

from ..base.wording import minus
from ..measures.labels import short_labels
from ..measures.margins import margin_table
from . import captions, style
from .axes import draw, end_labels, label_room, over_frequency
from .canvas import SIDE, Curves, Picture, start_picture

_HEIGHT = 3.0
_MOST_LINES = 6


def loop_gain_curves(response: xr.Dataset) -> Curves:
    """Points of the lines of `loop_gain_picture`: "line-0", ... [Hz, dB], one to each position of the last variant."""
    size = np.abs(response["loop_gain"].isel(variant=-1).transpose("position", "frequency").values)
    level = 20.0 * np.log10(np.maximum(size, 1e-30))  # no loop is very little of one
    return {f"line-{n}": np.column_stack([response["frequency"].values, row]) for n, row in enumerate(level)}


def describe_loop_gain(response: xr.Dataset) -> str:
    """The same in words and numbers, one paragraph."""
    last = response.isel(variant=[-1])
    sentences = [f"Loop gain at {response.attrs['at']} of {last['variant'].values[0]}."]
    table = margin_table(last)
    for label, row in zip(short_labels(last), table.to_dict("records"), strict=True):
        level = row["loop gain at 400 Hz [dB]"]
        sentences.append(f"{label}: {'' if np.isnan(level) else f'{level:.1f} dB at 400 Hz; '}{row['verdict']}.")
    return minus(" ".join(sentences))


@style.picture_settings()
def loop_gain_picture(response: xr.Dataset, title: str | None = None) -> Picture:
    """Draw the loop gain [dB] of the last variant at up to six positions, with the line where it passes 1.

    `response`: of `ampsim.loop_gain`. `title`: by default amp and variant.

    Raises
    ------
    DescriptionError
        For too many positions.
    """
    labels = short_labels(response)
    captions.refuse_more(len(labels), _MOST_LINES)
    curves = loop_gain_curves(response)
    heading = title or f"{captions.amp_name(response)}: loop gain"
    subtitle = f"once round the feedback loop, at {response.attrs['at']}"
    picture, top = start_picture(heading, subtitle, describe_loop_gain(response), (0.22, _HEIGHT, 0.56))
    top -= 0.22
    axes = picture.box(SIDE, top - _HEIGHT, style.PAGE_WIDTH - label_room(labels), top)
    levels = [np.maximum(points[:, 1], -40.0) for points in curves.values()]
    over_frequency(axes, "loop gain [dB]", levels, response["frequency"].values, ticks=8)
    axes.axhline(0.0, color=style.QUIET, linewidth=1.0)
    axes.text(0.99, 0.0, "passes 1", transform=axes.get_yaxis_transform(), ha="right", va="bottom",
              fontsize=style.SMALL_SIZE, color=style.QUIET)  # fmt: skip
    looks = style.family_looks(len(labels))
    for place, look in enumerate(looks):
        draw(axes, curves, f"line-{place}", look)
    named = [
        (label, curves[f"line-{n}"][:, 1], look) for n, (label, look) in enumerate(zip(labels, looks, strict=True))
    ]
    end_labels(picture, axes, named)
    return picture
