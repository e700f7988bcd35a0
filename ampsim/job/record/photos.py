"""Photos of a job: kept as they came, shown small, without what the camera wrote into them."""

from __future__ import annotations

import datetime
import hashlib
import io
import warnings
from collections.abc import Iterable
from dataclasses import dataclass
from pathlib import Path

import numpy as np
from PIL import Image, UnidentifiedImageError

from ...base.errors import DescriptionError, nearest, shown
from ...base.files import file_word, printable, read_bounded, write_whole
from ...base.wording import plain
from ...circuit.amp import Amp
from ...work.steps.step import Step
from .changing import add_entry
from .data import Photo, Record
from .paths import path_inside
from .reading import job_file
from .sessions import asked_steps
from .words import Phase

FOLDER = "photos"
SIDE, QUALITY = 1400, 82  # pixels of the longer side as shown; percent
# Several views in one JPEG file, as some phones take them, are MPO: the first is shown.
_FORMATS = {"JPEG": ".jpg", "MPO": ".jpg", "PNG": ".png", "WEBP": ".webp"}
_MOST_BYTES, _MOST_PIXELS = 60_000_000, 120_000_000
_WORD = 65535.0  # white in sixteen bits
_ORIENTATION = 0x0112  # in EXIF: how the camera was held
_TURNS = {
    2: Image.Transpose.FLIP_LEFT_RIGHT,
    3: Image.Transpose.ROTATE_180,
    4: Image.Transpose.FLIP_TOP_BOTTOM,
    5: Image.Transpose.TRANSPOSE,
    6: Image.Transpose.ROTATE_270,
    7: Image.Transpose.TRANSVERSE,
    8: Image.Transpose.ROTATE_90,
}


def keep_photo(
    record: Record,
    folder: str | Path,
    file: str | Path,
    of: str,
    *,
    note: str = "",
    date: datetime.date | None = None,
    shown_to: Iterable[str] = (),
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
    shown_to : iterable of str
        Who sees it besides the shop: "owner", "howto".

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
    more = {"note": plain(note, lines=True), "shown_to": sorted(set(shown_to))}
    return add_entry(record, "photos", table | {key: each for key, each in more.items() if each})


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


@dataclass(frozen=True)
class SmallPhoto:
    """A photo as it is shown: a JPEG with nothing in it but what is seen, and its width and height [pixels]."""

    jpeg: bytes
    size: tuple[int, int]


def small_photo(photo: Photo, folder: str | Path, side: int = SIDE, quality: int = QUALITY) -> SmallPhoto:
    """A photo to be shown: small, upright, nothing in it but what is seen.

    Parameters
    ----------
    photo : Photo
    folder : str or Path
        The job folder.
    side : int
        Of the longer side, at most [pixels].
    quality : int
        Of the JPEG [%].

    Raises
    ------
    DescriptionError
        When it is not there any more, or not as it was kept.
    """
    path = path_inside(job_file(folder).parent, photo.file)
    data = read_bounded(path, _MOST_BYTES)
    if hashlib.sha256(data).hexdigest() != photo.sha256:
        raise DescriptionError(f"{photo.file}: not as it was kept on {photo.date}")
    image = _opened(data, photo.file, 2 * side)
    turn, seen = _turn(image), _as_seen(image, side)
    seen = seen if turn is None else seen.transpose(turn)
    written = io.BytesIO()
    # A new picture of the same pixels: place, time and camera stay behind.
    Image.frombytes("RGB", seen.size, seen.tobytes()).save(written, "JPEG", quality=quality)
    return SmallPhoto(written.getvalue(), seen.size)


def _as_seen(image: Image.Image, side: int) -> Image.Image:
    """In eight bits of red, green and blue, on white where it lets through; what is hidden there stays so.

    Parameters
    ----------
    image : Image
    side : int
        Of the longer side, at most [pixels].
    """
    clear = image.has_transparency_data
    if image.mode.startswith(("I", "F")):  # grey of sixteen bits
        grey = np.asarray(image, dtype=np.float32) / _WORD
        image = Image.fromarray((grey.clip(0.0, 1.0) * 255.0).astype(np.uint8))
    elif image.mode not in ("L", "LA", "RGB", "RGBA", "CMYK"):
        image = image.convert("RGBA" if clear else "RGB")
    elif clear and image.mode in ("L", "RGB"):  # one colour of it is clear
        image = image.convert("RGBA")
    # Small first: what follows needs room for copies.
    image = image.reduce(max(1, max(image.size) // (2 * side)))
    image.thumbnail((side, side))
    if clear:
        seen = image.convert("RGBA")
        image = Image.alpha_composite(Image.new("RGBA", seen.size, "white"), seen)
    return image.convert("RGB")


def _turn(image: Image.Image) -> Image.Transpose | None:
    """How a picture is turned to stand upright; None where its camera says nothing that can be read."""
    try:
        with warnings.catch_warnings():
            warnings.simplefilter("ignore")
            return _TURNS.get(image.getexif().get(_ORIENTATION, 1))
    except Exception:  # what a camera wrote may be damaged in any way
        return None


def _checked(data: bytes, name: str) -> str:
    """The format of a picture that opens whole."""
    if not data:
        raise DescriptionError(f"{name}: no picture: the file is empty")
    return str(_opened(data, name).format)


def _opened(data: bytes, name: str, side: int = 2 * SIDE) -> Image.Image:
    """The picture, read whole; where it is a JPEG much larger than `side` [pixels], in fewer pixels."""
    try:
        with warnings.catch_warnings():
            warnings.simplefilter("ignore")  # the limit below is ours
            image = Image.open(io.BytesIO(data), formats=("JPEG", "PNG", "WEBP"))
            if image.width * image.height > _MOST_PIXELS:
                raise DescriptionError(
                    f"{name}: {image.width} x {image.height} pixels; at most {_MOST_PIXELS:,} are taken"
                )
            image.draft(None, (side, side))
            image.load()
    except UnidentifiedImageError:
        raise DescriptionError(
            f"{name}: no picture of a kind that is known here (JPEG, PNG, WebP); a phone or a viewer saves others as "
            "JPEG"
        ) from None
    except DescriptionError:
        raise
    except Exception as problem:  # readers of pictures raise whatever they stumble over
        raise DescriptionError(f"{name}: the picture is damaged: {plain(str(problem))[:120]}") from None
    return image
