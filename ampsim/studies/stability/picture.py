"""How far a feedback loop is from oscillating: loop gain and phase at the worst corner, margin over a knob's travel."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import numpy as np
import xarray as xr
from matplotlib.axes import Axes
from numpy.typing import NDArray

from ...base.wording import in_hertz, minus
from ...circuit.positions import face
from ...measures.margins import Passing, margin_verdict, margins
from ...pictures import captions, style
from ...pictures.axes import draw, end_labels, frequency_axis, label_room, tidy
from ...pictures.canvas import SIDE, Curves, Picture, start_picture
from .findings import PHASE_LIMITS, travel_table

_GAIN_HEIGHT, _PHASE_HEIGHT, _GAP = 2.3, 2.3, 0.22
_TRAVEL_HEIGHT = 3.0
_LOWEST = -40.0  # dB, drawn
_MOST_KNOBS = 6


def loop_margins_curves(response: xr.Dataset) -> Curves:
    """Points of the moving parts of `loop_margins_picture`: "gain-0", "phase-0", "margins-0", ... for each variant.

    Gain in [Hz, dB], phase in [Hz, degrees], margins: the places of the crossings on the line of the phase.
    """
    grid = response["frequency"].values
    curves = {}
    for place, loop in enumerate(response["loop_gain"].transpose("variant", "frequency").values):
        phase = _phase(grid, loop)
        crossings = [each for each in margins(grid, loop).crossings if each.kind is not Passing.IN_STEP]
        at = np.array([each.frequency for each in crossings])
        curves[f"gain-{place}"] = np.column_stack([grid, 20.0 * np.log10(np.abs(loop))])
        curves[f"phase-{place}"] = np.column_stack([grid, phase])
        curves[f"margins-{place}"] = np.column_stack([at, np.interp(np.log(at), np.log(grid), phase)])
    return curves


def describe_loop_margins(response: xr.Dataset) -> str:
    """The same in words and numbers, one paragraph."""
    sentences = []
    for label, loop in zip(
        _labels(response), response["loop_gain"].transpose("variant", "frequency").values, strict=True
    ):
        found = margins(response["frequency"].values, loop)
        passing = [
            f"{each.margin:.0f} degrees at {in_hertz(each.frequency)}"
            for each in found.crossings
            if each.kind is not Passing.IN_STEP
        ]
        where = f" Phase margins: {', '.join(passing)}." if passing else ""
        sentences.append(f"Loop gain of {label}: {margin_verdict(found)}.{where}")
    return minus(" ".join(sentences))


@style.picture_settings()
def loop_margins_picture(response: xr.Dataset, title: str | None = None) -> Picture:
    """Draw loop gain and phase of one or two variants, with the places where the loop gain passes 1.

    `response`: `loop_gain` with dims (variant, frequency); the coordinate `position` along variant says where the
    controls of each stand. `title`: by default amp and what is drawn.

    Raises
    ------
    DescriptionError
        For more than two variants.
    """
    labels = _labels(response)
    captions.refuse_more(len(labels), 2)
    curves = loop_margins_curves(response)
    heading = title or f"{captions.amp_name(response)}: feedback loop at its worst corner"
    looks = style.stock_and_modded(len(labels))
    keys = list(zip(labels, looks, strict=True))
    subtitle = "once round the loop; dots: where the loop gain passes 1, with the phase margin left there"
    below = (_GAIN_HEIGHT, _GAP, _PHASE_HEIGHT, 0.56)
    picture, top = start_picture(heading, subtitle, describe_loop_margins(response), below, keys)
    right = style.PAGE_WIDTH - 0.25
    gain = picture.box(SIDE, top - _GAIN_HEIGHT, right, top)
    phase = picture.box(SIDE, top - _GAIN_HEIGHT - _GAP - _PHASE_HEIGHT, right, top - _GAIN_HEIGHT - _GAP)
    _draw_gain(gain, curves, looks, response["frequency"].values)
    _draw_phase(phase, curves, looks, response)
    return picture


def travel_curves(response: xr.Dataset) -> Curves:
    """Points of the lines of `travel_picture`: "line-0", ... [rotation 0 to 10, degrees], one to each control."""
    table = travel_table(response)
    turns = 10.0 * table.index.to_numpy()
    return {f"line-{n}": np.column_stack([turns, table[name]]) for n, name in enumerate(table.columns)}


def describe_travel(response: xr.Dataset) -> str:
    """The same in words and numbers, one paragraph."""
    sentences = [f"Least phase margin while one knob is turned, the others at {response.attrs['held']}."]
    for name, points in zip(response["control"].values, travel_curves(response).values(), strict=True):
        known = points[np.isfinite(points[:, 1])]
        if known.size:
            low, high = known[known[:, 1].argmin()], known[known[:, 1].argmax()]
            least, most = (f"{degrees:.0f} degrees at {face(0.1 * round(turn, 1))}" for turn, degrees in (low, high))
            alike = f"{low[1]:.0f}" == f"{high[1]:.0f}"
            sentences.append(
                f"{name}: {low[1]:.0f} degrees throughout." if alike else f"{name}: from {least} to {most}."
            )
        else:
            sentences.append(f"{name}: the loop gain never passes 1.")
    return minus(" ".join(sentences))


@style.picture_settings()
def travel_picture(response: xr.Dataset, title: str | None = None) -> Picture:
    """Draw the least phase margin over the travel of up to six knobs, the others staying where they are.

    `response`: of `ampsim.studies.stability.worst_corner.loop_on_travel`. `title`: by default amp and variant.

    Raises
    ------
    DescriptionError
        For too many knobs.
    """
    labels = [str(name) for name in response["control"].values]
    captions.refuse_more(len(labels), _MOST_KNOBS)
    curves = travel_curves(response)
    heading = title or f"{captions.amp_name(response)}, {response.attrs['variant']}: phase margin over a knob's travel"
    subtitle = f"one knob turned, the others at {response.attrs['held']}"
    picture, top = start_picture(heading, subtitle, describe_travel(response), (0.1, _TRAVEL_HEIGHT, 0.56))
    top -= 0.1
    axes = picture.box(SIDE, top - _TRAVEL_HEIGHT, style.PAGE_WIDTH - label_room(labels), top)
    shown = [points[:, 1] for points in curves.values()]
    tidy(axes, "least phase margin [degrees]", [*shown, np.array([0.0, PHASE_LIMITS[1]])], 60.0, ticks=8)
    axes.set_xlim(0.0, 10.0)
    axes.set_xlabel("knob [0 to 10]", fontsize=style.TEXT_SIZE, color=style.INK, labelpad=4)
    _limits(axes)
    looks = style.family_looks(len(labels))
    for place, look in enumerate(looks):
        draw(axes, curves, f"line-{place}", look)
    end_labels(picture, axes, list(zip(labels, shown, looks, strict=True)))
    return picture


def _labels(response: xr.Dataset) -> list[str]:
    pairs = zip(response["variant"].values, response["position"].values, strict=True)
    return [f"{variant}, {position}" for variant, position in pairs]


def _phase(grid: NDArray[np.float64], loop: NDArray[np.complex128]) -> NDArray[np.float64]:
    """Unbroken phase [degrees], between -180 and 180 in the middle of the band."""
    phase = np.degrees(np.unwrap(np.angle(loop)))
    middle = phase[int(np.argmin(np.abs(np.log(grid / 600.0))))]
    return np.asarray(phase - 360.0 * np.round(middle / 360.0))


def _draw_gain(axes: Axes, curves: Curves, looks: Sequence[style.Look], grid: NDArray[np.float64]) -> None:
    shown = [np.maximum(curves[f"gain-{place}"][:, 1], _LOWEST) for place in range(len(looks))]
    tidy(axes, "loop gain [dB]", shown, 6.0, ticks=7)
    axes.set_ylim(bottom=_LOWEST)
    frequency_axis(axes, grid, labelled=False)
    axes.axhline(0.0, color=style.QUIET, linewidth=1.0)
    axes.text(0.005, 0.0, "passes 1", transform=axes.get_yaxis_transform(), ha="left", va="bottom",
              fontsize=style.SMALL_SIZE, color=style.QUIET)  # fmt: skip
    for place, look in enumerate(looks):
        draw(axes, curves, f"gain-{place}", look)
        at = curves[f"margins-{place}"][:, 0]
        axes.plot(at, np.zeros_like(at), **_dots(look))


def _draw_phase(axes: Axes, curves: Curves, looks: Sequence[style.Look], response: xr.Dataset) -> None:
    grid = response["frequency"].values
    visible = [_visible(curves, place) for place in range(len(looks))]
    tidy(axes, "phase [degrees]", [*visible, np.array([-200.0, 200.0])], 60.0)
    axes.set_yticks(range(-360, 361, 90))
    axes.set_ylim(min(-215.0, *(float(each.min()) - 15.0 for each in visible)),
                  max(215.0, *(float(each.max()) + 15.0 for each in visible)))  # fmt: skip
    frequency_axis(axes, grid)
    for edge in (-180.0, 180.0):
        axes.axhline(edge, color=style.CHANGE, linewidth=1.0, linestyle=(0, (5, 2)))
    axes.text(0.995, 180.0, "in step with the input: margin 0", transform=axes.get_yaxis_transform(), ha="right",
              va="bottom", fontsize=style.SMALL_SIZE, color=style.QUIET)  # fmt: skip
    for place, look in enumerate(looks):
        draw(axes, curves, f"phase-{place}", look)
        points = curves[f"margins-{place}"]
        axes.plot(points[:, 0], points[:, 1], gid=f"margins-{place}", **_dots(look))
    _say_margins(axes, curves, len(looks) - 1)


def _visible(curves: Curves, place: int) -> NDArray[np.float64]:
    """The phase where the loop gain is drawn."""
    return np.asarray(curves[f"phase-{place}"][curves[f"gain-{place}"][:, 1] > _LOWEST, 1])


def _say_margins(axes: Axes, curves: Curves, place: int) -> None:
    """Write the phase margin beside every dot of one variant."""
    for frequency, phase in curves[f"margins-{place}"]:
        margin = 180.0 - abs(phase)
        axes.annotate(minus(f"{margin:.0f}°"), (frequency, phase), (5.0, 6.0), textcoords="offset points",
                      ha="left", va="bottom", fontsize=style.TEXT_SIZE, color=style.INK, zorder=5,
                      bbox={"facecolor": "white", "edgecolor": "none", "alpha": 0.8, "pad": 1.0})  # fmt: skip


def _dots(look: style.Look) -> dict[str, Any]:
    return {"linestyle": "none", "marker": "o", "markersize": 6.0, "markerfacecolor": "white",
            "markeredgecolor": look.colour, "markeredgewidth": 1.6, "zorder": 4}  # fmt: skip


def _limits(axes: Axes) -> None:
    """Lines at the limits, named at the left."""
    low = axes.get_ylim()[0]
    for degrees, name in ((PHASE_LIMITS[1], "commonly asked for"), (PHASE_LIMITS[0], "at the very least"),
                          (0.0, "oscillates below")):  # fmt: skip
        if degrees >= low:
            colour = style.CHANGE if degrees == 0.0 else style.QUIET
            axes.axhline(degrees, color=colour, linewidth=1.0, linestyle=(0, (5, 2)))
            axes.text(0.005, degrees, f"{degrees:.0f}°: {name}", transform=axes.get_yaxis_transform(), ha="left",
                      va="bottom", fontsize=style.SMALL_SIZE, color=style.QUIET)  # fmt: skip
