"""The player alone on a page: one file that any browser opens, with all sounds in it."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path

from markupsafe import Markup

from ...base.files import write_whole
from ...base.html import render, script_digests
from ..clips import Clips
from .embed import embed

MOST_ON_A_PAGE = 14_000_000  # characters of sounds: what thirteen clips of a phrase take


def write_player(clips: Clips, path: str | Path, title: str, notes: Sequence[str] = ()) -> Path:
    """Write one HTML file in which clips are switched between while they play, by ear alone too.

    Parameters
    ----------
    clips : Clips
        Equally loud.
    path : str or Path
        The file.
    title : str
        The heading.
    notes : sequence of str
        What else is said above the player.

    Raises
    ------
    DescriptionError
        When the sounds are too much for a page, or the file cannot be written.
    """
    player = embed(clips, MOST_ON_A_PAGE)
    script = Markup(player.script)
    return write_whole(
        Path(path),
        render(
            __package__,
            "page.html",
            title=title,
            notes=notes,
            allowed=script_digests([script]),
            style=Markup(player.style),
            body=Markup(player.body),
            script=script,
        ),
    )
