"""A page of ampsim as plain data, for paper: elements with their kinds and what is in them, nothing that runs.

Texts stay texts: whoever typesets them gets strings and never markup.
"""

from __future__ import annotations

import base64
import binascii
import re
from collections.abc import Iterable
from dataclasses import dataclass, field
from html import unescape
from html.parser import HTMLParser
from itertools import accumulate
from typing import Any

from ...base.errors import DescriptionError
from ...base.wording import keep_units

Node = dict[str, Any] | str
"""A text, or an element: its "tag", its "kinds" (classes), what is "in" it, and what only some have."""

_EMPTY = {"br", "wbr", "img", "input", "meta", "link", "hr"}
_UNPRINTED = {"head", "script", "style", "form", "noscript", "audio", "button", "template"}
_UNPRINTED_KINDS = ({"picture", "narrow"}, {"read"}, {"unfold"})
_BLOCKS = {
    "blockquote", "caption", "dd", "details", "div", "dl", "dt", "figcaption", "figure", "h1", "h2", "h3", "header",
    "li", "main", "ol", "p", "section", "summary", "table", "tbody", "td", "th", "thead", "tr", "ul",
}  # fmt: skip
_DEEPEST = 20
_BLANKS = re.compile(r"[ \t\n\r\f]+")
_PIECES = re.compile("[^ \u200b-]*-|[^ \u200b-]+")
_LENGTH = re.compile(r'\b(width|height)="(\d+(?:\.\d+)?)(?:pt|px)?"')
_DESCRIBED = re.compile(r"<desc[^>]*>([^<]*)</desc>")
_SVG_URL = "data:image/svg+xml;base64,"
_BREAK_HERE = "\u200b"
_LONG = re.compile("[^ \u200b]{12}(?=[^ \u200b]{12})")  # signs of a word that may be parted where a line ends


@dataclass(frozen=True)
class PageTree:
    """What a page shows on paper: its title, the paper it is made for ("" where it says none), its elements."""

    title: str
    paper: str
    content: list[Node] = field(hash=False)


def read_page(text: str, appendix: bool = False) -> PageTree:
    """Read what a page shows on paper.

    Parameters
    ----------
    text : str
        HTML that ampsim wrote.
    appendix : bool
        What is folded on the page is unfolded; else it is left out.

    Raises
    ------
    DescriptionError
        When the text is none of ampsim's pages.
    """
    reader = _Reader(text, appendix)
    reader.feed(text)
    reader.close()
    if reader.main is None or reader.unfinished:
        raise DescriptionError("is no page that ampsim wrote: its content has no beginning or no end")
    content = reader.main["in"]
    _tidy(content)
    _drop_lost_links(content)
    paper = re.search(r"@page \{ size: (\w+); \}", text)
    return PageTree(_BLANKS.sub(" ", "".join(reader.title)).strip(), paper[1].lower() if paper else "", content)


class _Reader(HTMLParser):
    """Builds the tree; what paper does not show is passed over."""

    def __init__(self, text: str, appendix: bool) -> None:
        super().__init__(convert_charrefs=True)
        self.title: list[str] = []
        self.main: dict[str, Any] | None = None
        self._text, self._appendix = text, appendix
        self._lines = [0, *accumulate(len(line) for line in text.split("\n"))]
        self._open: list[dict[str, Any]] = [{"tag": "", "kinds": [], "in": []}]
        self._svg: int | None = None  # where the drawing begins that is being read

    @property
    def unfinished(self) -> bool:
        """Whether an element has no end."""
        return self._svg is not None or len(self._open) > 1

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        if tag == "svg" and self._svg is None:
            self._svg = self._offset()
        if self._svg is not None:
            return
        given = {name: value or "" for name, value in attrs}
        node: dict[str, Any] = {"tag": tag, "kinds": given.get("class", "").split(), "in": []}
        node["shown"] = self._open[-1].get("shown", True) and self._is_shown(node, given)
        if tag == "img":
            node |= _drawing(_decoded(given.get("src", "")), given.get("alt", ""))
        if given.get("id"):
            node["id"] = given["id"]
        if tag == "a" and given.get("href", "").startswith("#"):
            node["to"] = given["href"][1:]
        if "text-align:right" in given.get("style", ""):
            node["right"] = True
        if tag == "main":
            self.main = node
        self._put(node)
        if tag not in _EMPTY:
            self._open.append(node)
            if len(self._open) > _DEEPEST:
                raise DescriptionError("is no page that ampsim wrote: its elements stand too deep in one another")

    def handle_startendtag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.handle_starttag(tag, attrs)
        if tag == "svg" or (self._svg is None and tag not in _EMPTY):
            self.handle_endtag(tag)

    def handle_endtag(self, tag: str) -> None:
        if self._svg is not None:
            if tag == "svg":
                self._end_svg(self._svg)
            return
        names = [each["tag"] for each in self._open]
        if tag in names[1:]:  # an end without a beginning is passed over
            del self._open[len(names) - 1 - names[::-1].index(tag) :]

    def handle_data(self, data: str) -> None:
        if any(each["tag"] == "title" for each in self._open):
            self.title.append(data)
        elif self._svg is None:
            self._put(data)

    def _end_svg(self, start: int) -> None:
        drawn = self._text[start : self._text.index(">", self._offset()) + 1]
        self._svg = None
        described = _DESCRIBED.search(drawn)
        self._put({"tag": "svg", "kinds": [], "in": []} | _drawing(drawn, unescape(described[1]) if described else ""))

    def _put(self, node: Node) -> None:
        if self._open[-1].get("shown", True) and (isinstance(node, str) or node.get("shown", True)):
            self._open[-1]["in"].append(node)

    def _is_shown(self, node: dict[str, Any], given: dict[str, str]) -> bool:
        if node["tag"] in _UNPRINTED or "hidden" in given or any(each <= {*node["kinds"]} for each in _UNPRINTED_KINDS):
            return False
        return node["tag"] != "details" or self._appendix or "open" in given

    def _offset(self) -> int:
        line, column = self.getpos()
        return self._lines[line - 1] + line - 1 + column


