"""`ampsim setup` says which ngspice library is used, or how one is got; it fetches one when asked."""

from __future__ import annotations

import argparse
from typing import TYPE_CHECKING

from ...base.errors import EngineError
from .common import Commands, report

if TYPE_CHECKING:
    from ..installation import Fault

PLACE = 119


def add(commands: Commands) -> None:
    """Add "setup"."""
    parser = commands.add_parser("setup", help="say which ngspice library is used, or how one is got")
    parser.add_argument("--fetch", action="store_true", help="fetch one, where there is none that can be used")
    parser.set_defaults(command=_setup)


def _setup(options: argparse.Namespace) -> None:
    from ...simulation.ngspice import engine, library
    from ..installation import library_faults

    fault = next(library_faults(), None)
    if fault is None:
        print(f"ngspice {engine.versions()['ngspice']}, library {library.find()}: it answers; nothing is to be done.")
    elif options.fetch:
        print(f"{fault.what}: {fault.wrong}.")
        _fetch()
    else:
        print(f"{fault.what}: {fault.wrong}.\n\n{_ways(fault)}\n")
        raise EngineError("there is no ngspice library that can be used; nothing was changed")


def _ways(fault: Fault) -> str:
    """How a library is got: by us, by hand, by naming one."""
    from ...simulation.ngspice import fetching, library

    if library.chosen():
        return fault.advice
    ways = [f"- {library.by_hand()}", f"- set {library.SETTING} to the full path of a library"]
    if fault.remedy:
        ways.insert(0, f"- `ampsim setup --fetch` would {fetching.plan(library.fetch_folder())}")
    return "Any of these helps:\n" + "\n".join(dict.fromkeys(ways))


def _fetch() -> None:
    from ...simulation.ngspice import engine, fetching, library
    from ..installation import library_fault

    if set_to := library.chosen():
        raise EngineError(
            f"{library.SETTING} is set to {set_to}, which comes before any that is fetched: unset it first"
        )
    target = library.fetch_folder()
    report(f"to {fetching.plan(target)}")
    fetching.fetch_library(target)
    path = library.find()
    if wrong := library_fault(path):
        raise EngineError(f"the ngspice library {path} was fetched and cannot be used: {wrong}")
    print(f"ngspice {engine.versions()['ngspice']} is in {path}; delete {target} to take it back.")
