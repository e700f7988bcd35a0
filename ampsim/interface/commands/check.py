"""`ampsim check`: what was understood of a file."""

from __future__ import annotations

import argparse
from pathlib import Path
from typing import TYPE_CHECKING

from ...base.errors import DescriptionError
from .common import Commands

if TYPE_CHECKING:
    from ...job.record.frozen import Opened

PLACE = 100


def add(commands: Commands) -> None:
    """Add "check"."""
    parser = commands.add_parser("check", help="say what was understood of an amp, mod, job, valve or price file")
    parser.add_argument("file", type=Path, help="a file, a job folder, or the name of what comes along")
    parser.set_defaults(command=_check)


def _check(options: argparse.Namespace) -> None:
    print(explain(options.file))


def explain(path: Path) -> str:
    """Say what was understood of a file, by its path or name, or of a job folder.

    Raises
    ------
    DescriptionError
        For every mistake, naming file, entry, offending value and the nearest valid thing.
    """
    from ...job.record.reading import is_job
    from ...library.explaining import describe_file

    if is_job(path):
        return _job(path)
    if path.is_file() and (path.suffix.lower() == ".csv" or path.name == "shop.toml"):
        from ...job.quote.explaining import describe_prices

        return describe_prices(path)
    return describe_file(path if path.exists() else _that_comes_along(path))


def _that_comes_along(path: Path) -> Path:
    """The file that comes along by a name; a name that nothing has is left as it is."""
    from ...library.files import VALVES, models_in
    from ...library.kinds import listing
    from ...library.type_names import meant_type

    word = str(path)
    words = {folder: meant_type(word, models_in(folder)) if folder in VALVES else word for folder in listing()}
    found = (models_in(folder).get(words[folder]) for folder in listing())
    return next((each for each in found if each), path)


def _job(path: Path) -> str:
    from ...job.job_check import check_job
    from ...job.record.intake import intake
    from ...job.record.reading import read_record

    record = read_record(path)
    found = check_job(record, path)
    wrong = [*found.faults, *(_positions(path, found.opened) if record.positions else [])]
    told = [] if wrong else [str(intake(record, found.opened))]
    told += ["\n".join(["Besides, and it need not be wrong:", *found.remarks])] if found.remarks else []
    if wrong:
        raise DescriptionError("\n".join([*wrong, *told]))
    return "\n\n".join(told)


def _positions(path: Path, opened: Opened | None) -> list[str]:
    """What is wrong with the positions that the panel keeps in a job."""
    from ..panel.positions_file import read_positions

    try:
        if opened:
            read_positions(path, opened.stock, opened.modded)
    except DescriptionError as problem:
        return [str(problem)]
    return []
