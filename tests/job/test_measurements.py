"""Measured files kept with a job: copied whole, written down, and nothing left behind when the save fails."""

import datetime
import shutil
from pathlib import Path

import pytest

from ampsim import job as records
from ampsim.base.errors import DescriptionError
from ampsim.job.record.measurements import keep_readings, keep_sweep
from ampsim.job.record.words import Phase
from tests.tools.invent_job import FOLDER, MAINS_DRAWN, METER, MODS, on_arrival

DAY = datetime.date(2025, 3, 3)
VOLTS, CURVE = FOLDER / "volts-on-arrival.csv", FOLDER / "sweep-on-arrival.csv"


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    records.begin_job(tmp_path / "job", "rehearsal-room", MODS, date=DAY)
    return tmp_path / "job"


def files(folder: Path) -> list[str]:
    return sorted(path.name for path in (folder / "measurements").iterdir())


def test_what_was_measured_is_written_down_and_kept(folder: Path) -> None:
    record = keep_readings(records.read_record(folder), folder, VOLTS, at={"volume": 0.3}, date=DAY)
    keep_sweep(record, folder, CURVE, note="at volume 3", date=DAY, at={"volume": 0.4})
    record = records.read_record(folder)
    (measured,), (sweep,) = record.measured, record.sweeps
    assert (measured.phase, measured.mains, measured.meter) == ("on arrival", on_arrival().mains, METER)
    assert (measured.mains_drawn, measured.at) == (MAINS_DRAWN, (("volume", 0.3),))
    told = f"mains {measured.mains:g} V, 230 V in the drawing, meter {METER / 1e6:g}M, controls at volume 3"
    assert any(told in title for title in records.intake(record).tables)
    assert dict(measured.volts)["V2A.cathode"] == 1.97
    assert (sweep.file, sweep.note) == ("measurements/sweep-on-arrival.csv", "at volume 3")
    assert sweep.at == (("volume", 0.4),)
    assert (folder / sweep.file).read_bytes() == CURVE.read_bytes()


def test_the_same_sweep_twice_is_one_row(folder: Path) -> None:
    first = keep_sweep(records.read_record(folder), folder, CURVE, date=DAY, at={"volume": 0.4})
    assert keep_sweep(first, folder, CURVE, note="once more", date=DAY, at={"volume": 0.4}) == first
    assert records.read_record(folder).sweeps == first.sweeps
    # With other controls, or of the other amp, it is another measurement.
    assert len(keep_sweep(first, folder, CURVE, date=DAY, at={"volume": 0.5}).sweeps) == 2
    assert len(keep_sweep(records.read_record(folder), folder, CURVE, Phase.AFTER, date=DAY).sweeps) == 3


def test_another_file_of_the_same_name_gets_its_own(folder: Path, tmp_path: Path) -> None:
    other = tmp_path / CURVE.name
    other.write_text(CURVE.read_text("utf-8").replace("-28,58", "-28,50"), "utf-8")
    record = records.read_record(folder)
    for path in (CURVE, other, CURVE):
        record = keep_sweep(record, folder, path)
    assert [each.file for each in record.sweeps] == [
        f"measurements/{name}" for name in ("sweep-on-arrival.csv", "sweep-on-arrival 2.csv")
    ]
    assert files(folder) == ["sweep-on-arrival 2.csv", "sweep-on-arrival.csv"]


@pytest.mark.parametrize(("old", "new"), [("V2A.plate", "V9A.plate"), ("1,97", "plenty")])
def test_a_file_with_a_mistake_is_not_kept(folder: Path, tmp_path: Path, old: str, new: str) -> None:
    wrong = tmp_path / "wrong.csv"
    wrong.write_text(VOLTS.read_text("utf-8").replace(old, new), "utf-8")
    before = (folder / "job.toml").read_bytes()
    with pytest.raises(DescriptionError, match=new):
        keep_readings(records.read_record(folder), folder, wrong)
    assert files(folder) == []
    assert (folder / "job.toml").read_bytes() == before


def test_controls_that_are_not_there_on_arrival_are_refused(folder: Path) -> None:
    record = records.read_record(folder)
    for at, told in (
        ({"volme": 0.3}, "nearest: volume"),
        ({"volume": 3}, "not a rotation"),
        ({"tight": "on"}, "tight"),
    ):
        with pytest.raises(DescriptionError, match=told):
            keep_readings(record, folder, VOLTS, at=at)
        with pytest.raises(DescriptionError, match=told):
            keep_sweep(record, folder, CURVE, at=at)
    assert records.read_record(folder).measured == ()


def test_nothing_is_left_when_the_job_was_changed_meanwhile(folder: Path) -> None:
    record = records.read_record(folder)
    records.save_record(records.add_wish(record, "louder"), folder)
    with pytest.raises(DescriptionError, match="changed by another program"):
        keep_sweep(record, folder, CURVE)
    assert files(folder) == []
    shutil.copy(CURVE, folder / "measurements")
    with pytest.raises(DescriptionError, match="changed by another program"):
        keep_sweep(record, folder, CURVE)
    assert files(folder) == [CURVE.name]  # it was there before
