"""`ampsim valve`: a valve fitted to a few points, and the curves of any valve."""

from __future__ import annotations

import argparse
from pathlib import Path

from ...base.errors import DescriptionError
from ...base.files import file_word, refuse_unwritable
from .common import Commands, asked_amp, asked_position, at_option, named_path, to_option

PLACE = 107


def add(commands: Commands) -> None:
    """Add "valve" with what can be done with one."""
    valve = commands.add_parser("valve", help="a valve from a few points of a data sheet or tester")
    steps = valve.add_subparsers(required=True, metavar="STEP")
    fit = steps.add_parser("fit", help="fit a valve to points: a file for amps, its curves over the points, residuals")
    fit.add_argument("points", nargs="?", type=named_path, help="columns (CSV) or TOML: volts, mA, gm, rp, mu")
    fit.add_argument("--as", dest="type", default="", help="the type, where the file does not say it")
    fit.add_argument("--like", default="", help="a type that what is not given is taken over from")
    fit.add_argument("--law", default="", help="the law to fit (default: that of `like`, else this package's own)")
    fit.add_argument("--example", action="store_true", help="print a file of points that can be fitted, and no more")
    fit.add_argument("--no-picture", action="store_true", help="write the valve file alone")
    to_option(fit, "the valve file; its picture lies beside it", "TYPE.toml, which must not be there yet")
    fit.set_defaults(command=_fit)
    show = steps.add_parser("show", help="draw the curves of a valve over its published points, or where one rests")
    show.add_argument("valve", nargs="?", default="", help="a valve by any of its names, or its file")
    show.add_argument("--amp", help="an amp file or the name of one, for the stage of one of its valves")
    show.add_argument("--mod", action="append", default=[], help="a mod file or name; repeatable")
    show.add_argument("--of", default="", metavar="PLACE", help="the valve of the amp, such as V1A")
    at_option(show, "as drawn")
    to_option(show, "the picture", "TYPE-curves.png or AMP-PLACE.png")
    show.set_defaults(command=_show)


def _fit(options: argparse.Namespace) -> None:
    from ...base.files import read_bounded, write_whole
    from ...bench.valves.fit import fit_points
    from ...bench.valves.picture import curves_picture
    from ...bench.valves.points_file import EXAMPLE, read_points
    from ...bench.valves.report import fit_text
    from ...library.valve_text import valve_text
    from ...pictures.export import save_picture

    if options.example:
        print(EXAMPLE, end="")
        return
    if options.points is None:
        raise DescriptionError("valve fit: name a file of points; `ampsim valve fit --example` prints one")
    refuse_unwritable((options.to or Path()).parent)
    asked = {"type": options.type, "like": options.like, "law": options.law}
    told = read_points(read_bounded(options.points), options.points.name, asked)
    path = options.to or Path(f"{told.unfitted.type}.toml")
    if options.to is None and path.exists():
        raise DescriptionError(f"{path} is there already; say with --to where the valve goes")
    found = fit_points(told.unfitted, options.points.name, told.borrowed)
    write_whole(path, valve_text(found.valve))
    print(fit_text(found))
    print(f"\nThe valve is {path}.")
    if not options.no_picture:
        print(f"Its curves over the points are {save_picture(curves_picture(found.valve), path.with_suffix(''))[0]}.")
    print(f"An amp beside it takes it by its type ({found.valve.type}); `ampsim check {path}` looks at it.")


def _show(options: argparse.Namespace) -> None:
    if bool(options.valve) == bool(options.amp):
        raise DescriptionError("valve show: name a valve, or --amp and --of for the stage of one in an amp")
    refuse_unwritable((options.to or Path()).parent)
    (_show_stage if options.amp else _show_curves)(options)


def _show_curves(options: argparse.Namespace) -> None:
    from ...bench.valves.picture import curves_picture
    from ...library.loader import load_valve
    from ...pictures.export import save_picture

    valve = load_valve(options.valve)
    picture = curves_picture(valve)
    print(picture.alternative)
    print(f"\nThe picture is {save_picture(picture, options.to or f'{valve.type}-curves.png')[0]}")


def _show_stage(options: argparse.Namespace) -> None:
    from ...bench.valves.picture import stage_picture
    from ...bench.valves.stage_lines import stage_lines
    from ...pictures.export import save_picture

    if not options.of:
        raise DescriptionError("valve show: say with --of which valve of the amp, such as V1A")
    amp = asked_amp(options)
    lines = stage_lines(amp, options.of, asked_position(amp, options.at))
    print(lines.text())
    target = options.to or f"{file_word(amp.name)}-{lines.place}.png"
    print(f"\nThe picture is {save_picture(stage_picture(lines), target)[0]}")
