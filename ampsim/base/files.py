"""Writing a file as a whole: either all of it is on the disk, or what was there before."""

from __future__ import annotations

import contextlib
import os
import re
import secrets
from pathlib import Path

from .errors import DescriptionError

_BARE = re.compile(r"[A-Za-z0-9][A-Za-z0-9_ -]{0,90}")


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
        When it cannot be written (no room left, no permission); the old file then is as it was.
    """
    partial = path.with_name(f"{path.name}.{secrets.token_hex(4)}.part")
    data = content.encode() if isinstance(content, str) else content
    try:
        path.parent.mkdir(parents=True, exist_ok=True)
        with open(partial, "xb") as file:
            file.write(data)
            file.flush()
            os.fsync(file.fileno())
        if path.exists():
            os.chmod(partial, path.stat().st_mode & 0o777)
        os.replace(partial, path)
        _sync_folder(path.parent)
    except OSError as problem:
        with contextlib.suppress(OSError):
            partial.unlink(missing_ok=True)
        kept = "; the old file is as it was" if path.is_file() else ""
        raise DescriptionError(f"{path}: cannot be written: {problem.strerror}{kept}") from None
    return path


def _sync_folder(folder: Path) -> None:
    """Make the new name itself last through a power cut, where the system can."""
    with contextlib.suppress(OSError):
        handle = os.open(folder, os.O_RDONLY)
        try:
            os.fsync(handle)
        finally:
            os.close(handle)


def file_word(text: str) -> str:
    """A title as part of a file's name: small letters, digits and hyphens."""
    return re.sub(r"[^a-z0-9]+", "-", text.lower()).strip("-") or "job"


def bare_name(name: object) -> str | None:
    """The bare name of an amp, a mod or a like file without its ending; None for what is no such name."""
    bare = name.removesuffix(".toml") if isinstance(name, str) else ""
    return bare if _BARE.fullmatch(bare) else None
