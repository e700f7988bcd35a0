"""The frozen files of a job: taken in once, never overwritten, checked whenever the job opens."""

from __future__ import annotations

import datetime
import hashlib
from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from typing import TYPE_CHECKING

from ... import __version__
from ...base.entries import Entry
from ...base.errors import DescriptionError, shown
from ...base.files import bare_name, lock_folder, names_device, read_bounded, write_whole
from ...base.line_ends import plain_ends
from ...circuit.amp import Amp
from ...library.auditions import read_audition
from ...library.finders import from_both, from_disk, from_frozen
from ...library.landing import apply_mods, land_mods
from ...library.loader import Loader
from ...library.mod_names import called
from ...library.mod_text import mod_text
from ...library.mounting import with_mounting
from ...library.toml_lines import with_line
from .data import Change, Frozen, Record
from .paths import path_inside
from .reading import job_file
from .words import Phase

if TYPE_CHECKING:
    from ...studies.audition_request import Audition
    from ...studies.search.wishes import Drawer, WishList

_LONGEST = 80


@dataclass(frozen=True)
class Opened:
    """What a job opens to; `drawer` is None where it has none, `wishes` go by the name of their file."""

    stock: Amp
    modded: Amp
    drawer: Drawer | None
    wishes: dict[str, WishList]

    def amp(self, phase: Phase) -> Amp:
        """The amp that was on the bench in a phase: without its mods on arrival."""
        return self.stock if phase == Phase.ARRIVAL else self.modded


def open_job(record: Record, folder: str | Path) -> Opened:
    """Open amp, mods, drawer and wishes of a job from its frozen files alone.

    A job of format 1 has none before it is saved: it opens from the files that it names.

    Raises
    ------
    DescriptionError
        When a frozen file is missing or has changed, naming each; or for mistakes in them.
    """
    if not record.frozen:
        return _open_all(record, Loader(from_disk(), record.file), job_file(folder).parent)
    return _open_all(record, Loader(from_frozen(_contents(record, folder)), record.file), None)


def open_audition(record: Record, folder: str | Path) -> Audition:
    """The job as an audition: what pictures, pages and the sheet of consequences are made from.

    Raises
    ------
    DescriptionError
        As `open_job`; for a job without mods; and for mistakes in the entries that say what to show, with their line.
    """
    if not record.mods:
        raise DescriptionError(f"{record.file}: mods: there are none yet, so there is nothing to compare; take one in")
    opened = open_job(record, folder)
    tables = {"name": record.name, "amp": record.amp, "mods": list(record.mods), **record.audition}
    try:
        return read_audition(tables, record.file, opened.stock, opened.modded)
    except DescriptionError as problem:
        text = read_bounded(job_file(folder)).decode("utf-8", "replace")
        raise DescriptionError(with_line(str(problem), record.file, text)) from None


def frozen_faults(record: Record, folder: str | Path) -> list[str]:
    """What is wrong with the frozen files, a sentence for each that is missing or not as it was; none when all is well.

    Raises
    ------
    DescriptionError
        When a link leads out of the job folder.
    """
    return [words for each in record.frozen if (words := _wrong(each, _read(each, folder)))]


def freeze_files(
    record: Record,
    folder: str | Path,
    *,
    amp: str | Path | None = None,
    mods: Sequence[str | Path] | None = None,
    drawer: str | Path | None = None,
    wishes: Sequence[str | Path] = (),
    date: datetime.date | None = None,
) -> Record:
    """Freeze files into a job, with every valve, amp and mod they need; save the record afterwards.

    A file is never overwritten: one of the
    same name and other content is kept under another name, and the one before stays. A valve that the job has frozen
    already is used as it was.

    Parameters
    ----------
    record : Record
    folder : str or Path
        The job's folder.
    amp, mods, drawer
        Files, or names of those that come with ampsim; what is not given stays as it is.
    wishes : sequence of str or Path
        Wish files to add.
    date : datetime.date
        Default today.

    Raises
    ------
    DescriptionError
        For files that are not there, have mistakes or do not go together; nothing is frozen then.
    """
    if not record.frozen and amp is None:
        with lock_folder(Path(folder)):
            record = freeze_named(record, Path(folder))
    before = _contents(record, folder)
    loader = Loader(from_both(before), record.file)
    if amp is not None:
        record = replace(record, amp=_open(loader.amp, amp))
    if mods is not None:
        record = replace(record, mods=tuple(_open(loader.mod, each) for each in mods))
    if drawer is not None:
        record = replace(record, drawer=_open(loader.drawer, drawer))
    for each in wishes:
        _open(loader.wishes, each)
    trial = Loader(from_frozen(before | loader.files), record.file)
    _open_all(record, trial, None)
    landed = {name: data for name, data in trial.files.items() if data != (before | loader.files).get(name)}
    return _frozen(record, Path(folder), loader.files | landed, date)


