"""All jobs of a shop: each folder on the list or named, what was done before found again, a job packed and opened."""

from __future__ import annotations

import datetime
import hashlib
import os
import random
import re
import shutil
import threading
import zipfile
from collections.abc import Callable
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from ampsim.base.errors import DescriptionError
from ampsim.base.quantities import FARAD, format_value
from ampsim.job.record.beginning import begin_job
from ampsim.job.record.changing import add_entry, change_entry, enter_status
from ampsim.job.record.reading import read_record
from ampsim.job.record.saving import save_record
from ampsim.job.record.words import Status
from ampsim.job.shop import packing
from ampsim.job.shop.index import Index
from ampsim.job.shop.lines import JobLine
from ampsim.job.shop.overview import Overview, shop
from ampsim.job.shop.packing import CONTENTS, pack, unpack
from ampsim.job.shop.passages import fold
from tests.tools.systems import needs_links

TODAY = datetime.date(2027, 3, 10)
MOD = """
name = "less treble"
reason = "A duller plate."
parts = { C109 = "470p" }
edits = [{ fit = "C109", across = "R3" }, { replace = "R4", with = "2k2" }]
"""


def write_job(folder: Path, **entries: object) -> Path:
    """A job file alone, as a person may have written it; nothing is frozen."""
    folder.mkdir(parents=True, exist_ok=True)
    texts = {"name": folder.name, "amp": "some-amp"} | entries
    lines = [f"{key} = {value}" if key in ("promised", "mods") else f"{key} = '{value}'" for key, value in texts.items()
             if key not in ("state", "seen")]  # fmt: skip
    tables = [f"[[states]]\nstate = '{entries['state']}'\ndate = 2027-03-01"] if "state" in entries else []
    tables += [f"[[arrival]]\ndate = 2027-03-01\nnote = '{entries['seen']}'"] if "seen" in entries else []
    (folder / "job.toml").write_text("\n".join(["format = 6", *lines, *tables, ""]), "utf-8")
    return folder


