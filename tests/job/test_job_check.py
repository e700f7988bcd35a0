"""`ampsim check` on a job: every file and entry that people may edit, damaged by hand, is named with what it holds."""

from __future__ import annotations

import datetime
import json
import math
import random
import re
import shutil
import tomllib
from collections.abc import Callable
from dataclasses import replace
from decimal import Decimal
from pathlib import Path

import pytest
from hypothesis import HealthCheck, Phase, given, settings
from hypothesis import strategies as st
from PIL import Image

from ampsim.base.errors import DescriptionError
from ampsim.interface.commands.check import explain
from ampsim.job import begin_job, freeze_files, keep_positions, keep_readings, keep_sweep, open_job, read_record
from ampsim.job import save_record as save
from ampsim.job.job_check import check_job
from ampsim.job.papers.bench_plan import job_plan
from ampsim.job.quote.sums import add_up
from ampsim.job.record.billing import Answer, Bill, Charge, Order
from ampsim.job.record.data import Mark
from ampsim.job.record.merging import fresh_text
from ampsim.job.record.photos import keep_photo
from ampsim.job.record.reading import check_record, from_tables
from ampsim.job.record.sessions import keep_session
from ampsim.job.record.tables import as_tables
from ampsim.library.files import models
from tests.tools import hostile
from tests.tools.systems import needs_links, needs_pipes

DAY = datetime.date(2027, 3, 1)
BENCH = models() / "measurements" / "rehearsal-room"
DRILLING = 'zero = "the left edge"\n[S111]\nalong = 40\nup = 2.5\nhole = 10.2\n'
PRICES = "kind;value;price\nresistor;4k7;0,10\n"


