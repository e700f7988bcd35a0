"""Names of files of a job: every one stays within the job folder."""

from __future__ import annotations

from pathlib import Path

from ...base.errors import DescriptionError, shown

_MOST, _DEEPEST = 200, 6


def check_file_name(name: object) -> str:
    """Check the name of a file of the job, such as "measurements/before.csv".

    Raises
    ------
    DescriptionError
        For an absolute name, one with "..", a drive, a hidden or an unprintable piece.
    """
    pieces = name.split("/") if isinstance(name, str) and len(name) <= _MOST and name.isprintable() else []
    wrong = any(not piece.strip(" .") or piece[0] == "." or set(piece) & set('\\:<>"|?*') for piece in pieces)
    if wrong or not 1 <= len(pieces) <= _DEEPEST:
        raise DescriptionError(f"{shown(name)} is not a file of the job; written for example measurements/before.csv")
    return "/".join(pieces)


def path_inside(folder: str | Path, name: object) -> Path:
    """The path of a file of the job, which need not be there.

    Raises
    ------
    DescriptionError
        When the name, or a link on the way, would leave the folder.
    """
    base = Path(folder)
    path = base / check_file_name(name)
    try:
        if not path.resolve().is_relative_to(base.resolve()):
            raise DescriptionError(f"{shown(name)} leads out of the job folder")
    except (OSError, RuntimeError) as problem:  # links in a circle
        raise DescriptionError(f"{shown(name)}: {problem}") from None
    return path
