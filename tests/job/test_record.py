"""The job record: frozen files, saves that lose nothing, mistakes named by line and entry, hostile texts and names."""

from __future__ import annotations

import dataclasses
import datetime
import errno
import json
import os
import re
import shutil
import subprocess
import sys
import tomllib
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from ampsim import job as records
from ampsim.base import files as whole_file
from ampsim.base.entries import Entry
from ampsim.base.errors import DescriptionError
from ampsim.base.wording import plain
from ampsim.circuit.amp import Amp
from ampsim.interface.commands.check import explain
from ampsim.interface.commands.common import find_audition
from ampsim.interface.panel.positions_file import read_positions
from ampsim.job.record import saving
from ampsim.job.record.merging import MARK, fresh_text
from ampsim.job.record.paths import path_inside
from ampsim.job.record.reading import check_record
from ampsim.job.record.tables import as_tables
from ampsim.library import loader
from ampsim.library.files import models
from ampsim.library.toml_lines import lines_of
from tests.tools import save_faults
from tests.tools.systems import needs_fork, needs_links, needs_pipes

ROOT = Path(__file__).resolve().parents[2]
DAY = datetime.date(2025, 3, 1)
LATER = datetime.date(2025, 3, 9)
MODS = ("bright-switch", "depth")
WORDS = 'It is dull when turned down,\nand "hums" <b>a little</b>.'


