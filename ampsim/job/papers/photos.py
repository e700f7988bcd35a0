"""The photos of a job on its papers: small, with their arrows, with what they show and when they were taken."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from pathlib import Path

from markupsafe import Markup

from ...base.errors import DescriptionError
from ..marks.overlay import mark_words, photo_svg
from ..record.data import Photo
from ..record.photos import small_photo


@dataclass(frozen=True)
class ShownPhoto:
    """A photo on a paper: the drawing ("" where the file is not as it was kept), the words below, those of arrows."""

    drawing: Markup
    words: str
    arrows: tuple[str, ...] = ()


def shown_photos(photos: Iterable[Photo], folder: str | Path, *, beside: bool = False) -> list[ShownPhoto]:
    """The photos with their words, without what they show where it stands `beside` them.

    One that is lost or was altered is said to be.
    """
    return [_shown(each, folder, "" if beside else each.of) for each in photos]


def _shown(photo: Photo, folder: str | Path, of: str) -> ShownPhoto:
    words = ", ".join(filter(None, [of, str(photo.date), " ".join(photo.note.split())]))
    try:
        small = small_photo(photo, folder)
    except DescriptionError as problem:
        return ShownPhoto(Markup(""), f"{words} (not shown: {problem})")
    return ShownPhoto(photo_svg(small, photo.marks, words), words, tuple(mark_words(photo.marks)))
