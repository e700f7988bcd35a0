"""A whole job in one file: a zip of its folder with the sha256 of every file, checked when it is opened again."""

from __future__ import annotations

import contextlib
import hashlib
import os
import secrets
import shutil
import stat
import struct
import zipfile
import zlib
from collections.abc import Iterator
from pathlib import Path
from typing import IO, Literal

from ...base.errors import DescriptionError, shown
from ...base.files import check_name, lock_folder, printable
from ...base.system import patiently
from ...library.loader import FILE
from ..record.data import Record
from ..record.frozen import open_job
from ..record.paths import check_file_name, path_inside
from ..record.reading import job_file, read_record

CONTENTS = "contents.sha256"
"""The list of the files in a pack: a line with sha256 and name for each, as `sha256sum --check` reads it."""
_MOST_FILES, _MOST_BYTES = 20_000, 8 << 30
_MOST_LIST = 10_000_000
_CHUNK = 1 << 20
_COMPRESSED = (zipfile.ZIP_STORED, zipfile.ZIP_DEFLATED)
_WRITE: Literal["w"] = "w"  # a member of a zip takes bytes, whatever its mode is called


def pack(folder: str | Path, path: str | Path | None = None) -> Path:
    """Write everything in a job folder into one zip, with the sha256 of every file.

    Parameters
    ----------
    folder : str or Path
        The job folder.
    path : str or Path
        Default: the folder's name with the ending "zip", beside the folder.

    Raises
    ------
    DescriptionError
        When there is no job, a file has a name that would not come out of the zip again, or it cannot be written;
        a zip that was there then is as it was.
    """
    read_record(folder)
    home = job_file(folder).parent
    target = Path(path) if path is not None else home.resolve().with_suffix(".zip")
    check_name(target)
    partial = target.with_name(f"{target.name}.{secrets.token_hex(4)}.part")
    try:
        target.parent.mkdir(parents=True, exist_ok=True)
        with lock_folder(home):
            files = [each for each in _files_of(home) if each[1].resolve() not in (target.resolve(), partial.resolve())]
            _write(files, partial)
        patiently(lambda: os.replace(partial, target))
    except OSError as problem:
        raise DescriptionError(f"{printable(target)}: cannot be written: {problem.strerror}") from None
    finally:
        with contextlib.suppress(OSError):
            partial.unlink(missing_ok=True)
    return target


def unpack(path: str | Path, folder: str | Path) -> Record:
    """Open a packed job into a new folder, once every file in it was found to be as it was packed.

    Parameters
    ----------
    path : str or Path
        A zip of `pack`.
    folder : str or Path
        Made; nothing may be there yet.

    Returns
    -------
    Record
        Of the job, which opened.

    Raises
    ------
    DescriptionError
        When it is no such zip, a file is not as it was packed, is missing, was added or has a name that leads out of
        the folder; when the job in it does not open, or nothing can be written. No folder is left then.
    """
    source, home = Path(path), Path(folder)
    check_name(home, "a job's folder")
    if home.exists() and not (home.is_dir() and not any(home.iterdir())):
        raise DescriptionError(f"{printable(home)}: there is something already; name a new folder")
    beside = home.with_name(f"{home.name}.{secrets.token_hex(4)}.part")
    try:
        _extract(source, beside)
        record = read_record(beside)
        open_job(record, beside)
        if home.is_dir():
            home.rmdir()
        patiently(lambda: os.replace(beside, home))
    except (zipfile.BadZipFile, zlib.error, struct.error, EOFError, ValueError) as problem:
        raise DescriptionError(f"{printable(source)}: not a sound zip: {problem}") from None
    except (RuntimeError, NotImplementedError) as problem:  # encrypted, or compressed in another way
        raise DescriptionError(f"{printable(source)}: not a job that was packed here: {problem}") from None
    except OSError as problem:
        what = printable(problem.filename or home)
        raise DescriptionError(f"{what}: {problem.strerror or problem}") from None
    finally:
        shutil.rmtree(beside, ignore_errors=True)
    return record


