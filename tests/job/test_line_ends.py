"""Line ends: a job file keeps those it had, whoever edited it on whichever system, and they change no meaning."""

from __future__ import annotations

import datetime
import random
import shutil
from collections.abc import Callable
from pathlib import Path

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from ampsim import job as records
from ampsim.base.line_ends import decode_lines, plain_ends, with_ends
from ampsim.interface.panel.positions_file import read_positions, write_positions
from ampsim.interface.panel.simulator import Position
from ampsim.job.record.data import Record
from ampsim.job.record.merging import MARK
from ampsim.library.files import models
from ampsim.library.loader import load_amp, load_mod

DAY = datetime.date(2025, 3, 1)
PLAIN, WINDOWS = b"\n", b"\r\n"
CHANGES: tuple[Callable[[Record], Record], ...] = (
    lambda record: records.change_entry(record, "owner", "B", DAY),
    lambda record: records.change_entry(record, "words", 'dull,\nand it "hums"\\\n\ttoo', DAY),
    lambda record: records.add_wish(record, "cleaner", note="new valves\nfirst"),
    lambda record: records.enter_status(record, "on the bench", DAY, "two\nlines"),
    lambda record: records.change_entry(record, "measured[1].volts.V1A.plate", 150.25, DAY),
)
# The share of lines that end as on Windows, and the lot.
ENDS = st.tuples(st.sampled_from([0.0, 0.2, 0.8, 1.0]), st.integers(0, 99))


def ended(data: bytes, ends: tuple[float, int]) -> bytes:
    """A text with such ends, each line its own."""
    draw = random.Random(ends[1])
    return b"".join(line + (WINDOWS if draw.random() < ends[0] else PLAIN) for line in data.split(PLAIN)[:-1])


def only_end(data: bytes) -> bytes:
    """The one end that all lines have."""
    ended_so = data.count(WINDOWS)
    assert ended_so in (0, data.count(PLAIN)), f"{ended_so} of {data.count(PLAIN)} lines end as on Windows"
    assert data.count(b"\r") == ended_so
    return WINDOWS if ended_so else PLAIN