@pytest.fixture(scope="module")
def made(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A job with something of everything, to copy."""
    folder = tmp_path_factory.mktemp("made") / "job"
    record = records.begin_job(folder, "workshop-a", MODS, name="a job", owner="O. Wner", words=WORDS, date=DAY)
    record = records.freeze_files(record, folder, wishes=["bright-when-low"], drawer="workshop", date=DAY)
    record = records.add_wish(record, "sparkle when turned down", "bright-when-low", 1)
    record = records.add_wish(record, "no crackle", note="clean the pots")
    record = records.add_entry(record, "arrival", {"date": DAY, "note": "smells of dust"})
    volts = {"V1A.plate": 163.5, "B1": "312V"}
    reading = {"phase": "on arrival", "date": DAY, "mains_volts": 231, "meter_ohms": "10M", "volts": volts}
    record = records.add_entry(record, "measured", reading)
    record = records.add_entry(
        record, "sweeps", {"phase": "on arrival", "date": DAY, "file": "measurements/before.csv"}
    )
    records.save_record(record, folder)
    return folder


@pytest.fixture
def folder(made: Path, tmp_path: Path) -> Path:
    shutil.copytree(made, tmp_path / "job")
    return tmp_path / "job"


def text_of(folder: Path) -> str:
    return (folder / "job.toml").read_text("utf-8")


def rewrite(folder: Path, old: str, new: str) -> bytes:
    """Edit the job file by hand and return what it holds now."""
    text = text_of(folder)
    assert old in text
    (folder / "job.toml").write_text(text.replace(old, new, 1), "utf-8")
    return (folder / "job.toml").read_bytes()


# Frozen files -------------------------------------------------------------------------------------------------------


def test_a_new_job_holds_all_it_needs(folder: Path) -> None:
    record = records.read_record(folder)
    names = {path.name for path in (folder / "frozen").iterdir()}
    assert names == {each.file for each in record.frozen}
    assert names == {f"{n}.toml" for n in ("workshop-a", *MODS, "12AX7", "EL84", "bright-when-low", "workshop")}
    assert (folder / "measurements").is_dir()
    assert [(each.state, each.date) for each in record.states] == [("taken in", DAY)]
    opened = records.open_job(record, folder)
    assert opened.stock == loader.load_amp("workshop-a")
    assert opened.wishes["bright-when-low"].wishes == loader.load_wishes("bright-when-low").wishes


def test_a_job_opens_the_same_after_the_models_changed(
    folder: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    before = records.open_job(records.read_record(folder), folder)
    other = tmp_path / "models"
    shutil.copytree(models(), other)
    for name, old, new in (("amps/workshop-a", 'R3 = "100k"', 'R3 = "150k"'), ("valves/12AX7", "mu = .*", "mu = 60.0")):
        text, count = re.subn(old, new, (other / f"{name}.toml").read_text("utf-8"), count=1)
        assert count == 1
        (other / f"{name}.toml").write_text(text, "utf-8")
    (other / "mods" / "depth.toml").unlink()
    monkeypatch.setattr("ampsim.library.files.models", lambda: other)
    changed = loader.load_amp("workshop-a")
    assert changed.parts != before.stock.parts
    assert changed.valves != before.stock.valves
    assert records.open_job(records.read_record(folder), folder) == before


def test_a_frozen_valve_is_found_before_the_one_that_comes_along(tmp_path: Path) -> None:
    own = tmp_path / "own"
    own.mkdir()
    text = (models() / "valves" / "12AX7.toml").read_text("utf-8")
    (own / "12AX7.toml").write_text(text + "\n# worn\n", "utf-8")
    shutil.copy(models() / "amps" / "lesson-stage.toml", own)
    record = records.begin_job(tmp_path / "job", own / "lesson-stage.toml", date=DAY)
    assert (tmp_path / "job" / "frozen" / "12AX7.toml").read_text("utf-8").endswith("# worn\n")
    shutil.rmtree(own)
    assert records.open_job(record, tmp_path / "job").stock.valves


@pytest.mark.parametrize("name", ["workshop-a", "depth", "12AX7", "bright-when-low"])
def test_a_frozen_file_that_changed_is_named(folder: Path, name: str) -> None:
    path = folder / "frozen" / f"{name}.toml"
    path.write_text(path.read_text("utf-8") + "\n", "utf-8")
    record = records.read_record(folder)
    assert [f"frozen/{name}.toml" in each for each in records.frozen_faults(record, folder)] == [True]
    with pytest.raises(DescriptionError, match=f"frozen/{name}.toml: not as it was frozen on 2025-03-01"):
        records.open_job(record, folder)
    path.unlink()
    with pytest.raises(DescriptionError, match=f"frozen/{name}.toml: missing"):
        records.open_job(record, folder)
    with pytest.raises(DescriptionError, match=f"frozen/{name}.toml: missing"):
        explain(folder)


def test_an_edited_frozen_file_can_be_accepted_and_its_checksum_stays_known(folder: Path) -> None:
    path = folder / "frozen" / "workshop-a.toml"
    path.write_text(path.read_text("utf-8").replace('R3 = "100k"', 'R3 = "120k"'), "utf-8")
    before = records.read_record(folder)
    after = records.save_record(records.accept_frozen(before, folder, LATER), folder)
    assert records.open_job(after, folder).stock.part_by_designator["R3"] == dataclasses.replace(
        loader.load_amp("workshop-a").part_by_designator["R3"],
        value=120e3,  # type: ignore[call-arg]
    )
    line = after.history[-1]
    assert line.date == LATER
    assert line.before == next(each.sha256 for each in before.frozen if each.file == "workshop-a.toml")


def test_a_mod_of_the_same_name_and_other_content_leaves_the_earlier_one(folder: Path, tmp_path: Path) -> None:
    text = (models() / "mods" / "depth.toml").read_text("utf-8")
    (tmp_path / "depth.toml").write_text(f"# mine\n{text}", "utf-8")
    record = records.freeze_files(records.read_record(folder), folder, mods=[tmp_path / "depth.toml"], date=LATER)
    record = records.save_record(record, folder, LATER)
    assert (folder / "frozen" / "depth.toml").read_text("utf-8") == text
    assert (folder / "frozen" / "depth 2.toml").read_text("utf-8") == f"# mine\n{text}"
    assert records.open_job(record, folder).modded.variant == loader.load_mod("depth").name
    assert [each.entry for each in record.history] == ["frozen[4].sha256", "mods"]
    assert record.history[-1].before == list(MODS)


def test_what_a_job_names_is_among_its_frozen_files(folder: Path) -> None:
    rewrite(folder, 'mods = ["bright-switch", "depth"]', 'mods = ["cathode-switch"]')
    with pytest.raises(DescriptionError, match=r"line \d+: mods: 'cathode-switch' is not among the job's frozen"):
        records.read_record(folder)


def test_a_folder_with_a_job_is_not_begun_again(folder: Path) -> None:
    before = text_of(folder)
    with pytest.raises(DescriptionError, match="there is a job in this folder already"):
        records.begin_job(folder, "workshop-b")
    assert text_of(folder) == before


@pytest.mark.parametrize(
    "name",
    [
        *("../x.csv", "/etc/passwd", "a/../../x", "measurements/../../x", "..", ".", "", "~/x/..", "a\\..\\x", "C:/x"),
        *("a//b", ".hidden", "a/.git/x", "x\x00", "x\n", "a/b/c/d/e/f/g", "x" * 300, "a/ /b", 3, None),
    ],
)
def test_names_that_would_leave_the_folder_are_refused(folder: Path, name: object) -> None:
    with pytest.raises(DescriptionError, match="not a file of the job"):
        path_inside(folder, name)
    sweep = {"phase": "on arrival", "date": DAY, "file": name}
    with pytest.raises(DescriptionError, match=r"sweeps\[2\].file"):
        records.add_entry(records.read_record(folder), "sweeps", sweep)


@pytest.mark.parametrize("name", ["../depth", "/depth", "a/depth", "..", "depth\n", "", 3])
def test_names_of_models_are_bare(folder: Path, name: object) -> None:
    with pytest.raises(DescriptionError, match="not the bare name"):
        records.change_entry(records.read_record(folder), "mods", [name])
    with pytest.raises(DescriptionError, match="not the bare name"):
        records.change_entry(records.read_record(folder), "amp", name)


@needs_links
def test_links_that_leave_the_folder_are_refused(folder: Path, tmp_path: Path) -> None:
    outside = tmp_path / "outside"
    outside.mkdir()
    shutil.move(folder / "frozen", outside / "frozen")
    (folder / "frozen").symlink_to(outside / "frozen")
    with pytest.raises(DescriptionError, match="leads out of the job folder"):
        records.open_job(records.read_record(folder), folder)
    shutil.move(folder / "job.toml", outside / "job.toml")
    (folder / "job.toml").symlink_to(outside / "job.toml")
    with pytest.raises(DescriptionError, match="leads out of the job folder"):
        records.read_record(folder)


# Mistakes -----------------------------------------------------------------------------------------------------------

MISTAKES = [
    ('name = "a job"', 'name = "a job', ["line 3", "at name"]),
    ('owner = "O. Wner"', 'owner = """O. Wner', ["not TOML", "at "]),
    ('owner = "O. Wner"', "owner = 3", ["line 4: owner", "3", "text"]),
    ('owner = "O. Wner"', f'owner = "{"x" * 99}"', ["line 4: owner", "99 characters"]),
    ('owner = "O. Wner"', 'woner = "O. Wner"', ["line 4: woner", "nearest: owner"]),
    ('name = "a job"', "", ["name: this entry is missing"]),
    (f"format = {records.FORMAT}", "format = 0", ["line 2: format", "0"]),
    (f"format = {records.FORMAT}", "format = true", ["line 2: format", "True"]),
    ('state = "taken in"', 'state = "takn in"', ["states[1].state", "'takn in'", "nearest: taken in", "line 12"]),
    ("date = 2025-03-01", "date = 2025-02-30", ["not TOML", "states[1].date"]),
    ("date = 2025-03-01", 'date = "yesterday"', ["line ", "states[1].date", "'yesterday'", "2025-03-01"]),
    ("date = 2025-03-01", "date = 2025-03-01T10:00:00", ["states[1].date", "not a date"]),
    ("mains_volts = 231.0", "mains_volts = nan", ["measured[1].mains_volts", "nan"]),
    ("mains_volts = 231.0", "mains_volts = 23100.0", ["measured[1].mains_volts", "outside"]),
    ("mains_volts = 231.0", "mains_drawn_volts = 1e9", ["measured[1].mains_drawn_volts", "outside"]),
    ("mains_volts = 231.0", 'source = "gutar"', ["measured[1].source", "nearest: guitar"]),
    ("mains_volts = 231.0", "source = 3", ["measured[1].source", "text"]),
    ('file = "measurements/before.csv"', 'file = "a.csv"\nsource = "guitar 3"', ["sweeps[1].source", "generator"]),
    ('file = "measurements/before.csv"', 'file = "a.csv"\nheard = "V 1"', ["sweeps[1].heard", "not a place"]),
    ("mains_volts = 231.0", "at = { gain = 3 }", ["measured[1].at.gain", "from 0 to 1"]),
    ("mains_volts = 231.0", "at = { gain = [] }", ["measured[1].at.gain", "from 0 to 1"]),
    ("mains_volts = 231.0", 'at = { "\\u001b" = 0.3 }', ["measured[1].at", "not the name of a control"]),
    ('meter_ohms = "10M"', 'meter_ohms = "10m"', ["measured[1].meter_ohms", "megohm is written 1M"]),
    ('"V1A.plate" = 163.5', '"V1A.plate" = inf', ["measured[1].volts.V1A.plate", "inf"]),
    ('"V1A.plate" = 163.5', '"V1A..plate" = 1', ["measured[1].volts.'V1A..plate'", "not a place"]),
    ("entry = 1", "entry = 0", ["wishes[1].entry", "tied by both"]),
    ("entry = 1", "entry = 1.5", ["wishes[1].entry", "whole number"]),
    ('wish = "bright-when-low"', 'wish = "tight-coupling"', ["wishes[1].wish", "not among"]),
    ('phase = "on arrival"', 'phase = "never"', ["measured[1].phase", "'never'"]),
    ("[[wishes]]", "[wishes]", ["wishes"]),
    ("sha256 =", "sha265 =", ["frozen[1].sha", "sha256"]),
]


