"""`ampsim listen`: clips of a phrase through stock and modded amp."""

from __future__ import annotations

import argparse
from pathlib import Path
from typing import TYPE_CHECKING

from .common import Commands, asked_audition, audition_options, report_tenths, to_option

if TYPE_CHECKING:
    from ...audio.listen import ListeningOptions
    from ...audio.phrases import Phrase

PLACE = 20


def add(commands: Commands) -> None:
    """Add "listen"."""
    parser = commands.add_parser("listen", help="play a phrase through stock and modded amp, equally loud: WAV files")
    audition_options(parser)
    to_option(parser, "folder for the WAV files", "listen-NAME")
    parser.add_argument("--control", action="append", help="a control to hear (default: the mods' own); repeatable")
    parser.add_argument("--dry", type=Path, help="your own dry playing, a WAV file (default: computed strings)")
    parser.add_argument("--level", type=float, help="peak of the input in volts (default: 0.15)")
    parser.add_argument("--load", default="loudspeaker", help='"loudspeaker" (default) or "resistor"')
    parser.add_argument("--ir", type=Path, help="a cabinet's impulse response, a WAV file (default: none)")
    parser.add_argument("--standard", default="BS.1770", help='of equal loudness: BS.1770, A-weighted or "ISO 532-1"')
    parser.add_argument("--oversampling", type=int, default=8, help="1, 2, 4, 8 or 16 (default: 8; 4 for a preview)")
    parser.add_argument("--linear", action="store_true", help="as if nothing ever clipped: what a change does to tone")
    parser.set_defaults(command=_listen)


def _listen(options: argparse.Namespace) -> None:
    from ...audio.listen import listen
    from ...base.files import file_word, refuse_unwritable

    audition = asked_audition(options)
    folder = options.to or Path("listen-" + file_word(audition.name))
    refuse_unwritable(folder)
    heard = listen(audition, _listening_options(options), options.control, report_tenths())
    print(heard.text)
    text, *_ = heard.write(folder)
    print(f"\nThe clips and this text are in the folder {folder} ({text.name})")


def _listening_options(options: argparse.Namespace) -> ListeningOptions:
    from ...audio.listen import ListeningOptions
    from ...audio.phrases import read_response

    response = read_response(options.ir) if options.ir else None
    name = options.ir.name if options.ir else ""
    how = (options.load, options.standard, response, name, options.oversampling)
    return ListeningOptions(_phrase(options), *how, linear=options.linear)


def _phrase(options: argparse.Namespace) -> Phrase:
    from ...audio.phrases import LEVEL, dry_phrase, phrase

    level = LEVEL if options.level is None else options.level
    return dry_phrase(options.dry, level) if options.dry else phrase(level=level)