@pytest.fixture(scope="module")
def made(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A job with a remark, readings and texts of several lines, to copy."""
    folder = tmp_path_factory.mktemp("made") / "job"
    record = records.begin_job(
        folder, "workshop-a", ["bright-switch"], name="job", owner="A", words="dull\nit\nis", date=DAY
    )
    row = {"phase": "on arrival", "date": DAY, "volts": {"V1A.plate": 183.5, "B1": 331}}
    records.save_record(records.add_entry(record, "measured", row), folder, DAY)
    file = folder / "job.toml"
    file.write_bytes(b"# my remark\n\n" + file.read_bytes())
    return folder


@settings(max_examples=12, suppress_health_check=[HealthCheck.function_scoped_fixture, HealthCheck.too_slow])
@given(ENDS, st.lists(st.sampled_from(CHANGES), min_size=1, max_size=2, unique=True))
def test_a_saved_job_file_keeps_its_line_ends(
    made: Path, tmp_path: Path, ends: tuple[float, int], changes: list[Callable[[Record], Record]]
) -> None:
    results = []
    for name in ("plain", "ended"):
        folder = tmp_path / name
        shutil.rmtree(folder, ignore_errors=True)
        shutil.copytree(made, folder)
        file = folder / "job.toml"
        if name == "ended":
            file.write_bytes(ended(file.read_bytes(), ends))
        before = file.read_bytes()
        record = records.read_record(folder)
        for change in changes:
            record = change(record)
        saved = records.save_record(record, folder, DAY)
        assert records.read_record(folder) == saved
        assert not list(folder.glob("job as edited*"))
        after = file.read_bytes()
        if before.count(WINDOWS) * 2 != before.count(PLAIN):
            assert only_end(after) == (WINDOWS if before.count(WINDOWS) * 2 > before.count(PLAIN) else PLAIN)
        results.append((plain_ends(after), saved))
    assert results[0] == results[1]


@pytest.mark.parametrize("ends", [(0.0, 0), (1.0, 0), (0.7, 1), (0.3, 2)])
def test_the_panels_mark_is_found_whatever_the_line_ends(tmp_path: Path, ends: tuple[float, int]) -> None:
    text = (models() / "jobs" / "bright-cathode-depth.toml").read_bytes()
    positions = f'\n{MARK}\n\n[[positions]]\nname = "one"\nat = {{ gain = 0.3 }}\n'
    file = tmp_path / "job.toml"
    file.write_bytes(ended(text + positions.encode(), ends))
    record = records.read_record(tmp_path)
    records.save_record(records.enter_status(record, "looked over", DAY), tmp_path)
    after = file.read_bytes()
    assert MARK.encode() not in after
    assert only_end(after) == (WINDOWS if ends[0] > 0.5 else PLAIN)


@pytest.mark.parametrize("ends", [(0.0, 0), (1.0, 0), (0.8, 1)])
def test_the_panel_keeps_the_line_ends_of_a_plain_job_file(tmp_path: Path, ends: tuple[float, int]) -> None:
    stock = load_amp("workshop-a")
    file = tmp_path / "job.toml"
    file.write_bytes(ended(b'name = "j"\namp = "workshop-a"\nmods = ["bright-switch"]\n# mine\n\n', ends))
    for rotation in (0.25, 0.75):
        found = [Position("one", {"gain": rotation}, {})]
        write_positions(file, found, stock, stock, "speaker")
        assert read_positions(file, stock, stock) == found
        assert only_end(file.read_bytes()) == (WINDOWS if ends[0] > 0.5 else PLAIN)
    assert file.read_bytes().count(MARK.encode()) == 1


def test_frozen_files_are_as_they_were_whatever_their_line_ends(made: Path, tmp_path: Path) -> None:
    folder = tmp_path / "job"
    shutil.copytree(made, folder)
    record = records.read_record(folder)
    opened = records.open_job(record, folder)
    frozen = folder / "frozen" / "bright-switch.toml"
    for before, after in ((PLAIN, WINDOWS), (WINDOWS, PLAIN)):
        for file in frozen.parent.iterdir():
            file.write_bytes(file.read_bytes().replace(before, after))
        assert records.frozen_faults(record, folder) == []
        assert records.open_job(record, folder) == opened
        assert records.accept_frozen(record, folder, DAY) == record
        assert records.freeze_files(record, folder, mods=["bright-switch"], date=DAY) == record
    frozen.write_bytes(frozen.read_bytes().replace(b"name", b" name", 1))
    assert len(records.frozen_faults(record, folder)) == 1


def test_two_copies_of_a_valve_may_differ_in_their_line_ends(tmp_path: Path) -> None:
    for name, kind in (("workshop-a", "amps"), ("bright-switch", "mods"), ("12AX7", "valves"), ("EL84", "valves")):
        data = (models() / kind / f"{name}.toml").read_bytes()
        (tmp_path / f"{name}.toml").write_bytes(data.replace(PLAIN, WINDOWS))
    assert load_amp(str(tmp_path / "workshop-a.toml")).parts == load_amp("workshop-a").parts
    assert load_mod(str(tmp_path / "bright-switch.toml")).edits == load_mod("bright-switch").edits
    record = records.begin_job(
        tmp_path / "job", str(tmp_path / "workshop-a.toml"), ["bright-switch"], name="j", date=DAY
    )
    opened = records.open_job(record, tmp_path / "job")
    assert opened.stock.parts == load_amp("workshop-a").parts


@given(st.text(st.sampled_from("a \n\r\"'\\")), st.booleans())
def test_lines_come_apart_and_together_again(text: str, windows: bool) -> None:
    plain = text.replace("\r\n", "\n").replace("\r", "")
    end = "\r\n" if windows and "\n" in plain else "\n"
    assert decode_lines(with_ends(plain, end).encode()) == (plain, end)
    assert plain_ends(with_ends(plain, "\r\n").encode()) == plain.encode()
