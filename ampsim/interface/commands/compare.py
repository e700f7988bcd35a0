"""`ampsim compare`: candidates for one question side by side."""

from __future__ import annotations

import argparse
import math
import re
from dataclasses import replace
from itertools import product
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
    from ...studies.candidates.comparison import Comparison
    from ...studies.candidates.question import Position, Question

PLACE = 25
SEVERAL = '; "or" asks for several positions, such as "bright=120p or 390p"'
_EXAMPLES = """
A candidate is a value, a type, a taper, a mod or several of them; "or" names more than one:
  ampsim compare --amp workshop-a "1u, 22u or none across R11"
  ampsim compare --amp workshop-a "330k, 560k or none across gain" --at gain=0.3
  ampsim compare --amp workshop-a "gain = linear or audio 10 %" "V1 = 12AT7 or 12AY7"
  ampsim compare --amp workshop-a bright-switch "bright-switch + cathode-switch" --at "bright=120p or 390p"
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
    at_option(parser, "as drawn", SEVERAL)
    parser.add_argument("--heard", default="speaker", help="the place to listen at (default: speaker)")
    parser.add_argument("--hear", action="store_true", help="leave a page to listen to them, blind too, and WAV files")
    add_listening_options(parser)
    parser.add_argument("--pop", action="store_true", help="work out the pops of switches too, which takes long")
    source_option(parser, "what the amp file has")
    to_option(parser, "folder for picture and sounds", "compare-AMP")
    parser.set_defaults(command=_compare)


def _compare(options: argparse.Namespace) -> None:
    from ...base.files import file_word, refuse_unwritable

    asked, positions = _asked(options)
    folder = options.to or Path(f"compare-{file_word(asked.stock.name)}")
    refuse_unwritable(folder)
    show_side_by_side(asked, positions, folder, options.pop)
    if options.hear:
        hear(asked, options, folder)


def show_side_by_side(asked: Question, positions: list[Position], folder: Path, pop: bool) -> list[Comparison]:
    """Print what is found of candidates, and leave a picture of each position.

    Parameters
    ----------
    asked : Question
    positions : list of mapping
        Where the controls stand (rotations 0 to 1 [ratio]).
    folder : Path
        For the pictures.
    pop : bool
        Whether the pops of switches are worked out too.
    """
    from ...base.files import file_word
    from ...circuit.positions import position_label
    from ...pictures.export import save_picture
    from ...studies.candidates.comparison import compare_at, comparison_text

    found = compare_at(asked, positions, pop, report_step)
    print(comparison_text(found))
    for each, position in zip(found, positions, strict=True):
        name = f"candidates-{file_word(position_label(position))}" if positions[1:] else "candidates"
        save_picture(each.picture, folder / name)
    pictures = "The picture (PNG and SVG) is" if len(found) == 1 else f"{len(found)} pictures (PNG and SVG) are"
    print(f"\n{pictures} in the folder {folder}")
    return found


def hear(asked: Question, options: argparse.Namespace, folder: Path) -> None:
    """Leave a page and WAV files in a folder, and print what they are."""
    from ...audio.candidates import listen_to_candidates
    from ...audio.player.page import write_player

    heard = listen_to_candidates(asked, listening_options(options), report_tenths())
    print(f"\n{heard.text}")
    text, *_ = heard.write(folder)
    page = write_player(heard.clips, folder / "listen.html", f"{asked.stock.name}: {asked.title}", heard.notes)
    print(f"\nTo be told apart by ear alone: {page}; the clips and this text are beside it ({text.name})")


def _asked(options: argparse.Namespace) -> tuple[Question, list[Position]]:
    from ...circuit.build import build_circuit
    from ...circuit.plugging import plug_in
    from ...library.candidates import read_candidates

    amp = asked_amp(options)
    amp = plug_in(amp, options.source, "--source") if options.source else amp
    asked = read_candidates(amp, options.candidate, None, options.heard)
    build_circuit(amp).net(options.heard)
    return asked_at(asked, options.at)


def asked_at(asked: Question, texts: list[str]) -> tuple[Question, list[Position]]:
    """The question with its controls where `--at` says, at the first of the positions, and all of them.

    Raises
    ------
    DescriptionError
        For controls and positions that are not there, and for too many of them.
    """
    from ...studies.candidates.comparison import MOST_POSITIONS

    ranges = [_settings(asked, text) for text in texts]
    if (count := math.prod(map(len, ranges))) > MOST_POSITIONS:
        raise DescriptionError(f"--at: {count} positions; at most {MOST_POSITIONS} can be read")
    positions = [{name: value for each in settings for name, value in each.items()} for settings in product(*ranges)]
    return replace(asked, at={**asked.at, **positions[0]}), positions


def _settings(asked: Question, text: str) -> list[Position]:
    """Where a control stands that the amp has, or a candidate; "or" names more than one."""
    name, equals, where = (part.strip() for part in text.partition("="))
    if not equals:
        asked_position(asked.stock, [text])  # says how it is written
    amps = [asked.stock, *(each.amp for each in asked.candidates)]
    known = next((amp for amp in amps if name in amp.controls), asked.stock)
    whole = name in known.controls and where in known.controls[name].positions
    found = []
    for each in [where] if whole else re.split(r"\s+or\s+", where):
        setting = asked_position(known, [f"{name}={each}"])
        for amp in amps:
            if name in amp.controls:
                try:
                    amp.setting(setting)
                except DescriptionError as problem:
                    raise DescriptionError(f"--at: {problem}") from None
        found.append(setting)
    return found