@pytest.fixture(scope="module")
def whole(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A job with frozen files, mods and readings."""
    home = tmp_path_factory.mktemp("one")
    (home / "less-treble.toml").write_text(MOD, "utf-8")
    folder = home / "jobs" / "a job"
    record = begin_job(
        folder, "lesson-stage", [home / "less-treble.toml"], owner="A. Nother", serial="77-1", promised=TODAY
    )
    record = add_entry(record, "arrival", {"date": TODAY, "note": "low hum, worse when warm"})
    table = {"phase": "on arrival", "date": TODAY, "volts": {"V1A.plate": 171.5}}
    save_record(add_entry(record, "measured", table), folder)
    return folder


@pytest.fixture
def jobs(tmp_path: Path) -> Path:
    folder = tmp_path / "jobs"
    write_job(folder / "late", state="being wired", promised="2027-03-01", owner="Mr. Early")
    write_job(folder / "2027" / "soon", state="waiting for parts", promised="2027-03-11", serial="1122")
    write_job(folder / "2027" / "some day", state="taken in", seen="crackles when warm")
    write_job(folder / "done", state="handed over", promised="2027-01-01", seen="crackles, and a low hum")
    return folder


def test_what_is_due_first_stands_first(jobs: Path) -> None:
    found = shop(jobs, today=TODAY)
    assert [each.place for each in found.lines] == ["late", "2027/soon", "2027/some day", "done"]
    assert list(found.jobs["waits for"]) == ["the bench", "parts", "being looked over"]
    assert list(found.jobs["promised"]) == ["2027-03-01, 9 days late", "2027-03-11, tomorrow", ""]
    assert found.summary == "4 jobs: 3 waiting, 1 of them late, 1 done (not shown: --all)"
    assert list(shop(jobs, whole=True, today=TODAY).jobs["folder"])[-1] == "done"


@pytest.mark.parametrize("status", Status)
def test_every_state_waits_for_something_or_is_done(status: Status, tmp_path: Path) -> None:
    write_job(tmp_path / "one", state=str(status), promised="2027-03-10")
    (line,) = shop(tmp_path, today=TODAY).lines
    assert line.is_open is (status not in (Status.HANDED_OVER, Status.GIVEN_BACK))
    assert line.due(TODAY).endswith("today") is line.is_open


def test_what_is_no_job_is_named_with_the_reason(jobs: Path) -> None:
    (jobs / "holiday pictures" / "beach").mkdir(parents=True)
    (jobs / "2027" / "empty").mkdir()
    (jobs / ".hidden").mkdir()
    (jobs / "late" / "job.toml").write_text("name = 3", "utf-8")
    deep = write_job(jobs / "a" / "b" / "c" / "d" / "e", state="taken in")
    found = shop(jobs, today=TODAY)
    told = dict(zip(found.faults["folder"], found.faults["not on the list because"], strict=True))
    assert set(told) == {"late", "holiday pictures", "2027/empty", "a/b/c/d"}
    assert "name" in told["late"]
    assert told["holiday pictures"] == told["2027/empty"] == "no job in it"
    assert "deeper" in told["a/b/c/d"]
    assert "4 folders could not be searched" in str(shop(jobs, ["crackles"], today=TODAY))
    with pytest.raises(DescriptionError, match="this is one job"):
        shop(deep)
    with pytest.raises(DescriptionError, match="no such folder"):
        shop(jobs / "nowhere")
    with pytest.raises(DescriptionError, match="a file, not a folder"):
        shop(deep / "job.toml")


def test_a_folder_that_cannot_be_read_is_named(jobs: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    scan = os.scandir

    def refuse(folder: str) -> object:
        if str(folder).endswith("2027"):
            raise PermissionError(13, "Permission denied")
        return scan(folder)

    monkeypatch.setattr(os, "scandir", refuse)
    assert "cannot be read: Permission denied" in str(shop(jobs).faults.to_string())


def test_all_words_must_stand_in_a_job_and_their_places_are_told(jobs: Path, whole: Path) -> None:
    assert [each.place for each in shop(jobs, ["CRACKLE"]).lines if not each.fault] == ["done", "2027/some day"]
    assert [each.place for each in shop(jobs, ["crackles", "hum"]).lines] == ["done"]
    assert shop(jobs, ["crackles", "1122"]).lines == ()
    assert shop(jobs, ['"', "''"]).lines == ()
    shutil.copytree(whole, jobs / "whole")
    found = shop(jobs, ["V1A.plate", "77-1"])
    assert [each.place for each in found.lines] == ["whole"]
    assert "171.5 V" in str(found)
    assert [each.place for each in shop(jobs, ["low hum", "R4"]).lines] == ["whole"]


def test_of_many_jobs_with_a_common_word_the_last_are_told(tmp_path: Path) -> None:
    for number in range(45):
        write_job(tmp_path / f"job {number:02d}", state="taken in", seen="hum")
    found = shop(tmp_path, ["hum"])
    assert (len(found.lines), len(found.jobs), len(found.passages)) == (45, 40, 40)
    assert "45 jobs with hum; those touched last are told" in str(found)
    assert sorted(found.found) == sorted(found.jobs["folder"])  # what is not told is not looked up
    assert len(shop(tmp_path, ["hum"], whole=True).jobs) == 45


@pytest.mark.parametrize(
    "words", [["470p", "R3"], ["0,47n across"], ["2.2k", "R4"], ["2k2"], ["less treble"], ["dull"]]
)
def test_a_part_of_a_mod_is_found_by_its_value_and_its_place(words: list[str], whole: Path) -> None:
    with Index(whole.parent) as index:
        assert ("a job" in index.search(words)) is (words != ["0,47n across"])
        assert not index.search([*words, "47p"])


@given(st.floats(1e-12, 1e-3))
def test_a_value_is_one_however_it_is_written(value: float) -> None:
    text = format_value(float(f"{value:.2g}"), FARAD)
    whole, prefix, rest = re.fullmatch(r"(\d+)([pnum]?)(\d*)", text).groups()  # type: ignore[union-attr]
    number = f"{whole}.{rest}" if rest else whole
    written = {text, f"{text}F", f"{number}{prefix}", f"{number} {prefix}F", f"{number.replace('.', ',')}{prefix}"}
    written |= {each.replace("u", "µ") for each in written}
    assert len({fold(each) for each in written}) == 1


def test_words_of_the_trade_stay_as_they_are() -> None:
    for text in ("12AX7", "V1A.plate 163.5 V", "2 pins", "5 mA", "R11 was", "3 knobs"):
        assert fold(text) == text


def test_the_index_says_what_reading_every_folder_says(tmp_path: Path) -> None:
    """Folders come, change and go by lot; after each the kept index and one made anew agree."""
    lot, shelf = random.Random(5), tmp_path / "jobs"
    shelf.mkdir()
    words = ["hum", "crackle", "dull", "thin", "22u"]
    for _ in range(12):
        folder = shelf / lot.choice("abcde")
        if folder.exists() and lot.random() < 0.3:
            shutil.rmtree(folder)
        else:
            write_job(folder, state=str(lot.choice(list(Status))), seen=" ".join(lot.sample(words, 2)))
        kept, anew = ((index.lines(), index.search([lot_word])) for index, lot_word in _two(shelf, lot.choice(words)))
        assert kept == anew
        held = {p.name for p in shelf.iterdir() if any(w in (p / "job.toml").read_text("utf-8") for w in words)}
        assert {each.place for each in kept[0]} == held


def _two(shelf: Path, word: str) -> list[tuple[Index, str]]:
    return [(Index(shelf), word), (Index(shelf, anew=True), word)]


def _without_file(file: Path) -> None:
    file.unlink()


def _of_another_kind(file: Path) -> None:
    file.write_bytes(b"no database at all" * 100)


def _cut_short(file: Path) -> None:
    file.write_bytes(file.read_bytes()[:6000])


def _a_folder(file: Path) -> None:
    file.unlink()
    file.mkdir()


@pytest.mark.parametrize("damage", [_without_file, _of_another_kind, _cut_short, _a_folder])
def test_an_index_that_is_damaged_is_made_anew(
    damage: Callable[[Path], None], jobs: Path, monkeypatch: pytest.MonkeyPatch, tmp_path: Path
) -> None:
    monkeypatch.setenv("AMPSIM_CACHE", str(tmp_path / "kept"))
    before = shop(jobs, ["crackles"]).lines
    (file,) = (tmp_path / "kept").glob("shop-*.sqlite")
    damage(file)
    assert shop(jobs, ["crackles"]).lines == before


def test_two_at_once_both_get_the_whole_list(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("AMPSIM_CACHE", str(tmp_path / "kept"))
    for number in range(60):
        write_job(tmp_path / "jobs" / f"job {number}", state="taken in", seen="hum")
    found: list[Overview] = []
    both = [threading.Thread(target=lambda: found.append(shop(tmp_path / "jobs", ["hum"]))) for _ in range(2)]
    for each in both:
        each.start()
    for each in both:
        each.join()
    assert [len(each.lines) for each in found] == [60, 60]


def test_who_stops_it_keeps_what_was_read(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("AMPSIM_CACHE", str(tmp_path / "kept"))
    for number in range(130):
        write_job(tmp_path / "jobs" / f"job {number}", state="taken in")

    def stop(done: int, *_: object) -> None:
        if done == 120:
            raise KeyboardInterrupt

    with pytest.raises(KeyboardInterrupt):
        shop(tmp_path / "jobs", progress=stop)
    read: list[int] = []
    assert len(shop(tmp_path / "jobs", progress=lambda *told: read.append(told[1])).lines) == 130
    assert read[0] == 30


def test_the_page_escapes_what_people_wrote_and_fetches_nothing(jobs: Path, tmp_path: Path) -> None:
    write_job(jobs / "odd", owner="<script>alert(1)</script>", state="taken in")
    page = shop(jobs, today=TODAY).write(tmp_path / "jobs.html").read_text("utf-8")
    assert "<script" not in page
    assert "&lt;script&gt;" in page
    assert "default-src 'none'" in page
    assert "<script" not in shop(jobs)._repr_html_()
    assert "<script" not in shop(jobs, ["<script>"])._repr_html_()


def test_a_line_holds_what_the_record_says(whole: Path) -> None:
    (line,) = shop(whole.parent, today=TODAY).lines
    assert (line.owner, line.serial, line.promised, line.touched) == ("A. Nother", "77-1", str(TODAY), line.touched)
    assert line == JobLine(**vars(line))
    record = read_record(whole)
    waiting = enter_status(record, Status.WAITING_FOR_PARTS, datetime.date(2030, 1, 1), "the pot")
    changed = change_entry(waiting, "promised", datetime.date(2027, 4, 1))
    assert (changed.promised, changed.history[-1].before) == (datetime.date(2027, 4, 1), TODAY)


# Packing --------------------------------------------------------------------------------------------------------------


def contents(folder: Path) -> dict[str, bytes]:
    return {
        p.relative_to(folder).as_posix(): p.read_bytes() for p in folder.rglob("*") if p.is_file() and p.name[0] != "."
    }


def test_a_packed_job_comes_out_as_it_was(whole: Path, tmp_path: Path) -> None:
    packed = pack(whole, tmp_path / "a.zip")
    record = unpack(packed, tmp_path / "out")
    assert record == read_record(whole)
    assert contents(tmp_path / "out") == contents(whole)
    with zipfile.ZipFile(packed) as opened:
        for line in opened.read(CONTENTS).decode().splitlines():
            digest, name = line.split("  ", 1)
            assert hashlib.sha256((whole / name).read_bytes()).hexdigest() == digest
    again = pack(tmp_path / "out", tmp_path / "b.zip")
    assert contents(tmp_path / "out") == contents(whole)
    assert unpack(again, tmp_path / "twice") == record
    with pytest.raises(DescriptionError, match="something already"):
        unpack(packed, tmp_path / "out")


def rewritten(packed: Path, change: Callable[[dict[str, bytes]], object]) -> Path:
    with zipfile.ZipFile(packed) as opened:
        files = {name: opened.read(name) for name in opened.namelist()}
    change(files)
    made = packed.with_name("changed.zip")
    with zipfile.ZipFile(made, "w") as written:
        for name, data in files.items():
            written.writestr(name, data)
    return made


@pytest.mark.parametrize(
    ("change", "words"),
    [
        (lambda files: files.update({"job.toml": files["job.toml"] + b"\n"}), "job.toml is not as it was packed"),
        (lambda files: files.pop("frozen/12AX7.toml"), "frozen/12AX7.toml' is missing"),
        (lambda files: files.update({"more.txt": b""}), "more.txt' was added"),
        (lambda files: files.update({"../out.txt": b""}), "'../out.txt' is not a file of the job"),
        (lambda files: files.update({"/etc/out": b""}), "is not a file of the job"),
        (lambda files: files.update({"JOB.toml": b""}), "is in it twice"),
        (lambda files: files.pop(CONTENTS), "holds no contents"),
        (lambda files: files.update({CONTENTS: b"nothing"}), "no job.toml in it"),
    ],
)
def test_a_pack_that_was_altered_is_refused_and_leaves_nothing(
    change: Callable[[dict[str, bytes]], object], words: str, whole: Path, tmp_path: Path
) -> None:
    altered = rewritten(pack(whole, tmp_path / "a.zip"), change)
    with pytest.raises(DescriptionError) as caught:
        unpack(altered, tmp_path / "in" / "out")
    assert words in str(caught.value)
    assert not list(tmp_path.rglob("*.part"))
    assert not (tmp_path / "in" / "out").exists()
    assert not (tmp_path / "out.txt").exists()


@pytest.mark.parametrize("way", [zipfile.ZIP_BZIP2, zipfile.ZIP_LZMA])
@pytest.mark.parametrize("name", ["more.bin", CONTENTS])
def test_what_would_be_undone_in_memory_at_once_is_not_undone(
    way: int, name: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Python's reader undoes these two ways in one go: 2 kB that fill 3 GB of memory."""
    with zipfile.ZipFile(tmp_path / "a.zip", "w", way) as made:
        made.writestr(name, bytes(1_000_000))
    monkeypatch.setattr(zipfile.ZipFile, "open", lambda *_: pytest.fail("it is undone"))
    with pytest.raises(DescriptionError, match=f"{name}' is compressed otherwise"):
        unpack(tmp_path / "a.zip", tmp_path / "out")
    assert [each.name for each in tmp_path.iterdir()] == ["a.zip"]


def test_any_flipped_byte_is_noticed_or_does_no_harm(whole: Path, tmp_path: Path) -> None:
    packed, lot = pack(whole, tmp_path / "a.zip"), random.Random(3)
    data = packed.read_bytes()
    for number in range(60):
        at = lot.randrange(len(data))
        packed.write_bytes(data[:at] + bytes([data[at] ^ (1 << lot.randrange(8))]) + data[at + 1 :])
        out = tmp_path / f"out {number}"
        try:
            unpack(packed, out)
        except DescriptionError:
            assert not out.exists()
        else:
            assert contents(out) == contents(whole)


def test_what_cannot_be_written_leaves_the_old_pack(
    whole: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    packed = pack(whole, tmp_path / "a.zip")
    before = packed.read_bytes()

    def full(*_: object) -> str:
        raise OSError(28, "No space left on device")

    monkeypatch.setattr(packing, "_copy", full)
    with pytest.raises(DescriptionError, match="No space left"):
        pack(whole, packed)
    assert packed.read_bytes() == before
    with pytest.raises(DescriptionError, match="No space left"):
        unpack(packed, tmp_path / "out")
    assert [each.name for each in tmp_path.iterdir()] == ["a.zip"]


@needs_links
def test_a_job_with_a_link_or_a_name_that_would_not_come_back_is_not_packed(whole: Path, tmp_path: Path) -> None:
    folder = tmp_path / "job"
    shutil.copytree(whole, folder)
    (folder / "link.csv").symlink_to(tmp_path)
    with pytest.raises(DescriptionError, match="not a plain file"):
        pack(folder)
    (folder / "link.csv").unlink()
    (folder / "a:b.csv").write_text("", "utf-8")
    with pytest.raises(DescriptionError, match="rename it"):
        pack(folder)
    (folder / "a:b.csv").unlink()
    assert pack(folder) == tmp_path / "job.zip"
    with pytest.raises(DescriptionError, match="no such file"):
        unpack(tmp_path / "nothing.zip", tmp_path / "x")
    (tmp_path / "text.zip").write_text("no zip", "utf-8")
    with pytest.raises(DescriptionError, match="not a sound zip"):
        unpack(tmp_path / "text.zip", tmp_path / "x")