@pytest.mark.parametrize(("old", "new", "words"), MISTAKES)
def test_nonsense_written_by_hand_is_kept_and_named(folder: Path, old: str, new: str, words: list[str]) -> None:
    good = records.read_record(folder)
    text = rewrite(folder, old, new)
    with pytest.raises(DescriptionError) as caught:
        records.read_record(folder)
    assert all(word in str(caught.value) for word in words), caught.value
    with pytest.raises(DescriptionError, match="left as it is"):
        records.save_record(records.enter_status(good, "on the bench", LATER), folder)
    assert (folder / "job.toml").read_bytes() == text
    (kept,) = folder.glob("job unsaved *.toml")
    assert records.parse_record(kept.read_bytes()).state == "on the bench"


@settings(max_examples=60)
@given(st.data())
def test_bytes_gone_wrong_are_an_error_or_a_record(made: Path, data: st.DataObject) -> None:
    whole = bytearray((made / "job.toml").read_bytes())
    start = data.draw(st.integers(0, len(whole) - 1))
    whole[start : start + data.draw(st.integers(0, 40))] = data.draw(st.binary(max_size=8))
    try:
        found = records.parse_record(bytes(whole))
    except DescriptionError as problem:
        said = str(problem)
    else:
        assert check_record(found) == found
        return
    assert said.startswith("job.toml")
    assert said.isprintable()


