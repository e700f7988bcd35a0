"""Clips as files: a WAV file each, and one text that says what they are and how to listen."""

from __future__ import annotations

import textwrap
from collections.abc import Sequence
from pathlib import Path

from ..base.errors import DescriptionError
from ..base.files import file_word, write_whole
from ..base.wav import write_wav
from .clips import Clip, Clips
from .wording import TRUE_LEVEL

TEXT = "listening.txt"
_WIDTH = 110


def write_clips(
    matched: Clips, folder: str | Path, true_level: Sequence[Clip] = (), notes: Sequence[str] = ()
) -> tuple[Path, ...]:
    """Write every clip as a WAV file (24 bit, one channel) and a text beside them.

    Parameters
    ----------
    matched : Clips
        Equally loud.
    folder : str or Path
        Made when it is missing; files of the same names are replaced.
    true_level : sequence of Clip
        Differences and pops, at their true level beside the others.
    notes : sequence of str
        What the text says besides.

    Returns
    -------
    tuple of Path
        The text first, then the WAV files in order.

    Raises
    ------
    DescriptionError
        When a file cannot be written.
    """
    home = Path(folder)
    # Where it stands, or else what it is: numbers tell apart what is cut.
    labels = [clip.label.partition(", ")[2] or clip.label for clip in matched] + [clip.label for clip in true_level]
    words = [file_word(label) for label in labels]
    names = [f"{n:02d}-{word}.wav" for n, word in enumerate(words, 1)]
    files = [
        write_wav(home / name, clip.samples, clip.rate)
        for name, clip in zip(names, [*matched, *true_level], strict=True)
    ]
    text = clips_text(matched, true_level, names)
    return (write_whole(home / TEXT, "\n".join([text, *notes, ""])), *files)


def clips_text(matched: Clips, true_level: Sequence[Clip] = (), names: Sequence[str] = ()) -> str:
    """What the clips are, a line to each; `names` are those of their files, in the same order.

    Raises
    ------
    DescriptionError
        When there are not as many names as clips.
    """
    every = [*matched, *true_level]
    if names and len(names) != len(every):
        raise DescriptionError(f"{len(names)} names for {len(every)} clips")
    heads = [f"{name}: " for name in names] or [""] * len(every)
    lines = [_fill(head + clip.words, "  ") for head, clip in zip(heads, every, strict=True)]
    rest = ["", _fill(TRUE_LEVEL), *lines[len(matched) :]] if true_level else []
    head = [_fill(matched.caution), "", *map(_fill, matched.words.split("\n")), ""]
    return "\n".join([*head, _fill(f"Equally loud ({matched.standard}):"), *lines[: len(matched)], *rest])


def _fill(text: str, indent: str = "") -> str:
    return textwrap.fill(text, _WIDTH, subsequent_indent=indent, break_long_words=False, break_on_hyphens=False)
