"""The figure of handing over: record, page and PDF of the demo job beside the solvers they need."""

from __future__ import annotations

import tempfile
from collections.abc import Iterator
from pathlib import Path

from ampsim.job.papers.handover import gather_handover
from ampsim.job.papers.owner_page import owner_page
from ampsim.job.papers.pdf import write_pdf
from ampsim.job.papers.shop_record import shop_record
from ampsim.library.loader import load_audition
from ampsim.simulation.analyses import OperatingPoint
from ampsim.simulation.response import simulate
from ampsim.studies.audition_request import Audition
from tests.figures.figure import Figure, Scale
from tests.figures.sheet import share_figure
from tests.tools.solvers_share import over_solvers


def whole_handover(_: Scale) -> Iterator[Figure]:
    """Record with its checks, owner's page and PDF: all their processor time over that of ngspice and our solvers."""
    job = load_audition("bright-cathode-depth")
    simulate(job.stock, OperatingPoint())
    with tempfile.TemporaryDirectory() as folder:
        whole, solvers = over_solvers(lambda: _hand_over(job, Path(folder)))
    yield share_figure("record, page and PDF of the demo job", whole, solvers)


def _hand_over(job: Audition, folder: Path) -> None:
    record = shop_record(gather_handover(job), folder / "record.html")
    owner_page(job, path=folder / "page.html")
    write_pdf(record)


SECTIONS = (whole_handover,)
