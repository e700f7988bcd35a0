"""`ampsim export`: an amp as a plain SPICE netlist."""

from __future__ import annotations

import argparse
from pathlib import Path

from .common import Commands, at_option, source_option, to_option

PLACE = 6


def add(commands: Commands) -> None:
    """Add "export"."""
    parser = commands.add_parser(
        "export", help="write an amp, with its mods and at a position, as a plain SPICE netlist that ngspice runs alone"
    )
    parser.add_argument("amp", help="an amp file or the name of one")
    parser.add_argument("--mod", action="append", default=[], help="a mod file or name; repeatable")
    at_option(parser, "as drawn")
    source_option(parser, "what the amp file has")
    parser.add_argument("--print", action="append", dest="places", metavar="PLACE", default=[],
                        help="a place whose voltage is printed (default: speaker); repeatable")  # fmt: skip
    parser.add_argument("--tone", nargs=2, metavar=("HERTZ", "VOLTS"),
                        help="in time, with a sine of that frequency and peak, in place of rest and sweep")  # fmt: skip
    to_option(parser, "the netlist", "AMP.cir")
    parser.set_defaults(command=_export)


def _export(options: argparse.Namespace) -> None:
    from ...base.files import file_word, write_whole
    from ...base.quantities import HERTZ, VOLT, parse_value
    from ...circuit.plugging import plug_in
    from ...simulation.analyses import Transient
    from ...simulation.spice_file import REST_AND_SWEEP, spice_file
    from ...simulation.stimuli import Sine
    from .common import asked_amp, asked_position

    amp = asked_amp(options)
    amp = plug_in(amp, options.source, "--source") if options.source else amp
    asked = REST_AND_SWEEP
    if options.tone:
        hertz, volts = (
            parse_value(each, unit, "--tone") for each, unit in zip(options.tone, (HERTZ, VOLT), strict=True)
        )
        asked = (Transient(Sine(hertz, volts)),)
    text = spice_file(amp, asked_position(amp, options.at), asked, options.places or ("speaker",))
    path = write_whole(options.to or Path(f"{file_word(amp.name)}.cir"), text)
    print(f"{path}: {text.count(chr(10))} lines; `ngspice -b {path.name}` runs it alone")
