"""What the steps of a job share: how they are listed, opening the folder, and where things are put in it."""

from __future__ import annotations

import argparse
import sys
import textwrap
from collections.abc import Callable
from pathlib import Path
from typing import TYPE_CHECKING, Any

from ....base.errors import DescriptionError, nearest, shown
from ....base.quantities import Quantity, parse_value

if TYPE_CHECKING:
    from ....job.record.data import Record
    from ....job.record.frozen import Opened
    from ....studies.audition import Audition

Command = Callable[[argparse.Namespace], None]
_MAINS = Quantity("mains voltage", "V", ("V",), "", 50.0, 500.0)
_WORD, _WIDTH = 16, 78
PAPERS, PICTURES, MEASUREMENTS = "papers", "pictures", "measurements"


class Steps:
    """The steps as they are added: a parser for each, and one list of them in groups."""

    def __init__(self, parsers: Any) -> None:
        self._parsers = parsers
        self._lines: list[str] = []

    @property
    def listed(self) -> str:
        """Every step with what it does, under the headings of `group`."""
        return "\n".join(self._lines).strip()

    def group(self, title: str) -> None:
        """Begin a part of the job."""
        self._lines += ["", f"{title}:"]

    def step(self, name: str, about: str, command: Command) -> argparse.ArgumentParser:
        """Add a step, which takes the job's folder."""
        head = f"  {name}".ljust(_WORD)
        self._lines += textwrap.wrap(about, _WIDTH, initial_indent=head, subsequent_indent=" " * _WORD)
        parser: argparse.ArgumentParser = self._parsers.add_parser(name, description=f"{about[0].upper()}{about[1:]}.")
        parser.add_argument("folder", type=Path, help="the job's folder")
        parser.set_defaults(command=command)
        return parser


def opened(options: argparse.Namespace) -> tuple[Record, Opened]:
    """The record of the folder, and what its frozen files open to."""
    from ....job.record.frozen import open_job
    from ....job.record.reading import read

    record = read(options.folder)
    return record, open_job(record, options.folder)


def audition_of(folder: str | Path) -> tuple[Record, Audition]:
    """The record of a folder, and the job as an audition."""
    from ....job.record.frozen import open_audition
    from ....job.record.reading import read

    record = read(folder)
    return record, open_audition(record, folder)


def home(options: argparse.Namespace) -> Path:
    """The job's folder, also where its job file was named."""
    from ....job.record.reading import job_file

    return job_file(options.folder).parent


def place(options: argparse.Namespace, name: str) -> Path:
    """Where something is written: as `--to` says, else this file or folder of the job."""
    from ....job.record.paths import inside

    return options.to if options.to else inside(home(options), name)


def to_option(parser: argparse.ArgumentParser, what: str, default: str) -> None:
    """Add `--to`."""
    parser.add_argument("--to", type=Path, help=f"{what} (default: {default} in the job's folder)")


def mains_option(parser: argparse.ArgumentParser) -> None:
    """Add `--mains-drawn`."""
    parser.add_argument("--mains-drawn", help="the mains that the drawing's volts hold for, such as 230")


def drawn_mains(options: argparse.Namespace) -> float | None:
    """The mains of `--mains-drawn` [V]; None where it was not given."""
    return None if options.mains_drawn is None else parse_value(options.mains_drawn, _MAINS, "--mains-drawn")


def round_option(parser: argparse.ArgumentParser, default: str) -> None:
    """Add `--round`: which round of measurements."""
    parser.add_argument(
        "--round", default=default, help=f'the round: "on arrival" or "after the mod" (default: {default})'
    )


def known_round(options: argparse.Namespace) -> str:
    """The round that was asked for.

    Raises
    ------
    DescriptionError
        For one that a job does not have.
    """
    from ....job.record.data import PHASES

    if options.round not in PHASES:
        raise DescriptionError(f"--round: {shown(options.round)} is no round of a job{nearest(options.round, PHASES)}")
    return str(options.round)


def said(line: str) -> None:
    """Tell how far the work is, beside what is printed."""
    print(line, file=sys.stderr, flush=True)


def tenths() -> Callable[[int, int], None]:
    """Tell how much of a phrase is played, in tenths of the whole."""
    told = [0]

    def say(done: int, total: int) -> None:
        tenth = 10 * done // total
        if tenth > told[0]:
            told[0] = tenth
            said(f"{10 * tenth} % played")

    return say
