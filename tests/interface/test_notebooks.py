"""Notebooks are thin faces: little code, no definitions, and small enough to read without a kernel."""

import nbformat
import pytest

from ampsim.base.notebook import PAPER
from tests.figures.figure import Scale
from tests.figures.notebooks import NOTEBOOKS, notebook_sizes

SCALE = Scale(1, 1, 1, 1, 1)


@pytest.mark.parametrize("number", range(4))
def test_notebooks_keep_to_their_limits(number):
    figure = list(notebook_sizes(SCALE))[number]
    assert figure.fine, f"{figure.name}: {figure.value}, {figure.goal}"


@pytest.mark.parametrize("path", NOTEBOOKS, ids=lambda path: path.stem)
def test_a_notebook_has_more_prose_than_code_and_its_outputs_stored(path):
    cells = nbformat.read(path, 4).cells
    code = [cell for cell in cells if cell.cell_type == "code"]
    prose = sum(len(cell.source) for cell in cells if cell.cell_type == "markdown")
    assert prose > sum(len(cell.source) for cell in code)
    assert any("image/png" in output.get("data", {}) for cell in code for output in cell.outputs)
    assert not any(output.output_type == "error" for cell in code for output in cell.outputs)
    assert any("lethal" in cell.source or "licensed" in cell.source for cell in cells) or path.stem.startswith("3")


@pytest.mark.parametrize("path", NOTEBOOKS, ids=lambda path: path.stem)
def test_what_a_notebook_prints_fits_its_paper(path):
    """Jupyter splits longer lines within words."""
    for cell in nbformat.read(path, 4).cells:
        for output in cell.get("outputs", []):
            plain = output.get("data", {})
            shown = output.get("text") or (plain.get("text/plain", "") if set(plain) == {"text/plain"} else "")
            long = [line for line in shown.splitlines() if len(line) > PAPER]
            assert long == [], cell.id
