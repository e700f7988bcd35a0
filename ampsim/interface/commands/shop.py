"""`ampsim shop`: all jobs at a glance, and where something was done before."""

from __future__ import annotations

import argparse

from .common import Commands, named_path

PLACE = 65


def add(commands: Commands) -> None:
    """Add "shop"."""
    parser = commands.add_parser(
        "shop",
        help="all jobs of a folder: what each waits for, what is late; where something was done before",
        description="All jobs that lie in a folder, what was promised soonest at the top. With words: the jobs in "
        "which all of them stand, and where: in what the owner said, in mods, parts, faults and readings.",
    )
    parser.add_argument("folder", type=named_path, help="the folder in which the job folders lie")
    parser.add_argument("word", nargs="*", help='what to look for, such as 22u R11 or "low hum"')
    parser.add_argument("--all", action="store_true", help="jobs that are done as well")
    parser.add_argument("--to", type=named_path, help="also write the list as one HTML file")
    parser.add_argument("--anew", action="store_true", help="throw the index away and read every folder again")
    parser.set_defaults(command=_shop)


def _shop(options: argparse.Namespace) -> None:
    from ...base.progress import ProgressBar
    from ...job.shop.overview import shop

    with ProgressBar() as progress:
        found = shop(options.folder, options.word, whole=options.all, progress=progress, anew=options.anew)
    print(found)
    if options.to:
        print(f"\nThe list is in {found.write(options.to)}")
