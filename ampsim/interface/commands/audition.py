"""`ampsim audition`: stock against modded in tables and pictures."""

from __future__ import annotations

import argparse

from ...base.errors import DescriptionError
from .common import Commands, asked_audition, audition_options, report_step, to_option

PLACE = 10


def add(commands: Commands) -> None:
    """Add "audition"."""
    parser = commands.add_parser("audition", help="simulate stock and modded, print tables, leave pictures")
    audition_options(parser)
    to_option(parser, "folder for the pictures", "audition-NAME")
    parser.set_defaults(command=_audition)


def _audition(options: argparse.Namespace) -> None:
    from ...studies.audition import audition

    done = audition(asked_audition(options), options.to, report_step)
    print(done.text)
    if done.problem:
        raise DescriptionError(done.problem)
