"""Arrows on photos: kept as data, merged when two place them, drawn apart from one another; hostile files refused."""

from __future__ import annotations

import json
import random
import re
import shutil
from collections.abc import Sequence
from dataclasses import replace
from pathlib import Path
from typing import Any
from xml.etree import ElementTree

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from PIL import Image

from ampsim.base.errors import DescriptionError
from ampsim.interface.commands.main import main
from ampsim.interface.photo_marks import mark_photo
from ampsim.job.marks.keeping import (
    Placed,
    Subjects,
    find_photo,
    keep_marks,
    mark_subjects,
    merged_marks,
    read_marks_file,
)
from ampsim.job.marks.overlay import mark_labels, mark_words, photo_svg
from ampsim.job.marks.page import write_marks_page
from ampsim.job.marks.placing import place_tags
from ampsim.job.page.photos import MOST_BYTES, PagePhotos
from ampsim.job.papers.bench_plan import bench_plan_html
from ampsim.job.papers.owner_page import owner_page
from ampsim.job.papers.page_tree import read_page
from ampsim.job.papers.pdf import pdf_of
from ampsim.job.record.beginning import begin_job
from ampsim.job.record.changing import change_entry
from ampsim.job.record.data import Mark, Record
from ampsim.job.record.frozen import open_audition, open_job
from ampsim.job.record.photos import SmallPhoto, keep_photo
from ampsim.job.record.reading import read_record
from ampsim.job.record.saving import save_record
from tests.tools import read_pdf

MOD = """
name = "less treble"
reason = "A duller plate."
parts = { C109 = "470p" }
edits = [{ fit = "C109", across = "R3" }]
"""
EVIL = "</svg><script>alert('1')</script>\" onload='x' &amp;"
SUBJECTS = Subjects(("R4", "V1A.plate"), ("Look at it.", "Fit C109."))
SHARES = st.floats(0.0, 1.0)
MARKS = st.lists(st.builds(Mark, SHARES, SHARES, st.sampled_from(["R4", "R3", "B1"])), max_size=8, unique=True)


@pytest.fixture(scope="module")
def begun(tmp_path_factory: pytest.TempPathFactory) -> Path:
    place = tmp_path_factory.mktemp("marks")
    (place / "mod.toml").write_text(MOD, "utf-8")
    Image.new("RGB", (900, 600), (30, 60, 30)).save(place / "board.jpg")
    record = begin_job(place / "job", "lesson-stage", [place / "mod.toml"])
    save_record(keep_photo(record, place / "job", place / "board.jpg", "R4"), place / "job")
    return place / "job"


@pytest.fixture
def folder(begun: Path, tmp_path: Path) -> Path:
    return Path(shutil.copytree(begun, tmp_path / "job"))


def placed(record: Record, *marks: Mark) -> Placed:
    return Placed(record.photos[0].sha256, record.photos[0].marks, marks)


def sent(path: Path, sha256: str, marks: Sequence[dict[str, Any]]) -> Path:
    table = {"sha256": sha256, "before": [], "marks": list(marks)}
    path.write_text(json.dumps(table), "utf-8")
    return path


def test_arrows_go_from_the_page_s_file_into_the_job_and_back(folder: Path, begun: Path, tmp_path: Path) -> None:
    record = read_record(folder)
    wanted = [
        {"x": 0.0, "y": 1.0, "at": "V1A.plate", "text": EVIL},
        {"x": 0.1234, "y": 0.5, "at": "step 2"},
        {"x": 0.5, "y": 0.5, "at": "C109"},
    ]
    amp = open_job(record, folder).modded
    subjects = replace(mark_subjects(amp), steps=SUBJECTS.steps)
    assert subjects.names[0] == "C109"
    made = keep_marks(folder, 1, read_marks_file(sent(tmp_path / "m.json", record.photos[0].sha256, wanted), subjects))
    assert made.photos[0].marks == (
        Mark(0.0, 1.0, "V1A.plate", EVIL), Mark(0.1234, 0.5, "Fit C109."), Mark(0.5, 0.5, "C109")
    )  # fmt: skip
    assert read_record(folder) == made
    photo = folder / made.photos[0].file
    assert photo.read_bytes() == (begun.parent / "board.jpg").read_bytes()
    page = write_marks_page(made, 1, folder, subjects, tmp_path / "page.html").read_text("utf-8")
    facts = json.loads(re.search(r'id="facts">(.*?)</script>', page)[1])  # type: ignore[index]
    assert facts["marks"][0] == wanted[0]
    assert "<script>alert" not in page


