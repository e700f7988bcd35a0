"""Files that are kept by content in one bounded folder: what takes long is computed once.

Nothing in them is trusted. A file that does not fit its own seal (cut short, altered, of another name) is as good as
none; a folder that cannot be read or written is let be.
"""

from __future__ import annotations

import contextlib
import hashlib
import os
import secrets
import threading
from pathlib import Path

from .errors import DescriptionError
from .files import read_bounded

_SEAL = hashlib.sha256().digest_size
_PER_LOOK = 100
_LOCK = threading.Lock()
_unseen: dict[tuple[Path, str], int] = {}  # bytes that were kept since a folder was gone through, files of one ending


def kept_folder() -> Path:
    """Where files are kept: ``AMPSIM_CACHE``, or the user's own folder for such files."""
    given = os.environ.get("AMPSIM_CACHE")
    if given:
        return Path(given)
    return Path(os.environ.get("XDG_CACHE_HOME") or Path.home() / ".cache", "ampsim", "heard")


def fetch_kept(path: Path, most: int) -> memoryview | None:
    """What a file holds, at most so many bytes, where it is sound; the file used last is dropped last."""
    try:
        data = read_bounded(path, most + _SEAL)
    except DescriptionError:
        return None
    content = memoryview(bytearray(data))[_SEAL:]
    if data[:_SEAL] != _seal(path, content):
        return None
    with contextlib.suppress(OSError):
        os.utime(path)
    return content


def keep(path: Path, *content: bytes | memoryview) -> None:
    """Write a file in one move, of one piece or several: large ones are not put together for it.

    It need not be on the disk at once: one that is torn does not fit its seal.
    """
    partial = path.with_name(f"{path.name}.{secrets.token_hex(4)}.part")
    try:
        path.parent.mkdir(parents=True, exist_ok=True)
        with partial.open("wb") as file:
            file.writelines([_seal(path, *content), *content])
        os.replace(partial, path)
    except OSError:
        with contextlib.suppress(OSError):
            partial.unlink(missing_ok=True)


def keep_within(path: Path, content: bytes, most: int, *more: memoryview) -> None:
    """As `keep`, `most` bytes at most in all files of this ending in its folder, and a hundredth more.

    The folder is gone through once for each such hundredth that was kept, as it may hold ten thousands of files.
    """
    keep(path, content, *more)
    folder = path.parent, path.suffix
    with _LOCK:
        _unseen[folder] = _unseen.get(folder, most) + len(content) + sum(each.nbytes for each in more)
        look = _unseen[folder] * _PER_LOOK >= most
        if look:
            _unseen[folder] = 0
    if look:
        drop_oldest(*folder, most)


def drop_oldest(folder: Path, ending: str, most: int) -> None:
    """Drop the files of an ending used longest ago until they hold at most so many bytes; others stay."""
    found = []
    with contextlib.suppress(OSError):
        for path in folder.glob(f"*{ending}"):
            state = path.stat()
            found.append((state.st_mtime_ns, state.st_size, path))
    held = sum(size for _, size, _ in found)
    for _, size, path in sorted(found):
        if held <= most:
            return
        with contextlib.suppress(OSError):
            path.unlink()
            held -= size


def _seal(path: Path, *content: bytes | memoryview) -> bytes:
    digest = hashlib.sha256(path.name.encode() + b"\0")
    for each in content:
        digest.update(each)
    return digest.digest()
