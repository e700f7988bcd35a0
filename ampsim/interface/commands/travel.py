"""`ampsim travel`: what a knob does over its rotation, with its own taper and with others."""

from __future__ import annotations

import argparse
from pathlib import Path

from .common import Commands, amp_options, asked_amp, asked_position, at_option, source_option, to_option

PLACE = 26


def add(commands: Commands) -> None:
    """Add "travel"."""
    parser = commands.add_parser(
        "travel", help="turn a knob from 0 to 10: what it does at some frequencies, with an audio and a linear track"
    )
    parser.add_argument("control", help="a knob of the amp, or one that a mod adds")
    amp_options(parser)
    parser.add_argument(
        "--taper", action="append", default=[], help="beside the amp's own (default: linear or audio 10 %%); repeatable"
    )
    parser.add_argument(
        "--frequency", action="append", type=float, metavar="HERTZ", help="default: 100, 1000 and 5000; repeatable"
    )
    at_option(parser, "as drawn")
    parser.add_argument("--heard", default="speaker", help="the place to listen at (default: speaker)")
    source_option(parser, "what the amp file has")
    to_option(parser, "folder for the picture", "travel-CONTROL")
    parser.set_defaults(command=_travel)


def _travel(options: argparse.Namespace) -> None:
    from ...base.files import file_word, refuse_unwritable
    from ...circuit.build import build_circuit
    from ...circuit.plugging import plug_in
    from ...pictures.export import save_picture
    from ...studies.travel import FREQUENCIES, travel

    amp = asked_amp(options)
    amp = plug_in(amp, options.source, "--source") if options.source else amp
    build_circuit(amp).net(options.heard)
    at = asked_position(amp, options.at)
    folder = options.to or Path(f"travel-{file_word(options.control)}")
    refuse_unwritable(folder)
    found = travel(amp, options.control, options.taper, options.frequency or FREQUENCIES, at, options.heard)
    print(found.text)
    save_picture(found.picture, folder / "travel")
    print(f"\nThe picture (PNG and SVG) is in the folder {folder}")