def _files_of(home: Path) -> Iterator[tuple[str, Path]]:
    """Every file of a job by its name there; what programs keep hidden or half-written is left out."""
    for place, folders, names in os.walk(home, followlinks=False):
        folders[:] = sorted(each for each in folders if not each.startswith("."))
        linked = [each for each in folders if Path(place, each).is_symlink()]
        for name in sorted([*names, *linked]):
            path = Path(place, name)
            if name.startswith(".") or name.endswith(".part") or (place == str(home) and name == CONTENTS):
                continue
            inside = path.relative_to(home).as_posix()
            try:
                check_file_name(inside)
            except DescriptionError:
                raise DescriptionError(f"{printable(path)}: no file of a job can have this name; rename it") from None
            if not stat.S_ISREG(path.lstat().st_mode):
                raise DescriptionError(f"{printable(path)}: not a plain file; put the file itself there")
            yield inside, path


def _write(files: list[tuple[str, Path]], partial: Path) -> None:
    with open(partial, "xb") as file:
        with zipfile.ZipFile(file, "w", zipfile.ZIP_DEFLATED) as made:
            lines = []
            for name, path in files:
                entry = zipfile.ZipInfo.from_file(path, name, strict_timestamps=False)
                entry.compress_type = zipfile.ZIP_DEFLATED
                with open(path, "rb") as read, made.open(entry, _WRITE) as written:
                    lines.append(f"{_copy(read, written)}  {name}\n")
            made.writestr(CONTENTS, "".join(lines))
        file.flush()
        os.fsync(file.fileno())


def _copy(read: IO[bytes], written: IO[bytes]) -> str:
    """Copy a file and give its sha256."""
    digest = hashlib.sha256()
    while piece := read.read(_CHUNK):
        digest.update(piece)
        written.write(piece)
    return digest.hexdigest()


def _extract(source: Path, folder: Path) -> None:
    if not source.is_file():
        raise DescriptionError(f"{printable(source)}: there is no such file")
    with zipfile.ZipFile(source) as packed:
        entries = _entries(packed, source)
        wanted = _contents(packed, entries, source)
        folder.mkdir(parents=True)
        for name, entry in entries.items():
            path = path_inside(folder, name)
            path.parent.mkdir(parents=True, exist_ok=True)
            with packed.open(entry) as read, open(path, "xb") as written:
                if _copy(read, written) != wanted[name]:
                    raise DescriptionError(f"{printable(source)}: {name} is not as it was packed")


def _entries(packed: zipfile.ZipFile, source: Path) -> dict[str, zipfile.ZipInfo]:
    """The files of a pack by name, the list of contents aside."""
    found: dict[str, zipfile.ZipInfo] = {}
    names, size = set[str](), 0
    for entry in packed.infolist():
        if entry.is_dir():
            continue
        # Others than ours are undone in one go: a file of a few hundred bytes then takes gigabytes of memory.
        if entry.compress_type not in _COMPRESSED:
            raise DescriptionError(
                f"{printable(source)}: {shown(entry.filename)} is compressed otherwise than it was packed"
            )
        if entry.filename == CONTENTS:
            continue
        name = check_file_name(entry.filename)
        size += entry.file_size
        kind = stat.S_IFMT(entry.external_attr >> 16)
        if kind and not stat.S_ISREG(kind):
            raise DescriptionError(f"{printable(source)}: {name} is no plain file")
        if name.casefold() in names:
            raise DescriptionError(f"{printable(source)}: {name} is in it twice")
        names.add(name.casefold())
        found[name] = entry
        if len(found) > _MOST_FILES or size > _MOST_BYTES:
            raise DescriptionError(f"{printable(source)}: more than {_MOST_FILES:,} files or {_MOST_BYTES >> 30} GB")
    return found


def _contents(packed: zipfile.ZipFile, entries: dict[str, zipfile.ZipInfo], source: Path) -> dict[str, str]:
    """The sha256 of each file, from the list of contents."""
    try:
        with packed.open(CONTENTS) as file:
            text = file.read(_MOST_LIST).decode("utf-8", "replace")
    except KeyError:
        raise DescriptionError(f"{printable(source)}: no job that was packed: it holds no {CONTENTS}") from None
    pairs = (line.split("  ", 1) for line in text.splitlines() if "  " in line)
    listed = {name: digest for digest, name in pairs}
    if FILE not in listed:
        raise DescriptionError(f"{printable(source)}: no job that was packed: there is no {FILE} in it")
    for name in sorted(set(listed) ^ set(entries)):
        wrong = "is missing" if name in listed else "was added after it was packed"
        raise DescriptionError(f"{printable(source)}: {shown(name)} {wrong}")
    return listed