@pytest.mark.parametrize(
    "marks",
    [
        [{"x": 2.0, "y": 0.5, "at": "R4"}], [{"x": -1e-9, "y": 0.5, "at": "R4"}], [{"x": True, "y": 0.5, "at": "R4"}],
        [{"x": "0.5", "y": 0.5, "at": "R4"}], [{"x": 0.5, "at": "R4"}], [{"x": 0.5, "y": 0.5}], [[0.5, 0.5, "R4"]],
        [{"x": 0.5, "y": 0.5, "at": "R99"}], [{"x": 0.5, "y": 0.5, "at": "step 9"}], [{"x": 0.5, "y": 0.5, "at": EVIL}],
        [{"x": 0.5, "y": 0.5, "at": ""}], [{"x": 0.5, "y": 0.5, "at": "R4", "text": "x" * 201}],
        [{"x": 0.5, "y": 0.5, "at": "R4", "colour": "red"}], [{"x": n / 40, "y": 0.5, "at": "R4"} for n in range(31)],
        [{"x": 1e308, "y": 0.5, "at": "R4"}], [{"x": 10**400, "y": 0.5, "at": "R4"}],
    ],
)  # fmt: skip
def test_arrows_that_are_none_are_refused(marks: list[Any], tmp_path: Path) -> None:
    with pytest.raises(DescriptionError, match=r"m\.json"):
        read_marks_file(sent(tmp_path / "m.json", "", marks), SUBJECTS)


@pytest.mark.parametrize(
    "text",
    ["", "[]", "nothing", '{"marks": []}', '{"sha256": 1, "before": [], "marks": []}', "[" * 100_000, "\x00\xff",
     '{"sha256": "a", "before": [], "marks": [{"x": NaN, "y": 0.5, "at": "R4"}]}', " " * 300_000,
     '{"sha256": "a", "before": [], "marks": [{"x": Infinity, "y": 0.5, "at": "R4"}]}'],
)  # fmt: skip
def test_files_that_hold_no_arrows_are_refused(text: str, tmp_path: Path) -> None:
    (tmp_path / "m.json").write_text(text, "latin-1")
    with pytest.raises(DescriptionError, match=r"m\.json"):
        read_marks_file(tmp_path / "m.json", SUBJECTS)


def test_arrows_of_another_photo_are_not_taken(folder: Path) -> None:
    with pytest.raises(DescriptionError, match="another photo"):
        keep_marks(folder, 1, Placed("0" * 64, (), (Mark(0.1, 0.1, "R4"),)))
    assert read_record(folder).photos[0].marks == ()


