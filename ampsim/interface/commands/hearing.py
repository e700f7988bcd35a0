"""What commands share that play a phrase: what is played, into what, and how it is made equally loud."""

from __future__ import annotations

import argparse
from pathlib import Path
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from ...audio.listen import ListeningOptions
    from ...audio.phrases import Phrase


def add_listening_options(parser: argparse.ArgumentParser) -> None:
    """Add what says how a phrase is played and heard."""
    parser.add_argument("--dry", type=Path, help="your own dry playing, a WAV file (default: computed strings)")
    parser.add_argument("--level", type=float, help="peak of the input in volts (default: 0.15)")
    parser.add_argument("--load", default="loudspeaker", help='"loudspeaker" (default) or "resistor"')
    parser.add_argument("--ir", type=Path, help="a cabinet's impulse response, a WAV file (default: none)")
    parser.add_argument("--standard", default="BS.1770", help='of equal loudness: BS.1770, A-weighted or "ISO 532-1"')
    parser.add_argument("--oversampling", type=int, default=8, help="1, 2, 4, 8 or 16 (default: 8; 4 for a preview)")
    parser.add_argument("--linear", action="store_true", help="as if nothing ever clipped: what a change does to tone")


def listening_options(options: argparse.Namespace) -> ListeningOptions:
    """What was said of it."""
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
