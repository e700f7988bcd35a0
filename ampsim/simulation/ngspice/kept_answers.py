"""Answers in time that were given before: a transient takes long, and its netlist says all that it depends on.

The same amp is asked the same by the sheet, the record and the page, and the stock amp again for every mod. What is
kept is what came from ngspice, to the last bit, under a hash of netlist, library and the modules that talk to it; or
what another solver gave, under a hash of the netlist and what that solver says of itself.
"""

from __future__ import annotations

import hashlib
import json
import os
from collections.abc import Iterable, Mapping
from functools import lru_cache
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from ...base.errors import EngineError
from ...base.kept_files import fetch_kept, keep_within, kept_folder
from ..netlist import Netlist
from .library import SETTING, find
from .protocol import Answer

MOST_BYTES = 1_000_000_000  # of all answers: those of a few sheets
MOST_OF_ONE = 20_000_000
"""Bytes of one file of answers, at most."""
_HEAD = 20_000
_ENDING = ".answer"


def fetch_answer(netlist: Netlist, solver: str = "") -> tuple[Answer, memoryview] | None:
    """What a worker, or another `solver`, answered to a netlist once; None where nothing sound is kept."""
    path = _path(netlist, solver)
    content = path and fetch_kept(path, MOST_OF_ONE)
    if not content:
        return None
    head = bytes(content[:_HEAD]).partition(b"\n")[0]
    try:
        facts = json.loads(head)
        answer = Answer(int(facts["points"]), True, False, tuple(map(str, facts["notes"])))
    except (ValueError, KeyError, TypeError, RecursionError):
        return None
    body = content[len(head) + 1 :]
    return (answer, body) if body.nbytes == 8 * answer.points * (1 + len(netlist.form.vectors)) else None


def keep_answer(
    netlist: Netlist,
    scale: NDArray[Any],
    vectors: Mapping[str, NDArray[Any]],
    notes: Iterable[str],
    solver: str = "",
) -> None:
    """Keep an answer, where it is of a kind that is kept.

    Parameters
    ----------
    netlist : Netlist
    scale : ndarray
        Time [s].
    vectors : mapping
        To each name the values [V or A], in the netlist's order.
    notes : iterable of str
        Harmless remarks of ngspice.
    solver : str
        What it was, where not ngspice.
    """
    path = _path(netlist, solver)
    if path is None or not scale.size:
        return
    head = json.dumps({"points": scale.size, "notes": list(notes)}).encode() + b"\n"
    rows = [np.ascontiguousarray(each, "<f8").data.cast("B") for each in (scale, *vectors.values())]
    if len(head) < _HEAD and sum(each.nbytes for each in rows) + len(head) <= MOST_OF_ONE:
        keep_within(path, head, MOST_BYTES, *rows)


def _folder() -> Path:
    return kept_folder() / "answers"


def _path(netlist: Netlist, solver: str) -> Path | None:
    if not netlist.form.command.startswith("tran"):
        return None
    facts = (netlist.digest, netlist.form.vectors, netlist.form.end, netlist.form.fresh)
    return path_of(facts, solver)


def path_of(asked: object, solver: str = "") -> Path | None:
    """Where the answer to something is kept; None where there is no simulator.

    Parameters
    ----------
    asked : object
        All that the answer depends on besides the simulator, told apart by its `repr`.
    solver : str
        What answered, where not ngspice.
    """
    try:
        facts = (asked, solver or _simulator(os.environ.get(SETTING)))
    except (EngineError, OSError):  # no library, as the worker will say
        return None
    return _folder() / f"{hashlib.sha256(repr(facts).encode()).hexdigest()}{_ENDING}"


@lru_cache(maxsize=8)
def _simulator(chosen: str | None) -> tuple[Any, ...]:
    """The library, told apart by place, size and date, and the modules that talk to it."""
    library = find()
    state = library.stat()
    return (str(library), state.st_size, state.st_mtime_ns, _code())


@lru_cache(maxsize=1)
def _code() -> str:
    files = sorted(Path(__file__).resolve().parent.glob("*.py"))
    return hashlib.sha256(b"\0".join(path.read_bytes() for path in files)).hexdigest()
