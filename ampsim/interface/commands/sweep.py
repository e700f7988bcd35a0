"""The commands for a sweep measured on the bench: the tone to play, and what came back."""

from __future__ import annotations

import argparse
from pathlib import Path
from typing import TYPE_CHECKING, Any

from ...base.caution import CAUTION
from ...bench.sweeps.picture import compared_picture
from ...pictures.canvas import save_picture

if TYPE_CHECKING:
    import xarray as xr

    from ...circuit.amp import Amp


def add_parsers(commands: Any) -> None:
    """Add "tone" and "measured"."""
    tone = commands.add_parser("tone", help="write the sweep to play through an amp, as a WAV file")
    tone.add_argument("file", type=Path)
    tone.set_defaults(command=_tone)
    measured = commands.add_parser("measured", help="lay a measured sweep (columns, or a WAV recording) over an amp")
    measured.add_argument("file", type=Path)
    measured.add_argument("--amp", required=True, help="an amp file or the name of one")
    measured.add_argument("--mod", action="append", default=[], help="a mod file or name; repeatable")
    measured.add_argument("--at", default="speaker", help="the place that was recorded (default: speaker)")
    measured.add_argument("--fit", action="append", default=[], help="a part whose value to find; up to three")
    measured.add_argument("--to", type=Path, help="the picture (default: measured-NAME.png)")
    measured.set_defaults(command=_measured)


def _tone(options: argparse.Namespace) -> None:
    from ...bench.sweeps.tone import write_tone

    print(f"{options.file}: {write_tone(options.file).words()}\n\n{CAUTION}")


def _measured(options: argparse.Namespace) -> None:
    from ...base.tables import text_table
    from ...bench.proof.sweeps import compare_with_drawing
    from ...bench.sweeps.compare import difference_table, sweep_findings
    from ...bench.sweeps.measured_sweep import read_sweep
    from ...circuit.mods import apply_mods
    from ...circuit.positions import AS_DRAWN
    from ...library.files import load_amp, load_mod

    amp = apply_mods(load_amp(options.amp), *(load_mod(mod) for mod in options.mod))
    measured = read_sweep(options.file)
    told = [measured.attrs[name] for name in ("guesses", "how", "notes") if measured.attrs.get(name)]
    found = compare_with_drawing(amp, {}, measured, options.at)
    told += [each.words for each in sweep_findings(found, amp.variant, AS_DRAWN)]
    told += [text_table(difference_table(found))]
    if options.fit:
        told.append(_fitted(amp, measured, options))
    path = options.to or Path(f"measured-{options.file.stem}.png")
    save_picture(compared_picture(found), path)
    print("\n\n".join([*told, f"The picture is {path}", CAUTION]))


def _fitted(amp: Amp, measured: xr.Dataset, options: argparse.Namespace) -> str:
    from ...bench.sweeps.fit import fit_parts

    return fit_parts(amp, measured, options.fit, node=options.at).words()