def test_the_command_makes_the_page_takes_the_file_in_and_refuses_that_of_another_photo(
    folder: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    Image.new("RGB", (9, 9)).save(tmp_path / "other.png")
    assert main(["job", "photo", str(folder), str(tmp_path / "other.png"), "--of", "on arrival", "--for", "howto"]) == 0
    assert main(["job", "mark", str(folder), "2"]) == 0
    assert list((folder / "pictures").glob("arrows-*.html"))
    record = read_record(folder)
    file = sent(tmp_path / "m.json", record.photos[1].sha256, [{"x": 0.2, "y": 0.3, "at": "step 1"}])
    assert main(["job", "mark", str(folder), "1", "--take", str(file)]) == 1
    assert "placed on photo 2, not on photo 1" in capsys.readouterr().err
    assert read_record(folder) == record
    assert main(["job", "mark", str(folder), "other", "--take", str(file)]) == 0
    assert "Photo 2 has 1 arrow now" in capsys.readouterr().out
    assert len(read_record(folder).photos[1].marks) == 1


@given(MARKS, MARKS, MARKS)
def test_two_people_who_place_arrows_lose_none(before: list[Mark], ours: list[Mark], theirs: list[Mark]) -> None:
    found = merged_marks(Placed("", tuple(before), tuple(ours)), theirs)
    assert len(found) == len(set(found))
    # As for a set: what either added is there, what either took away is gone, the rest stands.
    old, one, two = set(before), set(ours), set(theirs)
    assert set(found) == ((one | two) - old) | (old & one & two)


def test_two_writers_of_one_job_and_an_older_photo_taken_out(folder: Path, tmp_path: Path) -> None:
    record = read_record(folder)
    keep_marks(folder, 1, placed(record, Mark(0.1, 0.1, "R3")))
    keep_marks(folder, 1, placed(record, Mark(0.2, 0.2, "R4")))
    Image.new("RGB", (9, 9)).save(tmp_path / "other.png")
    record = save_record(keep_photo(read_record(folder), folder, tmp_path / "other.png", "on arrival"), folder)
    assert {each.at for each in record.photos[0].marks} == {"R3", "R4"}
    last = replace(placed(record, Mark(0.3, 0.3, "B1")), sha256=record.photos[1].sha256, before=())
    save_record(change_entry(record, "photos[1]", None), folder)
    keep_marks(folder, 2, last)
    (photo,) = read_record(folder).photos
    assert (photo.of, [each.at for each in photo.marks]) == ("on arrival", ["B1"])


def test_a_photo_is_asked_for_by_number_or_by_name(folder: Path, tmp_path: Path) -> None:
    record = read_record(folder)
    assert find_photo(record, "1") == find_photo(record, "board") == find_photo(record, "R4") == 1
    for wrong in ("2", "0", "chassis", "9" * 5000):
        with pytest.raises(DescriptionError, match="no photo"):
            find_photo(record, wrong)
    with pytest.raises(DescriptionError, match="no photo yet"):
        find_photo(replace(record, photos=()), "1")


@pytest.mark.parametrize("near", [0.02, 0.2, 1.0])
def test_no_two_labels_touch_and_none_leaves_the_photo(near: float) -> None:
    rng = random.Random(4)
    names = ("R4", "C101", "V12A.cathode", "B2", "a", "P1.wiper", "T1.secondary_a")
    for _ in range(12):
        count, (wide, high) = rng.randrange(1, 31), rng.choice([(1400, 1050), (788, 1400), (1400, 500), (320, 240)])
        middle = (rng.random() * (1 - near), rng.random() * (1 - near))
        tips = [(middle[0] + rng.random() * near, middle[1] + rng.random() * near) for _ in range(count)]
        tags = place_tags([rng.choice(names) for _ in tips], tips, wide, high)
        assert [(one, two) for n, one in enumerate(tags) for two in tags[:n] if one.covers(two)] == []
        for tag, tip in zip(tags, tips, strict=True):
            assert tag.tip == pytest.approx((tip[0] * wide, tip[1] * high))
            assert tag.wide / 2 - 1e-6 <= tag.x <= wide - tag.wide / 2 + 1e-6
            assert tag.high / 2 - 1e-6 <= tag.y <= high - tag.high / 2 + 1e-6
            reach = max(abs(tag.x - tag.tip[0]) - tag.wide / 2, abs(tag.y - tag.tip[1]) - tag.high / 2)
            assert reach > 0.5 * tag.letters


def test_a_photo_smaller_than_its_labels_is_drawn_all_the_same() -> None:
    for size in ((1, 1), (2000, 1), (1, 2000), (7, 5)):
        assert place_tags(["T1.secondary_a"] * 3, [(0.0, 0.0), (1.0, 1.0), (0.5, 0.5)], *size)


def test_a_step_stands_as_a_letter_and_its_words_below() -> None:
    marks = (Mark(0.1, 0.1, "R4", "new"), Mark(0.2, 0.2, "Fit C109."), Mark(0.3, 0.3, "Look."), Mark(0.4, 0.4, "B1"))
    assert mark_labels(marks) == ["R4", "a", "b", "B1"]
    assert mark_words(marks) == ["R4: new", "a: Fit C109.", "b: Look."]


def drawn(folder: Path, *marks: Mark) -> str:
    keep_marks(folder, 1, placed(read_record(folder), *marks))
    record = read_record(folder)
    return bench_plan_html(record, open_job(record, folder), folder)


@pytest.mark.parametrize("text", [EVIL, "plain", "$x \\ ]] #let"])
def test_plan_and_paper_show_arrows_and_nothing_of_them_runs(text: str, folder: Path) -> None:
    page = drawn(folder, Mark(0.2, 0.3, "R4", text), Mark(0.8, 0.3, "Fit <b>C109</b>."))
    assert "<script>alert" not in page
    assert page.count(">R4</text>") == 1
    printed = " ".join(read_pdf.texts(read_pdf.open_pdf(pdf_of(read_page(page)))))
    assert "R4" in printed
    assert re.sub(r"\W+", "", text) in re.sub(r"\W+", "", printed)


def test_what_is_drawn_is_well_formed() -> None:
    svg = photo_svg(SmallPhoto(b"jpeg", (40, 30)), (Mark(0.2, 0.3, "R4"), Mark(0.5, 0.5, EVIL)), f"{EVIL}\x07")
    assert {each.tag.split("}")[1] for each in ElementTree.fromstring(svg).iter()} == {
        "svg",
        "desc",
        "image",
        "path",
        "rect",
        "text",
    }


def test_the_widget_keeps_what_the_browser_places_and_refuses_what_is_no_arrow(folder: Path) -> None:
    widget = mark_photo(folder, 1)
    widget.set_state({"marks": [{"x": 0.2, "y": 0.3, "at": "R4"}]})
    keep_marks(folder, 1, placed(read_record(folder), Mark(0.2, 0.3, "R4"), Mark(0.5, 0.5, "R3")))  # somebody else
    widget.set_state({"marks": [{"x": 0.2, "y": 0.3, "at": "R4"}, {"x": 0.9, "y": 0.9, "at": "c109"}]})
    assert "no part or place" in widget.said
    widget.set_state({"marks": [{"x": 0.2, "y": 0.3, "at": "R4"}, {"x": 0.9, "y": 0.9, "at": "C109"}]})
    assert {each.at for each in read_record(folder).photos[0].marks} == {"R4", "R3", "C109"}
    assert [each["at"] for each in widget.marks] == ["R4", "C109", "R3"]
    start = widget.start
    for hostile in ({"start": {}}, {"marks": None}, {"marks": [1]}, None, {"marks": [{"x": float("nan")}]}, [], 7):
        widget.set_state(hostile)
        assert widget.said
        assert (widget.start, len(widget.marks)) == (start, 3)
    widget.set_state({"marks": []})
    assert read_record(folder).photos[0].marks == ()
    widget.close()


def noisy(path: Path, size: tuple[int, int], seed: int) -> Path:
    """A photo that does not become small."""
    rng = np.random.default_rng(seed)
    Image.fromarray(rng.integers(0, 255, (size[1], size[0], 3), dtype=np.uint8)).save(path, quality=90)
    return path


def test_photos_for_the_owner_become_smaller_until_they_fit_and_the_rest_is_told(folder: Path, tmp_path: Path) -> None:
    record = read_record(folder)
    for number in range(4):
        file = noisy(tmp_path / f"n{number}.jpg", (640, 480), number)
        record = keep_photo(record, folder, file, "V1A", note="SHOP-ONLY", shown_to=["owner"])
    photos, sizes = PagePhotos(save_record(record, folder), folder), []
    for room in (3_000_000, 400_000, 80_000, 10_000):
        shown = photos.fit(room)
        size = sum(len(each.drawing) for each in shown)
        assert size <= room
        assert len(shown) + len(photos.left_out) == 4
        assert "SHOP-ONLY" not in "".join(f"{each.drawing}{each.words}{each.arrows}" for each in shown)
        sizes.append((len(shown), size))
    assert [count for count, _ in sizes] == [4, 4, sizes[2][0], 0]
    assert 0 < sizes[2][0] < 4
    assert "700 kB" in photos.left_out[0]
    (folder / record.photos[1].file).write_bytes(b"altered")
    assert len(photos.fit(3_000_000)) == 3
    assert "not as it was kept" in photos.left_out[0]


def test_the_owner_s_page_shows_their_photos_within_its_size(folder: Path, tmp_path: Path) -> None:
    record = read_record(folder)
    for number, who in enumerate(["owner", "howto", "owner", "owner"]):
        file = noisy(tmp_path / f"n{number}.jpg", (1400, 1100), number)
        record = keep_photo(record, folder, file, "V1A", note="SHOP-ONLY", shown_to=[who])
    record = save_record(record, folder)
    photos = PagePhotos(record, folder)
    page = owner_page(open_audition(record, folder), record, tmp_path / "page.html", photos=photos)
    assert page.stat().st_size <= MOST_BYTES
    text = page.read_text("utf-8")
    assert text.count("data:image/jpeg") == 3 - len(photos.left_out)
    assert "SHOP-ONLY" not in text
    pdf = read_pdf.open_pdf(pdf_of(read_page(text)))
    assert "Photos of your amp" in " ".join(read_pdf.texts(pdf))
