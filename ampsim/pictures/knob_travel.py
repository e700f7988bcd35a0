"""A knob's travel: gain over rotation at some frequencies, with several tapers, and the change in each quarter."""

from __future__ import annotations

import numpy as np
import xarray as xr
from matplotlib.axes import Axes
from matplotlib.patches import Rectangle

from ..base.wording import in_decibels, in_hertz, join_words
from ..measures.equal_curves import equal_curves
from ..measures.knob_travel import audible_gain, most_moved, quarter_shares
from . import captions, style
from .axes import draw, end_labels, label_room, tidy
from .canvas import SIDE, Curves, Keys, Picture, start_picture
from .text_widths import wrap_text

MOST_TAPERS, _MOST_FREQUENCIES = 3, 6
_GAIN_HEIGHT, _SHARE_HEIGHT, _GAP, _LINE = 3.2, 1.3, 0.3, 0.165  # inches
_DASHES: tuple[tuple[float, ...], ...] = ((), (4.0, 1.6), (1.5, 1.5))
_FILLED = ("filled", "hatched", "pale")
_BARS = (style.MODDED_BAR, style.STOCK_BAR, style.Bar("#c8d5e6", style.MODDED))


def knob_travel_curves(gain: xr.DataArray) -> Curves:
    """Points of the lines of `knob_travel_picture`, "line-TAPER-FREQUENCY" by their numbers: [0 to 10, dB]."""
    heard, turns = audible_gain(gain), 10.0 * gain["rotation"].values
    return {
        f"line-{row}-{column}": np.column_stack([turns, heard.isel(taper=row, frequency=column).values])
        for row in range(gain.sizes["taper"])
        for column in range(gain.sizes["frequency"])
    }


def describe_knob_travel(gain: xr.DataArray) -> str:
    """The same in words and numbers, one paragraph: gains [dB] at the ends and the middle, shares [%]."""
    at, shares, heard = most_moved(gain), quarter_shares(gain), audible_gain(gain)
    sentences = [f"Gain to {gain.attrs['output']} over the travel of {gain.attrs['control']}, {gain.attrs['where']}."]
    for taper in gain["taper"].values:
        for hertz in gain["frequency"].values:
            ends = [
                in_decibels(float(heard.sel(taper=taper, frequency=hertz, rotation=turn))) for turn in (0.0, 0.5, 1.0)
            ]
            sentences.append(f"{taper}, {in_hertz(float(hertz))}: {ends[0]} at 0, {ends[1]} at 5, {ends[2]} at 10.")
        own = shares.sel(taper=taper, frequency=at).values
        if not np.isnan(own).any():
            told = join_words([f"{each:.0f} %" for each in own])
            sentences.append(f"{taper}: the quarters of the turn make {told} of the change at {in_hertz(at)}.")
    return " ".join(sentences)


