"""A page from a job: simulate every position once, draw, say why, write one file."""

from __future__ import annotations

import os
from collections.abc import Sequence
from pathlib import Path

from ...audio.clips import Clips
from ...audio.player.embed import embed
from ...base.errors import DescriptionError
from ...base.files import file_word, write_whole
from ...base.progress import Progress
from ...circuit.nets import INPUT
from ...simulation.analyses import FrequencySweep
from ...simulation.response import simulate
from ...studies.audition_request import Audition
from ...studies.stability.steady import refuse_unsteady
from .choices import choose
from .content import readings, reasons
from .drawing import draw
from .html import page_html
from .silence import leave_out_silent, silent_positions


def write_page(
    audition: Audition,
    path: str | Path | None = None,
    controls: Sequence[str] | None = None,
    progress: Progress | None = None,
    *,
    words: str = "",
    advice: Sequence[str] = (),
    clips: Clips | None = None,
    title: str = "",
) -> Path:
    """Write the page to hand over: one HTML file, no network, every position computed beforehand.

    A page that is there already is replaced only when the new one is whole.

    Parameters
    ----------
    audition : Audition
    path : str or Path
        Default: the job's name with the ending "html", in the working folder. Missing folders are made.
    controls : sequence of str
        Switches and at most two knobs to offer; default those that the mods add, as far as 66 positions go. The page
        opens, and everything else stands, where the job compares. What silences everything is left out, and said.
    progress : callable
        Called with (done, total) as the sentences of each position of the switches are ready.
    words : str
        What the owner asked for, in their own words; lines are kept.
    advice : sequence of str
        Sentences on how to use the controls together.
    clips : Clips
        What can be heard on the page, such as ``listen(audition).clips``; at most 4 MB are added.
    title : str
        The heading; default what the audition is called.

    Returns
    -------
    Path
        The file.

    Raises
    ------
    DescriptionError
        For unknown or too many controls, too much sound, an amp that oscillates at one of the positions, and when the
        file cannot be written.
    EngineError
        When ngspice gives no trustworthy answer.
    """
    target = _target(Path(path) if path is not None else Path(f"{file_word(audition.name)}.html"))
    offered, sounds = choose(audition, controls), embed(clips) if clips else None
    variants, settings = [audition.stock, audition.modded], offered.settings()
    refuse_unsteady([(amp, setting) for amp in variants for setting in settings], "A page")
    # The input is asked for as well: a position that grounds the listening point then is silent, not refused.
    places = list(dict.fromkeys([audition.listen_at, INPUT]))
    response = simulate(variants, FrequencySweep(), settings, places)
    offered, kept, left_out = leave_out_silent(offered, silent_positions(response, audition.listen_at))
    response = response.isel(position=kept)
    numbers = readings(audition, offered, response)
    drawing = draw(response, audition.listen_at, offered.start(), numbers[offered.start()].sentence)
    why = reasons(audition, offered, progress)
    page = page_html(audition, offered, drawing, numbers, why, words, advice, sounds, title=title, left_out=left_out)
    return write_whole(target, page)


def _target(path: Path) -> Path:
    """Refuse what cannot be written before the work, not after it."""
    if path.is_dir():
        raise DescriptionError(f"{path}: is a folder; name a file in it")
    try:
        path.parent.mkdir(parents=True, exist_ok=True)
    except OSError as problem:
        raise DescriptionError(f"{path.parent}: cannot be made: {problem.strerror}") from None
    if not os.access(path.parent, os.W_OK):
        raise DescriptionError(f"{path.parent}: cannot be written to")
    return path
