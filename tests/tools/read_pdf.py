"""What stands in a PDF, as a reader of it sees it."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any

import pypdfium2
from pypdfium2 import raw

MARGIN = 39.0  # points, a little less than the papers leave on either side
_KINDS = {raw.FPDF_PAGEOBJ_TEXT: "text", raw.FPDF_PAGEOBJ_PATH: "path", raw.FPDF_PAGEOBJ_IMAGE: "image"}


def open_pdf(data: bytes) -> Any:
    """A PDF from its bytes."""
    return pypdfium2.PdfDocument(data)


def sizes(pdf: Any) -> set[tuple[int, int]]:
    """The sizes of its pages [pt]."""
    return {(round(width), round(height)) for width, height in (page.get_size() for page in pdf)}


def texts(pdf: Any) -> list[str]:
    """What can be selected on each page, its lines as they are read."""
    return [page.get_textpage().get_text_range() for page in pdf]


def joined(pdf: Any) -> str:
    """All that can be selected, without blanks and signs that only let a line end.

    A hyphen at the end of a line is read as one that only divides a word; no paper divides any.
    """
    return "".join("".join(texts(pdf)).replace("\u200b", "").replace("\ufffe", "-").split())


def fonts(pdf: Any) -> dict[str, bool]:
    """The fonts in use, and whether each is embedded."""
    found = (each.get_font() for _, each in _objects(pdf) if each.type == raw.FPDF_PAGEOBJ_TEXT)
    return {font.get_base_name(): font.is_embedded for font in found}


def kinds_of_objects(pdf: Any) -> set[str]:
    """Of what its pages are made: "text", "path", "image"."""
    return {_KINDS.get(each.type, str(each.type)) for _, each in _objects(pdf)}


def links(pdf: Any) -> list[int]:
    """The pages that its links lead to, from 1; 0 for what leads elsewhere."""
    found = []
    for page in pdf:
        at, link = raw.c_int(0), raw.FPDF_LINK()
        while raw.FPDFLink_Enumerate(page, at, link):
            place = raw.FPDFLink_GetDest(pdf, link)
            found.append(raw.FPDFDest_GetDestPageIndex(pdf, place) + 1 if place else 0)
    return found


def beyond_margins(pdf: Any) -> list[str]:
    """Texts that stand in the margins to the left or right, or under the paper."""
    found = []
    for page, each in _objects(pdf):
        if each.type == raw.FPDF_PAGEOBJ_TEXT and (words := each.extract().strip()):
            left, bottom, right, _ = each.get_bounds()
            if left < MARGIN or right > page.get_width() - MARGIN or bottom < 0.0:
                found.append(words)
    return found


def _objects(pdf: Any) -> Iterator[tuple[Any, Any]]:
    for page in pdf:
        for each in page.get_objects(max_depth=9, textpage=page.get_textpage()):
            yield page, each
