"""The figure of handing over: record, page and PDF of the demo job beside the simulations they need."""

from __future__ import annotations

import tempfile
import time
from collections.abc import Iterator, Sequence
from pathlib import Path
from typing import Any

import pytest

from ampsim import engine
from ampsim.handover import browser_path, gather, owner_page, shop_record, write_pdf
from ampsim.library import load_job
from ampsim.netlist import Netlist
from tests.measured import Figure, Scale
from tests.others import Other


def whole_handover(_: Scale) -> Iterator[Figure]:
    """Record with its checks, owner's page and PDF against ngspice alone on their runs, one after the other."""
    job = load_job("bright-cathode-depth")
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
        record = shop_record(gather(job), Path(folder, "record.html"))
        owner_page(job, path=Path(folder, "page.html"))
        if browser_path():
            write_pdf(record)
        ours = time.perf_counter() - begin
    other = Other("bare")
    try:
        bare = sum(other.time(netlist) for netlist in needed.values())
    finally:
        other.close()
    made = "record, page and PDF" if browser_path() else "record and page (no browser for a PDF)"
    name = f"{made} of the demo job over bare ngspice on their {len(needed)} runs"
    yield Figure(name, f"{ours / bare:.2f} ({ours:.1f} s against {bare:.1f} s)", "<= 2", ours <= 2.0 * bare)


SECTIONS = (whole_handover,)