def _decoded(url: str) -> str:
    """The SVG text of a data URL; nothing for any other."""
    try:
        return base64.b64decode(url.removeprefix(_SVG_URL), validate=True).decode() if url.startswith(_SVG_URL) else ""
    except (binascii.Error, UnicodeDecodeError):
        return ""


def _drawing(svg: str, alternative: str) -> dict[str, Any]:
    """A drawing with its size in points."""
    head = svg[svg.find("<svg") :]
    size = {name: float(value) for name, value in _LENGTH.findall(head[: head.find(">")])}
    return {"svg": svg, "alt": alternative, "size": [size.get("width", 300.0), size.get("height", 150.0)]}


def _tidy(nodes: list[Node], in_table: bool = False) -> None:
    """Blanks as a browser shows them: one where several are, none at the edges of a block; cells get their pieces."""
    tidy: list[Node] = []
    for node in nodes:
        if isinstance(node, str):
            text = _BLANKS.sub(" ", node)
            if not in_table:  # the columns of tables are reckoned from their words as they are
                text = _LONG.sub(rf"\g<0>{_BREAK_HERE}", keep_units(text))
            if not tidy or _is_block(tidy[-1]) or (isinstance(tidy[-1], str) and tidy[-1].endswith(" ")):
                text = text.lstrip(" ")
            if text:
                tidy.append(text)
            continue
        if node["tag"] == "wbr":
            node = _BREAK_HERE
        else:
            node.pop("shown", None)
            _tidy(node["in"], in_table or node["tag"] == "table")
            if node["tag"] in ("td", "th"):
                texts = list(_texts(node["in"]))
                node |= {"plain": "".join(texts), "words": sorted(set(_PIECES.findall(" ".join(texts))))}
            if _is_block(node):
                _strip_end(tidy)
        tidy.append(node)
    _strip_end(tidy)
    nodes[:] = tidy


def _is_block(node: Node) -> bool:
    return not isinstance(node, str) and node["tag"] in _BLOCKS


def _strip_end(nodes: list[Node]) -> None:
    while nodes and isinstance(nodes[-1], str) and nodes[-1].endswith(" "):
        nodes[-1] = nodes[-1].rstrip(" ")
        if not nodes[-1]:
            nodes.pop()


def _texts(nodes: Iterable[Node]) -> Iterable[str]:
    """Every text, in order; the words of a badge hang together."""
    for node in nodes:
        if isinstance(node, str):
            yield node
        elif "grade" in node["kinds"]:
            yield "".join(_texts(node["in"])).replace(" ", "\u00a0")
        else:
            yield from _texts(node["in"])


def _drop_lost_links(content: list[Node]) -> None:
    """A link whose place is not on paper is text, and only places that are linked to are kept, each once."""
    elements = list(_elements(content))
    wanted = {each["to"] for each in elements if "to" in each}
    found: set[str] = set()
    for each in elements:
        if each.get("id") not in wanted - found:
            each.pop("id", None)
        found |= {each["id"]} if "id" in each else set()
    for each in elements:
        if each.get("to") not in found:
            each.pop("to", None)


def _elements(nodes: Iterable[Node]) -> Iterable[dict[str, Any]]:
    for node in nodes:
        if not isinstance(node, str):
            yield node
            yield from _elements(node["in"])
