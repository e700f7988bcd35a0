"""The commands around one job: `ampsim job STEP FOLDER`, a thin face on `record` and the topics that read it."""

from __future__ import annotations

import argparse
from collections.abc import Callable
from pathlib import Path
from typing import TYPE_CHECKING, Any

from .safety import CAUTION

if TYPE_CHECKING:
    from .record import Opened, Record

Command = Callable[[argparse.Namespace], None]


def add_parser(commands: Any) -> None:
    """Add "job" and its steps, in the order in which most jobs take them."""
    job = commands.add_parser("job", help="one customer's job in a folder: from taking the amp in to handing it over")
    steps = job.add_subparsers(required=True, metavar="STEP")
    begin = _step(steps, "begin", "take an amp in: make the folder and freeze its files", _begin)
    begin.add_argument("--amp", required=True, help="an amp file or the name of one")
    begin.add_argument("--mod", action="append", default=[], help="a mod file or name; repeatable")
    begin.add_argument("--owner", default="", help="what the owner is called")
    begin.add_argument("--words", default="", help="what the owner asks for, in their words")
    wish = _step(steps, "wish", "write down one wish of the owner", _wish)
    wish.add_argument("words")
    wish.add_argument("--file", default="", help="a wish file of the job that answers it")
    wish.add_argument("--entry", type=int, default=0, help="which wish of that file, from 1")
    wish.add_argument("--note", default="", help="what is done about it")
    state = _step(steps, "state", "enter the state the job is in now", _state)
    state.add_argument("state", help='such as "on the bench" or "waiting for parts"')
    state.add_argument("--note", default="")
    _step(steps, "show", "tell the job: owner's words, wishes, states, what was seen and measured", _show)
    _step(steps, "cautions", "stored charge, bleeders and cautions of this amp, before it is opened", _cautions)
    parts = _step(steps, "parts", "what to buy, rated for what it carries", _parts)
    parts.add_argument("--to", type=Path, help="also write the list as CSV to this file")
    _step(steps, "steps", "the work in a safe order, with what to measure after each step", _steps)


def _step(steps: Any, name: str, about: str, command: Command) -> argparse.ArgumentParser:
    parser: argparse.ArgumentParser = steps.add_parser(name, help=about)
    parser.add_argument("folder", type=Path, help="the job's folder")
    parser.set_defaults(command=command)
    return parser


def _opened(options: argparse.Namespace) -> tuple[Record, Opened]:
    from .record import open_job, read

    record = read(options.folder)
    return record, open_job(record, options.folder)


def _begin(options: argparse.Namespace) -> None:
    from .record import begin

    record = begin(options.folder, options.amp, options.mod, owner=options.owner, words=options.words)
    print(f"Job '{record.name}' is in {options.folder}; look at the caution sheet before anything is opened:\n")
    _cautions(options)


def _wish(options: argparse.Namespace) -> None:
    from .record import read, save, wish

    save(wish(read(options.folder), options.words, options.file, options.entry, options.note), options.folder)


def _state(options: argparse.Namespace) -> None:
    from .record import enter, read, save

    save(enter(read(options.folder), options.state, note=options.note), options.folder)


def _show(options: argparse.Namespace) -> None:
    from .cautions import caution_sheet
    from .record import intake

    record, opened = _opened(options)
    print(intake(record, opened, caution_sheet(opened.modded).text()))


def _cautions(options: argparse.Namespace) -> None:
    from .cautions import caution_sheet

    _, opened = _opened(options)
    print(caution_sheet(opened.modded).text())


def _parts(options: argparse.Namespace) -> None:
    from .shopping import parts_list

    _, opened = _opened(options)
    found = parts_list(opened.stock, opened.modded, drawer=opened.drawer)
    print(found.text())
    if options.to:
        print(f"\nThe list is in {found.write(options.to)}")


def _steps(options: argparse.Namespace) -> None:
    from .worksteps import work_steps

    _, opened = _opened(options)
    print(f"{work_steps(opened.stock, opened.modded).text()}\n\n{CAUTION}")
