"""`ampsim models`: what comes along."""

from __future__ import annotations

import argparse

from .common import Commands

PLACE = 110


def add(commands: Commands) -> None:
    """Add "models"."""
    parser = commands.add_parser("models", help="list the amps, mods, jobs and valves that come along")
    parser.set_defaults(command=_models)


def _models(_: argparse.Namespace) -> None:
    from ...library.loader import listing

    for kind, names in listing().items():
        print(f"{kind}: {', '.join(names)}")
