"""What the printed papers share: one file, nothing fetched, A4 or Letter; every text is escaped here."""

from __future__ import annotations

import base64
import re
from collections.abc import Iterable
from html import escape, unescape
from importlib.resources import files
from string import Template

import pandas as pd

from ...base.caution import CAUTION
from ...base.errors import DescriptionError, nearest, shown
from ...base.html import html_table
from ...pictures.canvas import Picture, svg_element

PAPERS = {"A4": "A4", "Letter": "letter"}
"""Names of papers to what CSS calls them."""
_NARROW, _WIDE = 6, 9
_SHORT = 12  # rows that are kept on one page
_DESCRIBED = re.compile(r"<desc[^>]*>([^<]*)</desc>")
_HEAD, _RIGHT = '<th scope="col">', '<th scope="col" style="text-align:right">'


def page_html(title: str, above: str, intro: str, body: str, paper: str = "A4") -> str:
    """The whole file.

    Parameters
    ----------
    title, above, intro : str
        Plain texts: the heading, the small line above it, the line below it.
    body : str
        HTML made by the functions of this module.
    paper : str
        One of `PAPERS`.

    Raises
    ------
    DescriptionError
        For another paper.
    """
    if paper not in PAPERS:
        raise DescriptionError(f"{shown(paper)} is no paper known here{nearest(paper, PAPERS)}")
    here = files(__package__)
    return Template((here / "paper.html").read_text("utf-8")).substitute(
        title=plain(title),
        above=plain(above),
        intro=plain(intro),
        style=(files("ampsim.studies.sheet") / "sheet.css").read_text("utf-8")
        + (here / "paper.css").read_text("utf-8"),
        size=PAPERS[paper],
        body=body,
        caution=plain(CAUTION),
    )


def plain(text: object) -> str:
    """A foreign text, escaped, without what does not print."""
    return escape("".join(sign if sign.isprintable() else " " for sign in str(text)))


def lines(text: str) -> str:
    """A foreign text, its lines kept."""
    return "<br>".join(plain(line) for line in text.splitlines())


def section(title: str, *pieces: str) -> str:
    """A section with its heading."""
    inside = "\n".join(piece for piece in pieces if piece)
    return f"<section>\n<h2>{plain(title)}</h2>\n{inside}\n</section>" if inside else ""


def table(rows: pd.DataFrame, caption: str = "") -> str:
    """A table that fits the paper; nothing when it has no rows."""
    if rows.empty:
        return ""
    width = len(rows.columns)
    look = "narrow" if width <= _NARROW else "middle" if width <= _WIDE else "wide"
    look += " short" if len(rows) <= _SHORT else ""
    # Headers of numbers stand over the numbers, to the right.
    right = iter([pd.api.types.is_numeric_dtype(kind) for kind in rows.dtypes])
    told = re.sub(_HEAD, lambda head: _RIGHT if next(right) else head[0], html_table(rows, caption))
    return f'<div class="scroll {look}">{told}</div>'


def figure(picture: Picture) -> str:
    """A picture as vectors in the page."""
    return f"<figure>{svg_element(picture)}</figure>"


def drawing(text: str, title: str) -> str:
    """A drawing (SVG text) as an image with its own words: vectors, and whatever stands in it, nothing of it runs."""
    data = base64.b64encode(text.encode()).decode()
    name, said = plain(title), _DESCRIBED.search(text)
    words = plain(unescape(said[1])) if said else name
    return f'<figure><figcaption>{name}</figcaption><img alt="{words}" src="data:image/svg+xml;base64,{data}"></figure>'


def bullets(items: Iterable[str], kind: str = "ul") -> str:
    """A list of plain texts."""
    found = "\n".join(f"<li>{plain(each)}</li>" for each in items)
    return f"<{kind}>\n{found}\n</{kind}>" if found else ""


def paragraph(text: str, quiet: bool = False) -> str:
    """A paragraph of plain text."""
    return f"<p{' class=' + chr(34) + 'quiet' + chr(34) if quiet else ''}>{plain(text)}</p>" if text else ""