def test_files_too_large_and_no_files_are_refused(folder: Path) -> None:
    with pytest.raises(DescriptionError, match="no such file"):
        records.read_record(folder / "nowhere")
    (folder / "job.toml").write_bytes(b"#" * 1_000_001)
    with pytest.raises(DescriptionError, match="at most 1,000,000"):
        records.read_record(folder)
    os.truncate(folder / "job.toml", 0)
    with pytest.raises(DescriptionError, match="name: this entry is missing"):
        records.read_record(folder)
    (folder / "job.toml").unlink()
    (folder / "job.toml").mkdir()
    with pytest.raises(DescriptionError, match="not a plain file"):
        records.read_record(folder)


@needs_pipes
def test_a_pipe_is_no_job_file(folder: Path) -> None:
    (folder / "job.toml").unlink()
    os.mkfifo(folder / "job.toml")
    with pytest.raises(DescriptionError, match="not a plain file"):
        records.read_record(folder)


def test_every_entry_of_every_model_is_found_on_its_line() -> None:
    found = 0
    for path in sorted(models().rglob("*.toml")):
        text = path.read_text("utf-8")
        lines = lines_of(text)
        for name, line in lines.items():
            assert name.split(".")[-1].split("[")[0].strip("'") in text.splitlines()[line - 1]
        top = Entry(tomllib.loads(text), "", "")
        for key, value in tomllib.loads(text).items():
            rows = [f"{key}[{n}]" for n in range(1, len(value) + 1)] if f"[[{key}]]" in text else [top.where(key)]
            assert all(row in lines for row in rows), (path, rows)
            found += len(rows)
    assert found > 300


NEWER = records.FORMAT + 1

# Formats ------------------------------------------------------------------------------------------------------------


def test_a_plain_job_file_opens_as_a_record_and_becomes_one(tmp_path: Path) -> None:
    text = (models() / "jobs" / "bright-cathode-depth.toml").read_text("utf-8")
    positions = f'\n{MARK}\n\n[[positions]]\nname = "one"\nat = {{ gain = 0.3 }}\n'
    (tmp_path / "job.toml").write_text(f"# my remark\n{text}{positions}", "utf-8")
    record = records.read_record(tmp_path)
    plain = loader.load_audition("bright-cathode-depth")
    assert (record.format, record.frozen, record.state) == (1, (), "")
    assert records.open_audition(record, tmp_path) == plain
    saved = records.save_record(records.enter_status(record, "looked over", DAY), tmp_path)
    assert saved.format == records.FORMAT
    assert records.read_record(tmp_path) == saved
    assert records.open_audition(saved, tmp_path) == plain
    (kept,) = tmp_path.glob("job format 1 *.toml")
    assert kept.read_text("utf-8") == f"# my remark\n{text}{positions}"
    assert {each.file for each in saved.frozen} == {path.name for path in (tmp_path / "frozen").iterdir()}
    assert "# my remark" in text_of(tmp_path)
    assert MARK not in text_of(tmp_path)
    assert saved.positions == ({"name": "one", "at": {"gain": 0.3}},)


@pytest.mark.parametrize("format", [2, 3, 4, 5, 6, 7, 8])
def test_a_job_of_an_older_format_opens_without_what_it_does_not_say(folder: Path, format: int) -> None:
    record = records.read_record(folder)
    rewrite(folder, f"format = {records.FORMAT}", f"format = {format}")
    older = records.read_record(folder)
    assert dataclasses.replace(older, format=records.FORMAT) == record
    assert (older.measured[0].mains_drawn, older.measured[0].at, older.measured[0].source) == (None, (), "")
    saved = records.save_record(
        records.change_entry(older, "measured[1].at", {"gain": 0.3, "bright": "120p"}, LATER), folder
    )
    assert records.read_record(folder) == saved
    assert (saved.format, saved.measured[0].position) == (records.FORMAT, {"gain": 0.3, "bright": "120p"})
    (kept,) = folder.glob(f"job format {format} *.toml")
    assert f"format = {format}" in kept.read_text("utf-8")


