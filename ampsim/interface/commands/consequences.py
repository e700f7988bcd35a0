"""`ampsim consequences`: what the mods do besides tone."""

from __future__ import annotations

import argparse
from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING

from ...base.caution import CAUTION
from .common import Commands, asked_audition, audition_options, report_step, to_option, topic_option

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
    to_option(parser, "the file", "consequences-NAME.html")
    parser.set_defaults(command=_consequences)


def _consequences(options: argparse.Namespace) -> None:
    print_consequences(asked_audition(options), options.topic, options.to)


def print_consequences(audition: Audition, topics: Sequence[str] | None, path: Path | None = None) -> None:
    """Print the sheet of consequences and write it as one HTML file."""
    from ...studies.sheet.page import write_sheet
    from ...studies.sheet.sheet import consequences, examine

    sheet = consequences(examine(audition.stock, audition.modded), topics, report_step)
    written = write_sheet(sheet, path)
    print(f"{sheet.text}\n\nThe sheet with its pictures is {written}\n\n{CAUTION}")
