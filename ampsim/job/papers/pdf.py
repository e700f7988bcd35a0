"""A page as PDF, typeset from what stands in it; the fonts come along, so it is the same on every machine."""

from __future__ import annotations

import json
import shutil
import tempfile
from collections.abc import Mapping
from functools import cache
from importlib.resources import files
from pathlib import Path

from matplotlib import get_data_path
from matplotlib.ft2font import FT2Font

from ...base.errors import DescriptionError, nearest, shown
from ...base.files import write_whole
from ...base.wording import one_line
from .html import PAPERS
from .page_tree import PageTree, read_page

_TYPST_PAPERS = {"A4": "a4", "Letter": "us-letter"}
_FONTS = ("Sans", "Sans-Bold", "Sans-Oblique", "Serif", "Serif-Bold", "Serif-Italic")


def write_pdf(page: str | Path, path: str | Path | None = None, paper: str = "", appendix: bool = False) -> Path:
    """Typeset an HTML file of ampsim as PDF.

    Parameters
    ----------
    page : str or Path
        A page of ampsim; its own paper counts unless `paper` names another.
    path : str or Path
        Default: the page's name with the ending "pdf".
    paper : str
        "A4" or "Letter"; default as the page says, A4 where it says nothing.
    appendix : bool
        Print what is folded on the page as well.

    Raises
    ------
    DescriptionError
        When there is no such page, it is none of ampsim's, or the PDF cannot be made or written.
    """
    source = Path(page)
    try:
        text = source.read_text("utf-8")
    except (OSError, UnicodeDecodeError) as problem:
        raise DescriptionError(f"{source}: cannot be read: {problem}") from None
    if paper and paper not in PAPERS:
        raise DescriptionError(f"{shown(paper)} is no paper known here{nearest(paper, PAPERS)}")
    try:
        data = pdf_of(read_page(text, appendix), paper)
    except DescriptionError as problem:
        raise DescriptionError(f"{source}: {problem}; any browser prints it as well") from None
    return write_whole(Path(path) if path is not None else source.with_suffix(".pdf"), data)


def pdf_of(page: PageTree, paper: str = "") -> bytes:
    """The PDF of a page; the same page gives the same bytes.

    Parameters
    ----------
    page : PageTree
    paper : str
        "A4" or "Letter"; default as the page says.

    Raises
    ------
    DescriptionError
        When it cannot be typeset.
    """
    known = {css.lower(): name for name, css in PAPERS.items()}
    size = _TYPST_PAPERS[paper or known.get(page.paper, "A4")]
    return typeset("paper.typ", {"title": page.title, "paper": size, "content": page.content})


def typeset(look: str, given: Mapping[str, object]) -> bytes:
    """The PDF that a look makes of what is given to it; the same gives the same bytes.

    Parameters
    ----------
    look : str
        Its file, beside this one.
    given : mapping
        Plain data: its texts stay texts.

    Raises
    ------
    DescriptionError
        When it cannot be typeset.
    """
    try:
        import typst
    except ImportError as problem:
        raise DescriptionError(f"the library typst, which makes the PDF, cannot be loaded: {problem}") from None
    data = json.dumps(given, ensure_ascii=False)
    # All that the compiler may read from.
    with tempfile.TemporaryDirectory(prefix="ampsim-paper-", ignore_cleanup_errors=True) as folder:
        for path in _font_files().values():
            shutil.copy(path, folder)
        # The machine's letters besides, for what ours cannot write.
        foreign = not _covered() >= set(filter(str.isprintable, data))
        fonts = typst.Fonts(include_system_fonts=foreign, font_paths=[folder])
        text = (files(__package__) / look).read_bytes()
        try:
            made = typst.Compiler(text, folder, fonts, sys_inputs={"page": data}).compile(format="pdf")
        except typst.TypstError as problem:
            raise DescriptionError(f"no PDF can be made of it: {one_line(problem.message)[:200]}") from None
    assert isinstance(made, bytes)
    return made


@cache
def _font_files() -> dict[str, Path]:
    """Those that come with the pictures."""
    folder = Path(get_data_path(), "fonts", "ttf")
    return {name: folder / f"DejaVu{name}.ttf" for name in _FONTS}


@cache
def _covered() -> frozenset[str]:
    """The signs that our own letters have."""
    return frozenset(map(chr, FT2Font(str(_font_files()["Sans"])).get_charmap()))
