"""`ampsim notebooks`: JupyterLab on the notebooks."""

from __future__ import annotations

import argparse
from pathlib import Path

from .common import Commands

PLACE = 90


def add(commands: Commands) -> None:
    """Add "notebooks"."""
    parser = commands.add_parser("notebooks", help="open JupyterLab on the notebooks")
    parser.add_argument("folder", nargs="?", type=Path, help="another folder of notebooks")
    parser.set_defaults(command=_notebooks)


def _notebooks(options: argparse.Namespace) -> None:
    from ..jupyter import start

    start(options.folder)
