"""The figure of handing over: record, page and PDF of the demo job beside the simulations they need."""

from __future__ import annotations

import tempfile
from collections.abc import Iterator
from pathlib import Path

from ampsim.job.papers.handover import gather_handover
from ampsim.job.papers.owner_page import owner_page
from ampsim.job.papers.pdf import write_pdf
from ampsim.job.papers.shop_record import shop_record
from ampsim.library.loader import load_audition
from ampsim.studies.audition_request import Audition
from tests.figures.figure import Figure, Scale
from tests.tools.others import against_bare


def whole_handover(_: Scale) -> Iterator[Figure]:
    """Record with its checks, owner's page and PDF against ngspice alone on their runs, one after the other."""
    job = load_audition("bright-cathode-depth")
    with tempfile.TemporaryDirectory() as folder:
        ours, bare, runs = against_bare(lambda: _hand_over(job, Path(folder)))
    name = f"record, page and PDF of the demo job over bare ngspice on their {runs} runs"
    yield Figure(name, f"{ours / bare:.2f} ({ours:.1f} s against {bare:.1f} s)", "<= 2", ours <= 2.0 * bare)


def _hand_over(job: Audition, folder: Path) -> None:
    record = shop_record(gather_handover(job), folder / "record.html")
    owner_page(job, path=folder / "page.html")
    write_pdf(record)


SECTIONS = (whole_handover,)
