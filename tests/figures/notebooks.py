"""The figures of notebooks, panel and page; those in a browser need Chromium."""

from __future__ import annotations

import re
import statistics
import tempfile
import time
from collections.abc import Iterator
from pathlib import Path

import nbformat
import numpy as np

from ampsim import apply_mods, load_amp, load_mod
from ampsim.studies.brightness.attribution import attribute
from tests.browser import lab, page_figures, speed
from tests.figures.figure import Figure, Scale

NOTEBOOKS = sorted((Path(__file__).resolve().parents[2] / "notebooks").glob("*.ipynb"))
SIX_EDITS = ("bright-switch", "cathode-switch", "depth", "smaller-coupling", "partial-bypass", "larger-plate-load")


def code_of(path: Path) -> list[str]:
    """The code cells of a notebook."""
    return [cell.source for cell in nbformat.read(path, 4).cells if cell.cell_type == "code"]


def lines_of(cell: str) -> list[str]:
    """The lines of a cell that are code."""
    return [line for line in cell.splitlines() if line.strip() and not line.lstrip().startswith("#")]


def notebook_sizes(_: Scale) -> Iterator[Figure]:
    """How much code the notebooks hold."""
    cells = {path.name: code_of(path) for path in NOTEBOOKS}
    most = max(sum(len(lines_of(cell)) for cell in each) for each in cells.values())
    longest = max(len(lines_of(cell)) for each in cells.values() for cell in each)
    made = sum(len(re.findall(r"^\s*(?:def|class|async def) ", cell, re.M)) for each in cells.values() for cell in each)
    size = max(path.stat().st_size for path in NOTEBOOKS) / 1000
    yield Figure("notebooks: code lines at most", f"{most}", "<= 40", most <= 40)
    yield Figure("notebooks: longest cell", f"{longest}", "<= 10", longest <= 10)
    yield Figure("notebooks: definitions", f"{made}", "0", made == 0)
    yield Figure("notebooks: size at most", f"{size:.0f} kB", "<= 400 kB", size <= 400)


def attribution_cost(_: Scale) -> Iterator[Figure]:
    """Attribution of six edits at the loudspeaker, 151 frequencies."""
    stock = load_amp("workshop-a")
    modded = apply_mods(stock, *(load_mod(name) for name in SIX_EDITS))
    at = {"bright": "120p", "cathode": "6k8", "depth": 0.5}
    spent = []
    for turn in range(5):
        begin = time.perf_counter()
        # Another gain each time, so that no circuit is remembered.
        shares = attribute(stock, modded, {**at, "gain": 0.3 + 0.01 * turn}, by="mod")
        spent.append(time.perf_counter() - begin)
    error = float(np.abs(shares.sum("edit") - shares["total"]).max())
    seconds = statistics.median(spent)
    name = f"attribution of {shares.sizes['edit']} edits, all frequencies"
    yield Figure(name, f"{seconds:.2f} s", "<= 1 s", seconds <= 1.0)
    yield Figure("attribution: error of the sum", f"{error:.1e} dB", "<= 1e-9 dB", error <= 1e-9)


def panel_speed(scale: Scale) -> Iterator[Figure]:
    """The live panel in JupyterLab."""
    if lab.missing():
        yield Figure("panel in a browser", f"not measured: {', '.join(lab.missing())} is missing", "", False)
        return
    for prompt, name in ((True, "as `ampsim notebooks` starts it"), (False, "on the server's own settings")):
        with tempfile.TemporaryDirectory() as folder:
            found = speed.measure(Path(folder), prompt, moves=scale.moves if prompt else 20)
        value = f"{found.median_ms:.0f} / {found.p95_ms:.0f} ms"
        fine = found.median_ms <= 17 and found.p95_ms <= 25
        yield Figure(f"panel, {name}: key to pixels, median / 95 %", value, "<= 17 / 25 ms", fine)
        rate = found.pictures_per_second
        drag = f"panel, {name}: pictures a second in a drag of 60 moves a second"
        yield Figure(drag, f"{rate:.0f}", ">= 55", rate >= 55)
        wait = found.settle_s
        yield Figure(f"panel, {name}: from its end to ngspice's answer", f"{wait:.1f} s", "<= 1 s", wait <= 1)
        yield Figure(
            f"panel, {name}: last picture is of the last value", f"{found.last_matches}", "True", found.last_matches
        )
        if prompt:
            growth = f"{found.kernel_growth:.1f} % kernel, {found.page_growth:.1f} % page"
            fine = max(found.kernel_growth, found.page_growth) < 5.0
            yield Figure(f"panel: growth of memory over {found.moves:,} moves", growth, "< 5 %", fine)


def first_picture(_: Scale) -> Iterator[Figure]:
    """Notebook 1 opened in JupyterLab, to its first picture after Run All."""
    if lab.missing():
        yield Figure("notebook 1 in JupyterLab", f"not measured: {', '.join(lab.missing())} is missing", "", False)
        return
    with tempfile.TemporaryDirectory() as folder:
        begin = time.perf_counter()
        with lab.lab(Path(folder), code_of(NOTEBOOKS[0])) as opened:
            opened.run_all()
            opened.page.wait_for_selector(".jp-OutputArea-output img")
            seconds = time.perf_counter() - begin
    yield Figure("JupyterLab started, notebook 1, to the first picture", f"{seconds:.1f} s", "<= 10 s", seconds <= 10)


def owners_page(_: Scale) -> Iterator[Figure]:
    """The page for the owner of the demo job's amp."""
    if page_figures.missing():
        yield Figure("owner's page", f"not measured: {', '.join(page_figures.missing())} is missing", "", False)
        return
    found = page_figures.measure_page()
    size, asked = found["bytes"] / 1000, int(found["requests"])
    yield Figure("owner's page without sounds: size", f"{size:.0f} kB", "<= 700 kB", size <= 700)
    value = f"{found['median_ms']:.0f} / {found['p95_ms']:.0f} ms"
    yield Figure("owner's page: key to picture, median / 95 %", value, "<= 50 ms", found["p95_ms"] <= 50)
    yield Figure("owner's page: requests to the network", f"{asked}", "0", asked == 0)


SECTIONS = (notebook_sizes, attribution_cost, owners_page, first_picture, panel_speed)
