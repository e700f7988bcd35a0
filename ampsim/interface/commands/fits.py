"""`ampsim fits`: to which amps a mod fits, where it lands in each, and why not."""

from __future__ import annotations

import argparse

from .common import Commands

PLACE = 35


def add(commands: Commands) -> None:
    """Add "fits"."""
    parser = commands.add_parser("fits", help="say to which amps a mod fits, where it lands in each, and why not")
    parser.add_argument("mod", help='a mod file or name; "NAME at second stage" says where it is to land')
    parser.add_argument("--amp", action="append", help="look at this amp only (default: all of the shelf); repeatable")
    parser.set_defaults(command=_fits)


def _fits(options: argparse.Namespace) -> None:
    from ...library.fits import fits
    from ...library.loader import load_mod

    mod = load_mod(options.mod)
    print(f"{mod.name}: {mod.reason}\n")
    found = fits(mod, options.amp)
    for each in found:
        print(each)
    print(f"\nIt fits {sum(each.modded is not None for each in found)} of {len(found)} amps.")
