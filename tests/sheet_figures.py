"""The figure of the consequence sheet: what it costs beside the simulations it needs."""

from __future__ import annotations

import tempfile
import time
from collections.abc import Iterator, Sequence
from pathlib import Path
from typing import Any

import pytest

from ampsim import engine
from ampsim.library import load_amp, load_mod
from ampsim.mods import apply
from ampsim.netlist import Netlist
from ampsim.sheet import consequences, examine, write_sheet
from tests.measured import Figure, Scale
from tests.others import Other


def whole_sheet(_: Scale) -> Iterator[Figure]:
    """The whole sheet of a mod with three positions against ngspice alone on the runs it needs, one after the other."""
    stock = load_amp("workshop-a")
    examined = examine(stock, apply(stock, load_mod("bright-switch")))
    engine.run([])
    needed: dict[str, Netlist] = {}
    run = engine.run

    def noted(netlists: Sequence[Netlist], **how: Any) -> Any:
        wanted = list(netlists)
        needed.update({netlist.digest: netlist for netlist in wanted})
        return run(wanted, **how)

    with pytest.MonkeyPatch.context() as patch, tempfile.TemporaryDirectory() as folder:
        patch.setattr(engine, "run", noted)
        begin = time.perf_counter()
        write_sheet(consequences(examined), Path(folder, "sheet.html"))
        ours = time.perf_counter() - begin
    other = Other("bare")
    try:
        bare = sum(other.time(netlist) for netlist in needed.values())
    finally:
        other.close()
    name = f"consequence sheet, {len(examined.positions)} positions, over bare ngspice on its {len(needed)} runs"
    yield Figure(name, f"{ours / bare:.2f} ({ours:.1f} s against {bare:.1f} s)", "<= 2", ours <= 2.0 * bare)


SECTIONS = (whole_sheet,)
