"""`ampsim models`: what comes along, and what is on the shop's shelf."""

from __future__ import annotations

import argparse

from .common import Commands

PLACE = 110


def add(commands: Commands) -> None:
    """Add "models"."""
    parser = commands.add_parser("models", help="list the amps, mods, jobs and valves that come along")
    parser.set_defaults(command=_models)


def _models(_: argparse.Namespace) -> None:
    from ...library.files import on_shelf, shelf
    from ...library.kinds import listing

    for kind, names in listing().items():
        print(f"{kind}: {', '.join(names)}")
    home = shelf()
    for kind in listing() if home else ():
        own = on_shelf(kind)
        if own:
            print(f"on the shelf {home}, {kind}: {', '.join(sorted(own))}")
