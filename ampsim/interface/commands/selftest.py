"""`ampsim selftest` looks whether what ampsim stands on is whole; `ampsim licences` lists its terms."""

from __future__ import annotations

import argparse

from ...base.errors import DescriptionError
from .common import Commands, report

PLACE = 120


def add(commands: Commands) -> None:
    """Add "selftest" and "licences"."""
    parser = commands.add_parser("selftest", help="check that packages, ngspice and compiled code are whole")
    parser.add_argument("--repair", action="store_true", help="carry out the commands that mend what is not")
    parser.set_defaults(command=_selftest)
    parser = commands.add_parser("licences", help="list the packages that ampsim needs, with their licences")
    parser.set_defaults(command=_licences)


def _selftest(options: argparse.Namespace) -> None:
    from .. import installation

    faults = list(installation.all_faults())
    for fault in faults:
        print(fault)
    if not faults:
        print(f"{len(installation.needed_packages())} packages, the ngspice library and compiled code are whole.")
        return
    if not options.repair:
        commands = any(fault.remedy or fault.folder for fault in faults)
        says = "; `ampsim selftest --repair` carries out the commands above" if commands else ""
        raise DescriptionError("not whole" + says)
    for fault in faults:
        report(f"mending {fault.what}")
        if not installation.mend(fault):
            raise DescriptionError(f"{fault.what} could not be mended")
    print("Mended; run `ampsim selftest` again to see that all is whole.")


def _licences(_: argparse.Namespace) -> None:
    from .. import installation

    rows = installation.licences()
    width = max(len(f"{row.name} {row.version}") for row in rows)
    for row in rows:
        print(f"{f'{row.name} {row.version}':{width}}  {row.terms}")
    print(
        "The ngspice library is under the modified BSD licence, parts of it under the LGPL and others. On Linux its\n"
        "package holds the texts; the wheel that it is taken from on Windows and macOS names MIT and holds none."
    )
