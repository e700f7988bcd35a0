"""Blocking: a small tone, and the bias of the valve that is pushed most, after a hard burst, stock against modded."""

from __future__ import annotations

import numpy as np
import xarray as xr
from matplotlib.axes import Axes

from ...base.wording import in_decibels, in_hertz, in_volts
from ...measures.labels import records
from ...measures.waveforms import stimulus
from ...pictures import captions, style
from ...pictures.axes import draw, tidy, zero_line
from ...pictures.canvas import SIDE, Curves, Picture, start_picture
from .findings import BLOCKED_MS, most_pushed_valve
from .measures import DOWN_DB, bias_v, blocking_table, small_tone_db, tone_table

_TONE_HEIGHT, _BIAS_HEIGHT, _GAP, _FOOT = 2.0, 1.8, 0.42, 0.5  # inches
_LOWEST_DB, _HIGHEST_DB = -40.0, 4.0


def blocking_curves(response: xr.Dataset) -> Curves:
    """Points of the moving lines of `blocking_picture`: "tone-0", ... [ms, dB], "bias-0", ... [ms, V].

    Of the first position, the first and the last variant.
    """
    chosen = captions.select_one_or_two(response)
    tone = small_tone_db(chosen).sel(node=str(chosen.attrs["output"])).isel(position=0)
    bias = bias_v(chosen).sel(valve=_valve(chosen)).isel(position=0)
    curves = {}
    for name, readings, first in (("tone", tone, 1), ("bias", bias, 0)):
        milliseconds = 1e3 * readings["after"].values
        shown = np.flatnonzero(milliseconds > 0.0)[first:]
        for place in range(readings.sizes["variant"]):
            row = readings.isel(variant=place).values
            curves[f"{name}-{place}"] = np.column_stack([milliseconds[shown], row[shown]])
    return curves


def describe_blocking(response: xr.Dataset) -> str:
    """The same in words and numbers, one paragraph."""
    chosen = captions.select_one_or_two(response)
    sentences = [f"{captions.amp_name(chosen)} after a hard stroke, {_subtitle(chosen)}."]
    valve = _valve(chosen)
    biases = [row for row in records(blocking_table(chosen)) if row["valve"] == valve]
    for tone, bias in zip(records(tone_table(chosen)), biases, strict=True):
        sentences.append(
            f"{tone['variant']}: the small tone is {in_decibels(tone['tone lowest [dB]'])} at its lowest, "
            f"{in_decibels(tone['tone after 50 ms [dB]'])} after 50 ms; bias of {valve} "
            f"{in_volts(bias['bias before [V]'])} before, pushed by {in_volts(bias['shift [V]'])}, "
            f"37 % of that left {_milliseconds(bias['37 % left after [ms]'])}."
        )
    return " ".join(sentences)


@style.picture_settings()
def blocking_picture(response: xr.Dataset, position: str | None = None, title: str | None = None) -> Picture:
    """Draw the small tone at the speaker and the bias of one valve over time after the burst.

    The valve is the one whose bias is pushed furthest for longest in the last variant. Just after the burst its own
    remains still count as tone: what is above the axes is left out.

    `response`: of `ampsim.studies.blocking.simulate.blocking`. `position`: by default the first. `title`: by default
    the amp.

    Raises
    ------
    DescriptionError
        For an unknown position or another stimulus.
    """
    chosen, heading, keys = captions.one_or_two_looks(response, position, title, "after a hard stroke")
    curves, looks = blocking_curves(chosen), [look for _, look in keys]
    subtitle = _subtitle(chosen)
    below = (0.1, _TONE_HEIGHT, _GAP, _BIAS_HEIGHT, _FOOT)
    picture, top = start_picture(heading, subtitle, describe_blocking(chosen), below, keys)
    top, right = top - 0.1, style.PAGE_WIDTH - 0.25
    tone = picture.box(SIDE, top - _TONE_HEIGHT, right, top)
    bias = picture.box(SIDE, _FOOT, right, _FOOT + _BIAS_HEIGHT)
    tones, biases = ([curves[f"{name}-{place}"][:, 1] for place in range(len(looks))] for name in ("tone", "bias"))
    shown = [np.clip(levels, _LOWEST_DB, _HIGHEST_DB) for levels in tones]
    tidy(tone, "small tone [dB]", [*shown, np.array([-10.0, 2.0])], 6.0)
    tidy(bias, f"bias of {_valve(chosen)} [V]", biases, 1.0)
    _mark_limit(tone)
    for axes, name in ((tone, "tone"), (bias, "bias")):
        axes.set_xlim(0.0, float(curves["bias-0"][-1, 0]))
        for place, look in enumerate(looks):
            draw(axes, curves, f"{name}-{place}", look)
    tone.tick_params(labelbottom=False)
    bias.set_xlabel("time after the stroke [ms]", fontsize=style.TEXT_SIZE, color=style.INK, labelpad=4)
    return picture


def _mark_limit(axes: Axes) -> None:
    """Where the small tone may no longer be: more than 3 dB down, later than the limit."""
    zero_line(axes)
    edge = float(axes.get_ylim()[0])
    axes.fill_between([BLOCKED_MS, 1e4], edge, -DOWN_DB, facecolor=style.CHANGE, alpha=style.CHANGE_ALPHA, linewidth=0)
    axes.text(BLOCKED_MS + 3.0, -DOWN_DB - 0.4, f"more than {DOWN_DB:g} dB down after {BLOCKED_MS:g} ms: blocked",
              va="top", fontsize=style.SMALL_SIZE, color=style.INK)  # fmt: skip


def _valve(chosen: xr.Dataset) -> str:
    last = blocking_table(chosen.isel(variant=[-1]))
    return str(most_pushed_valve(records(last))["valve"])


def _subtitle(chosen: xr.Dataset) -> str:
    facts = stimulus(chosen)
    length = 1e3 * (facts.stop - facts.start)
    return (
        f"{chosen['position'].values[0]}; {length:.0f} ms of {in_volts(facts.level)} peak, then again "
        f"{in_volts(facts.around)} of {in_hertz(facts.frequency)}"
    )


def _milliseconds(left: float) -> str:
    if np.isnan(left):
        return "at once"
    return f"{left:.0f} ms later" if np.isfinite(left) else "when the run ends"
