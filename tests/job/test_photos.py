"""Photos of a job: kept to the byte, shown without what the camera wrote, hostile files refused with a message."""

from __future__ import annotations

import io
import random
import struct
import zlib
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from PIL import Image, ImageOps

from ampsim.base.errors import DescriptionError
from ampsim.job.papers.photos import shown_photos
from ampsim.job.record.beginning import begin_job
from ampsim.job.record.frozen import open_job
from ampsim.job.record.photos import keep_photo, photo_subject, small_photo
from ampsim.job.record.reading import read_record
from ampsim.job.record.saving import save_record
from ampsim.job.record.words import Audience
from ampsim.work.steps.step import Phase, Step
from tests.tools.systems import needs_links

PLACE = b"SECRET-PLACE-AND-CAMERA"


@pytest.fixture(scope="module")
def made(tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = tmp_path_factory.mktemp("photos") / "job"
    begin_job(folder, "lesson-stage")
    return folder


def picture(kind: str, size: tuple[int, int] = (40, 20), **more: Any) -> bytes:
    image = Image.new("RGB", size, (10, 20, 30))
    image.paste((250, 10, 10), (0, 0, size[0] // 2, size[1] // 2))
    written = io.BytesIO()
    image.save(written, kind, **more)
    return written.getvalue()


def with_camera(turned: int = 1) -> bytes:
    """A JPEG with a place, a camera and a way it was held."""
    notes = Image.Exif()
    notes[0x010F], notes[0x0112] = PLACE.decode(), turned
    notes.get_ifd(0x8825)[1] = "N"
    return picture("JPEG", (400, 200), exif=notes, comment=PLACE)


def kept(folder: Path, data: bytes, tmp_path: Path, name: str = "a photo.jpg") -> Any:
    (tmp_path / name).write_bytes(data)
    return keep_photo(read_record(folder), folder, tmp_path / name, "R4", note="before")


@pytest.mark.parametrize("kind", ["JPEG", "PNG", "WEBP"])
def test_a_photo_is_kept_to_the_byte(kind: str, made: Path, tmp_path: Path) -> None:
    data = picture(kind)
    record = kept(made, data, tmp_path)
    photo = record.photos[-1]
    assert (made / photo.file).read_bytes() == data
    assert (photo.of, photo.note) == ("R4", "before")
    assert Image.open(io.BytesIO(small_photo(photo, made).jpeg)).size == (40, 20)


def test_nothing_of_camera_or_place_is_shown_and_it_stands_upright(made: Path, tmp_path: Path) -> None:
    data = with_camera(turned=6)
    assert PLACE in data
    photo = kept(made, data, tmp_path).photos[-1]
    shown = small_photo(photo, made).jpeg
    assert PLACE not in shown
    image = Image.open(io.BytesIO(shown))
    assert (image.size, len(image.getexif())) == ((200, 400), 0)


@pytest.mark.parametrize("turned", range(10))
def test_it_stands_upright_however_the_camera_was_held(turned: int, made: Path, tmp_path: Path) -> None:
    notes = Image.Exif()
    notes[0x0112] = turned
    image = Image.new("RGB", (60, 40), "white")
    image.paste("red", (0, 0, 30, 20))
    image.save(tmp_path / "turned.png", exif=notes)
    photo = keep_photo(read_record(made), made, tmp_path / "turned.png", "R4").photos[-1]
    shown = Image.open(io.BytesIO(small_photo(photo, made).jpeg))
    wanted = ImageOps.exif_transpose(Image.open(tmp_path / "turned.png"))
    assert shown.size == wanted.size
    assert np.abs(np.asarray(shown, dtype=float) - np.asarray(wanted, dtype=float)).mean() < 5.0


def test_a_large_one_is_shown_small(made: Path, tmp_path: Path) -> None:
    photo = kept(made, picture("JPEG", (4000, 1000)), tmp_path).photos[-1]
    assert Image.open(io.BytesIO(small_photo(photo, made).jpeg)).size == (1400, 350)


def bomb() -> bytes:
    """A few bytes that say they are a picture of 60,000 by 60,000 pixels."""

    def piece(name: bytes, data: bytes) -> bytes:
        return struct.pack(">I", len(data)) + name + data + struct.pack(">I", zlib.crc32(name + data))

    head = piece(b"IHDR", struct.pack(">IIBBBBB", 60_000, 60_000, 8, 2, 0, 0, 0))
    return b"\x89PNG\r\n\x1a\n" + head + piece(b"IDAT", zlib.compress(bytes(1000))) + piece(b"IEND", b"")


HEIC = b"\0\0\0\x18ftypheic\0\0\0\0mif1heic" + bytes(200)


@pytest.mark.parametrize(
    "data",
    [b"", b"no picture", b"<svg onload='x'/>", b"GIF89a" + bytes(40), picture("JPEG")[:200], picture("PNG")[:60],
     bomb(), b"%!PS-Adobe\nquit", picture("BMP"), picture("GIF"), HEIC, picture("WEBP")[:30], picture("TIFF")],
)  # fmt: skip
def test_what_is_no_sound_picture_is_refused_and_nothing_is_left(data: bytes, made: Path, tmp_path: Path) -> None:
    before = sorted(made.rglob("*"))
    with pytest.raises(DescriptionError, match=r"picture|pixels"):
        kept(made, data, tmp_path)
    assert sorted(made.rglob("*")) == before


def several(kind: str, **more: Any) -> bytes:
    """A file with two pictures, the first of them red."""
    written = io.BytesIO()
    first, second = (Image.new("RGB", (40, 20), colour) for colour in ("red", "blue"))
    first.save(written, kind, save_all=True, append_images=[second], **more)
    return written.getvalue()


def sixteen_bits() -> bytes:
    """A PNG as a scanner saves it: one grey, a third of white."""
    written = io.BytesIO()
    Image.fromarray(np.full((20, 40), 65535 // 3, dtype=np.uint16)).save(written, "PNG")
    return written.getvalue()


def clear() -> bytes:
    """A PNG in which all is clear, with red hidden beneath."""
    written = io.BytesIO()
    Image.new("RGBA", (40, 20), (255, 0, 0, 0)).save(written, "PNG")
    return written.getvalue()


def of_inks() -> bytes:
    """A JPEG in the four colours of print: red is magenta and yellow."""
    written = io.BytesIO()
    Image.new("CMYK", (40, 20), (0, 255, 255, 0)).save(written, "JPEG", quality=95)
    return written.getvalue()


@pytest.mark.parametrize(
    ("data", "colour"),
    [(several("WEBP", lossless=True), (255, 0, 0)), (several("PNG"), (255, 0, 0)), (several("MPO"), (255, 0, 0)),
     (sixteen_bits(), (85, 85, 85)), (clear(), (255, 255, 255)), (of_inks(), (255, 0, 0))],
)  # fmt: skip
def test_other_kinds_of_pictures_look_as_they_are(
    data: bytes, colour: tuple[int, int, int], made: Path, tmp_path: Path
) -> None:
    shown = Image.open(io.BytesIO(small_photo(kept(made, data, tmp_path).photos[-1], made).jpeg))
    assert (shown.mode, shown.size) == ("RGB", (40, 20))
    assert shown.getpixel((20, 10)) == pytest.approx(colour, abs=12)


@needs_links
def test_folders_devices_and_links_are_what_they_lead_to(made: Path, tmp_path: Path) -> None:
    record = read_record(made)
    (tmp_path / "folder").mkdir()
    (tmp_path / "real.png").write_bytes(picture("PNG"))
    for name, target in (("good", "real.png"), ("bad", "/etc/hosts"), ("round", "round"), ("gone", "nowhere")):
        (tmp_path / name).symlink_to(target)
    kept_one = keep_photo(record, made, tmp_path / "good", "R4").photos[-1]
    assert not (made / kept_one.file).is_symlink()
    for wrong in ("folder", "bad", "round", "gone", "/dev/zero", "a\0b", "x" * 5000):
        with pytest.raises(DescriptionError):
            keep_photo(record, made, tmp_path / wrong, "R4")


def test_who_sees_a_photo_is_kept(made: Path, tmp_path: Path) -> None:
    (tmp_path / "a.png").write_bytes(picture("PNG"))
    record = keep_photo(read_record(made), made, tmp_path / "a.png", "R4", shown_to=["owner", "howto", "owner"])
    assert save_record(record, made).photos[-1].shown_to == (Audience.HOWTO, Audience.OWNER)
    with pytest.raises(DescriptionError, match="everybody"):
        keep_photo(record, made, tmp_path / "a.png", "R4", shown_to=["everybody"])


def test_damaged_bytes_end_in_a_message_or_a_picture(made: Path, tmp_path: Path) -> None:
    lot = random.Random(8)
    for data in (*(picture(kind, (64, 64)) for kind in ("JPEG", "PNG", "WEBP")), with_camera(6)):
        # What the camera wrote stands first, and a flaw there spoils nothing that is seen.
        for at in [*(lot.randrange(len(data)) for _ in range(40)), *range(20, 60)]:
            broken = data[:at] + bytes([lot.randrange(256)]) + data[at + lot.randrange(2) :]
            try:
                photo = kept(made, broken, tmp_path).photos[-1]
            except DescriptionError:
                continue
            assert small_photo(photo, made).jpeg


def test_a_photo_that_was_altered_is_said_to_be(made: Path, tmp_path: Path) -> None:
    record = save_record(kept(made, picture("PNG", (33, 33)), tmp_path), made)
    photo = record.photos[-1]
    assert read_record(made).photos[-1] == photo
    (made / photo.file).write_bytes(picture("PNG", (34, 34)))
    (shown,) = shown_photos([photo], made)
    assert shown.drawing == ""
    assert "not as it was kept" in shown.words
    (made / photo.file).unlink()
    assert "there is no such file" in shown_photos([photo], made)[0].words


def test_a_photo_shows_a_part_a_phase_or_a_step(made: Path) -> None:
    amp, steps = open_job(read_record(made), made).modded, (Step(Phase.FIT, "Fit it."), Step(Phase.FIT, "Look."))
    assert photo_subject(" V1A ", amp) == "V1A"
    assert photo_subject("on arrival", amp) == "on arrival"
    assert photo_subject("step 2", amp, steps) == "Look."
    for wrong in ("R99", "step 3", "step x", "", "step"):
        with pytest.raises(DescriptionError):
            photo_subject(wrong, amp, steps)
