"""Whether an SVG is nothing but a drawing: lines, letters and fills, nothing that runs or is fetched."""

from __future__ import annotations

import re
from xml.parsers import expat

# What matplotlib writes, and nothing else.
_ELEMENT = re.compile(
    "svg|title|desc|metadata|rdf:RDF|cc:Work|dc:type|dc:format|defs|style|g|path|use|rect|text|clipPath|pattern"
)
_ATTRIBUTE = re.compile(
    "id|style|d|x|y|clip-path|transform|xlink:href|width|height|role|aria-labelledby|aria-describedby|viewBox|version|"
    "xmlns|xmlns:xlink|xmlns:dc|xmlns:cc|xmlns:rdf|rdf:resource|type|patternUnits|fill"
)
_HEAD = re.compile(r"<\?xml [^<>]*\?>\s*<!DOCTYPE svg [^<>\[\]]*>\s*(?=<svg )")
_WORDS = ("title", "desc", "style")  # hold words alone: HTML reads elements in them otherwise than XML
# What would be fetched, or hides what follows.
_ODD = re.compile(r"url\((?!#)|[@\\<]|/\*")


def is_plain_svg(text: str) -> bool:
    """Whether a whole file, as `export.svg` gives it, holds but a drawing; what cannot be read does not."""
    head = _HEAD.match(text)
    drawing = text[head.end() :] if head else ""
    if not drawing or "<!" in drawing or "<?" in drawing:
        return False
    reader, looked = expat.ParserCreate(), _Looked()
    reader.StartElementHandler, reader.EndElementHandler = looked.begin, looked.end
    reader.CharacterDataHandler = looked.words
    try:
        reader.Parse(drawing, True)
    except (expat.ExpatError, ValueError):
        return False
    return True


class _Looked:
    """Refuses, by a `ValueError`, what no picture has."""

    def __init__(self) -> None:
        self._inside = ""

    def begin(self, element: str, attributes: dict[str, str]) -> None:
        """Look at a tag."""
        known = _ELEMENT.fullmatch(element) and all(map(_ATTRIBUTE.fullmatch, attributes))
        if not known or self._inside in _WORDS or any(_ODD.search(value) for value in attributes.values()):
            raise ValueError(element)
        if not attributes.get("xlink:href", "#").startswith("#"):
            raise ValueError(element)
        self._inside = element

    def end(self, _element: str) -> None:
        """Leave an element."""
        self._inside = ""

    def words(self, words: str) -> None:
        """Look at what stands between tags."""
        if self._inside == "style" and _ODD.search(words):
            raise ValueError(words)
