"""The index of a shop's jobs: what was read of each folder, kept until its file changes; thrown away, it comes again.

It stands in the user's own folder for such files, so two people on one shop have one each; two programs of one person
take turns. Nothing in it is trusted to be whole: one that is damaged is made anew, and where none can be kept the work
is done in memory.
"""

from __future__ import annotations

import contextlib
import hashlib
import json
import sqlite3
import zlib
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import astuple, dataclass, field
from pathlib import Path

from ...base.errors import DescriptionError
from ...base.files import read_bounded
from ...base.kept_files import kept_folder
from ...base.progress import Progress
from ...library.files import toml_tables
from ..quote.hours import sessions_of_one_kind
from ..record.data import FORMAT, Record
from ..record.paths import path_inside
from ..record.reading import read_record
from .folders import look_through
from .lines import COLUMNS, JobLine, job_line
from .passages import Passage, fold, passages

_FORM = 3  # goes up whenever the tables below, or what is put into them, change
_PATIENCE = 10.0  # s
_PIECE = 100  # jobs
_SHIFT = 1 << 20  # passages of a job are numbered from its own number times this
_TABLES = """
create table jobs (number integer primary key, place text unique, stamp text, line text, times text);
create virtual table passages using fts5 (folded, kind unindexed, day unindexed, said unindexed);
"""


