"""`ampsim compare`: candidates for one question side by side."""

from __future__ import annotations

import argparse
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING

from ...base.errors import DescriptionError
from .common import (
    Commands,
    amp_options,
    asked_amp,
    asked_position,
    at_option,
    report_step,
    report_tenths,
    source_option,
    to_option,
)
from .hearing import add_listening_options, listening_options

if TYPE_CHECKING:
    from ...studies.candidates.question import Question

PLACE = 25
_EXAMPLES = """
A candidate is a value, a type, a taper, a mod or several of them; "or" names more than one:
  ampsim compare --amp workshop-a "1u, 22u or none across R11"
  ampsim compare --amp workshop-a "330k, 560k or none across gain" --at gain=0.3
  ampsim compare --amp workshop-a "gain = linear or audio 10 %" "V1 = 12AT7 or 12AY7"
  ampsim compare --amp workshop-a bright-switch "bright-switch + cathode-switch"
"""


def add(commands: Commands) -> None:
    """Add "compare"."""
    parser = commands.add_parser(
        "compare",
        help="hold up to twelve values, tapers, valves or mods side by side: what each changes and what it costs",
        epilog=_EXAMPLES,
        formatter_class=argparse.RawDescriptionHelpFormatter,
    )
    parser.add_argument("candidate", nargs="+", help="what is compared, see below")
    amp_options(parser)
    at_option(parser, "as drawn")
    parser.add_argument("--heard", default="speaker", help="the place to listen at (default: speaker)")
    parser.add_argument("--hear", action="store_true", help="leave a page to listen to them, blind too, and WAV files")
    add_listening_options(parser)
    parser.add_argument("--pop", action="store_true", help="work out the pops of switches too, which takes long")
    source_option(parser, "what the amp file has")
    to_option(parser, "folder for picture and sounds", "compare-AMP")
    parser.set_defaults(command=_compare)


def _compare(options: argparse.Namespace) -> None:
    from ...base.files import file_word, refuse_unwritable
    from ...pictures.export import save_picture
    from ...studies.candidates.comparison import compare

    asked = _asked(options)
    folder = options.to or Path(f"compare-{file_word(asked.stock.name)}")
    refuse_unwritable(folder)
    found = compare(asked, options.pop, report_step)
    print(found.text)
    save_picture(found.picture, folder / "candidates")
    print(f"\nThe picture (PNG and SVG) is in the folder {folder}")
    if options.hear:
        hear(asked, options, folder)


def hear(asked: Question, options: argparse.Namespace, folder: Path) -> None:
    """Leave a page and WAV files in a folder, and print what they are."""
    from ...audio.candidates import listen_to_candidates
    from ...audio.player.page import write_player

    heard = listen_to_candidates(asked, listening_options(options), report_tenths())
    print(f"\n{heard.text}")
    text, *_ = heard.write(folder)
    page = write_player(heard.clips, folder / "listen.html", f"{asked.stock.name}: {asked.title}", heard.notes)
    print(f"\nTo be told apart by ear alone: {page}; the clips and this text are beside it ({text.name})")


def _asked(options: argparse.Namespace) -> Question:
    from ...circuit.build import build_circuit
    from ...circuit.plugging import plug_in
    from ...library.candidates import read_candidates

    amp = asked_amp(options)
    amp = plug_in(amp, options.source, "--source") if options.source else amp
    asked = read_candidates(amp, options.candidate, None, options.heard)
    build_circuit(amp).net(options.heard)
    return asked_at(asked, options.at)


def asked_at(asked: Question, texts: list[str]) -> Question:
    """The question with its controls where `--at` says."""
    position = dict(asked.at)
    for text in texts:
        position |= _control(asked, text)
    return replace(asked, at=position)


def _control(asked: Question, text: str) -> dict[str, float | str]:
    """Where a control stands that the amp has, or a candidate."""
    amps = [asked.stock, *(each.amp for each in asked.candidates)]
    name = text.partition("=")[0].strip()
    known = next((amp for amp in amps if name in amp.controls), asked.stock)
    found = asked_position(known, [text])
    for amp in amps:
        try:
            amp.setting(found)
        except DescriptionError as problem:
            raise DescriptionError(f"--at: {problem}") from None
    return found
