"""Files in and out: read within bounds, written as a whole, one program at a time."""

from __future__ import annotations

import contextlib
import errno
import hashlib
import os
import re
import secrets
import tempfile
from collections.abc import Iterator
from pathlib import Path

from .errors import DescriptionError, shown
from .system import patiently

# What a person writes by hand is smaller than this [bytes].
MOST_BYTES = 1_000_000
_LOCK = ".job.lock"
_PATIENCE = 10.0  # s
_PAUSE = 0.02  # s
_ROOM = 1 << 20  # bytes that are tried
# What common file systems take for one name [bytes]; with our endings; and a title in a name [characters].
_LONGEST_NAME, _LONGEST_STEM, _LONGEST_WORD = 240, 200, 60
# What Windows takes for a device, whatever the ending: such a file cannot be kept there.
_DEVICE = re.compile(r"(con|prn|aux|nul|(com|lpt)[1-9]) *(\..*)?", re.IGNORECASE)
_BARE = re.compile(r"[A-Za-z0-9][A-Za-z0-9_ -]{0,90}")


def read_bounded(path: str | Path, most: int = MOST_BYTES) -> bytes:
    """All bytes of a plain file of at most `most` bytes.

    Raises
    ------
    DescriptionError
        When there is no such file, it is none (a folder, a pipe, a device), too large, or cannot be read.
    """
    file = Path(path)
    try:
        # A pipe or a device has no size and may have no end.
        if not file.is_file():
            wrong = "not a plain file" if file.exists() else "there is no such file"
            raise DescriptionError(f"{printable(file)}: {wrong}")
        with patiently(lambda: open(file, "rb")) as opened:
            data = opened.read(most + 1)
            size = max(file.stat().st_size, len(data))
    except (OSError, ValueError) as problem:  # ValueError: a null byte in the name
        reason = getattr(problem, "strerror", None) or "its name cannot be used"
        raise DescriptionError(f"{printable(file)}: cannot be read: {reason}") from None
    if len(data) > most:
        raise DescriptionError(f"{printable(file.name)}: {size:,} bytes; at most {most:,} are read")
    return data


def printable(path: str | Path) -> str:
    """A path for a message; one with control characters in its name is quoted."""
    text = str(path)
    return text if text.isprintable() and len(text) < 500 else shown(text)


def shipped_folder(name: str, holding: str = ".") -> Path:
    """The folder of this name, with something in it, that comes with ampsim: in the package, or beside it in a clone.

    Raises
    ------
    DescriptionError
        When there is none.
    """
    package = Path(__file__).resolve().parents[1]
    for folder in (package / name, package.parent / name):
        if (folder / holding).is_dir():
            return folder
    raise DescriptionError(f"the folder '{name}' is missing beside or in {package}; install ampsim again")


def write_whole(path: Path, content: bytes | str) -> Path:
    """Write beside the file and put it in its place only when all of it is on the disk.

    Parameters
    ----------
    path : Path
        Missing folders are made; permissions of a file that is there are kept.
    content : bytes or str
        Text is written as UTF-8 with plain line feeds.

    Raises
    ------
    DescriptionError
        When it has no name or one too long, or cannot be written (no room left, no permission); the old file then
        is as it was.
    """
    check_name(path)
    partial = path.with_name(f"{path.name[:_LONGEST_STEM]}.{secrets.token_hex(4)}.part")
    data = content.encode() if isinstance(content, str) else content
    try:
        path.parent.mkdir(parents=True, exist_ok=True)
        with open(partial, "xb") as file:
            file.write(data)
            file.flush()
            os.fsync(file.fileno())
        if path.exists():
            os.chmod(partial, path.stat().st_mode & 0o777)
        patiently(lambda: os.replace(partial, path))
        _sync_folder(path.parent)
    except OSError as problem:
        with contextlib.suppress(OSError):
            os.chmod(partial, 0o600)  # a file that may not be written cannot be removed on every system
            partial.unlink()
        kept = "; the old file is as it was" if path.is_file() else ""
        raise DescriptionError(f"{path}: cannot be written: {problem.strerror}{kept}") from None
    return path


