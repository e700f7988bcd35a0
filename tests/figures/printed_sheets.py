"""The figure of sheets drawn to size: how far holes and rulers of drilling sheets are off, measured on their pages."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace

import numpy as np

from ampsim.job.papers.drilling import DrillingSheet, drilling_sheets
from ampsim.job.papers.sheets import SIZES, Circle, sheets_pdf
from ampsim.work.holes.bodies import POT_24
from ampsim.work.holes.panel_parts import PanelPart
from ampsim.work.holes.row import Placed
from tests.figures.figure import Figure, Scale
from tests.tools.read_pdf import open_pdf
from tests.tools.read_sheets import dots, measured_centre, measured_diameter, measured_rulers

_ROWS, _LIMIT = 6, 0.1  # rows by lot on each paper; mm


def worst_off(rows: int = _ROWS) -> tuple[int, float]:
    """How many lengths were measured, and by how much the worst of them is off [mm]."""
    lot, off = np.random.default_rng(19), [0.0]
    for number in range(rows):
        for paper in SIZES:
            row = _row(lot)
            sheet = DrillingSheet(f"row {number}", "", "", row, (), (), ())
            made = drilling_sheets(sheet, paper)
            page = dots(open_pdf(sheets_pdf("t", made)), 0)
            full = [each for each in made[0].shapes if isinstance(each, Circle) and each.dash == "solid"]
            centres = [measured_centre(page, each) for each in full]
            off += [
                abs(measured - length) for measured, length in zip(measured_rulers(page), (100.0, 101.6), strict=True)
            ]
            for placed, (x, y) in zip(row, centres, strict=True):
                off.append(abs(x - centres[0][0] - (placed.along - row[0].along)))
                off.append(abs(centres[0][1] - y - (placed.up - row[0].up)))
                hole = placed.part.body.hole
                off.append(abs(measured_diameter(page, x, y, hole) - hole))
    return len(off) - 1, float(np.max(off))


def _row(lot: np.random.Generator) -> tuple[Placed, ...]:
    along = np.round(np.cumsum(lot.uniform(40.0, 55.0, 4)) - 60.0, 1)
    parts = [PanelPart(f"P{n}", "", replace(POT_24, hole=round(lot.uniform(4.0, 26.0), 1), key=0.0)) for n in range(4)]
    return tuple(
        Placed(part, float(x), round(lot.uniform(-20.0, 20.0), 1)) for part, x in zip(parts, along, strict=True)
    )


def printed_to_size(_: Scale) -> Iterator[Figure]:
    """Centres, diameters and rulers of drilling sheets on both papers, measured on their pages."""
    count, worst = worst_off()
    name = f"drilling sheets, {count} lengths measured on A4 and Letter: the worst is off by"
    yield Figure(name, f"{worst:.3f} mm", f"<= {_LIMIT:g} mm", worst <= _LIMIT)


SECTIONS = (printed_to_size,)
