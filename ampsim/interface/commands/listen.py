"""`ampsim listen`: clips of a phrase through stock and modded amp."""

from __future__ import annotations

import argparse
from pathlib import Path

from .common import Commands, asked_audition, audition_options, report_tenths, to_option
from .hearing import add_listening_options, listening_options

PLACE = 20


def add(commands: Commands) -> None:
    """Add "listen"."""
    parser = commands.add_parser("listen", help="play a phrase through stock and modded amp, equally loud: WAV files")
    audition_options(parser)
    to_option(parser, "folder for the WAV files", "listen-NAME")
    parser.add_argument("--control", action="append", help="a control to hear (default: the mods' own); repeatable")
    add_listening_options(parser)
    parser.set_defaults(command=_listen)


def _listen(options: argparse.Namespace) -> None:
    from ...audio.listen import listen
    from ...base.files import file_word, refuse_unwritable

    audition = asked_audition(options)
    folder = options.to or Path("listen-" + file_word(audition.name))
    refuse_unwritable(folder)
    heard = listen(audition, listening_options(options), options.control, report_tenths())
    print(heard.text)
    text, *_ = heard.write(folder)
    print(f"\nThe clips and this text are in the folder {folder} ({text.name})")
