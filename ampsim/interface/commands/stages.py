"""`ampsim stages`: what stages an amp file may have, with an example and a drawing of each."""

from __future__ import annotations

import argparse
from pathlib import Path

from .common import Commands, to_option

PLACE = 105


def add(commands: Commands) -> None:
    """Add "stages"."""
    parser = commands.add_parser(
        "stages", help="list the stage templates; one of them with its roles, an example that runs and its drawing"
    )
    parser.add_argument("name", nargs="?", default="", help='a template, such as "tone stack" or tone-stack')
    to_option(parser, "the drawing", "NAME.svg")
    parser.set_defaults(command=_stages)


def _stages(options: argparse.Namespace) -> None:
    from ...base.files import write_whole
    from ...library.loader import load_amp
    from ...library.stage_guide import example_file, find_template, stage_text, stages_text

    if not options.name:
        print(f"{stages_text()}\n\nOne of them with its roles, an example and a drawing: ampsim stages NAME")
        return
    template = find_template(options.name)
    print(stage_text(template))

    from ...pictures.export import svg
    from ...work.schematic.draw import schematic

    path = example_file(template)
    drawn = write_whole(options.to or Path(path.with_suffix(".svg").name), svg(schematic(load_amp(path), whole=True)))
    print(f"\nIts drawing is {drawn}")
