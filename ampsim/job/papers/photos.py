"""The photos of a job on its papers: small, with what they show and when they were taken."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from pathlib import Path

from ...base.errors import DescriptionError
from ..record.data import Photo
from ..record.photos import photo_shown


@dataclass(frozen=True)
class ShownPhoto:
    """A photo on a paper: the source of an image ("" where the file is not as it was kept), and the words below."""

    source: str
    words: str


def shown_photos(photos: Iterable[Photo], folder: str | Path, *, beside: bool = False) -> list[ShownPhoto]:
    """The photos with their words, without what they show where it stands `beside` them.

    One that is lost or was altered is said to be.
    """
    return [_shown(each, folder, "" if beside else each.of) for each in photos]


def _shown(photo: Photo, folder: str | Path, of: str) -> ShownPhoto:
    words = ", ".join(filter(None, [of, str(photo.date), " ".join(photo.note.split())]))
    try:
        return ShownPhoto(photo_shown(photo, folder), words)
    except DescriptionError as problem:
        return ShownPhoto("", f"{words} (not shown: {problem})")