@pytest.fixture(scope="module")
def made(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A job with every file and entry that people may edit."""
    place = tmp_path_factory.mktemp("made")
    folder = place / "job"
    record = begin_job(folder, "rehearsal-room", ["volume-bright", "tight-switch"], name="a job", words="Less dull.")
    record = freeze_files(record, folder, wishes=["less-blanket"], drawer="workshop")
    record = save(record, folder)
    record = keep_readings(record, folder, BENCH / "volts-on-arrival.csv")
    record = keep_sweep(record, folder, BENCH / "sweep-on-arrival.csv")
    Image.new("RGB", (60, 40), "grey").save(place / "inside.png")
    record = keep_photo(record, folder, place / "inside.png", "V1A", date=DAY)
    record = replace(record, photos=(replace(record.photos[0], marks=(Mark(0.5, 0.5, "R3"),)),))
    found = open_job(record, folder)
    record = keep_session(record, job_plan(record, found).steps, [1, 2, 8], minutes=20, by="me", date=DAY)
    line = Charge("part", "a resistor", Decimal(3), "piece", Decimal("0.10"), Decimal(1), Decimal("0.30"))
    bill = Bill(DAY, "EUR", 2, (line,), Decimal("0.36"), tax_name="VAT", tax_rate=Decimal(20))
    order = Order(DAY, "a supplier", ("R101",), Decimal("0.30"), "EUR", DAY)
    quote = replace(bill, answer=Answer.ACCEPTED, answered=DAY)
    record = replace(record, quotes=(quote,), invoices=(replace(bill, number="7"),), orders=(order,))
    save(record, folder)
    keep_positions(folder, [{"name": "mine", "at": {next(iter(found.modded.controls)): 0.4}}], [], "the panel")
    (folder / "drilling.toml").write_text(DRILLING, "utf-8")
    (folder / "prices.csv").write_text(PRICES, "utf-8")
    marks = {"sha256": record.photos[0].sha256, "before": [], "marks": [{"x": 0.1, "y": 0.2, "at": "R4", "text": ""}]}
    (folder / "marks-1.json").write_text(json.dumps(marks), "utf-8")
    return folder


@pytest.fixture
def folder(made: Path, tmp_path: Path) -> Path:
    shutil.copytree(made, tmp_path / "job")
    return tmp_path / "job"


def rewrite(path: Path, old: str, new: str) -> None:
    text = path.read_text("utf-8")
    found = re.search(old, text)
    assert found, old
    path.write_text(text[: found.start()] + found.expand(new) + text[found.end() :], "utf-8")


def test_a_sound_job_is_told_as_it_was_taken_in(folder: Path) -> None:
    found = check_job(read_record(folder), folder)
    assert (found.faults, found.remarks) == ((), ())
    assert "In the owner's words" in explain(folder)
    assert explain(folder) == explain(folder / "job.toml")


@pytest.mark.parametrize(
    ("file", "old", "new", "told"),
    [
        ("drilling.toml", "along = 40", "along = 4000", r"drilling.toml: S111.along: 4000"),
        ("drilling.toml", r"\[S111\]", "[P99]", r"drilling.toml: P99.body"),
        ("drilling.toml", "along = 40", "along = ", r"drilling.toml: "),
        ("prices.csv", "0,10", "cheap", r"prices.csv.*'cheap'"),
        ("marks-1.json", '"R4"', '"R44"', r"marks-1.json: marks\[1\].at: 'R44'.*nearest"),
        ("marks-1.json", "0.1", "NaN", r"marks-1.json: .*NaN"),
        ("measurements/volts-on-arrival.csv", "V1A.plate", "V7.plate", r"measurements/volts-on-arrival.csv.*V7"),
        ("measurements/sweep-on-arrival.csv", r"(?s)\A.*", "?", r"line \d+: sweeps\[1\].file: sweep-on-arrival"),
        ("photos/*.png", None, "", r"job.toml, line \d+: photos\[1\]: photos/.*not as it was kept"),
        ("frozen/volume-bright.toml", '"', '"x', r"frozen/volume-bright.toml: not as it was frozen"),
        ("job.toml", r"V1A.plate\" = [\d.]+", 'V9.plate" = 1', r"line \d+: measured\[1\].*V9.plate"),
        ("job.toml", r"amount = \"0.30\"", 'amount = "0.31"', r"quotes\[1\].lines\[1\].amount: 0.31; 3 at 0.10"),
        ("job.toml", r"total = \"0.36\"", 'total = "0.63"', r"quotes\[1\].total: 0.63; its lines come to 0.36"),
        ("job.toml", "answered = 2027", "answered = 2026", r"line \d+: quotes\[1\].answered: 2026-03-01 lies before"),
        ("job.toml", "arrived = 2027", "arrived = 2026", r"line \d+: orders\[1\].arrived: 2026-03-01 lies before"),
        ("job.toml", r"sha256 = \"[0-9a-f]{8}", 'sha256 = "00000000', r"not as it was"),
        ("job.toml", r"(kinds[^=]*= (?:\{[^=]*= )?)\d", r"\g<1>400", r"sessions\[1\].kinds"),
        ("job.toml", r"(?s)(\[\[positions\]\].*?at = \{ ?\"?)\w+", r"\1nothing", r"positions\[1\].at.*'nothing"),
    ],
)  # fmt: skip
def test_what_was_damaged_by_hand_is_named(folder: Path, file: str, old: str | None, new: str, told: str) -> None:
    (path,) = folder.glob(file)
    if old is None:
        path.write_bytes(path.read_bytes()[:-9])
    else:
        rewrite(path, old, new)
    with pytest.raises(DescriptionError) as caught:
        explain(folder)
    assert re.search(told, str(caught.value)), str(caught.value)


def test_every_fault_is_told_at_once(folder: Path) -> None:
    rewrite(folder / "drilling.toml", "along = 40", "along = 4000")
    rewrite(folder / "job.toml", 'total = "0.36"', 'total = "0.63"')
    photo = next(folder.glob("photos/*"))
    photo.rename(folder / "away")
    assert len(check_job(read_record(folder), folder).faults) == 3


def test_what_need_not_be_wrong_is_told_apart(folder: Path) -> None:
    rewrite(folder / "job.toml", 'at = "R3"', 'at = "R333"')
    found = check_job(read_record(folder), folder)
    assert found.faults == ()
    assert [each for each in found.remarks if "photos[1].marks[1].at: 'R333'" in each] == list(found.remarks)


def test_without_its_amp_the_rest_is_still_looked_at(folder: Path) -> None:
    (folder / "frozen" / "rehearsal-room.toml").unlink()
    rewrite(folder / "job.toml", 'total = "0.36"', 'total = "0.63"')
    found = check_job(read_record(folder), folder)
    assert "frozen/rehearsal-room.toml: missing" in found.faults[0]
    assert "quotes[1].total" in found.faults[1]
    assert "does not open" in found.remarks[0]


def links_out(path: Path) -> None:
    path.unlink()
    path.symlink_to("/etc/hostname")


def pipes(path: Path) -> None:
    import os

    path.unlink()
    os.mkfifo(path)


def folders(path: Path) -> None:
    path.unlink()
    path.mkdir()


@pytest.mark.parametrize("file", ["drilling.toml", "measurements/sweep-on-arrival.csv", "photos/*.png"])
@pytest.mark.parametrize(
    "damage", [pytest.param(links_out, marks=needs_links), pytest.param(pipes, marks=needs_pipes), folders]
)
def test_a_link_a_pipe_and_a_folder_in_place_of_a_file_are_named(
    folder: Path, file: str, damage: Callable[[Path], None]
) -> None:
    (path,) = folder.glob(file)
    damage(path)
    with pytest.raises(DescriptionError, match=path.name.partition(".")[0]):
        explain(folder)


@settings(
    max_examples=12,
    phases=[Phase.generate],
    suppress_health_check=[HealthCheck.function_scoped_fixture, HealthCheck.too_slow],
)
@given(data=st.data())
def test_bytes_gone_wrong_anywhere_are_told_or_harmless(folder: Path, data: st.DataObject) -> None:
    names = ("drilling.toml", "prices.csv", "marks-1.json", "measurements/volts-on-arrival.csv")
    path = folder / data.draw(st.sampled_from(names))
    whole = path.read_bytes()
    start = data.draw(st.integers(0, len(whole)))
    length = data.draw(st.integers(0, 40))
    path.write_bytes(whole[:start] + data.draw(st.binary(max_size=20)) + whole[start + length :])
    try:
        record = replace(read_record(folder), sessions=())
        found = check_job(record, folder)
        assert all(path.name in each for each in found.faults)
        assert all(each.isprintable() for fault in found.faults for each in fault.splitlines())
    finally:
        path.write_bytes(whole)
    assert add_up(read_record(folder).quotes[0]).total == Decimal("0.36")


ODD = (10**30, -1, 0.5, math.nan, 1e308, True, "", "x\ny", "../../x", "9" * 5000, [], {}, [[]], [{}], [1, "x"],
       {"x": 1}, datetime.date(1, 1, 1), datetime.datetime(2027, 1, 1), datetime.time(1))  # fmt: skip


def test_what_else_stands_at_an_entry_is_refused_or_saved_as_it_was_read(made: Path) -> None:
    tables, draw, kept = tomllib.loads((made / "job.toml").read_text("utf-8")), random.Random(5), 0
    for place in hostile.places(tables):
        for odd in draw.sample(ODD, 3) if place[-1] == "value" else ():
            try:
                record = from_tables(hostile.changed(tables, place, odd))
            except DescriptionError:
                continue
            kept += 1
            saved = from_tables(tomllib.loads(fresh_text(as_tables(record))))
            assert (saved, as_tables(saved)) == (check_record(record), as_tables(record)), (place, odd)
    assert kept > 20