def accept_frozen(record: Record, folder: str | Path, date: datetime.date | None = None) -> Record:
    """Take frozen files as they are now, after somebody edited them; save the record afterwards.

    The checksums they had go into the history.

    Raises
    ------
    DescriptionError
        When one is missing, has a mistake, or they do not go together.
    """
    day = date or datetime.date.today()
    found = {each.file: _read(each, folder) for each in record.frozen}
    missing = [name for name, data in found.items() if data is None]
    if missing:
        raise DescriptionError(f"{', '.join(missing)}: not there; put it back into the folder of frozen files")
    files = {name: data for name, data in found.items() if data is not None}
    lines, kept = [], []
    for number, each in enumerate(record.frozen, 1):
        digest = _digest(files[each.file])
        if _is_as_frozen(each, files[each.file]):
            digest = each.sha256
        else:
            lines.append(Change(day, f"frozen[{number}].sha256", each.sha256, digest))
        kept.append(replace(each, sha256=digest))
    record = replace(record, frozen=tuple(kept), history=(*record.history, *lines))
    # An edited amp may have another valve, which is not frozen yet.
    here = Path(folder) / "frozen"
    find = from_both(files)
    loader = Loader(lambda word, kind, beside, where: find(word, kind, beside or here, where), record.file)
    _open_all(record, loader, None)
    return _frozen(record, Path(folder), {n: data for n, data in loader.files.items() if n not in files}, day)


def freeze_named(record: Record, folder: Path) -> Record:
    """Freeze what a job of format 1 names; the caller holds the folder's lock."""
    loader = Loader(from_disk(), record.file)
    _open_all(record, loader, folder)
    return _store(record, folder, loader.files, datetime.date.today())


def _open_all(record: Record, loader: Loader, beside: Path | None) -> Opened:
    stock = loader.amp(record.amp, beside, f"{record.file}: amp")
    stock = with_mounting(stock, Entry(dict(record.mounting), record.file, "mounting"))
    landed = land_mods(stock, [loader.mod(each, beside, f"{record.file}: mods") for each in record.mods])
    for name, (_, tables) in zip(record.mods, landed, strict=True):
        if tables:  # it said places by what they are: what is kept is where it landed
            loader.files[f"{name}.toml"] = mod_text(tables)
    modded = apply_mods(stock, *(mod for mod, _ in landed))
    drawer = loader.drawer(record.drawer, beside, f"{record.file}: drawer") if record.drawer else None
    names = dict.fromkeys(each.wish for each in record.wishes if each.wish)
    wishes = {name: loader.wishes(name, beside, f"{record.file}: wishes") for name in names}
    for number, each in enumerate(record.wishes, 1):
        if each.wish and each.entry > len(wishes[each.wish].wishes):
            count = len(wishes[each.wish].wishes)
            raise DescriptionError(
                f"{record.file}: wishes[{number}].entry: {each.entry}; {each.wish} has {count} wishes"
            )
    return Opened(stock, modded, drawer, wishes)


def _open(opening: Callable[[str], object], name: str | Path) -> str:
    stem = called(name)
    if names_device(stem):
        raise DescriptionError(f"{shown(str(name))}: Windows keeps no file of this name; call it another")
    if bare_name(stem) is None or len(stem) > _LONGEST:
        raise DescriptionError(f"{shown(str(name))}: files of a job are called with letters, digits, blanks, - and _")
    opening(str(name))
    return stem


def _frozen(record: Record, folder: Path, files: dict[str, bytes], date: datetime.date | None) -> Record:
    with lock_folder(folder):
        return _store(record, folder, files, date or datetime.date.today())


def _store(record: Record, folder: Path, files: dict[str, bytes], date: datetime.date) -> Record:
    frozen, lines = {each.file: each for each in record.frozen}, []
    for name, data in sorted(files.items()):
        digest = _digest(data)
        if name in frozen and _is_as_frozen(frozen[name], data):
            continue
        if name in frozen:
            lines.append(Change(date, f"frozen[{[*frozen].index(name) + 1}].sha256", frozen[name].sha256, digest))
        kept = _free_name(folder, name, data)
        write_whole(path_inside(folder, f"frozen/{kept}"), data)
        frozen[name] = Frozen(name, digest, __version__, date, kept if kept != name else "")
    return replace(record, frozen=tuple(frozen.values()), history=(*record.history, *lines))


def _free_name(folder: Path, name: str, data: bytes) -> str:
    """A name under which nothing else lies; the first is the file's own."""
    stem, number, free = name.removesuffix(".toml"), 1, name
    while True:
        path = path_inside(folder, f"frozen/{free}")
        if not path.exists() or (path.is_file() and path.read_bytes() == data):
            return free
        number += 1
        free = f"{stem} {number}.toml"


def _contents(record: Record, folder: str | Path) -> dict[str, bytes]:
    found = [(each, _read(each, folder)) for each in record.frozen]
    wrong = [words for each, data in found if (words := _wrong(each, data))]
    if wrong:
        raise DescriptionError("\n".join([*wrong, "Put it back as it was, or accept it as it is now."]))
    return {each.file: data for each, data in found if data is not None}


def _read(each: Frozen, folder: str | Path) -> bytes | None:
    path = path_inside(job_file(folder).parent, each.place)
    return read_bounded(path) if path.exists() else None


def _wrong(each: Frozen, data: bytes | None) -> str:
    if data is None:
        return f"{each.place}: missing; it was frozen on {each.date}"
    if not _is_as_frozen(each, data):
        return (
            f"{each.place}: not as it was frozen on {each.date} (sha256 {_digest(data)[:12]}, then {each.sha256[:12]})"
        )
    return ""


def _is_as_frozen(each: Frozen, data: bytes) -> bool:
    """Whether a file is what was frozen; an editor, or git between two systems, may have changed its line ends."""
    plain = plain_ends(data)
    return each.sha256 in map(_digest, (data, plain, plain.replace(b"\n", b"\r\n")))


def _digest(data: bytes) -> str:
    return hashlib.sha256(data).hexdigest()
