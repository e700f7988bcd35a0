"""What will be published, listed before it is: files, headings, and every text that a person wrote."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

from ...base.wording import one_line
from .content import HowTo
from .private_words import BLANK
from .public import PublicJob

_NEVER = (
    "Never in it: the owner's name, the serial number, days, prices, states, the shop's notes, names of files, what a "
    "camera writes into a photo."
)
_LOOK = (
    "What a photo shows cannot be seen from here: look at each for a name, a serial plate, a letter, a face. An "
    "address said in words is not known as one: read the texts."
)


def publish_list(job: PublicJob, howto: HowTo, page: str | Path) -> str:
    """The list as plain text.

    Parameters
    ----------
    job : PublicJob
    howto : HowTo
        Made of it.
    page : str or Path
        Where the page will be; the Markdown goes into a folder of the same name.
    """
    lines = [f"What will be published, in {page} and the folder {Path(page).with_suffix('')}:", ""]
    lines += [f"Title: {one_line(howto.title)}, {one_line(howto.above)}"]
    lines += [f"Parts: {'; '.join(one_line(part.title) for part in howto.parts)}"]
    lines += ["", "Texts that people wrote:", *(f"  {each}" for each in _texts(job))]
    lines += ["", *_photo_lines(job)]
    blanked = len(job.blanked())
    if blanked:
        named = f"{blanked} text{'s' * (blanked != 1)} named somebody, or said how to reach them or what they pay"
        lines += ["", f"Left out, where {BLANK} stands: {named}."]
    return "\n".join([*lines, "", _NEVER, _LOOK])


def _texts(job: PublicJob) -> Iterator[str]:
    told = {"the owner's words": job.words}
    told |= {f"wish {number}": each for number, each in enumerate(job.wishes, 1)}
    told |= {f"mod {mod.name}": mod.reason for mod in job.modded.mods}
    for number, choice in enumerate(job.choices, 1):
        told |= {f"choice {number}": f"{choice.chosen}, of {choice.asked}. {choice.why}"}
    for number, photo in enumerate(job.photos, 1):
        said = "; ".join(f"{each.at}: {each.text}" for each in photo.marks if each.text)
        told |= {f"arrows on photo {number}": said}
    for name, text in told.items():
        if text.strip():
            yield f"{one_line(name)}: {' '.join(one_line(text).split())}"


def _photo_lines(job: PublicJob) -> Iterator[str]:
    if not job.photos:
        yield (
            "Photos: none is chosen. One is with: ampsim job photo FOLDER FILE --of PART --for howto; one that the job "
            'has, with: ampsim job change FOLDER "photos[1].shown_to" \'["howto"]\''
        )
    for number, photo in enumerate(job.photos, 1):
        wide, high = photo.picture.size
        yield f"Photo {number}: {one_line(photo.of)}, {wide} x {high} pixels, {len(photo.marks)} arrows"
    yield from job.remarks
