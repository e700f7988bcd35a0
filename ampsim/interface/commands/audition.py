"""`ampsim audition`: stock against modded in tables and pictures."""

from __future__ import annotations

import argparse
from dataclasses import replace

from ...base.errors import DescriptionError
from .common import Commands, asked_audition, audition_options, report_step, to_option

PLACE = 10


def add(commands: Commands) -> None:
    """Add "audition"."""
    parser = commands.add_parser("audition", help="simulate stock and modded, print tables, leave pictures")
    audition_options(parser)
    parser.add_argument("--heard", help="the place to listen at (default: as the job says, else the loudspeaker)")
    to_option(parser, "folder for the pictures", "audition-NAME")
    parser.set_defaults(command=_audition)


def _audition(options: argparse.Namespace) -> None:
    from ...circuit.build import build_circuit
    from ...studies.audition import audition

    plan = asked_audition(options)
    if options.heard:
        build_circuit(plan.modded).net(options.heard)
        plan = replace(plan, listen_at=options.heard)
    done = audition(plan, options.to, report_step)
    print(done.text)
    if done.problem:
        raise DescriptionError(done.problem)
