"""Saves that fail or are killed at every operation and byte: `python -m tests.tools.save_faults FOLDER`.

Each trial saves in a process of its own and goes wrong there on purpose; then the job file must hold all of the old
record or all of the new one, the folder must still open, and a save that said it was done must have been done.
"""

from __future__ import annotations

import argparse
import contextlib
import datetime
import errno
import json
import os
import random
import shutil
import signal
import sys
import time
from collections import Counter
from collections.abc import Callable, Iterator
from dataclasses import dataclass, field, replace
from pathlib import Path
from typing import Any

from ampsim import job as records
from ampsim.base import files
from ampsim.base.errors import DescriptionError
from ampsim.job.record.data import Record
from ampsim.library.files import models
from ampsim.library.loader import FILE

DAY = datetime.date(2025, 3, 1)
WORDS = 'It is "dull" when turned down,\nand it <b>hums</b>.\n'
CHUNK = 64  # bytes between two chances to fail
SAVED, REFUSED, OTHERWISE = 0, 3, 4  # exit status of a saving process
ERRORS = {"no room left": errno.ENOSPC, "input/output error": errno.EIO, "no permission": errno.EACCES}
Saver = Callable[[Record, Path], object]


@dataclass
class Tally:
    """Trials and what was found after them."""

    tried: Counter[str] = field(default_factory=Counter)
    ended: Counter[int] = field(default_factory=Counter)
    lost: list[str] = field(default_factory=list)

    def note(self, kind: str, status: int, wrong: str) -> None:
        """Count one trial; `wrong` says what was lost, "" for nothing."""
        self.tried[kind] += 1
        self.ended[status] += 1
        if wrong:
            self.lost.append(f"{kind}: {wrong}")


# Going wrong on purpose ----------------------------------------------------------------------------------------------


class Trap:
    """Counts what a save asks of the system, and springs at one of these operations."""

    def __init__(self, at: int, spring: Callable[[], None]) -> None:
        self.at, self.spring, self.count = at, spring, 0

    def step(self) -> None:
        """One more operation begins."""
        self.count += 1
        if self.count == self.at:
            self.spring()

    def set(self) -> None:
        """Put it between the module that writes and the system."""
        files.os = _Os(self)  # type: ignore[attr-defined]
        files.open = lambda path, mode: (open if mode == "rb" else self.file)(path, mode)  # type: ignore[attr-defined]

    def file(self, path: Path, mode: str) -> _File:
        """A file that is written under observation."""
        return _File(self, path, mode)


class _Os:
    """The module os, with a trap before each call that writes."""

    def __init__(self, trap: Trap) -> None:
        self._trap = trap

    def __getattr__(self, name: str) -> Any:
        found = getattr(os, name)
        if name not in ("open", "fsync", "chmod", "replace"):
            return found

        def trapped(*given: Any) -> Any:
            self._trap.step()
            return found(*given)

        return trapped


class _File:
    """A file for writing, with a trap before every few bytes; those before are on their way to the disk."""

    def __init__(self, trap: Trap, *given: Any) -> None:
        self._trap = trap
        trap.step()
        self._file = open(*given, buffering=0)  # noqa: SIM115

    def write(self, data: bytes) -> int:
        for start in range(0, len(data), CHUNK):
            self._trap.step()
            self._file.write(data[start : start + CHUNK])
        return len(data)

    def flush(self) -> None:
        self._trap.step()

    def fileno(self) -> int:
        return int(self._file.fileno())

    def __enter__(self) -> _File:
        return self

    def __exit__(self, *_: object) -> None:
        self._file.close()


def failing(number: int) -> Callable[[], None]:
    """Fail as the system does."""

    def spring() -> None:
        raise OSError(number, os.strerror(number))

    return spring


def kill_self() -> None:
    """End at once, with nothing cleaned up."""
    os.kill(os.getpid(), signal.SIGKILL)


def no_larger_than(size: int, deadly: bool) -> None:
    """Let the system itself stop every file at a size: by an error, or by a signal that ends the process."""
    import resource  # not there on every system, nor is forking

    signal.signal(signal.SIGXFSZ, signal.SIG_DFL if deadly else signal.SIG_IGN)
    resource.setrlimit(resource.RLIMIT_FSIZE, (size, size))
    resource.setrlimit(resource.RLIMIT_CORE, (0, 0))


# One trial -----------------------------------------------------------------------------------------------------------


def start(save: Saver, record: Record, folder: Path, prepare: Callable[[], None]) -> int:
    """Save in a process of its own that prepares to go wrong, and return its number."""
    child = os.fork()
    if child:
        return child
    status = OTHERWISE
    with contextlib.suppress(BaseException):
        try:
            prepare()
            save(record, folder)
            status = SAVED
        except DescriptionError:
            status = REFUSED
    os._exit(status)


