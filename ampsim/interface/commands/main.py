"""The command line: a thin face on the same calls that Python users make."""

from __future__ import annotations

import argparse
import sys
from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING

from ...base.errors import AmpsimError
from .job import add_parser
from .job.common import audition_of, said
from .job.deciding import tell_consequences, tell_values
from .job.handing_over import heard, told
from .listen import add_parser as add_listening
from .sweep import add_parsers

if TYPE_CHECKING:
    from ...studies.audition import Audition


def main(arguments: Sequence[str] | None = None) -> int:
    """Run the command line and return its exit status: 0 done, 1 refused with a message, 130 stopped by hand."""
    options = _parser().parse_args(arguments)
    try:
        options.command(options)
    except AmpsimError as problem:
        print(f"ampsim: {problem}", file=sys.stderr)
        return 1
    except KeyboardInterrupt:
        print("ampsim: stopped; nothing is left running", file=sys.stderr)
        return 130
    except BrokenPipeError:
        # The reader of our output has gone (`| head`); close quietly, or Python complains once more at exit.
        sys.stderr.close()
    return 0


def _parser() -> argparse.ArgumentParser:
    parser = argparse.ArgumentParser(
        prog="ampsim", description="Audition a change to a valve guitar amplifier before touching it."
    )
    commands = parser.add_subparsers(required=True, metavar="COMMAND")
    audition = commands.add_parser("audition", help="simulate stock and modded, print tables, leave pictures")
    audition.add_argument(
        "job", nargs="?", help="a job folder, a job file or the name of one (default: bright-cathode-depth)"
    )
    audition.add_argument("--amp", help="without a job: an amp file or the name of one")
    audition.add_argument("--mod", action="append", default=[], help="without a job: a mod file or name; repeatable")
    audition.add_argument("--to", type=Path, help="folder for the pictures (default: audition-NAME)")
    audition.set_defaults(command=_audition)
    add_listening(commands)
    sheet = commands.add_parser(
        "consequences", help="what the mods do besides tone: bias, ratings, stability, noise, pop"
    )
    sheet.add_argument(
        "job", nargs="?", help="a job folder, a job file or the name of one (default: bright-cathode-depth)"
    )
    sheet.add_argument("--amp", help="without a job: an amp file or the name of one")
    sheet.add_argument("--mod", action="append", default=[], help="without a job: a mod file or name; repeatable")
    sheet.add_argument("--topic", action="append", help="one topic only, such as ratings; repeatable")
    sheet.add_argument("--to", type=Path, help="the file (default: consequences-NAME.html)")
    sheet.set_defaults(command=_consequences)
    find = commands.add_parser("find", help="from a wish to part values: try every set that a wish file allows")
    find.add_argument("wishes", help="a wish file or the name of one, such as bright-when-low")
    find.add_argument("--drawer", help="choose from this drawer file instead of the one that the wishes name")
    find.add_argument("--to", type=Path, help="folder for the pictures (default: found-NAME)")
    find.set_defaults(command=_find)
    page = commands.add_parser("page", help="write one HTML file for the amp's owner, to open anywhere")
    page.add_argument(
        "job", nargs="?", help="a job folder, a job file or the name of one (default: bright-cathode-depth)"
    )
    page.add_argument("--to", type=Path, help="the file (default: NAME.html)")
    page.add_argument("--control", action="append", help="a control to offer (default: those the mods add); repeatable")
    page.add_argument("--hear", action="store_true", help="with sounds to switch between; adds up to 4 MB")
    page.set_defaults(command=_page)
    add_parser(commands)
    add_parsers(commands)
    notebooks = commands.add_parser("notebooks", help="open JupyterLab on the notebooks")
    notebooks.add_argument("folder", nargs="?", type=Path, help="another folder of notebooks")
    notebooks.set_defaults(command=_notebooks)
    check = commands.add_parser("check", help="say what was understood of an amp, mod, job or valve file")
    check.add_argument("file", type=Path)
    check.set_defaults(command=_check)
    models = commands.add_parser("models", help="list the amps, mods, jobs and valves that come along")
    models.set_defaults(command=_models)
    return parser


def _found(options: argparse.Namespace) -> Audition:
    """The job that was asked for: of a job folder, a file or a name, or of an amp and mods."""
    from .common import find_audition

    return find_audition(options.job, options.amp, options.mod)


def _audition(options: argparse.Namespace) -> None:
    from ...studies.audition import audition

    print(audition(_found(options), options.to, said).text)


def _consequences(options: argparse.Namespace) -> None:
    tell_consequences(_found(options), options.topic, options.to)


def _find(options: argparse.Namespace) -> None:
    from ...library.files import load_wishes

    tell_values(load_wishes(options.wishes, options.drawer), options.to)


def _page(options: argparse.Namespace) -> None:
    from ...job.page.write import write_page
    from ...job.record.reading import is_job
    from .common import find_audition

    if options.job and is_job(options.job):
        from ...job.papers.owner_page import owner_page

        record, job = audition_of(options.job)
        path = owner_page(job, record, options.to, options.control, told, heard(options, job))
    else:
        job = find_audition(options.job, None, [])
        path = write_page(job, options.to, options.control, told, heard=heard(options, job))
    print(f"The page is {path}")


def _notebooks(options: argparse.Namespace) -> None:
    from ..jupyter import start

    start(options.folder)


def _check(options: argparse.Namespace) -> None:
    from .check import explain

    print(explain(options.file))


def _models(_: argparse.Namespace) -> None:
    from ...library.files import listing

    for kind, names in listing().items():
        print(f"{kind}: {', '.join(names)}")
