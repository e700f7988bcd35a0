"""Listening to candidates: stock and each of them at one position, equally loud, to be told apart by ear alone."""

from __future__ import annotations

import numpy as np
import xarray as xr

from ..base.progress import Progress
from ..base.wording import join_words
from ..studies.candidates.question import Question
from .linear import render_linear
from .listen import Listening, ListeningOptions
from .loudness_standards import find_standard
from .matching import SILENT_DB, match_loudness
from .phrases import phrase
from .render import Play, render


def listen_to_candidates(
    question: Question,
    options: ListeningOptions | None = None,
    progress: Progress | None = None,
    play: Play | None = None,
) -> Listening:
    """Hear the amp without a candidate and with each of them, where the controls of the question stand.

    Those that change nothing are not played twice, and those through which nothing is heard are left out; both are
    said.

    Parameters
    ----------
    question : Question
    options : ListeningOptions
    progress, play
        As in `render`.

    Raises
    ------
    DescriptionError, EngineError, Stopped
        As `render`.
    """
    options = options or ListeningOptions()
    find_standard(options.standard)
    heard = question.without_stock()
    amps, place, played = heard.amps, [heard.at], options.played or phrase()
    if options.linear:
        rendered = render_linear(amps, place, played, load=options.load, node=heard.listen_at)
    else:
        rendered = render(
            amps,
            place,
            played,
            loads=(options.load,),
            node=heard.listen_at,
            oversampling=options.oversampling,
            cache=options.cache,
            progress=progress,
            play=play,
        )
    rendered, silent = _audible(heard.by_label(rendered))
    matched = match_loudness(rendered, options.standard, options.response, options.response_name)
    stock = [label for label in question.labels if label not in heard.labels]
    notes = [f"{join_words(stock)}: as {question.base}, so not among the clips."] if stock else []
    notes += [f"{join_words(silent)}: nothing is heard, so not among the clips."] if silent else []
    return Listening(matched, (), rendered, tuple(notes))


def _audible(rendered: xr.Dataset) -> tuple[xr.Dataset, list[str]]:
    """What is heard, and the labels of what lies more than `SILENT_DB` [dB] below the loudest; stock stays."""
    volts = rendered["volts"].isel(position=0).transpose("variant", "time").values.astype(float)
    levels = np.sqrt(np.mean((volts - volts[:, :1]) ** 2, axis=1))
    stays = levels >= 10.0 ** (-SILENT_DB / 20.0) * levels.max()
    stays[0] = True
    return rendered.isel(variant=np.flatnonzero(stays)), [str(each) for each in rendered["variant"].values[~stays]]
