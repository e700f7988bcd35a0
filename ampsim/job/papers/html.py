"""What the printed papers share: one file, nothing fetched, A4 or Letter, from templates that escape every text."""

from __future__ import annotations

import base64
import re
from html import unescape
from importlib.resources import files

from markupsafe import Markup

from ...base.caution import CAUTION
from ...base.errors import DescriptionError, nearest, shown
from ...base.html import fitted_table, render
from ...pictures.export import Shown, svg_element
from ...studies.audition_request import Audition
from ...studies.sheet.page import sheet_style
from ..record.data import Record

PAPERS = {"A4": "A4", "Letter": "letter"}
"""Names of papers to what CSS calls them."""
_DESCRIBED = re.compile(r"<desc[^>]*>([^<]*)</desc>")


def paper_html(template: str, paper: str, **facts: object) -> str:
    """The whole file, from a template of this folder that extends ``paper.html``.

    Parameters
    ----------
    template : str
        Its file name.
    paper : str
        One of `PAPERS`.
    **facts
        What the template names; `title`, `above` and `intro` are the heading, the small line above and the line below.

    Raises
    ------
    DescriptionError
        For another paper.
    """
    if paper not in PAPERS:
        raise DescriptionError(f"{shown(paper)} is no paper known here{nearest(paper, PAPERS)}")
    style = sheet_style() + Markup((files(__package__) / "paper.css").read_text("utf-8"))
    shared = {"style": style, "size": PAPERS[paper], "caution": CAUTION, "table": fitted_table}
    return render(__package__, template, **shared, **facts)


def job_title(audition: Audition, record: Record | None) -> str:
    """What the job is called, and for whom it is."""
    owner = record.owner if record else ""
    return f"{audition.name}, for {owner}" if owner and owner not in audition.name else audition.name


def figure(picture: Shown) -> Markup:
    """A picture as vectors in the page."""
    return Markup("<figure>{}</figure>").format(svg_element(picture))


def data_url(drawing: str) -> str:
    """A drawing (SVG text) as the source of an image: vectors, and whatever stands in it, nothing of it runs."""
    return f"data:image/svg+xml;base64,{base64.b64encode(drawing.encode()).decode()}"


def drawing_words(drawing: str, title: str) -> str:
    """What a drawing says of itself; its title where it says nothing."""
    described = _DESCRIBED.search(drawing)
    return unescape(described[1]) if described else title