def ended(child: int) -> int:
    """How a process ended: its exit status, or minus the signal that killed it."""
    return os.waitstatus_to_exitcode(os.waitpid(child, 0)[1])


@dataclass
class Scene:
    """A job folder to return to before every trial, and the two records that may be found in it."""

    folder: Path
    old: Record | None
    new: Record
    save: Saver = records.save_record

    def __post_init__(self) -> None:
        self._pristine = self.folder.with_name(f"{self.folder.name}-pristine")
        if self.folder.exists():
            shutil.copytree(self.folder, self._pristine)
        self._before = self._bytes()

    def _bytes(self) -> bytes | None:
        path = self.folder / FILE
        return path.read_bytes() if path.exists() else None

    def reset(self) -> None:
        """Put everything back."""
        shutil.rmtree(self.folder, ignore_errors=True)
        if self._pristine.exists():
            shutil.copytree(self._pristine, self.folder)

    def try_it(self, prepare: Callable[[], None], after: float | None = None) -> tuple[int, str]:
        """One save that goes wrong; returns how it ended and what was lost. Killed from outside `after` seconds."""
        self.reset()
        child = start(self.save, self.new, self.folder, prepare)
        if after is not None:
            time.sleep(after)
            os.kill(child, signal.SIGKILL)
        status = ended(child)
        return status, self._lost(status) or self._next_save()

    def _lost(self, status: int) -> str:
        data = self._bytes()
        if data == self._before:
            return "said saved, but was not" if status == SAVED else ""
        if data is None:
            return "the job file is gone"
        try:
            found = records.parse_record(data)
            records.open_job(found, self.folder)
        except DescriptionError as problem:
            return f"the job does not open: {problem}"
        if not _same(found, self.new):
            return "neither the old nor the new record"
        return "an error that is none of ours" if status == OTHERWISE else ""

    def _next_save(self) -> str:
        """The next program must get on, whatever the last one left."""
        if self.save is not records.save_record:
            return ""
        try:
            found = records.read_record(self.folder)
            records.save_record(records.change_entry(found, "owner", "the next"), self.folder)
        except DescriptionError as problem:
            return f"the next save fails: {problem}"
        left = [path.name for path in self.folder.glob("job.toml.*.part")]
        return f"left lying: {left}" if left else ""


def _same(found: Record, wanted: Record) -> bool:
    """Equal but for lines of history that saving adds, and for when and under which names files were frozen."""
    return _bare(found) == _bare(records.parse_record(_text(wanted)))


def _bare(record: Record) -> Record:
    return replace(record, history=(), frozen=(), format=records.FORMAT, seen="")


def _text(record: Record) -> bytes:
    from ampsim.job.record.merging import fresh_text
    from ampsim.job.record.tables import as_tables

    return fresh_text(as_tables(replace(record, format=records.FORMAT))).encode()


# All trials ----------------------------------------------------------------------------------------------------------


def begun(folder: Path) -> Record:
    """A job with a little of everything."""
    record = records.begin_job(folder, "workshop-a", ["bright-switch"], name="job", owner="A", words=WORDS, date=DAY)
    record = records.add_wish(record, "cleaner, please", note="new valves\nfirst")
    volts = {"V1A.plate": 183.5, "V2A.plate": "201V", "B1": 331}
    row = {"phase": "on arrival", "date": DAY, "mains_volts": 229, "meter_ohms": "10M", "volts": volts}
    return records.save_record(records.add_entry(record, "measured", row), folder, DAY)


def changed(record: Record) -> Record:
    """The same job with an entry changed, one added and a list grown."""
    record = records.change_entry(record, "owner", "B", DAY)
    record = records.change_entry(record, "measured[1].volts.V1A.plate", 150.25, DAY)
    return records.enter_status(record, "on the bench", DAY, 'with "quotes"\nand lines')


def plain_scene(folder: Path) -> Scene:
    """A job that is saved again."""
    old = begun(folder)
    return Scene(folder, old, changed(old))


def upgrade_scene(folder: Path) -> Scene:
    """A job file of format 1 that is saved: files are frozen, and the old one is kept beside."""
    folder.mkdir(parents=True)
    text = (models() / "jobs" / "bright-cathode-depth.toml").read_text("utf-8")
    (folder / FILE).write_text(text, "utf-8")
    old = records.read_record(folder)
    return Scene(folder, old, records.enter_status(old, "taken in", DAY))


def operations(scene: Scene) -> int:
    """How many operations a save makes when nothing goes wrong."""
    scene.reset()
    reading, writing = os.pipe()
    child = os.fork()
    if not child:
        trap = Trap(0, kill_self)
        trap.set()
        scene.save(scene.new, scene.folder)
        os.write(writing, str(trap.count).encode())
        os._exit(0)
    assert ended(child) == SAVED
    count = int(os.read(reading, 20))
    os.close(reading)
    os.close(writing)
    return count


