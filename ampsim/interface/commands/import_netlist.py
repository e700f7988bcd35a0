"""`ampsim import`: a netlist of another program as an amp file."""

from __future__ import annotations

import argparse
from pathlib import Path
from typing import Any

from .common import Commands, to_option

PLACE = 7


def add(commands: Commands) -> None:
    """Add "import"."""
    parser = commands.add_parser(
        "import", help="read a SPICE netlist, or a netlist of KiCad's schematic editor, as an amp file in free wiring"
    )
    parser.add_argument("file", type=Path, help="a SPICE netlist (its first line is its title) or KiCad's .net")
    for name, what in (("input", "the signal enters"), ("output", "the amp is heard"), ("ground", "ground is")):
        parser.add_argument(
            f"--{name}", default="", metavar="NET", help=f"the net where {what}, if the file leaves it open"
        )
    for name, form, what in (
        ("rail", "NET=VOLTS", "a net that an ideal supply holds"),
        ("as", "NAME=TYPE", "what a valve or semiconductor of that name, model or designator is"),
        ("pins", "NAME=PIN,PIN,...", "the pins of a valve in their order"),
        ("value", "PART=VALUE", "a value as an amp file has it"),
    ):
        parser.add_argument(
            f"--{name}", action="append", default=[], dest=f"{name}_", metavar=form, help=f"{what}; repeatable"
        )
    parser.add_argument("--sure", action="append", default=[], metavar="PART", help="an odd value is meant; repeatable")
    to_option(parser, "the amp file", "FILE.toml")
    parser.set_defaults(command=_import)


def _import(options: argparse.Namespace) -> None:
    from ...base.errors import DescriptionError
    from ...base.files import write_whole
    from ...base.quantities import VOLT, parse_value
    from ...library.netlists.drawing import Answers
    from ...library.netlists.importing import import_netlist

    answers = Answers(
        options.input,
        options.output,
        options.ground,
        {net: parse_value(volts, VOLT, "--rail") for net, volts in _pairs(options.rail_, "rail")},
        dict(_pairs(options.as_, "as")),
        {name: tuple(pins.split(",")) for name, pins in _pairs(options.pins_, "pins")},
        dict(_pairs(options.value_, "value")),
        tuple(options.sure),
    )
    found = import_netlist(options.file, answers)
    path = options.to or options.file.with_suffix(".toml")
    if path.exists() and not options.to:
        raise DescriptionError(f"{path}: there already, and perhaps worked on; --to names another file, or this one")
    write_whole(path, found.text)
    for title, remarks in (("Not read:", found.left_out), ("Read by a convention:", found.assumed)):
        print("\n".join([title, *(f"  {each}" for each in remarks), ""]) if remarks else "", end="")
    try:
        amp = found.amp
        print(f"{path}: {len(amp.parts)} parts; `ampsim check {path.name}` says what was understood")
    except DescriptionError as problem:
        print(f"{path}: not an amp yet: {problem}")


def _pairs(given: list[str], option: str) -> list[Any]:
    from ...base.errors import DescriptionError, shown

    for each in given:
        if "=" not in each.strip("="):
            raise DescriptionError(f'--{option}: {shown(each)} has no sign "=" between a name and what it is')
    return [tuple(part.strip() for part in each.split("=", 1)) for each in given]