def refuse_unwritable(folder: Path) -> None:
    """Try, before long work, whether files can be written into a folder that is there or is still to be made.

    Raises
    ------
    DescriptionError
        When they cannot: no permission, no room left, a file in the way, or a name that the system does not take.
    """
    try:
        if _unusable(folder):
            raise OSError(errno.ENAMETOOLONG, _unusable(folder))
        home = next(each for each in (folder, *folder.absolute().parents) if each.exists())
        if not home.is_dir():
            raise OSError(errno.ENOTDIR, f"{printable(home.name)} is a file, not a folder")
        with tempfile.TemporaryFile(dir=home) as trial:
            trial.write(bytes(_ROOM))
            trial.flush()
            os.fsync(trial.fileno())
    except OSError as problem:
        raise DescriptionError(f"{printable(folder)}: nothing can be written there: {problem.strerror}") from None


def _sync_folder(folder: Path) -> None:
    """Make the new name itself last through a power cut, where the system can."""
    with contextlib.suppress(OSError):
        handle = os.open(folder, os.O_RDONLY)
        try:
            os.fsync(handle)
        finally:
            os.close(handle)


@contextlib.contextmanager
def lock_folder(folder: Path) -> Iterator[bool]:
    """Hold a job folder for oneself; says whether the system has such locks.

    A program that is killed lets go of it by being killed. The folder is made when it is missing; no link is followed.

    Raises
    ------
    DescriptionError
        When another program holds it for longer than ten seconds, or nothing can be written there.
    """
    from filelock import FileLock, Timeout

    try:
        folder.mkdir(parents=True, exist_ok=True)
        lock = FileLock(folder / _LOCK)
        lock.acquire(timeout=_PATIENCE, poll_interval=_PAUSE)
    except Timeout:
        raise DescriptionError(f"{folder}: another program is writing this job; try again") from None
    except NotImplementedError:  # a file system without locks
        yield False
        return
    except OSError as problem:
        raise DescriptionError(f"{folder}: nothing can be written here: {problem.strerror}") from None
    try:
        yield True
    finally:
        lock.release()


def check_name(path: Path, what: str = "a file") -> None:
    """Refuse a path that can be no new file or folder.

    Raises
    ------
    DescriptionError
        When it has no last name ("", "/", "x/.."), or holds one that no file system takes.
    """
    wrong = _unusable(path)
    if wrong:
        raise DescriptionError(f"{shown(str(path))}: {wrong}")
    if path.name in ("", ".."):
        raise DescriptionError(f"{shown(str(path))} is no name for {what}")


def _unusable(path: Path) -> str:
    """Why no file system takes a path; "" where it may."""
    if "\0" in str(path):
        return "its name cannot be used"
    most = max((len(os.fsencode(each)) for each in path.parts), default=0)
    return f"a name of {most} characters is too long; at most {_LONGEST_NAME}" if most > _LONGEST_NAME else ""


def file_word(text: str) -> str:
    """A title as part of a file's name: small letters, digits and hyphens; a long one is cut, and stays its own."""
    word = re.sub(r"[^a-z0-9]+", "-", text.lower()).strip("-") or "job"
    if names_device(word):
        return f"{word}-file"
    if len(word) <= _LONGEST_WORD:
        return word
    mark = hashlib.sha256(text.encode("utf-8", "replace")).hexdigest()[:4]
    return f"{word[: _LONGEST_WORD - 5].rstrip('-')}-{mark}"


def names_device(name: str) -> bool:
    """Tell whether Windows takes a file's name for a device, so that a folder with it cannot be copied there."""
    return _DEVICE.fullmatch(name) is not None


def bare_name(name: object) -> str | None:
    """The bare name of an amp, a mod or a like file without its ending; None for what is no such name."""
    bare = name.removesuffix(".toml") if isinstance(name, str) else ""
    return bare if _BARE.fullmatch(bare) else None
