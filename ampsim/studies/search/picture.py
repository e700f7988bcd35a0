"""What one wish costs another, and the found responses in the corridors that were wished for."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from matplotlib.axes import Axes
from numpy.typing import NDArray

from ...base.errors import DescriptionError, shown
from ...base.wording import minus
from ...circuit.positions import AS_DRAWN, position_label
from ...pictures import style
from ...pictures.axes import draw, end_labels, frequency_axis, guitar_bracket, label_room, tidy, zero_line
from ...pictures.canvas import SIDE, Curves, Keys, Picture, start_picture
from ...pictures.point_labels import label_offsets
from ...pictures.text_widths import text_width
from .result import Candidate, SearchResult, pareto_front
from .wishes import Wish, WishKind

_DOT = "#b5b1aa"
_HEIGHT, _LIST = 3.6, 2.25  # inches
_CELLS = 240  # across: of dots that would lie on one another one is drawn
_FAR = 6.0  # steps below nought where the axes end, at most
_MOST_LABELS, _MOST_LINES = 5, 4
_MET = style.Bar("#f8ede6", "#e4b597")


def trade_curves(found: SearchResult, first: int = 0, second: int = 1) -> Curves:
    """Points of `trade_picture`: "front" and "chosen", rooms in the two wishes in their units."""
    rooms = found.rooms[:, [first, second]]
    return {"front": rooms[pareto_front(found, first, second)], "chosen": rooms[_choose(found, first, second)]}


def describe_trade(found: SearchResult, first: int = 0, second: int = 1) -> str:
    """The same in words and numbers, one paragraph."""
    one, two = _pair(found, first, second)
    edge = pareto_front(found, first, second)
    both = (found.rooms[edge][:, [first, second]] >= 0.0).all(axis=1).sum()
    sentences = [
        f"{found.circuits:,} sets of values: across, the room in wish {first + 1} ({one.label}); upwards, the room in "
        f"wish {second + 1} ({two.label}); below nought a wish is missed by that much.",
        f"{len(edge)} sets are beaten by no other in both; {both} of them meet both wishes.",
    ]
    for number, index in enumerate(_choose(found, first, second), 1):
        x, y = found.rooms[index, [first, second]]
        sentences.append(f"{number}: {found.words(int(index))}: {_amount(x, one)} and {_amount(y, two)}.")
    return minus(" ".join(sentences))


def _amount(room: float, wish: Wish) -> str:
    size = f"{abs(room):.0f}" if wish.unit == "degrees" else f"{abs(room):.2f}"
    return f"{'room of' if room >= 0.0 else 'missed by'} {size} {wish.unit}"


@style.picture_settings()
def trade_picture(found: SearchResult, first: int = 0, second: int = 1, title: str | None = None) -> Picture:
    """Draw every set of values by its room in two wishes, and mark those that nothing beats in both.

    Parameters
    ----------
    found : Found
    first, second : int
        Places of the wishes in the list, from 0.
    title : str
        Default: the name of the wish list.

    Raises
    ------
    DescriptionError
        For wishes that are not there, or that were worked out for no set.
    """
    one, two = _pair(found, first, second)
    curves = trade_curves(found, first, second)
    heading = title or f"{found.wanted.name}: one wish against the other"
    subtitle = f"each dot a set of values; across wish {first + 1}: {one.label}; upwards wish {second + 1}: {two.label}"
    keys: Keys = [("beaten by no other set in both", style.MODDED_LOOK), ("both wishes met", _MET)]
    picture, top = start_picture(heading, subtitle, describe_trade(found, first, second), (0.16, _HEIGHT, 0.56), keys)
    top -= 0.16
    axes = picture.box(SIDE, top - _HEIGHT, style.PAGE_WIDTH - _LIST, top)
    tidy(axes, _axis(second, two), [curves["front"][:, 1], np.zeros(1)], two.step)
    axes.set_xlabel(_axis(first, one), fontsize=style.TEXT_SIZE, color=style.INK, labelpad=4)
    _limits(axes, curves["front"], one.step, two.step)
    _dots(axes, found, first, second)
    _shade_met(axes)
    # The corner between two neighbours belongs to sets that one of them beats.
    axes.plot(*curves["front"].T, color=style.MODDED, linewidth=1.2, drawstyle="steps-pre", zorder=3)
    axes.plot(*curves["front"].T, "o", color=style.MODDED, markersize=4.0, zorder=3, gid="front")
    _labels(picture, axes, found, _choose(found, first, second), curves["chosen"], top)
    return picture


def _pair(found: SearchResult, first: int, second: int) -> tuple[Wish, Wish]:
    wishes = found.wanted.wishes
    if first == second or not all(0 <= each < len(wishes) for each in (first, second)):
        raise DescriptionError(f"wishes {shown(first)} and {shown(second)}: two of the {len(wishes)}, counted from 0")
    if not len(pareto_front(found, first, second)):
        raise DescriptionError(f"{found.wanted.name}: no set of values was worked out for both of these wishes")
    return wishes[first], wishes[second]


def _choose(found: SearchResult, first: int, second: int) -> NDArray[np.intp]:
    """The best set, and some along the front."""
    edge = pareto_front(found, first, second)
    inside = [place for place in edge if _in_view(found, int(place), (first, second))] or list(edge)
    picked = np.linspace(0, len(inside) - 1, min(len(inside), _MOST_LABELS - 1)).round().astype(int)
    names = [each.index for each in found.best[:1]] + [int(inside[place]) for place in picked]
    return np.array(list(dict.fromkeys(names)), dtype=np.intp)


def _in_view(found: SearchResult, place: int, pair: tuple[int, int]) -> bool:
    return all(found.rooms[place, n] > -_FAR * found.wanted.wishes[n].step for n in pair)


def _axis(place: int, wish: Wish) -> str:
    return f"room in wish {place + 1} [{wish.unit}]"


def _limits(axes: Axes, edge: NDArray[np.float64], *steps: float) -> None:
    spans = []
    for column, step in zip(edge.T, steps, strict=True):
        low, high = max(min(column.min(), -step), -_FAR * step), max(column.max(), step)
        spans.append((low - 0.06 * (high - low), high + 0.06 * (high - low)))
    axes.set_xlim(*spans[0])
    axes.set_ylim(*spans[1])


def _dots(axes: Axes, found: SearchResult, first: int, second: int) -> None:
    rooms = found.rooms[found.fits][:, [first, second]]
    (left, right), (low, high) = axes.get_xlim(), axes.get_ylim()
    inside = (rooms >= (left, low)).all(axis=1) & (rooms <= (right, high)).all(axis=1)
    cells = ((rooms[inside] - (left, low)) / (right - left, high - low) * _CELLS).astype(int)
    _, kept = np.unique(cells, axis=0, return_index=True)
    axes.plot(*rooms[inside][kept].T, "o", color=_DOT, markersize=2.2, markeredgewidth=0.0, zorder=2)


def _shade_met(axes: Axes) -> None:
    """Shade where both wishes are met."""
    (left, right), (low, high) = axes.get_xlim(), axes.get_ylim()
    axes.axhline(0.0, color=style.QUIET, linewidth=0.8, zorder=1)
    axes.axvline(0.0, color=style.QUIET, linewidth=0.8, zorder=1)
    axes.fill([0.0, right, right, 0.0], [0.0, 0.0, high, high], color=_MET.face, linewidth=0, zorder=0.4)
    axes.set_xlim(left, right)
    axes.set_ylim(low, high)


def _labels(
    picture: Picture, axes: Axes, found: SearchResult, chosen: NDArray[np.intp], points: NDArray[np.float64], top: float
) -> None:
    """Number the chosen sets in the axes and list their values beside them."""
    x, y = style.PAGE_WIDTH - _LIST + 0.22, top
    best = found.best[0].index if found.best else -1
    beside = label_offsets(axes.transData.transform(points) * 72.0 / picture.dpi)
    for number, (index, point, offset) in enumerate(zip(chosen, points, beside, strict=True), 1):
        axes.annotate(str(number), point, offset, textcoords="offset points", fontsize=style.TEXT_SIZE,
                      weight="bold", color=style.INK, zorder=5, annotation_clip=True, ha="center", va="center",
                      bbox={"boxstyle": "circle,pad=0.12", "facecolor": "white", "edgecolor": style.QUIET,
                            "linewidth": 0.6})  # fmt: skip
        axes.plot(*point[:, None], "o", markersize=7.0, markerfacecolor="none", markeredgecolor=style.INK, zorder=4)
        picture.write(x, y, f"{number}", weight="bold")
        lines = ["best over all wishes:"] if index == best else []
        for line in [*lines, *_rows(found.words(int(index)), _LIST - 0.5)]:
            picture.write(x + 0.16, y, line)
            y -= 0.16
        y -= 0.08


def _rows(words: str, width: float) -> list[str]:
    """Break between parts, not between a part and its value."""
    rows = [""]
    for piece in words.split(", "):
        longer = f"{rows[-1]}, {piece}" if rows[-1] else piece
        if text_width(longer, style.TEXT_SIZE) <= width or not rows[-1]:
            rows[-1] = longer
        else:
            rows.append(piece)
    return rows


def corridor_curves(found: SearchResult, place: int = 0) -> Curves:
    """Points of the lines of `corridor_picture`: "line-0", ... [Hz, dB], the best set first."""
    grid = found.changes["frequency"].values
    rows = found.changes.values[_different(found, place), place]
    return {f"line-{n}": np.column_stack([grid, row]) for n, row in enumerate(rows)}


def _different(found: SearchResult, place: int) -> list[int]:
    """The best set and, of the others, those that differ most from all shown: a spread, not one answer four times."""
    rows = found.changes.values[:, place]
    picked = [0]
    while len(picked) < min(_MOST_LINES, len(rows)):
        away = [np.abs(rows - rows[n]).max(axis=1) for n in picked]
        picked.append(int(np.argmax(np.min(away, axis=0))))
    return list(dict.fromkeys(picked))


def describe_corridor(found: SearchResult, place: int = 0) -> str:
    """The same in words and numbers, one paragraph."""
    position = str(found.changes["position"].values[place])
    sentences = [f"Change of gain against the amp as drawn, {_position_words(position)}, of the best sets of values."]
    wishes = _wishes(found, position)
    for candidate in (found.best[n] for n in _different(found, place)):
        reached = [f"wish {n + 1} ({wish.words}): {_reach_words(candidate, n)}" for n, wish in wishes]
        sentences.append(f"{found.words(candidate.index)}: {'; '.join(reached)}.")
    return minus(" ".join(sentences))


def _position_words(position: str) -> str:
    return "controls as drawn" if position == AS_DRAWN else position


def _reach_words(candidate: Candidate, place: int) -> str:
    low, high = candidate.reached[place]
    return f"{low:.1f} to {high:.1f} dB, {'met' if candidate.rooms[place] >= 0.0 else 'missed'}"


@style.picture_settings()
def corridor_picture(found: SearchResult, place: int = 0, title: str | None = None) -> Picture:
    """Draw the change of gain of the best sets at one position in the corridors that were wished for.

    Parameters
    ----------
    found : Found
    place : int
        Which of the positions of ``found.changes``.
    title : str
        Default: the name of the wish list.

    Raises
    ------
    DescriptionError
        When there is no such position, or no set of values was found.
    """
    if not found.best or not 0 <= place < found.changes.sizes["position"]:
        raise DescriptionError(f"{found.wanted.name}: nothing found to draw at position {shown(place)}")
    position = str(found.changes["position"].values[place])
    wishes, curves = _wishes(found, position), corridor_curves(found, place)
    labels = [("best: " if n == 0 else "") + found.words(found.best[n].index) for n in _different(found, place)]
    heading = title or f"{found.wanted.name}: found and wished"
    subtitle = f"change of gain against the amp as drawn, {_position_words(position)}" + (
        "" if found.met else "; no set meets all wishes"
    )
    keys = [(f"wish {n + 1}: {wish.words}", _BAND) for n, wish in wishes]
    picture, top = start_picture(heading, subtitle, describe_corridor(found, place), (0.22, _HEIGHT, 0.56), keys)
    top -= 0.22
    axes = picture.box(SIDE, top - _HEIGHT, style.PAGE_WIDTH - label_room(labels), top)
    edges = [np.array([edge for _, wish in wishes for edge in (wish.least, wish.most)])]
    tidy(axes, "change of gain [dB]", [*(points[:, 1] for points in curves.values()), *edges], 4.0, ticks=8)
    frequency_axis(axes, found.changes["frequency"].values)
    guitar_bracket(axes)
    zero_line(axes)
    for number, wish in wishes:
        _band(axes, number, wish)
    looks = style.family_looks(len(curves))
    for gid, look in zip(curves, looks, strict=True):
        draw(axes, curves, gid, look)
    named = list(zip(labels, (points[:, 1] for points in curves.values()), looks, strict=True))
    end_labels(picture, axes, named)
    return picture


_BAND = style.Bar("#f5dfd2", style.CHANGE)


def _wishes(found: SearchResult, position: str) -> Sequence[tuple[int, Wish]]:
    return [(n, wish) for n, wish in enumerate(found.wanted.wishes)
            if wish.kind is WishKind.GAIN and position_label(wish.position) == position]  # fmt: skip


def _band(axes: Axes, number: int, wish: Wish) -> None:
    """Shade between the limits of a wish over its band; a limit is a line, where there is none the shade runs on."""
    lowest, highest = axes.get_ylim()
    low, high = max(wish.least, lowest), min(wish.most, highest)
    # A band of a single frequency still has to be seen.
    left, right = wish.band[0] / 1.02, wish.band[1] * 1.02
    axes.fill([left, right, right, left], [low, low, high, high], color=style.CHANGE, alpha=style.CHANGE_ALPHA,
              linewidth=0, zorder=1.5)  # fmt: skip
    for edge in (wish.least, wish.most):
        if np.isfinite(edge):
            axes.plot([left, right], [edge, edge], color=style.CHANGE, linewidth=1.4, zorder=2)
    above = high < highest
    axes.annotate(str(number + 1), ((left * right) ** 0.5, high), (0, 2 if above else -3), textcoords="offset points",
                  ha="center", va="bottom" if above else "top", fontsize=style.SMALL_SIZE, weight="bold",
                  color=style.CHANGE, zorder=4)  # fmt: skip
