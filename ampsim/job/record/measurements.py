"""What the bench gave, kept with the job: measured files copied into its folder and written down in its record."""

from __future__ import annotations

import contextlib
import datetime
from collections.abc import Iterator
from pathlib import Path
from typing import Any

from ...base.errors import DescriptionError, nearest, shown
from ...base.files import file_word, names_device, read_bounded, write_whole
from ...bench.diagnosis.readings import Readings, parse_readings, read_readings
from ...bench.sweeps.measured_sweep import read_sweep
from ...circuit.amp import Amp
from ...circuit.build import SPEAKER, build_circuit
from ...circuit.plugging import plug_in
from ...circuit.positions import Position
from .changing import add_entry
from .data import Measured, Record, Sweep
from .frozen import open_job
from .paths import check_file_name, path_inside
from .reading import job_file
from .saving import save_record
from .words import Phase

FOLDER = "measurements"
_MOST_BYTES = 100_000_000  # the longest recording that is read


def keep_readings(
    record: Record,
    folder: str | Path,
    file: str | Path,
    phase: Phase = Phase.ARRIVAL,
    *,
    mains: float | str | None = None,
    mains_drawn: float | str | None = None,
    at: Position = {},  # noqa: B006
    date: datetime.date | None = None,
    source: str = "",
) -> Record:
    """Keep a file of measured voltages, and write them down with the mains, the meter and where the controls stood.

    Parameters
    ----------
    record, folder
        The job.
    file : str or Path
        As `read_readings` reads it. A reading between two places stays in the file alone.
    phase : Phase
        On arrival, which is of the amp without its mods, or after the mod.
    mains : float or str
        Mains while measuring [V], where the file does not tell.
    mains_drawn : float or str
        Mains that the drawing's volts hold for [V], where the file does not tell.
    at : mapping
        Where the controls stood; those that are not named stood as drawn.
    date : datetime.date
        Default today.
    source : str
        What was plugged in, where the file does not tell; default what the amp file has.

    Raises
    ------
    DescriptionError
        For a file with mistakes, places and controls that the amp does not have, and as `save_record`; then
        nothing is kept.
    """
    amp = open_job(record, folder).amp(phase)
    amp = plug_in(amp, source) if source else amp
    read = read_readings(file, amp, check_controls(amp, at))
    plugged = str(read.plugged) or str(amp.source)
    told = {
        "mains_volts": read.mains if mains is None else mains,
        "mains_drawn_volts": read.mains_drawn if mains_drawn is None else mains_drawn,
    }
    table: dict[str, Any] = {name: value for name, value in told.items() if value is not None}
    table |= {"meter_ohms": read.meter_ohms} | ({"source": plugged} if plugged else {})
    table |= ({"at": dict(at)} if at else {}) | {"volts": _against_ground(read)}
    with copied_into_job(folder, file):
        return save_record(add_entry(record, "measured", _dated_table(phase, date) | table), folder)


def keep_sweep(
    record: Record,
    folder: str | Path,
    file: str | Path,
    phase: Phase = Phase.ARRIVAL,
    note: str = "",
    date: datetime.date | None = None,
    at: Position = {},  # noqa: B006
    source: str = "",
    heard: str = "",
) -> Record:
    """Keep a measured sweep and write it down; the file is read once to see that it can be.

    The record comes back as saved. A sweep that it holds already, of the same amp from the same source and place with
    the controls as they are said to have stood, is not written down twice.

    Parameters
    ----------
    record, folder
        The job.
    file : str or Path
        As `read_sweep` reads it.
    phase : Phase
        On arrival, which is of the amp without its mods, or after the mod.
    note : str
        How it was measured.
    date : datetime.date
        Default today.
    at : mapping
        Where the controls stood; those that are not named stood where the job compares.
    source : str
        What it came from, as `circuit.source.parse_source` reads it; "" where nobody knows.
    heard : str
        The place that was recorded; default the loudspeaker.

    Raises
    ------
    DescriptionError
        As `read_sweep` and `save_record`; then nothing is kept.
    """
    read_sweep(file)
    if at or source or heard:
        amp = open_job(record, folder).amp(phase)
        amp = plug_in(amp, source) if source else amp
        build_circuit(amp).net(heard or SPEAKER)
        check_controls(amp, at)
        source = str(amp.source) if source else ""
    told = {"note": note, "source": source, "heard": heard, "at": dict(at)}
    more = {name: value for name, value in told.items() if value}
    with copied_into_job(folder, file) as name:
        made = add_entry(record, "sweeps", _dated_table(phase, date) | {"file": name} | more)
        if any(_is_same(each, made.sweeps[-1]) for each in record.sweeps):
            return record
        return save_record(made, folder)


