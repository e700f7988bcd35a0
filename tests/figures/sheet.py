"""The figure of the consequence sheet: what it costs beside the solvers it needs."""

from __future__ import annotations

import tempfile
from collections.abc import Iterator
from pathlib import Path

from ampsim.circuit.mods import apply_mods
from ampsim.library.loader import load_amp, load_mod
from ampsim.simulation.analyses import OperatingPoint
from ampsim.simulation.response import simulate
from ampsim.studies.sheet.page import write_sheet
from ampsim.studies.sheet.sheet import consequences, examine
from tests.figures.figure import Figure, Scale
from tests.tools.solvers_share import over_solvers


def whole_sheet(_: Scale) -> Iterator[Figure]:
    """The whole sheet of a mod with three positions: all its processor time over that of ngspice and our solvers.

    It was once all its time over bare ngspice on its runs; since our own solvers take most runs, those that ngspice is
    still asked are no measure of the work that a sheet has to do.
    """
    stock = load_amp("workshop-a")
    examined = examine(stock, apply_mods(stock, load_mod("bright-switch")))
    simulate(stock, OperatingPoint())
    with tempfile.TemporaryDirectory() as folder:
        whole, solvers = over_solvers(lambda: write_sheet(consequences(examined), Path(folder, "sheet.html")))
    yield share_figure(f"consequence sheet, {len(examined.positions)} positions", whole, solvers)


def share_figure(what: str, whole: float, solvers: float) -> Figure:
    """Some work's processor time [s] over what of it goes to solvers [s]."""
    name = f"{what}: processor time over that of ngspice and our solvers in it"
    return Figure(name, f"{whole / solvers:.2f} ({whole:.1f} s over {solvers:.1f} s)", "<= 2", whole <= 2.0 * solvers)


SECTIONS = (whole_sheet,)
