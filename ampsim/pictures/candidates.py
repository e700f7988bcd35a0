"""Candidates side by side: the gains of several variants, and below what each changes against the first."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
import xarray as xr

from ..base.errors import DescriptionError
from ..base.wording import join_words
from ..measures.equal_curves import equal_curves
from ..measures.labels import select
from ..measures.sweep import difference_db, gain_at, gain_db
from . import captions, style
from .axes import LINE_HEIGHT, draw, end_labels, frequency_axis, label_room, over_frequency, tidy, wrap_label, zero_line
from .canvas import Curves, Picture
from .gain_and_change import GAIN_HEIGHT, gain_and_change, shown_changes

MOST_CANDIDATES = 12
_CHANGE_HEIGHT = 1.7  # inches


def candidates_curves(response: xr.Dataset, node: str | None = None, reference: str | None = None) -> Curves:
    """Points of the moving parts of `candidates_picture`, at the first position: [Hz, dB].

    "stock" is the first variant, "line-0", ... and "change-0", ... are the others.
    """
    grid = response["frequency"].values
    gains = gain_db(response, node, reference).isel(position=0).transpose("variant", "frequency").values
    with np.errstate(invalid="ignore"):
        changes = gains[1:] - gains[0]
    curves = {"stock": np.column_stack([grid, gains[0]])}
    for place, (gain, change) in enumerate(zip(gains[1:], changes, strict=True)):
        curves |= {f"line-{place}": np.column_stack([grid, gain]), f"change-{place}": np.column_stack([grid, change])}
    return curves


def same_curves(response: xr.Dataset, node: str | None = None, reference: str | None = None) -> list[list[str]]:
    """Names of the variants whose gains are the same at the first position, together; see `measures.equal_curves`."""
    gains = gain_db(response, node, reference).isel(position=0).transpose("variant", "frequency").values
    names = captions.variant_names(response)
    return [[names[index] for index in group] for group in equal_curves(gains)]


def describe_candidates(response: xr.Dataset, node: str | None = None, reference: str | None = None) -> str:
    """The same in words and numbers, one paragraph."""
    names, at = captions.variant_names(response), captions.anchors(response)
    here = response.isel(position=[0])
    levels = gain_at(here, at, node, reference).isel(position=0)
    change = difference_db(here, node, names[0], reference).isel(position=0)
    sentences = [
        f"Gain over frequency {captions.path_of(response, node, reference)}, {captions.span(response)}, "
        f"{response['position'].values[0]}.",
        f"{names[0]}: {captions.levels(levels.isel(variant=0))}.",
    ]
    for place, name in enumerate(names[1:]):
        more = captions.levels(levels.isel(variant=place + 1) - levels.isel(variant=0), sign=True)
        sentences.append(
            f"{name} changes it by {more}; greatest change {captions.greatest(change.isel(variant=place))}."
        )
    sentences += [f"{join_words(group)} are the same." for group in same_curves(here, node, reference) if group[1:]]
    return " ".join(sentences)


@style.picture_settings()
def candidates_picture(
    response: xr.Dataset,
    node: str | None = None,
    position: str | None = None,
    reference: str | None = None,
    title: str | None = None,
) -> Picture:
    """Draw up to twelve variants against the first one over frequency, and below what each changes.

    Variants whose curves are the same are one line with all their names.

    Parameters
    ----------
    response : xarray.Dataset
        A frequency sweep; its first variant is what the others are held against.
    node : str
        Where to listen; default the output.
    position : str
        Default the only one.
    reference : str
        Node the gain is counted from; default the source.
    title : str
        Default: amp, and how many candidates.

    Raises
    ------
    DescriptionError
        For unknown names, several positions of which none is named, or more than twelve variants besides the first.
    """
    here = select(response, positions=None if position is None else [position])
    count = here.sizes["variant"] - 1
    if here.sizes["position"] > 1:
        raise DescriptionError(f"{here.sizes['position']} positions of {count + 1} variants; name one position")
    captions.refuse_more(count, MOST_CANDIDATES, "candidates")
    curves = candidates_curves(here, node, reference)
    named = _named_lines(here, node, reference)
    drawn = {gid: curves[gid.replace("line", "change")][:, 1] for _, gid, _ in named if gid != "stock"}
    most, gone = shown_changes(drawn)
    named = [(f"{label} ({gone[gid]})" if gid in gone else label, gid, look) for label, gid, look in named]
    labels = [label for label, _, _ in named]
    heading = title or f"{captions.amp_name(here)}: {count} candidates against {captions.variant_names(here)[0]}"
    room = sum(LINE_HEIGHT * len(wrap_label(label)) + 0.02 for label in labels)
    picture, upper, lower = gain_and_change(
        heading,
        captions.gain_subtitle(here, node, reference),
        describe_candidates(here, node, reference),
        (),
        max(_CHANGE_HEIGHT, room - 0.2),
        label_room(labels),
        max(GAIN_HEIGHT, room - 0.2),
    )
    grid = here["frequency"].values
    stock = curves["stock"][:, 1]
    with np.errstate(invalid="ignore"):
        gains = [stock + np.clip(curves[gid][:, 1] - stock, -most, most) for _, gid, _ in named]
    over_frequency(upper, "gain [dB]", gains, grid, labelled=False)
    changes = [(label, gid.replace("line", "change"), look) for label, gid, look in named if gid != "stock"]
    values = [curves[gid][:, 1] for _, gid, _ in changes]
    tidy(lower, "change [dB]", [*(np.clip(each, -most, most) for each in values), np.zeros(1)], 2.0)
    frequency_axis(lower, grid)
    zero_line(lower)
    for axes, lines in ((upper, named), (lower, changes)):
        for _, gid, look in lines:
            draw(axes, curves, gid, look)
        end_labels(picture, axes, [(label, curves[gid][:, 1], look) for label, gid, look in lines])
    return picture


def _named_lines(response: xr.Dataset, node: str | None, reference: str | None) -> list[tuple[str, str, style.Look]]:
    """Label, `gid` and look of each line that is drawn: one to each group of curves that are the same."""
    names = captions.variant_names(response)
    gids = dict(zip(names, ["stock", *(f"line-{place}" for place in range(len(names) - 1))], strict=True))
    groups = same_curves(response, node, reference)
    looks = [style.STOCK_LOOK, *style.candidate_looks(len(groups) - 1)]
    return [(_group_label(group), gids[group[0]], look) for group, look in zip(groups, looks, strict=True)]


def _group_label(group: Sequence[str]) -> str:
    return group[0] if len(group) == 1 else f"{join_words(group)} (the same)"
