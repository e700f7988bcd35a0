"""`ampsim show`: one amp alone."""

from __future__ import annotations

import argparse
from pathlib import Path

from ...base.files import refuse_unwritable
from .common import Commands, source_option, to_option

PLACE = 5


def add(commands: Commands) -> None:
    """Add "show"."""
    parser = commands.add_parser(
        "show", help="look at one amp alone: volts, currents, response at every stage, power, headroom, its drawing"
    )
    parser.add_argument("amp", help="an amp file or the name of one")
    parser.add_argument("--mod", action="append", default=[], help="a mod file or name; repeatable")
    source_option(parser, "what the amp file has")
    to_option(parser, "the page", "amp-NAME.html")
    parser.set_defaults(command=_show)


def _show(options: argparse.Namespace) -> None:
    from ...circuit.plugging import plug_in
    from ...job.papers.amp_page import amp_page
    from .common import asked_amp

    refuse_unwritable((options.to or Path()).parent)
    amp = asked_amp(options)
    page = amp_page(plug_in(amp, options.source, "--source") if options.source else amp)
    print(page.text)
    print(f"\nThe page with its pictures is {page.write(options.to)}")
