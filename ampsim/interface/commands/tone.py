"""`ampsim tone`: the sweep to play through an amp."""

from __future__ import annotations

import argparse

from ...base.caution import CAUTION_LINE
from .common import Commands, named_path

PLACE = 70


def add(commands: Commands) -> None:
    """Add "tone"."""
    parser = commands.add_parser("tone", help="write the sweep to play through an amp, as a WAV file")
    parser.add_argument("file", type=named_path)
    parser.set_defaults(command=_tone)


def _tone(options: argparse.Namespace) -> None:
    from ...bench.sweeps.tone import write_tone

    print(f"{options.file}: {write_tone(options.file).words()}\n\n{CAUTION_LINE}")
