"""The how-to as Markdown: one text and its pictures; whatever a person wrote stays a text."""

from __future__ import annotations

import hashlib
import re
from collections.abc import Iterator

import pandas as pd

from ...base.caution import CAUTION
from ...base.tables import table_cells
from ...base.wording import one_line
from ..papers.html import drawing_words
from .content import Block, Bullets, Grid, HowTo, Photos, Sheet

_SIGNS = re.compile(r"([\\`*_{}\[\]|~$^]|:(?=//))")
_FIRST = re.compile(r"^([-+=#]|\d{1,9}(?=[.)](?:\s|$)))")
Pictures = dict[str, bytes]


def markdown_of(howto: HowTo) -> tuple[str, Pictures]:
    """The text, and the pictures that it shows, by the names of their files."""
    pictures: Pictures = {}
    lines = [f"# {_text(howto.title)}", _text(howto.above), _text(howto.intro), f"> **Caution.** {_text(CAUTION)}"]
    for part in howto.parts:
        lines.append(f"## {_text(part.title)}")
        for block in part.blocks:
            lines += _block(block, pictures)
    return "\n\n".join(lines) + "\n", pictures


def _block(block: Block, pictures: Pictures) -> Iterator[str]:
    if isinstance(block, Bullets):
        yield "\n".join(f"- {_text(each)}" for each in block.items)
    elif isinstance(block, Grid):
        yield from _grid(block.table, block.caption)
    elif isinstance(block, Sheet):
        yield _picture(block.drawing, drawing_words(block.drawing, block.title), pictures)
    elif isinstance(block, Photos):
        for each in block.shown:
            yield _picture(str(each.drawing), each.words, pictures)
            yield "\\\n".join(_text(line) for line in (each.words, *each.arrows))
    elif block.kind == "quoted":
        yield "\n".join(f"> {_text(line)}\\" if line.strip() else ">" for line in block.text.splitlines()).rstrip("\\")
    else:
        yield f"### {_text(block.text)}" if block.kind == "heading" else _text(block.text)


def _grid(table: pd.DataFrame, caption: str) -> Iterator[str]:
    if table.empty:
        return
    columns, numeric = table_cells(table)
    head, *rows = zip(*columns, strict=True)
    if caption:
        yield f"**{_text(caption[:1].upper() + caption[1:])}**"
    rule = [" ---: " if each else " --- " for each in numeric]
    yield "\n".join([_row(head), f"|{'|'.join(rule)}|", *map(_row, rows)])


def _row(cells: tuple[str, ...]) -> str:
    return f"| {' | '.join(_text(each) for each in cells)} |"


def _picture(drawing: str, words: str, pictures: Pictures) -> str:
    """A picture under a name that its content gives: another content never stands under the same one."""
    data = drawing.encode()
    name = f"picture-{hashlib.sha256(data).hexdigest()[:16]}.svg"
    pictures[name] = data
    return f"![{_text(words)}]({name})"


def _text(text: str) -> str:
    """A text that means nothing to Markdown nor to HTML, on one line."""
    plain = " ".join(one_line(text).split()).replace("&", "&amp;").replace("<", "&lt;").replace(">", "&gt;")
    return _FIRST.sub(r"\\\1" if not plain[:1].isdigit() else r"\1\\", _SIGNS.sub(r"\\\1", plain))
