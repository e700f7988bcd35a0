"""`ampsim measured`: what came back of the sweep, over the simulated amp."""

from __future__ import annotations

import argparse
from pathlib import Path

from ...base.caution import CAUTION
from .common import Commands, amp_options, asked_amp, sweep_remarks, to_option

PLACE = 80


def add(commands: Commands) -> None:
    """Add "measured"."""
    parser = commands.add_parser("measured", help="lay a measured sweep (columns, or a WAV recording) over an amp")
    parser.add_argument("file", type=Path)
    amp_options(parser)
    parser.add_argument("--at", default="speaker", help="the place that was recorded (default: speaker)")
    parser.add_argument("--fit", action="append", default=[], help="a part whose value to find; up to three")
    to_option(parser, "the picture", "measured-NAME.png")
    parser.set_defaults(command=_measured)


def _measured(options: argparse.Namespace) -> None:
    from ...base.tables import text_table
    from ...bench.proof.sweeps import compare_with_drawing
    from ...bench.sweeps.compare import difference_table, sweep_findings
    from ...bench.sweeps.fit import fit_parts
    from ...bench.sweeps.measured_sweep import read_sweep
    from ...bench.sweeps.picture import compared_picture
    from ...circuit.positions import AS_DRAWN
    from ...pictures.export import save_picture

    amp, measured = asked_amp(options), read_sweep(options.file)
    compared = compare_with_drawing(amp, {}, measured, options.at)
    lines = sweep_remarks(measured)
    lines += [each.words for each in sweep_findings(compared, amp.variant, AS_DRAWN)]
    lines += [text_table(difference_table(compared))]
    if options.fit:
        lines += [fit_parts(amp, measured, options.fit, node=options.at).words()]
    path = options.to or Path(f"measured-{options.file.stem}.png")
    save_picture(compared_picture(compared), path)
    print("\n\n".join([*lines, f"The picture is {path}", CAUTION]))
