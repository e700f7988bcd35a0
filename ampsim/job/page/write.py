"""A page from a job: take the tables of both amps, draw where it opens, write one file."""

from __future__ import annotations

import os
from collections.abc import Sequence
from pathlib import Path

from ...audio.clips import Clips
from ...audio.player.embed import embed
from ...base.errors import DescriptionError
from ...base.files import file_word, write_whole
from ...base.progress import Progress
from ...circuit.amp import Amp
from ...circuit.nets import INPUT
from ...simulation.analyses import FrequencySweep
from ...simulation.response import simulate
from ...studies.audition_request import Audition, Setting
from ...studies.stability.steady import refuse_unsteady
from .breaking_up import take_breaking_up
from .choices import Range, choose
from .html import page_html
from .photos import PagePhotos
from .played import take_played
from .tables import take_tables
from .wished import Wished


def write_page(
    audition: Audition,
    path: str | Path | None = None,
    controls: Sequence[str] | None = None,
    progress: Progress | None = None,
    *,
    words: str = "",
    wishes: Sequence[Wished] = (),
    advice: Sequence[str] = (),
    clips: Clips | None = None,
    title: str = "",
    photos: PagePhotos | None = None,
) -> Path:
    """Write the page to hand over: one HTML file that computes every position by itself, without network.

    A page that is there already is replaced only when the new one is whole.

    Parameters
    ----------
    audition : Audition
    path : str or Path
        Default: the job's name with the ending "html", in the working folder. Missing folders are made.
    controls : sequence of str
        Switches and knobs to offer; default those that the mods add, that the job names and that stand beside what the
        mods change, as far as there is room. The page opens, and everything else stands, where the job compares.
    progress : callable
        Called with (done, total, word) as the table of each position of the switches is ready.
    words : str
        What the owner asked for, in their own words; lines are kept.
    wishes : sequence of Wished
        The same wish by wish, such as `wishes_of` gives.
    advice : sequence of str
        Sentences on how to use the controls together.
    clips : Clips
        What can be heard on the page, such as ``audio.listen.equally_loud(audition)``; at most 4 MB are added.
    title : str
        The heading; default what the audition is called.
    photos : PagePhotos
        Those of the job that are chosen for the owner; its `left_out` then says which have no room.

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
    for frequency in audition.frequencies:
        _check_frequency(frequency)
    sounds = embed(clips) if clips else None
    offered = choose(audition, controls)
    refuse_unsteady(_judged(audition, offered), "A page")
    tables = take_tables(audition, offered, progress)
    played = take_played(audition, tables.offered, progress)
    start = tables.offered.start()
    # The input is asked for as well: a position that grounds the listening point then is silent, not refused.
    places = list(dict.fromkeys([audition.listen_at, INPUT]))
    response = simulate([audition.stock, audition.modded], FrequencySweep(), [start], places)
    breaking = take_breaking_up(audition, tables.offered) if played.playing.stock else None
    page = page_html(audition, tables, played, response, words, wishes, advice, sounds, breaking, title, photos)
    return write_whole(target, page)


def _check_frequency(frequency: float) -> None:
    grid = FrequencySweep().grid()
    if not grid[0] * (1.0 - 1e-9) <= frequency <= grid[-1] * (1.0 + 1e-9):
        raise DescriptionError(f"{frequency:g} Hz lies outside the sweep, {grid[0]:g} to {grid[-1]:g} Hz")


def _judged(audition: Audition, offered: Range) -> list[tuple[Amp, Setting]]:
    """Both amps at every step, and there at both ends of each knob."""
    ends: list[Setting] = [{}]
    ends += [{each.name: end} for each in offered.smooth for end in (0.0, 1.0)]
    settings = [step | end for step in offered.steps() for end in ends]
    return [(amp, setting) for amp in (audition.stock, audition.modded) for setting in settings]


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
