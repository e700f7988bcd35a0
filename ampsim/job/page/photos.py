"""Photos on the owner's page: those chosen for them, as large as the page has room for."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

from markupsafe import Markup

from ...base.errors import DescriptionError
from ..record.data import Photo, Record
from ..record.words import Audience

MOST_BYTES = 700_000  # of a page without its sounds: it is sent by mail and opened on a phone
_LOOKS = ((1000, 80), (800, 76), (640, 72), (480, 66), (360, 60))  # longer side [pixels] and quality [%], best first


@dataclass(frozen=True)
class PagePhoto:
    """A photo on the page: the drawing, the words below it, those of its arrows."""

    drawing: Markup
    words: str
    arrows: tuple[str, ...]


class PagePhotos:
    """The photos of a job that are chosen for its owner.

    `left_out` says, once a page was made, in a sentence each which of them it does not show, and why.
    """

    def __init__(self, record: Record, folder: str | Path) -> None:
        self._chosen = [each for each in record.photos if Audience.OWNER in each.shown_to]
        self._folder = folder
        self.left_out: list[str] = []

    def fit(self, room: int) -> list[PagePhoto]:
        """The photos, as large as together they have room for [bytes]; where even small ones have none, fewer."""
        self.left_out = []
        found = self._sound()
        looks = list(_LOOKS)
        while found:
            shown = [self._shown(each, *looks[0]) for each in found]
            if sum(map(_size, shown)) <= room:
                return shown
            if len(looks) > 1:
                looks.pop(0)
                continue
            gone = found.pop()
            self.left_out.append(
                f"{gone.file} ({gone.of}) is not on the page: with it the page would pass {MOST_BYTES / 1000:.0f} kB"
            )
        return []

    def _sound(self) -> list[Photo]:
        """Those that are as they were kept."""
        if not self._chosen:
            return []
        # Loaded late: most pages show none.
        from ..record.photos import small_photo

        found = []
        for each in self._chosen:
            try:
                small_photo(each, self._folder, *_LOOKS[-1])
            except DescriptionError as problem:
                self.left_out.append(f"{each.file} ({each.of}) is not on the page: {problem}")
            else:
                found.append(each)
        return found

    def _shown(self, photo: Photo, side: int, quality: int) -> PagePhoto:
        from ..marks.overlay import mark_words, photo_svg
        from ..record.photos import small_photo

        # The shop's note stays with the shop.
        drawing = photo_svg(small_photo(photo, self._folder, side, quality), photo.marks, photo.of)
        return PagePhoto(drawing, photo.of, tuple(mark_words(photo.marks)))


def _size(shown: PagePhoto) -> int:
    texts: Sequence[str] = (shown.drawing, shown.words, *shown.arrows)
    return sum(len(each.encode()) for each in texts) + 200  # what stands round them
