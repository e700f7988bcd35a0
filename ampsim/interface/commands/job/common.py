"""What the steps of a job share: how they are listed, opening the folder, and where things are put in it."""

from __future__ import annotations

import argparse
import datetime
import textwrap
from collections.abc import Callable
from pathlib import Path
from typing import TYPE_CHECKING, Any

from ....base.errors import DescriptionError, nearest, shown
from ....base.quantities import Quantity, parse_value
from ....job.record.words import Phase
from .. import common

if TYPE_CHECKING:
    from ....job.record.data import Record
    from ....job.record.frozen import Opened
    from ....studies.audition_request import Audition

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
        parser.add_argument("folder", type=common.named_path, help="the job's folder")
        parser.set_defaults(command=command)
        return parser


def day(text: str) -> datetime.date:
    """A day that was given.

    Raises
    ------
    argparse.ArgumentTypeError
        For what is no day of the calendar.
    """
    try:
        return datetime.date.fromisoformat(text)
    except ValueError:
        raise argparse.ArgumentTypeError(f"{shown(text)} is not a date; written for example 2027-03-01") from None


def open_record(options: argparse.Namespace) -> tuple[Record, Opened]:
    """The record of the folder, and what its frozen files open to."""
    from ....job.record.frozen import open_job
    from ....job.record.reading import read_record

    record = read_record(options.folder)
    return record, open_job(record, options.folder)


def open_record_audition(folder: str | Path) -> tuple[Record, Audition]:
    """The record of a folder, and the job as an audition."""
    from ....job.record.frozen import open_audition
    from ....job.record.reading import read_record

    record = read_record(folder)
    return record, open_audition(record, folder)


def job_folder(options: argparse.Namespace) -> Path:
    """The job's folder, also where its job file was named."""
    from ....job.record.reading import job_file

    return job_file(options.folder).parent


def output_path(options: argparse.Namespace, name: str) -> Path:
    """Where something is written: as `--to` says, else this file or folder of the job; refused if nothing can be."""
    from ....base.files import refuse_unwritable
    from ....job.record.paths import path_inside

    path: Path = options.to or path_inside(job_folder(options), name)
    refuse_unwritable(path.parent)
    return path


def to_option(parser: argparse.ArgumentParser, what: str, default: str) -> None:
    """Add `--to`; by default something is written into the job's folder."""
    common.to_option(parser, what, f"{default} in the job's folder")


def paper_options(parser: argparse.ArgumentParser, name: str) -> None:
    """Add `--to` and `--paper` of a page that is written as HTML and PDF."""
    to_option(parser, "the HTML file; the PDF stands beside it", f"papers/{name}.html")
    parser.add_argument("--paper", choices=("A4", "Letter"), default="A4", help="default: A4")


def announce(what: str, path: Path, paper: str, appendix: bool = False) -> None:
    """Say where a page is, and write it as PDF.

    Parameters
    ----------
    what : str
        What the page is called.
    path : Path
        The page.
    paper : str
        "A4" or "Letter".
    appendix : bool
        Print what is folded on the page as well.
    """
    from ....job.papers.pdf import write_pdf

    print(f"The {what} is {path}")
    print(f"On paper ({paper}): {write_pdf(path, paper=paper, appendix=appendix)}")


def mains_option(parser: argparse.ArgumentParser) -> None:
    """Add `--mains-drawn`."""
    parser.add_argument("--mains-drawn", help="the mains that the drawing's volts hold for, such as 230")


def drawn_mains(options: argparse.Namespace) -> float | None:
    """The mains of `--mains-drawn` [V]; None where it was not given."""
    return None if options.mains_drawn is None else parse_value(options.mains_drawn, _MAINS, "--mains-drawn")


def round_option(parser: argparse.ArgumentParser) -> None:
    """Add `--round`: in which phase of the job something was measured."""
    first, *others = Phase
    known = " or ".join(f'"{each}"' for each in (first, *others))
    parser.add_argument("--round", default=first.value, help=f"the round: {known} (default: {first})")


def asked_phase(options: argparse.Namespace) -> Phase:
    """The phase that `--round` names.

    Raises
    ------
    DescriptionError
        For one that a job does not have.
    """
    known = [each.value for each in Phase]
    if options.round not in known:
        raise DescriptionError(f"--round: {shown(options.round)} is no round of a job{nearest(options.round, known)}")
    return Phase(options.round)
