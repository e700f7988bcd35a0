"""The command line: a thin face on the same calls that Python users make."""

from __future__ import annotations

import argparse
import gc
import importlib
import os
import pkgutil
import sys
from collections.abc import Sequence
from types import ModuleType

from ...base.errors import AmpsimError
from ...base.files import printable
from ...base.system import is_reader_gone
from ...base.terminal import spell_missing_signs

_LAST = 1000  # commands without a place of their own stand last in the help


def main(arguments: Sequence[str] | None = None) -> int:
    """Run the command line and return its exit status: 0 done, 1 refused with a message, 130 stopped by hand."""
    # Matrices here are small: a second thread of the algebra waits more than it works. Read when numpy is loaded.
    os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")
    if arguments is None:
        gc.set_threshold(50_000)  # most of what a command makes stays until it ends: a thirtieth of the time
    for stream in (sys.stdout, sys.stderr):
        spell_missing_signs(stream)
    options = make_parser().parse_args(arguments)
    try:
        options.command(options)
    except AmpsimError as problem:
        print(f"ampsim: {problem}", file=sys.stderr)
        return 1
    except OSError as problem:
        if is_reader_gone(problem):
            # The reader of our output has gone (`| head`); close quietly, or Python complains once more at exit.
            sys.stderr.close()
            return 0
        named = f"{printable(problem.filename)}: " if isinstance(problem.filename, str) else ""
        print(f"ampsim: {named}{problem.strerror or problem}", file=sys.stderr)
        return 1
    except KeyboardInterrupt:
        print("ampsim: stopped; nothing is left running", file=sys.stderr)
        return 130
    except MemoryError:
        print("ampsim: there is not enough memory for this; close other programs, or ask for less", file=sys.stderr)
        return 1
    except RuntimeError as problem:
        if "can't start new thread" not in str(problem):
            raise
        print("ampsim: the system starts no more threads; memory or a limit of the session is used up", file=sys.stderr)
        return 1
    except ValueError as problem:
        if "backend" not in str(problem) or "MPLBACKEND" not in os.environ:
            raise
        print(f"ampsim: MPLBACKEND names no way of drawing that matplotlib has; unset it ({problem})", file=sys.stderr)
        return 1
    except (ImportError, SyntaxError, EOFError) as problem:
        return _broken(problem)
    return 0


def _broken(problem: Exception) -> int:
    """What ampsim stands on does not load: say what is damaged, and how it is mended."""
    from ..installation import package_faults

    print(f"ampsim: {type(problem).__name__}: {problem}", file=sys.stderr)
    for fault in package_faults():
        print(f"ampsim: {fault}", file=sys.stderr)
    print("ampsim: `ampsim selftest` looks at all that ampsim stands on", file=sys.stderr)
    return 1


def make_parser() -> argparse.ArgumentParser:
    """The parser with every command."""
    parser = argparse.ArgumentParser(
        prog="ampsim", description="Audition a change to a valve guitar amplifier before touching it."
    )
    commands = parser.add_subparsers(required=True, metavar="COMMAND")
    for module in command_modules():
        module.add(commands)
    return parser


def command_modules() -> list[ModuleType]:
    """The modules of this package that have a function `add`, in the order of their `PLACE` in the help."""
    package = importlib.import_module(__package__)
    names = sorted(each.name for each in pkgutil.iter_modules(package.__path__))
    modules = [importlib.import_module(f"{__package__}.{name}") for name in names]
    return sorted((each for each in modules if hasattr(each, "add")), key=lambda each: getattr(each, "PLACE", _LAST))
