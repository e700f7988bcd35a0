"""A mod's tables as a file: every list of edits on one line, so that positions of a switch keep their order."""

from __future__ import annotations

import json
import re
from collections.abc import Iterator, Mapping
from typing import Any

_BARE = re.compile(r"[A-Za-z0-9_-]+")


def mod_text(tables: Mapping[str, Any]) -> bytes:
    """The text of a mod file [UTF-8] that is read as these tables."""
    return ("\n".join(_lines(tables)) + "\n").encode()


def _lines(tables: Mapping[str, Any]) -> Iterator[str]:
    later = {key: each for key, each in tables.items() if isinstance(each, dict) or _rows(each)}
    yield from (f"{_key(key)} = {_inline(each)}" for key, each in tables.items() if key not in later)
    for key, each in later.items():
        for row in each if isinstance(each, list) else [each]:
            yield from ("", f"[[{_key(key)}]]" if isinstance(each, list) else f"[{_key(key)}]")
            inner = {name: value for name, value in row.items() if isinstance(each, list) and isinstance(value, dict)}
            yield from (f"{_key(name)} = {_inline(value)}" for name, value in row.items() if name not in inner)
            for name, value in inner.items():
                yield from ("", f"[{_key(key)}.{_key(name)}]")
                yield from (f"{_key(one)} = {_inline(given)}" for one, given in value.items())


def _rows(value: Any) -> bool:
    return isinstance(value, list) and bool(value) and all(isinstance(each, dict) for each in value)


def _key(name: str) -> str:
    return name if _BARE.fullmatch(name) else json.dumps(name, ensure_ascii=False)


def _inline(value: Any) -> str:
    if isinstance(value, dict):
        return "{ " + ", ".join(f"{_key(key)} = {_inline(each)}" for key, each in value.items()) + " }"
    if isinstance(value, list):
        return "[" + ", ".join(map(_inline, value)) + "]"
    if isinstance(value, (bool, str)):
        return json.dumps(value, ensure_ascii=False).replace("\x7f", "\\u007f")
    return repr(value)
