"""The command that makes clips to listen to: `ampsim listen`."""

from __future__ import annotations

import argparse
from pathlib import Path
from typing import TYPE_CHECKING, Any

from .job.common import tenths

if TYPE_CHECKING:
    from ...audio.listen import Ways
    from ...audio.phrases import Phrase


def add_parser(commands: Any) -> None:
    """Add "listen"."""
    listen = commands.add_parser("listen", help="play a phrase through stock and modded amp, equally loud: WAV files")
    listen.add_argument("job", nargs="?", help="a job file or the name of one (default: bright-cathode-depth)")
    listen.add_argument("--amp", help="without a job: an amp file or the name of one")
    listen.add_argument("--mod", action="append", default=[], help="without a job: a mod file or name; repeatable")
    listen.add_argument("--to", type=Path, help="folder for the WAV files (default: listen-NAME)")
    listen.add_argument("--control", action="append", help="a control to hear (default: the mods' own); repeatable")
    listen.add_argument("--dry", type=Path, help="your own dry playing, a WAV file (default: computed strings)")
    listen.add_argument("--level", type=float, help="peak of the input in volts (default: 0.15)")
    listen.add_argument("--load", default="loudspeaker", help='"loudspeaker" (default) or "resistor"')
    listen.add_argument("--ir", type=Path, help="a cabinet's impulse response, a WAV file (default: none)")
    listen.add_argument("--standard", default="BS.1770", help='of equal loudness: BS.1770, A-weighted or "ISO 532-1"')
    listen.add_argument("--oversampling", type=int, default=8, help="1, 2, 4, 8 or 16 (default: 8; 4 for a preview)")
    listen.add_argument("--linear", action="store_true", help="as if nothing ever clipped: what a change does to tone")
    listen.set_defaults(command=_listen)


def _listen(options: argparse.Namespace) -> None:
    from ...audio.listen import listen
    from ...base.files import file_word
    from .common import find_audition

    job = find_audition(options.job, options.amp, options.mod)
    ways = _ways(options)
    heard = listen(job, ways, options.control, tenths())
    folder = options.to or Path("listen-" + file_word(job.name))
    text, *_ = heard.write(folder)
    print(f"{heard.text}\n\nThe clips and this text are in the folder {folder} ({text.name})")


def _ways(options: argparse.Namespace) -> Ways:
    from ...audio.listen import Ways
    from ...audio.phrases import read_response

    response = read_response(options.ir) if options.ir else None
    name = options.ir.name if options.ir else ""
    how = (options.load, options.standard, response, name, options.oversampling)
    return Ways(_phrase(options), *how, linear=options.linear)


def _phrase(options: argparse.Namespace) -> Phrase:
    from ...audio.phrases import LEVEL, dry_phrase, phrase

    level = LEVEL if options.level is None else options.level
    return dry_phrase(options.dry, level) if options.dry else phrase(level=level)
