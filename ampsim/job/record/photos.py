"""Photos of a job: kept as they came, shown small, without what the camera wrote into them."""

from __future__ import annotations

import base64
import datetime
import hashlib
import io
import warnings
from pathlib import Path

from PIL import Image, ImageOps, UnidentifiedImageError

from ...base.errors import DescriptionError, nearest, shown
from ...base.files import file_word, printable, read_bounded, write_whole
from ...base.wording import plain
from ...circuit.amp import Amp
from ...work.steps.step import Step
from .changing import add_entry
from .data import Phase, Photo, Record
from .paths import path_inside
from .reading import job_file
from .sessions import asked_steps

FOLDER = "photos"
_FORMATS = {"JPEG": ".jpg", "PNG": ".png", "WEBP": ".webp"}
_MOST_BYTES, _MOST_PIXELS = 60_000_000, 120_000_000
_SIDE, _QUALITY = 1400, 82  # pixels of the longer side as shown; percent


def keep_photo(
    record: Record,
    folder: str | Path,
    file: str | Path,
    of: str,
    *,
    note: str = "",
    date: datetime.date | None = None,
) -> Record:
    """Keep a photo in the job folder, as it is, and write down what it shows.

    Parameters
    ----------
    record : Record
    folder : str or Path
        The job folder.
    file : str or Path
        JPEG, PNG or WebP, of at most 60 MB and 120 million pixels.
    of : str
        What it shows, as `photo_subject` gives it.
    note : str
        What there is to say.
    date : datetime.date
        Default today.

    Raises
    ------
    DescriptionError
        For a file that is no such picture, is damaged or too large, and when nothing can be written.
    """
    data = read_bounded(file, _MOST_BYTES)
    ending = _FORMATS[_checked(data, printable(file))]
    digest = hashlib.sha256(data).hexdigest()
    name = f"{FOLDER}/{file_word(Path(file).stem)}-{digest[:8]}{ending}"
    path = path_inside(job_file(folder).parent, name)
    if not path.exists() or path.read_bytes() != data:
        write_whole(path, data)
    table = {"date": date or datetime.date.today(), "file": name, "sha256": digest, "of": of}
    return add_entry(record, "photos", table | ({"note": plain(note, lines=True)} if note else {}))


def photo_subject(text: str, amp: Amp, steps: tuple[Step, ...] = ()) -> str:
    """What a photo shows, in the words that the job keeps.

    Parameters
    ----------
    text : str
        A part of the amp (R4, V1A), "on arrival", "after the mod", or "step 7" of the plan.
    amp : Amp
        With its mods.
    steps : tuple of Step
        Of the plan.

    Raises
    ------
    DescriptionError
        For anything else; names the nearest.
    """
    kind, _, number = text.strip().partition(" ")
    if kind == "step":
        return plain(steps[asked_steps(steps, [number.strip()])[0] - 1].do)
    parts = [*amp.part_by_designator, *(switch.designator for switch in amp.all_switches)]
    known = [*parts, *(each.value for each in Phase)]
    if text.strip() not in known:
        raise DescriptionError(
            f'{shown(text)} is no part of this amp, nor "on arrival", "after the mod" or "step 7"{nearest(text, known)}'
        )
    return text.strip()


def photo_shown(photo: Photo, folder: str | Path) -> str:
    """A photo as the source of an image: small, upright, nothing in it but what is seen.

    Raises
    ------
    DescriptionError
        When it is not there any more, or not as it was kept.
    """
    path = path_inside(job_file(folder).parent, photo.file)
    data = read_bounded(path, _MOST_BYTES)
    if hashlib.sha256(data).hexdigest() != photo.sha256:
        raise DescriptionError(f"{photo.file}: not as it was kept on {photo.date}")
    image = _opened(data, photo.file)
    seen = ImageOps.exif_transpose(image).convert("RGB")
    seen.thumbnail((_SIDE, _SIDE))
    written = io.BytesIO()
    # A new picture of the same pixels: place, time and camera stay behind.
    Image.frombytes("RGB", seen.size, seen.tobytes()).save(written, "JPEG", quality=_QUALITY)
    inner = base64.b64encode(written.getvalue()).decode()
    wide, high = seen.size
    drawn = (
        f'<svg xmlns="http://www.w3.org/2000/svg" width="{wide}pt" height="{high}pt" viewBox="0 0 {wide} {high}">'
        f'<image width="{wide}" height="{high}" href="data:image/jpeg;base64,{inner}"/></svg>'
    )
    return f"data:image/svg+xml;base64,{base64.b64encode(drawn.encode()).decode()}"


def _checked(data: bytes, name: str) -> str:
    """The format of a picture that opens whole."""
    image = _opened(data, name)
    return str(image.format)


def _opened(data: bytes, name: str) -> Image.Image:
    try:
        with warnings.catch_warnings():
            warnings.simplefilter("ignore")  # the limit below is ours
            image = Image.open(io.BytesIO(data), formats=tuple(_FORMATS))
            if image.width * image.height > _MOST_PIXELS:
                raise DescriptionError(
                    f"{name}: {image.width} x {image.height} pixels; at most {_MOST_PIXELS:,} are taken"
                )
            image.load()
    except UnidentifiedImageError:
        raise DescriptionError(f"{name}: no picture of a kind that is known here (JPEG, PNG, WebP)") from None
    except (OSError, ValueError, SyntaxError, EOFError, MemoryError, Image.DecompressionBombError) as problem:
        raise DescriptionError(f"{name}: the picture is damaged: {plain(str(problem))[:120]}") from None
    return image