@style.picture_settings()
def knob_travel_picture(gain: xr.DataArray, title: str | None = None) -> Picture:
    """Draw what a knob does from 0 to 10 with several tapers, and below how much of it each quarter of the turn does.

    Parameters
    ----------
    gain : xarray.DataArray
        Of `ampsim.travel`: dims (taper, rotation, frequency) [dB].
    title : str
        Default: amp and control.

    Raises
    ------
    DescriptionError
        For more than three tapers or six frequencies.
    """
    captions.refuse_more(gain.sizes["frequency"], _MOST_FREQUENCIES, "frequencies")
    captions.refuse_more(gain.sizes["taper"], MOST_TAPERS, "tapers")
    curves, tapers = knob_travel_curves(gain), [str(each) for each in gain["taper"].values]
    named = _named_columns(gain)
    heading = title or f"{gain.attrs['amp']}: {gain.attrs['control']} from 0 to 10"
    subtitle = f"gain from the source to {gain.attrs['output']}, {gain.attrs['where']}"
    keys: Keys = [(name, style.Look(style.INK, 1.7, dashes)) for name, dashes in zip(tapers, _DASHES, strict=False)]
    bars = join_words([f"{name} {filled}" for name, filled in zip(tapers, _FILLED, strict=False)])
    told = wrap_text(
        f"share of the change at {in_hertz(most_moved(gain))} in each quarter of the turn: {bars}",
        style.PAGE_WIDTH - SIDE - 0.2,
        style.TEXT_SIZE,
    )
    below = (_GAIN_HEIGHT, _GAP + _LINE * len(told), _SHARE_HEIGHT, 0.62)
    picture, top = start_picture(heading, subtitle, describe_knob_travel(gain), below, keys)
    right = style.PAGE_WIDTH - label_room([label for label, _, _ in named])
    upper = picture.box(SIDE, top - _GAIN_HEIGHT, right, top)
    lower = picture.box(SIDE, 0.56, right, 0.56 + _SHARE_HEIGHT)
    tidy(upper, "gain [dB]", [points[:, 1] for points in curves.values()], 3.0, ticks=8)
    _turn_axis(upper, labelled=False)
    for _, column, colour in named:
        for row, dashes in zip(range(len(tapers)), _DASHES, strict=False):
            draw(upper, curves, f"line-{row}-{column}", style.Look(colour, 1.9 - 0.3 * row, dashes))
    # With every taper a knob ends in the same place, so a label to each frequency is enough.
    end_labels(
        picture,
        upper,
        [(label, curves[f"line-0-{column}"][:, 1], style.Look(colour, 1.9)) for label, column, colour in named],
    )
    _draw_shares(lower, gain)
    for number, line in enumerate(reversed(told)):
        picture.write(SIDE, 0.56 + _SHARE_HEIGHT + 0.22 + _LINE * number, line)
    return picture


def _named_columns(gain: xr.DataArray) -> list[tuple[str, int, str]]:
    """Label, number and colour of each frequency that is drawn: those with the same curves are one."""
    table = audible_gain(gain).transpose("frequency", "taper", "rotation").values
    groups = equal_curves(table.reshape(len(table), -1))
    hertz = [in_hertz(float(each)) for each in gain["frequency"].values]
    looks = style.family_looks(len(groups))
    return [
        (join_words([hertz[each] for each in group]), group[0], look.colour)
        for group, look in zip(groups, looks, strict=True)
    ]


def _turn_axis(axes: Axes, labelled: bool) -> None:
    axes.set_xlim(0.0, 10.0)
    axes.set_xticks([0.0, 2.5, 5.0, 7.5, 10.0], ["0", "2.5", "5", "7.5", "10"])
    axes.tick_params(axis="x", labelbottom=labelled)
    if labelled:
        axes.set_xlabel("knob [0 to 10]", fontsize=style.TEXT_SIZE, color=style.INK, labelpad=4)


def _draw_shares(axes: Axes, gain: xr.DataArray) -> None:
    """Bars over each quarter of the turn, one to a taper, with their numbers."""
    at = most_moved(gain)
    shares = quarter_shares(gain).sel(frequency=at).transpose("taper", "quarter").values
    tidy(axes, "share [%]", [np.nan_to_num(shares), np.array([0.0])], 20.0, ticks=4)
    axes.set_ylim(0.0, 1.22 * max(float(np.nan_to_num(shares).max()), 20.0))
    _turn_axis(axes, labelled=True)
    wide = 2.0 / len(shares)
    for row, (values, bar) in enumerate(zip(shares, _BARS, strict=False)):
        for quarter, share in enumerate(np.nan_to_num(values)):
            x = 2.5 * quarter + 0.25 + wide * row
            axes.add_patch(
                Rectangle((x + 0.04, 0.0), wide - 0.08, share, gid=f"share-{row}-{quarter}", facecolor=bar.face,
                          edgecolor=bar.edge, hatch=bar.hatch or None, linewidth=0.8, zorder=3)
            )  # fmt: skip
            axes.annotate(f"{share:.0f}", (x + 0.5 * wide, share), (0, 2), textcoords="offset points", ha="center",
                          va="bottom", fontsize=style.SMALL_SIZE, color=style.INK)  # fmt: skip