def test_a_newer_format_is_read_as_far_as_possible_and_never_saved(folder: Path) -> None:
    record = records.read_record(folder)
    text = rewrite(folder, f"format = {records.FORMAT}", f'format = {NEWER}\ninvoice = 12\nvalve_tester = "good"')
    rewrite(folder, 'phase = "on arrival"', 'phase = "on arrival"\nroom = 21')
    text = (folder / "job.toml").read_bytes()
    newer = records.read_record(folder)
    assert (newer.format, newer.beyond) == (NEWER, ("invoice", "valve_tester"))
    assert dataclasses.replace(newer, format=records.FORMAT) == record
    for attempt in (newer, records.change_entry(newer, "owner", "me", LATER)):
        with pytest.raises(DescriptionError, match=f"not saved: it has format {NEWER}"):
            records.save_record(attempt, folder)
    with pytest.raises(DescriptionError, match=f"not saved: it has format {NEWER}"):
        records.keep_positions(folder, [], [], "the panel")
    with pytest.raises(DescriptionError, match="left as it is"):
        records.save_record(records.change_entry(record, "owner", "me", LATER), folder)
    assert (folder / "job.toml").read_bytes() == text
    rewrite(folder, 'state = "taken in"', 'state = "in the oven"')
    with pytest.raises(
        DescriptionError, match=rf"states\[1\].state.*format {NEWER}, this ampsim knows {records.FORMAT}"
    ):
        records.read_record(folder)


# Saving -------------------------------------------------------------------------------------------------------------


def test_comments_and_order_stay(folder: Path) -> None:
    lines = text_of(folder).splitlines()
    remarked = []
    for number, line in enumerate(lines):
        inside_words = line.startswith("and ")
        remarked += [f"# remark {number}", f"{line}  # end {number}"] if line and not inside_words else [line]
        if line.startswith("words = "):
            remarked[-1] = line
    text = "\n".join(remarked)
    text = text.replace('"V1A.plate" = 163.5', '"V1A.plate" = "163.5 V"').replace("\n# remark 6", "", 1)
    (folder / "job.toml").write_text(text, "utf-8")
    record = records.read_record(folder)
    record = records.change_entry(record, "owner", "Another", LATER)
    record = records.change_entry(record, "measured[1].volts.B1", 305, LATER)
    record = records.change_entry(record, "measured[1].volts.V2A.plate", 201, LATER)
    record = records.change_entry(record, "wishes[2].note", "cleaned", LATER)
    record = records.enter_status(record, "on the bench", LATER, "bench two")
    saved = records.save_record(record, folder, LATER)
    found = text_of(folder)
    lost = [line for line in text.splitlines() if line and line not in found.splitlines()]
    assert [line.split(" = ")[0] for line in lost] == ["owner", "note", "B1"]
    assert all(f"# end {line.split('# end ')[1]}" in found for line in lost)
    kept = [line for line in found.splitlines() if line in text.splitlines() and line]
    assert kept == [line for line in text.splitlines() if line and line not in lost]
    assert saved == records.read_record(folder)
    assert not list(folder.glob("job as edited*"))


def test_every_change_keeps_the_earlier_value(folder: Path) -> None:
    record = records.read_record(folder)
    record = records.change_entry(record, "owner", "Another", LATER)
    record = records.change_entry(record, "measured[1].meter_ohms", "1M", LATER)
    record = records.change_entry(record, "wishes[2]", None, LATER)
    record = records.change_entry(record, "owner", "Another", LATER)
    told = [(each.entry, each.before, each.after) for each in record.history]
    assert told == [
        ("owner", "O. Wner", "Another"),
        ("measured[1].meter_ohms", "10M", "1M"),
        ("wishes[2]", {"words": "no crackle", "note": "clean the pots"}, None),
    ]
    # What changed without being told to the history gets there as it is saved.
    silent = dataclasses.replace(record, words="all is well", drawer="", arrival=())
    saved = records.save_record(silent, folder, LATER)
    assert [(each.entry, each.before, each.date) for each in saved.history[3:]] == [
        ("words", WORDS, LATER),
        ("drawer", "workshop", LATER),
        ("arrival", [{"date": DAY, "note": "smells of dust"}], LATER),
    ]
    with pytest.raises(DescriptionError, match="only added to"):
        records.save_record(dataclasses.replace(saved, history=saved.history[1:]), folder)


