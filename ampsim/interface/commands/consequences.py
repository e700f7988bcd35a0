"""`ampsim consequences`: what the mods do besides tone."""

from __future__ import annotations

import argparse
from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING

from ...base.caution import CAUTION_LINE
from ...base.files import refuse_unwritable
from .common import Commands, all_option, asked_audition, audition_options, report_step, to_option, topic_option

if TYPE_CHECKING:
    from ...studies.audition_request import Audition

PLACE = 30


def add(commands: Commands) -> None:
    """Add "consequences"."""
    parser = commands.add_parser(
        "consequences", help="what the mods do besides tone: bias, ratings, stability, noise, pop"
    )
    audition_options(parser)
    topic_option(parser)
    all_option(parser)
    to_option(parser, "the file", "consequences-NAME.html")
    parser.set_defaults(command=_consequences)


def _consequences(options: argparse.Namespace) -> None:
    print_consequences(asked_audition(options), options.topic, options.to, options.all)


def print_consequences(
    audition: Audition, topics: Sequence[str] | None, path: Path | None = None, everything: bool = False
) -> None:
    """Print what has to be decided or looked at, or `everything`, and write the sheet as one HTML file.

    Parameters
    ----------
    audition : Audition
    topics : sequence of str
        Those to examine; all when None.
    path : Path
        The HTML file; default as `write_sheet`.
    everything : bool
        Print every finding and every table.
    """
    from ...studies.sheet.page import write_sheet
    from ...studies.sheet.sheet import consequences, examine

    refuse_unwritable((path or Path()).parent)
    sheet = consequences(examine(audition.stock, audition.modded), topics, report_step)
    more = "" if everything else f"\nAll {len(sheet.findings)} findings, with their tables: the same command with --all"
    print(f"{sheet.text if everything else sheet.first_answer}\n{more}")
    print(f"The sheet with its pictures is {write_sheet(sheet, path)}")
    print(f"\n{CAUTION_LINE}")
