"""A netlist run by ngspice alone, nothing of ampsim between: by its program where there is one, else by its library.

`python -m tests.tools.bare_ngspice LIBRARY FILE... OUT...` is what runs in a process of its own.
"""

from __future__ import annotations

import contextlib
import os
import re
import shutil
import subprocess
import sys
from collections.abc import Sequence
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

Plots = list[dict[str, NDArray[np.complex128]]]
_PLOT = re.compile(rb"Flags: (\w+).*?\nNo\. Variables: (\d+)\s*\nNo\. Points: (\d+)\s*\n.*?Variables:\n", re.DOTALL)


def answers_of(texts: Sequence[str], folder: Path, program: str = "") -> list[Plots]:
    """For each text every vector of every analysis that it asks for by its name, the sweep or transient first."""
    files, raws = ([folder / f"{number}.{end}" for number in range(len(texts))] for end in ("cir", "raw"))
    for text, file, raw in zip(texts, files, raws, strict=True):
        file.write_text(text, "utf-8")
        raw.unlink(missing_ok=True)
    program = program or os.environ.get("NGSPICE_PROGRAM", "") or shutil.which("ngspice") or ""
    asked = [[program, "-b", "-r", str(raw), str(file)] for file, raw in zip(files, raws, strict=True)]
    if not program:
        from ampsim.simulation.ngspice.library import find

        asked = [[sys.executable, "-m", "tests.tools.bare_ngspice", str(find()), *map(str, (*files, *raws))]]
    done = [subprocess.run(each, capture_output=True, timeout=60, check=False) for each in asked]
    assert all(raw.is_file() for raw in raws), [each.stdout[-2000:] + each.stderr[-2000:] for each in done]
    found = [list(_read(raw.read_bytes())) for raw in raws]
    return [sorted(each, key=lambda plot: not plot.keys() & {"frequency", "time"}) for each in found]


def _read(data: bytes) -> Plots:
    found, start = [], 0
    while head := _PLOT.search(data, start):
        count, points, kind = int(head[2]), int(head[3]), np.complex128 if head[1] == b"complex" else np.float64
        names, _, _ = data[head.end() :].partition(b"Binary:\n")
        at = head.end() + len(names) + len(b"Binary:\n")
        size = count * points * np.dtype(kind).itemsize
        rows = np.frombuffer(data[at : at + size], kind).reshape(points, count).T.astype(np.complex128)
        words = [line.split()[1].decode() for line in names.splitlines()]
        found.append(dict(zip(words, rows, strict=True)))
        start = at + size
    return found


def _alone(library: str, *paths: str) -> None:
    from PySpice.Spice.NgSpice.Shared import NgSpiceCommandError, NgSpiceShared

    from ampsim.simulation.ngspice.library import load

    load(Path(library))  # with the library beside it that it needs
    NgSpiceShared.LIBRARY_PATH = library
    spice = NgSpiceShared.new_instance()

    def command(text: str) -> None:
        with contextlib.suppress(NgSpiceCommandError):  # raised for remarks too; the rawfile tells
            spice.exec_command(text)

    half = len(paths) // 2
    for file, raw in zip(paths[:half], paths[half:], strict=True):
        for each in (f"source {file}", "set appendwrite", "run"):
            command(each)
        for plot in [name for name in spice.plot_names if name != "const"]:
            command(f"setplot {plot}")
            command(f"write {raw}")
        for each in ("destroy all", "remcirc"):
            command(each)
    os._exit(0)


if __name__ == "__main__":
    _alone(*sys.argv[1:])
