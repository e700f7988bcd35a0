"""The figure of the consequence sheet: what it costs beside the simulations it needs."""

from __future__ import annotations

import tempfile
from collections.abc import Iterator
from pathlib import Path

from ampsim.circuit.mods import apply_mods
from ampsim.library.loader import load_amp, load_mod
from ampsim.studies.sheet.page import write_sheet
from ampsim.studies.sheet.sheet import consequences, examine
from tests.figures.figure import Figure, Scale
from tests.tools.others import against_bare


def whole_sheet(_: Scale) -> Iterator[Figure]:
    """The whole sheet of a mod with three positions against ngspice alone on the runs it needs, one after the other."""
    stock = load_amp("workshop-a")
    examined = examine(stock, apply_mods(stock, load_mod("bright-switch")))
    with tempfile.TemporaryDirectory() as folder:
        ours, bare, runs = against_bare(lambda: write_sheet(consequences(examined), Path(folder, "sheet.html")))
    name = f"consequence sheet, {len(examined.positions)} positions, over bare ngspice on its {runs} runs"
    yield Figure(name, f"{ours / bare:.2f} ({ours:.1f} s against {bare:.1f} s)", "<= 2", ours <= 2.0 * bare)


SECTIONS = (whole_sheet,)