@pytest.mark.parametrize(
    ("entry", "value", "words"),
    [
        ("format", 1, "cannot be changed"),
        ("history", [], "cannot be changed"),
        ("frozen[1].sha256", "0" * 64, "cannot be changed"),
        ("ownr", "x", "ownr: this entry is not known"),
        ("wishes[9].note", "x", "not an entry of this job"),
        ("owner.name", "x", "not an entry of this job"),
        ("measured[1].volts.B1", "lots", r"measured\[1\].volts.B1"),
        ("mods", "depth", "not a list"),
        ("name", None, "missing"),
        ("states[1].state", "lost", "nearest|known"),
    ],
)
def test_changes_that_make_no_sense_are_refused(folder: Path, entry: str, value: Any, words: str) -> None:
    with pytest.raises(DescriptionError, match=words):
        records.change_entry(records.read_record(folder), entry, value)


def test_states_are_dated_and_rise(folder: Path) -> None:
    record = records.enter_status(records.read_record(folder), "handed over", LATER)
    assert record.state == "handed over"
    with pytest.raises(DescriptionError, match=r"states\[3\].date: 2025-03-01 lies before 2025-03-09"):
        records.enter_status(record, "on the bench", DAY)
    with pytest.raises(DescriptionError, match="nearest: on the bench"):
        records.enter_status(record, "on the bensh")


def test_the_second_of_two_programs_is_told_and_loses_nothing(folder: Path) -> None:
    one, two = records.read_record(folder), records.read_record(folder)
    one = records.save_record(records.change_entry(one, "owner", "One", LATER), folder)
    with pytest.raises(DescriptionError, match="changed by another program or by hand") as caught:
        records.save_record(records.change_entry(two, "owner", "Two", LATER), folder)
    (kept,) = folder.glob("job unsaved *.toml")
    assert kept.name in str(caught.value)
    assert records.parse_record(kept.read_bytes()).owner == "Two"
    assert records.read_record(folder) == one
    records.save_record(records.change_entry(one, "owner", "Three", LATER), folder)


