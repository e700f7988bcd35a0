"""`ampsim loudspeaker`: the entry of a loudspeaker from its measured impedance."""

from __future__ import annotations

import argparse
from pathlib import Path

from .common import Commands

PLACE = 106


def add(commands: Commands) -> None:
    """Add "loudspeaker"."""
    parser = commands.add_parser(
        "loudspeaker", help="fit a loudspeaker to its measured impedance: columns of Hz, ohms and perhaps phase"
    )
    parser.add_argument("file", type=Path, help="a text of columns, such as CSV or ZMA")
    parser.add_argument("--as", dest="designator", default="LS1", help="its designator (default: LS1)")
    parser.set_defaults(command=_loudspeaker)


def _loudspeaker(options: argparse.Namespace) -> None:
    from ...base.entries import Entry
    from ...base.errors import DescriptionError
    from ...base.files import read_bounded
    from ...bench.loudspeaker_fit import fit_loudspeaker
    from ...circuit.designators import kind_of
    from ...circuit.part_entries import entry_text, part_entry

    designator = Entry({}, "--as").check_designator("--as", options.designator)
    if kind_of(designator) != "loudspeaker":
        raise DescriptionError(f"--as: {designator} is no loudspeaker by its letters; written LS1 or SPK1")
    found = fit_loudspeaker(read_bounded(options.file), options.file.name, designator)
    print("\n".join(f"Read: {each}" for each in found.guesses))
    print(f"\nFor [parts] of an amp file, or for a mod that replaces {designator}:\n")
    print(f"{designator} = {entry_text(part_entry(found.part))}\n\n{found.text()}")