def _is_same(one: Sweep, other: Sweep) -> bool:
    facts = ("phase", "file", "at", "source", "heard")
    return all(getattr(one, name) == getattr(other, name) for name in facts)


@contextlib.contextmanager
def copied_into_job(folder: str | Path, file: str | Path) -> Iterator[str]:
    """A measured file copied into the job, under another name where its own is taken; gone again if the rest fails.

    Yields its name in the job folder.
    """
    data, home = read_bounded(file, _MOST_BYTES), job_file(folder).parent
    name, path = _free(home, Path(file), data)
    new = not path.exists()
    if new:
        path.parent.mkdir(exist_ok=True)
        write_whole(path, data)
    try:
        yield name
    except BaseException:
        if new:
            path.unlink(missing_ok=True)
        raise


def _dated_table(phase: Phase, date: datetime.date | None) -> dict[str, Any]:
    return {"phase": str(phase), "date": date or datetime.date.today()}


def check_controls(amp: Amp, at: Position) -> Position:
    """Where controls stand, once it is seen that the amp has them and these positions.

    Raises
    ------
    DescriptionError
        For a control or a position that it does not have; names the nearest.
    """
    for name in at:
        if name not in amp.controls:
            raise DescriptionError(f"{amp.name} has no control {shown(name)}{nearest(name, amp.controls)}")
    amp.setting(at)
    return at


def _against_ground(read: Readings) -> dict[str, float]:
    volts = {name: value for name, value in read.volts if " " not in name}
    if not volts:
        raise DescriptionError(f"{read.source}: volts: none of the readings is a place against ground")
    return volts


def _free(home: Path, file: Path, data: bytes) -> tuple[str, Path]:
    """A name in the job that is free, or holds the same already."""
    try:
        stem = check_file_name(file.stem)
    except DescriptionError:
        stem = file_word(file.stem)
    if names_device(stem):
        stem = file_word(stem)
    number = 1
    while True:
        name = f"{FOLDER}/{stem}{f' {number}' if number > 1 else ''}{file.suffix.lower()}"
        path = path_inside(home, name)
        if not path.exists() or (path.is_file() and path.read_bytes() == data):
            return name, path
        number += 1


def recorded_readings(
    measured: Measured,
    amp: Amp,
    position: Position | None = None,
    mains_drawn: float | None = None,
) -> Readings:
    """Voltages of a job's record as readings.

    Parameters
    ----------
    measured
        One round of the record.
    amp
        As it was when these were measured: without its mods on arrival.
    position
        Where the controls stood; as the record says by default.
    mains_drawn
        Mains that the drawing's voltages hold for [V]; as the record says by default. Without it the mains read says
        nothing of the supply.

    Raises
    ------
    DescriptionError
        For places that are not there; names the nearest.
    """
    if mains_drawn is None and measured.mains is not None:
        mains_drawn = measured.mains_drawn
    position = measured.position if position is None else position
    told: dict[str, object] = {"mains": measured.mains, "mains_drawn": mains_drawn, "meter": measured.meter}
    told["source"] = measured.source or None
    tables = {key: value for key, value in told.items() if value is not None} | {"volts": dict(measured.volts)}
    return parse_readings(tables, amp, f"voltages {measured.phase}, {measured.date}", position)
