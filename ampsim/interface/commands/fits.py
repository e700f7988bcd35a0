"""`ampsim fits`: to which amps a mod fits, where it lands in each, and why not."""

from __future__ import annotations

import argparse

from ...base.errors import DescriptionError
from .common import Commands

PLACE = 35


def add(commands: Commands) -> None:
    """Add "fits"."""
    parser = commands.add_parser("fits", help="say to which amps a mod fits, where it lands in each, and why not")
    parser.add_argument(
        "mod",
        nargs="?",
        help='a mod file or name; "NAME at second stage" says where it is to land; without one the places of --amp',
    )
    parser.add_argument("--amp", action="append", help="look at this amp only (default: all of the shelf); repeatable")
    parser.set_defaults(command=_fits)


def _fits(options: argparse.Namespace) -> None:
    from ...library.fits import describe_places, fits
    from ...library.loader import load_amp, load_mod

    if options.mod is None:
        if not options.amp:
            raise DescriptionError("name a mod to see where it fits, or --amp alone to see the places of an amp")
        print("\n\n".join(describe_places(load_amp(each)) for each in options.amp))
        return
    mod = load_mod(options.mod)
    print(f"{mod.name}: {mod.reason}\n")
    found = fits(mod, options.amp)
    for each in found:
        print(each)
    print(f"\nIt fits {sum(each.modded is not None for each in found)} of {len(found)} amps.")