def test_a_full_disk_leaves_the_old_record(folder: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    before = (folder / "job.toml").read_bytes()
    record = records.change_entry(records.read_record(folder), "owner", "x", LATER)

    def full(_: int) -> None:
        raise OSError(errno.ENOSPC, os.strerror(errno.ENOSPC))

    with monkeypatch.context() as patch:
        patch.setattr(whole_file.os, "fsync", full)
        with pytest.raises(DescriptionError, match="No space left on device; the old file is as it was"):
            records.save_record(record, folder)
    assert (folder / "job.toml").read_bytes() == before
    assert records.save_record(record, folder).owner == "x"


def test_what_the_library_stumbles_over_is_written_anew_and_kept_beside(
    folder: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    before = text_of(folder)
    for wrong in (lambda *_: "name = 3", lambda *_: 1 // 0):
        monkeypatch.setattr(saving, "merge_text", wrong)
        record = records.save_record(records.enter_status(records.read_record(folder), "on the bench", LATER), folder)
        assert records.read_record(folder) == record
    kept = [path.read_text("utf-8") for path in folder.glob("job as edited *.toml")]
    assert len(kept) == 2
    assert before in kept


def test_a_record_that_a_file_cannot_hold_is_not_saved(folder: Path) -> None:
    record, before = records.read_record(folder), text_of(folder)
    for wrong in ({"owner": "x" * 99}, {"amp": "../x"}, {"audition": {"about": float("nan")}}, {"words": 7}):
        with pytest.raises(DescriptionError):
            records.save_record(dataclasses.replace(record, **wrong), folder)
    assert text_of(folder) == before


HOSTILE = st.one_of(
    st.text(max_size=60),
    st.text(st.characters(exclude_categories=()), max_size=20),
    st.sampled_from([
        '"""', "'''", 'a"', 'a\\', "\\u0000", "</script><script>alert(1)</script>", "<img src=x onerror=y>", "&amp;",
        "a\r\nb\rc", "\x00\x1b[31m", "\u202egnp.exe", "\ud800", "# remark", "[[history]]", "a = 1\n[x]\n", "\u2028x",
        MARK, f"x\n{MARK}\n", "{}", "%s", "$(x)", "\N{WOMAN}\u200d\N{ROCKET}", "\t tab", "x\u00a0y", '""""\n""',
    ]),
)  # fmt: skip


@settings(max_examples=80, suppress_health_check=[HealthCheck.function_scoped_fixture, HealthCheck.too_slow])
@given(st.data())
def test_hostile_texts_come_back_plain(made: Path, tmp_path: Path, data: st.DataObject) -> None:
    folder = tmp_path / "job"
    shutil.rmtree(folder, ignore_errors=True)
    shutil.copytree(made, folder)
    record = records.read_record(folder)
    owner, words, note = data.draw(HOSTILE), data.draw(HOSTILE), data.draw(HOSTILE)
    wanted = dataclasses.replace(record, owner=owner[:60], words=words)
    wish = dataclasses.replace(record.wishes[1], note=note)
    wanted = dataclasses.replace(wanted, wishes=(record.wishes[0], wish))
    saved = records.save_record(wanted, folder, LATER)
    again = records.read_record(folder)
    assert again == saved
    assert (again.owner, again.words) == (plain(owner[:60]), plain(words, lines=True))
    assert again.wishes[1].note == plain(note, lines=True)
    assert all(sign.isprintable() or sign == "\n" for sign in text_of(folder))
    assert {each.entry for each in again.history} <= {"owner", "words", "wishes[2].note"}
    assert not list(folder.glob("job as edited*"))
    # Once plain, a text stays as it is, and nothing is written when nothing changed.
    before = (folder / "job.toml").stat().st_mtime_ns
    assert records.save_record(saved, folder) == saved
    assert (folder / "job.toml").stat().st_mtime_ns == before


@given(HOSTILE)
def test_plain_texts_print(text: str) -> None:
    for lines in (False, True):
        found = plain(text, lines)
        assert plain(found, lines) == found
        assert all(sign.isprintable() or (lines and sign == "\n") for sign in found)
    if text.isprintable() and text == " ".join(text.split()):
        assert plain(text) == text


VALUES = st.recursive(
    st.one_of(st.booleans(), st.integers(-(2**40), 2**40), st.floats(allow_nan=False, allow_infinity=False), HOSTILE)
    | st.dates(datetime.date(1000, 1, 1)),
    lambda inner: st.lists(inner, max_size=3) | st.dictionaries(HOSTILE, inner, max_size=3),
    max_leaves=6,
)


@settings(max_examples=60)
@given(VALUES, VALUES)
def test_any_value_goes_through_the_history(made: Path, before: Any, after: Any) -> None:
    record = records.read_record(made)
    record = check_record(dataclasses.replace(record, history=(records.Change(DAY, "owner", before, after),)))
    written = fresh_text(as_tables(record))
    assert records.parse_record(written.encode()) == record


@pytest.mark.parametrize("number", [errno.ENOSPC, errno.EACCES])
def test_a_save_that_fails_at_any_operation_leaves_one_whole_record(
    folder: Path, monkeypatch: pytest.MonkeyPatch, number: int
) -> None:
    file = folder / "job.toml"
    old, before = records.read_record(folder), file.read_bytes()
    new = records.change_entry(old, "owner", "B", LATER)
    seen, at, ends = set(), 1, False
    while not ends:
        file.write_bytes(before)
        trap = save_faults.Trap(at, save_faults.failing(number))
        with monkeypatch.context() as patch:
            # For the trap to change: put back afterwards.
            patch.setattr(whole_file, "os", os)
            patch.setattr(whole_file, "open", open, raising=False)
            trap.set()
            try:
                records.save_record(new, folder, LATER)
            except DescriptionError:
                seen.add("refused")
                assert file.read_bytes() == before
            else:
                seen.add("saved")
                assert records.read_record(folder).owner == "B"
        at, ends = at + 5, trap.count < at
    assert seen == {"refused", "saved"}


@needs_fork
def test_killed_and_failing_saves_lose_nothing(tmp_path: Path) -> None:
    found = faults(tmp_path, "--every", "12")
    assert found["lost"] == []
    assert sum(found["tried"].values()) > 50
    assert len(found["tried"]) >= 7  # whether a moment drawn hits the save is up to the clock
    assert {"0", "3", "-9", "-25"} == set(found["ended"])


@needs_fork
def test_saves_that_lose_are_found_out(tmp_path: Path) -> None:
    found = faults(tmp_path, "--careless")
    assert len(found["lost"]) == sum(found["tried"].values())


def faults(folder: Path, *more: str) -> dict[str, Any]:
    command = [sys.executable, "-m", "tests.tools.save_faults", str(folder), *more]
    done = subprocess.run(command, cwd=ROOT, capture_output=True, encoding="utf-8", check=False)
    assert done.stdout, done.stderr
    return dict(json.loads(done.stdout))


# Around it ----------------------------------------------------------------------------------------------------------


def test_intake_tells_words_wishes_and_volts(folder: Path) -> None:
    record = records.read_record(folder)
    sheet = records.intake(record, records.open_job(record, folder), "Mind the reservoirs.")
    text = str(sheet)
    for line in WORDS.splitlines():
        assert line in text
    assert "3 to 5 dB more from 2 kHz to 4 kHz, gain 3" in text
    assert ["no crackle", "clean the pots"] in sheet.tables["Wishes"].to_numpy().tolist()
    volts = next(table for title, table in sheet.tables.items() if "Voltages" in title)
    assert ["V1A.plate", "165", "163.5"] in volts.to_numpy().tolist()
    again = records.intake(dataclasses.replace(record, measured=record.measured * 2))
    assert len(again.tables) == len(sheet.tables) + sum(each.phase == "on arrival" for each in record.measured)
    assert text.endswith("Mind the reservoirs.")
    assert "wish 1 of bright-when-low" in str(records.intake(record))


def test_a_job_folder_is_auditioned_and_checked_like_a_job_file(folder: Path) -> None:
    rewrite(folder, 'amp = "workshop-a"', 'amp = "workshop-a"\nlisten_at = "T1.tap8"')
    assert find_audition(str(folder), None, []).listen_at == "T1.tap8"
    assert find_audition(str(folder / "job.toml"), None, []).modded.variant == "bright switch + depth"
    (folder / "measurements").mkdir(exist_ok=True)
    (folder / "measurements" / "before.csv").write_text("Hz,dB\n82,1\n200,1\n400,2\n1000,2\n5000,0\n", "utf-8")
    assert "In the owner's words" in explain(folder)
    rewrite(folder, '"T1.tap8"', '"T1 tap8"')
    with pytest.raises(DescriptionError, match=r"job.toml, line \d+: listen_at"):
        find_audition(str(folder), None, [])


def test_positions_of_others_stay(folder: Path) -> None:
    here = {"name": "the panel", "at": {"gain": 0.1}}
    one, two, three = ({"name": name, "at": {"gain": 0.5}} for name in ("one", "two", "three"))
    before = text_of(folder)
    records.keep_positions(folder, [here, one], [], "the panel")
    assert text_of(folder).startswith(before.split("[[frozen]]")[0])
    # Another panel put its own there, under a name that is taken too.
    other = {"name": "one", "at": {"gain": 0.9}}
    records.keep_positions(folder, [here, other, two], [], "the panel")
    records.keep_positions(folder, [here | {"at": {"gain": 0.2}}, three], [here, one], "the panel")
    found = records.read_record(folder)
    assert [(each["name"], each["at"]["gain"]) for each in found.positions] == [
        ("the panel", 0.2),
        ("three", 0.5),
        ("one", 0.9),
        ("two", 0.5),
        ("one (2)", 0.5),
    ]
    assert found.history == ()


def test_the_panel_keeps_its_positions_in_a_job_folder(folder: Path) -> None:
    pytest.importorskip("anywidget", reason="the extra 'notebooks' is not installed")
    from ampsim.interface.panel import explore

    opened = records.open_job(records.read_record(folder), folder)
    panel = explore(opened.stock, opened.modded, job=folder)
    panel.turn({"gain": 0.3})
    panel.hold("low")
    panel.save()
    # Somebody edits the job meanwhile: both stay.
    records.save_record(records.change_entry(records.read_record(folder), "owner", "Another", LATER), folder)
    panel.turn({"gain": 0.4})
    panel.save()
    panel.drop("low")
    panel.hold("middle")
    panel.save()
    record = records.read_record(folder)
    assert record.owner == "Another"
    assert [each["name"] for each in record.positions] == ["the panel", "middle"]
    again = explore(opened.stock, opened.modded, job=folder / "job.toml")
    assert again.position["gain"] == 0.4
    assert again.held == panel.held


@pytest.mark.parametrize(
    ("entry", "reader"),
    [
        ('owner = ["nobody"]', records.read_record),
        ('amp = "no-such-amp"', lambda path: records.open_job(records.read_record(path), path)),
        ('frequencies = ["high"]', lambda path: records.open_audition(records.read_record(path), path)),
        ('[[positions]]\nname = "one"\nat = { gane = 0.5 }', lambda path: read_positions(path, *opened(path))),
        ('format = 999', lambda path: records.save_record(records.read_record(path), path)),
        ('mods = []', lambda path: records.open_audition(records.read_record(path), path)),
        ('[mounting]\nR4 = "somewhere"', lambda path: records.open_job(records.read_record(path), path)),
        (
            '[[wishes]]\nwords = "more"\nwish = "none"\nentry = 1',
            lambda path: records.open_job(records.read_record(path), path),
        ),
    ],
)  # fmt: skip
def test_a_fault_is_told_of_the_file_that_was_read(
    tmp_path: Path, entry: str, reader: Callable[[Path], object]
) -> None:
    records.begin_job(tmp_path / "job", "workshop-a", ["bright-switch"])
    own = tmp_path / "job" / "as it was in spring.toml"
    key, text = entry.split()[0], (tmp_path / "job" / "job.toml").read_text("utf-8")
    top, _, rest = text.partition("\n[")
    kept = "\n".join(line for line in top.splitlines() if line.split(" ")[0] != key)
    own.write_text(f"{kept}\n{entry}\n[{rest}" if entry[0] != "[" else f"{text}\n{entry}\n", "utf-8")
    with pytest.raises(DescriptionError, match=r"as it was in spring\.toml") as told:
        reader(own)
    assert "job.toml" not in str(told.value)


def opened(path: Path) -> tuple[Amp, Amp]:
    found = records.open_job(records.read_record(path.parent), path.parent)
    return found.stock, found.modded