def at_operations(scene: Scene, tally: Tally, every: int) -> None:
    """An error of each kind, and a kill, at every operation."""
    springs = {name: failing(number) for name, number in ERRORS.items()} | {"killed": kill_self}
    for at in range(1, operations(scene) + 1, every):
        for name, spring in springs.items():
            status, wrong = scene.try_it(Trap(at, spring).set)
            tally.note(f"{name} at an operation", status, f"operation {at}: {wrong}" if wrong else "")


def at_bytes(scene: Scene, tally: Tally, every: int) -> None:
    """The system stops every file at a size: by an error, or by ending the process."""
    for size in range(0, len(_text(scene.new)) + 1, every):
        for deadly in (False, True):

            def prepare(size: int = size, deadly: bool = deadly) -> None:
                no_larger_than(size, deadly)

            status, wrong = scene.try_it(prepare)
            name = "ended at a byte" if deadly else "file too large at a byte"
            tally.note(name, status, f"byte {size}: {wrong}" if wrong else "")


def at_moments(scene: Scene, tally: Tally, count: int) -> None:
    """Killed from outside at moments drawn at random."""
    draw = random.Random(1)
    begin = time.perf_counter()
    scene.try_it(lambda: None)
    longest = time.perf_counter() - begin
    for _ in range(count):
        status, wrong = scene.try_it(lambda: None, after=draw.uniform(0.0, longest))
        if status != SAVED or wrong:  # one that was done before is no fault
            tally.note("killed at a moment", status, wrong)


def at_once(folder: Path, tally: Tally, count: int, save: Saver = records.save_record) -> None:
    """Two or three programs save at once what they made of the same file: every version must be somewhere."""
    old = begun(folder)
    pristine = folder.with_name(f"{folder.name}-pristine")
    shutil.copytree(folder, pristine)
    for number in range(count):
        shutil.rmtree(folder)
        shutil.copytree(pristine, folder)
        owners = [f"owner {number} {letter}" for letter in ("abc" if number % 3 == 0 else "ab")]
        reading, writing = os.pipe()

        def wait(reading: int = reading, writing: int = writing) -> None:
            os.close(writing)
            os.read(reading, 1)

        children = [start(save, records.change_entry(old, "owner", each, DAY), folder, wait) for each in owners]
        os.close(writing)
        os.close(reading)
        statuses = sorted(map(ended, children))
        tally.note("saved at once", statuses[0], _left_out(folder, owners, statuses))


def _left_out(folder: Path, owners: list[str], statuses: list[int]) -> str:
    found = [records.parse_record(path.read_bytes()).owner for path in folder.glob("job*.toml")]
    missing = [each for each in owners if each not in found]
    if missing or statuses != [SAVED, *[REFUSED] * (len(owners) - 1)]:
        return f"of {owners} only {found} are there; ended {statuses}"
    return ""


def scenes(folder: Path) -> Iterator[tuple[Scene, int]]:
    """Each scene, and how many operations to pass over between trials: one that freezes files has many alike."""
    yield plain_scene(folder / "plain"), 1
    yield upgrade_scene(folder / "upgrade"), 6


def run(folder: Path, every: int = 1) -> Tally:
    """All trials; `every` passes over operations and bytes."""
    tally = Tally()
    for scene, stride in scenes(folder):
        at_operations(scene, tally, stride * every)
        at_bytes(scene, tally, 17 * every)
        at_moments(scene, tally, 60 // every)
    at_once(folder / "both", tally, 60 // every)
    return tally


def careless(record: Record, folder: Path) -> None:
    """Save as one should not: over the old file, whoever wrote it. Trials of it must find losses."""
    (folder / FILE).write_bytes(_text(record))


def run_careless(folder: Path) -> Tally:
    """Trials of a careless save."""
    tally, old = Tally(), begun(folder / "plain")
    at_bytes(Scene(folder / "plain", old, changed(old), careless), tally, 97)
    at_once(folder / "both", tally, 2, careless)
    return tally


def main() -> int:
    """Run all trials in this process, which has no threads that a fork could stumble over, and print the tally."""
    parser = argparse.ArgumentParser(description="fail and kill saves on purpose")
    parser.add_argument("folder", type=Path)
    parser.add_argument("--every", type=int, default=1)
    parser.add_argument("--careless", action="store_true", help="try a save that loses records, to see them found")
    given = parser.parse_args()
    tally = run_careless(given.folder) if given.careless else run(given.folder, given.every)
    print(json.dumps({"tried": tally.tried, "ended": tally.ended, "lost": tally.lost}))
    return 1 if tally.lost else 0


if __name__ == "__main__":
    sys.exit(main())
