"""The commands around one job: `ampsim job STEP FOLDER`, a thin face on `record` and the topics that read it."""

from __future__ import annotations

import argparse

from ..common import Commands
from . import bench, changing, deciding, doing, handing_over, invoicing, keeping, quoting, taking_in
from .common import Steps

PLACE = 60

_ABOUT = """\
One customer's job in a folder, from taking the amp in to handing it over.
Most jobs take these steps in this order, and leave some out:"""
_MORE = '"ampsim job STEP --help" explains a step.'


def add(commands: Commands) -> None:
    """Add "job" and its steps, in the order in which most jobs take them."""
    job = commands.add_parser(
        "job",
        help="one customer's job in a folder: from taking the amp in to handing it over",
        formatter_class=argparse.RawDescriptionHelpFormatter,
        usage="ampsim job STEP FOLDER ...",
    )
    steps = Steps(job.add_subparsers(required=True, metavar="STEP", help="one of the steps above", prog="ampsim job"))
    for each in (taking_in, bench, deciding, quoting, doing, handing_over, invoicing, changing, keeping):
        each.add(steps)
    job.description = f"{_ABOUT}\n\n{steps.listed}"
    job.epilog = _MORE