class Index:
    """The jobs of one shop, up to date when it was made. Close it, or use it in a ``with``.

    Parameters
    ----------
    shop : Path
        The folder with the jobs.
    progress : callable
        Told how many folders are read, of how many that changed.
    anew : bool
        Throw away what is kept, and read every folder.

    Raises
    ------
    DescriptionError
        When there is no such folder.
    """

    def __init__(self, shop: str | Path, progress: Progress | None = None, *, anew: bool = False) -> None:
        self.shop = Path(shop)
        self._file = _index_file(self.shop)
        found = look_through(self.shop)
        if anew:
            _throw_away(self._file)
        try:
            self._connection = self._opened(self._file)
            self._renew(found.jobs, progress)
        except sqlite3.DatabaseError:  # damaged, of another kind, or held by another for too long
            with contextlib.suppress(AttributeError, sqlite3.Error):
                self._connection.close()
            _throw_away(self._file)
            self._connection = self._opened(None)
            self._renew(found.jobs, progress)
        self._others = [JobLine(place, fault=wrong) for place, wrong in found.others.items()]

    def __enter__(self) -> Index:
        return self

    def __exit__(self, *_: object) -> None:
        self.close()

    def close(self) -> None:
        """Let go of the file."""
        self._connection.close()

    def lines(self) -> list[JobLine]:
        """A line for each job, and for each folder that holds none or one that cannot be read."""
        rows = self._connection.execute("select line from jobs order by place").fetchall()
        told = json.loads(f"[{','.join(line for (line,) in rows)}]")  # in one go: 5,000 calls take five times as long
        return [*(JobLine(*line) for line in told), *self._others]

    def times(self, but: Path | None = None) -> list[tuple[str, int, int]]:
        """Kind, steps and minutes [min] of the sessions of one kind in every job; those of one folder left out."""
        own = but.resolve() if but else None
        rows = self._connection.execute("select place, times from jobs where times != '[]' order by place").fetchall()
        told = [json.loads(times) for place, times in rows if (self.shop / place).resolve() != own]
        return [(str(kind), int(steps), int(minutes)) for each in told for kind, steps, minutes in each]

    def search(self, words: Sequence[str]) -> list[str]:
        """Find the jobs in which every word stands somewhere, by their places.

        A word is found in any case, and where longer words begin with it; one with figures in it is found as a whole,
        however its value is written.
        """
        asked = _phrases(words)
        if not asked:
            return []
        jobs = set.intersection(*(self._jobs_with(each) for each in asked))
        rows = self._connection.execute("select number, place from jobs order by place")
        return [place for number, place in rows if number in jobs]

    def passages(self, words: Sequence[str], places: Iterable[str]) -> dict[str, list[Passage]]:
        """The passages of jobs, by their places, in which any of the words stand."""
        some = "select kind, day, said from passages where passages match ? and rowid >= ? and rowid < ? order by rowid"
        asked, found = " OR ".join(_phrases(words)), {}
        for place in places if asked else ():
            for (number,) in self._connection.execute("select number from jobs where place = ?", (place,)):
                rows = self._connection.execute(some, (asked, number * _SHIFT, (number + 1) * _SHIFT))
                found[place] = [Passage(*row) for row in rows]
        return found

    def _jobs_with(self, phrase: str) -> set[int]:
        rows = self._connection.execute("select rowid from passages where passages match ?", (phrase,))
        return {row // _SHIFT for (row,) in rows}

    def _opened(self, file: Path | None) -> sqlite3.Connection:
        """The file as a database with our tables; in memory where there can be no file."""
        if file is not None:
            with contextlib.suppress(OSError):
                file.parent.mkdir(parents=True, exist_ok=True)
        try:
            connection = sqlite3.connect(file or ":memory:", timeout=_PATIENCE, isolation_level=None)
            (form,) = connection.execute("pragma user_version").fetchone()
        except sqlite3.OperationalError:
            if file is None:
                raise
            return self._opened(None)
        if form != _form():
            with _alone(connection):
                for name in ("jobs", "passages"):
                    connection.execute(f"drop table if exists {name}")
                for each in _TABLES.strip().splitlines():
                    connection.execute(each)
                connection.execute(f"pragma user_version = {_form()}")
        return connection

    def _renew(self, jobs: dict[str, str], progress: Progress | None) -> None:
        """Read the folders whose file is not as it was, and drop those that are gone."""
        known = dict(self._connection.execute("select place, stamp from jobs"))
        gone = [place for place in known if place not in jobs]
        changed = [place for place, stamp in jobs.items() if known.get(place) != stamp]
        if not gone and not changed:
            return
        with _alone(self._connection):
            for place in gone:
                self._drop(place)
        # In pieces: whoever stops it keeps what was read.
        for begin in range(0, len(changed), _PIECE):
            with _alone(self._connection):
                for done, place in enumerate(changed[begin : begin + _PIECE], begin + 1):
                    self._drop(place)
                    self._put(place, jobs[place], _read(self.shop / place, place))
                    if progress:
                        progress(done, len(changed), "jobs read")

    def _drop(self, place: str) -> None:
        for (number,) in self._connection.execute("select number from jobs where place = ?", (place,)).fetchall():
            rows = (number * _SHIFT, (number + 1) * _SHIFT)
            self._connection.execute("delete from passages where rowid >= ? and rowid < ?", rows)
            self._connection.execute("delete from jobs where number = ?", (number,))

    def _put(self, place: str, stamp: str, read: _ReadJob) -> None:
        told = read.passages
        row = (place, stamp, json.dumps(astuple(read.line)), json.dumps(read.times))
        insert = "insert into jobs (place, stamp, line, times) values (?, ?, ?, ?)"
        number = self._connection.execute(insert, row).lastrowid or 0
        rows = [(number * _SHIFT + n, fold(each.text), each.kind, each.date, each.text) for n, each in enumerate(told)]
        some = "insert into passages (rowid, folded, kind, day, said) values (?, ?, ?, ?, ?)"
        self._connection.executemany(some, rows)


def _form() -> int:
    """Of the tables and what is in them, as a number that sqlite keeps."""
    return zlib.crc32(repr((_FORM, FORMAT, COLUMNS)).encode()) & 0x7FFFFFFF


def _index_file(shop: Path) -> Path:
    where = hashlib.sha256(str(shop.resolve()).encode("utf-8", "surrogateescape")).hexdigest()[:16]
    return kept_folder() / f"shop-{where}.sqlite"


def _throw_away(file: Path) -> None:
    with contextlib.suppress(OSError):
        file.unlink(missing_ok=True)


@contextlib.contextmanager
def _alone(connection: sqlite3.Connection) -> Iterator[None]:
    """Write as one: all of it or nothing, and nobody else meanwhile."""
    connection.execute("begin immediate")
    try:
        yield
    except BaseException:
        connection.execute("rollback")
        raise
    connection.execute("commit")


@dataclass(frozen=True)
class _ReadJob:
    """What the index takes of a job: its line, what can be searched for, its sessions of one kind."""

    line: JobLine
    passages: list[Passage]
    times: list[tuple[str, int, int]] = field(default_factory=list)


def _read(folder: Path, place: str) -> _ReadJob:
    """What the index takes of a job; of one that cannot be read, why."""
    try:
        record = read_record(folder)
    except DescriptionError as problem:
        return _ReadJob(JobLine(place, fault=str(problem)), [Passage("folder", "", place)])
    frozen = dict(_frozen_tables(folder, record))
    amp = frozen.get(f"{record.amp}.toml", {}).get("name")
    line = job_line(place, record, amp if isinstance(amp, str) else "")
    told = [Passage("folder", "", place), *passages(record, frozen)]
    return _ReadJob(line, told, sessions_of_one_kind(record.sessions))


def _frozen_tables(folder: Path, record: Record) -> Iterator[tuple[str, dict[str, object]]]:
    """The tables of the amp and the mods as they lie there; whether they are as frozen is seen when the job opens."""
    wanted = {f"{name}.toml" for name in (record.amp, *record.mods)}
    for each in record.frozen:
        if each.file in wanted:
            with contextlib.suppress(DescriptionError):
                yield each.file, toml_tables(read_bounded(path_inside(folder, each.place)), each.file)


def _phrases(words: Sequence[str]) -> list[str]:
    return [phrase for phrase in map(_phrase, words) if phrase]


def _phrase(word: str) -> str:
    """A word as the index asks for it; "" for one of nothing but signs."""
    folded = fold(word)
    if not any(map(str.isalnum, folded)):
        return ""
    quoted = '"{}"'.format(folded.replace('"', " "))
    return quoted if any(map(str.isdigit, folded)) else f"{quoted} *"
