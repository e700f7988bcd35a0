"""What of a job may be published. Nothing else of it reaches the how-to: what is not here cannot get in."""

from __future__ import annotations

from dataclasses import dataclass, replace
from pathlib import Path

from ...base.errors import DescriptionError, shown
from ...circuit.amp import Amp
from ...library.landing import apply_mods
from ...studies.audition_request import Audition, Setting
from ..record.data import Choice, Mark, Photo, Record
from ..record.frozen import open_audition
from ..record.photos import SmallPhoto, small_photo
from ..record.words import Audience
from .private_words import BLANK, PrivateWords, strings_within

_SIDE, _QUALITY = 1200, 80  # of a photo's longer side [pixels] and of its JPEG [%]


@dataclass(frozen=True)
class PublicPhoto:
    """A photo as it is published: small, without what the camera wrote, under no name; what it shows; its arrows."""

    picture: SmallPhoto
    of: str
    marks: tuple[Mark, ...]


@dataclass(frozen=True)
class PublicChoice:
    """Candidates that were held side by side: what was asked, what was taken, why, what was found of each."""

    asked: str
    chosen: str
    why: str
    found: tuple[str, ...]


@dataclass(frozen=True)
class PublicJob:
    """A job without whose it was.

    There is no owner here, no serial number, no day, no price, no state and no note of the shop. `words` and `wishes`
    are the owner's own, with what names or leads to somebody left out; `remarks` say which photos are not here, and
    what could not be looked for.
    """

    stock: Amp
    modded: Amp
    listen_at: str
    frequencies: tuple[float, ...]
    at: Setting
    words: str = ""
    wishes: tuple[str, ...] = ()
    choices: tuple[PublicChoice, ...] = ()
    photos: tuple[PublicPhoto, ...] = ()
    remarks: tuple[str, ...] = ()

    def blanked(self) -> list[str]:
        """Every text in which something was left out."""
        own = [self.words, *self.wishes, self.stock.name]
        own += [text for mod in self.modded.mods for text in (mod.name, mod.reason)]
        own += [*strings_within(self.choices), *(mark.text for photo in self.photos for mark in photo.marks)]
        return [each for each in dict.fromkeys(own) if BLANK in each]


def public_job(record: Record, folder: str | Path) -> PublicJob:
    """What of a job may be published.

    Parameters
    ----------
    record : Record
    folder : str or Path
        The job folder, where its photos and frozen files are.

    Raises
    ------
    DescriptionError
        As `open_audition`; and when a part, a control or another name of the amp or a mod says whose it is, which
        nobody can leave out of a drawing.
    """
    private, audition = PrivateWords(record), open_audition(record, folder)
    stock, modded = _nameless(audition, private)
    photos, remarks = _photos(record, folder, private)
    remarks += private.remarks
    return PublicJob(
        stock,
        modded,
        audition.listen_at,
        audition.frequencies,
        audition.compare_at,
        private.blank_letter(record.words),
        tuple(private.blank_letter(each.words) for each in record.wishes),
        tuple(_choice(each, private) for each in record.choices),
        tuple(photos),
        tuple(remarks),
    )


def _nameless(audition: Audition, private: PrivateWords) -> tuple[Amp, Amp]:
    """Both amps, called and reasoned without names; files and where a practice is from stay behind."""
    stock = replace(audition.stock, name=private.blank(audition.stock.name), file="")
    mods = [
        replace(
            mod,
            name=private.blank(mod.name),
            reason=private.blank_letter(mod.reason),
            source=private.blank_letter(mod.source),
            file="",
        )
        for mod in audition.modded.mods
    ]
    modded = apply_mods(stock, *mods)
    for text in (*strings_within(modded), audition.listen_at):
        if private.holds(text):
            raise DescriptionError(
                f"nothing was published: the amp or a mod has a part, control or position called {shown(text)}, which "
                "names the owner or the serial number; rename it in the frozen file, then: ampsim job accept"
            )
    return stock, modded


def _choice(choice: Choice, private: PrivateWords) -> PublicChoice:
    found = tuple(private.blank(each) for each in choice.found.splitlines())
    return PublicChoice(
        private.blank(choice.asked), private.blank(choice.chosen), private.blank_letter(choice.note), found
    )


def _photos(record: Record, folder: str | Path, private: PrivateWords) -> tuple[list[PublicPhoto], list[str]]:
    """The photos chosen for it; those that are not as they were kept, with the reason."""
    found, remarks = [], []
    for number, photo in enumerate(record.photos, 1):
        if Audience.HOWTO in photo.shown_to:
            try:
                found.append(_photo(photo, folder, private))
            except DescriptionError as problem:
                remarks.append(f"Not shown: photo {number}, {problem}")
    return found, remarks


def _photo(photo: Photo, folder: str | Path, private: PrivateWords) -> PublicPhoto:
    marks = tuple(
        replace(each, at=private.blank(each.at), text=private.blank_letter(each.text)) for each in photo.marks
    )
    return PublicPhoto(small_photo(photo, folder, _SIDE, _QUALITY), private.blank(photo.of), marks)
