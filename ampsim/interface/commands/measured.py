"""`ampsim measured`: what came back of the sweep, over the simulated amp."""

from __future__ import annotations

import argparse
from pathlib import Path

from ...base.caution import CAUTION_LINE
from .common import (
    Commands,
    amp_options,
    asked_amp,
    asked_position,
    at_option,
    heard_option,
    source_option,
    sweep_remarks,
    to_option,
)

PLACE = 80


def add(commands: Commands) -> None:
    """Add "measured"."""
    parser = commands.add_parser("measured", help="lay a measured sweep (columns, or a WAV recording) over an amp")
    parser.add_argument("file", type=Path)
    amp_options(parser)
    source_option(parser, "what fits best: the guitar of the amp file, or a generator at a jack")
    heard_option(parser)
    at_option(parser, "as drawn")
    parser.add_argument("--fit", action="append", default=[], help="a part whose value to find; up to three")
    to_option(parser, "the picture", "measured-NAME.png")
    parser.set_defaults(command=_measured)


def _measured(options: argparse.Namespace) -> None:
    from ...base.tables import text_table
    from ...bench.proof.sweeps import sweep_proof, take_sweep
    from ...bench.sweeps.compare import difference_table
    from ...bench.sweeps.fit import fit_parts
    from ...bench.sweeps.measured_sweep import read_sweep
    from ...bench.sweeps.picture import compared_picture
    from ...circuit.plugging import plug_in
    from ...pictures.export import save_picture

    amp, measured = asked_amp(options), read_sweep(options.file)
    at = asked_position(plug_in(amp, options.source, "--source") if options.source else amp, options.at)
    taken = take_sweep("", amp, at, measured, options.heard, options.source)
    proved = sweep_proof(taken)
    lines = [*sweep_remarks(measured), proved.words, text_table(difference_table(proved.found))]
    if options.fit:
        lines += [fit_parts(taken.amp, measured, options.fit, at, node=taken.heard).words()]
    path = options.to or Path(f"measured-{options.file.stem}.png")
    save_picture(compared_picture(proved.found), path)
    print("\n\n".join([*lines, f"The picture is {path}", CAUTION_LINE]))
