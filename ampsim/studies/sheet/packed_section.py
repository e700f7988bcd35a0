"""A section as plain data, and back; what is read is believed in nothing."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import asdict, fields
from functools import lru_cache, partial
from typing import TYPE_CHECKING, Any

import pandas as pd

from ...pictures.drawn_picture import DrawnPicture
from ...pictures.export import Shown, drawn_picture
from ...pictures.plain_svg import is_plain_svg
from ..findings import Finding, Grade
from ..section import Section

if TYPE_CHECKING:
    from ...pictures.canvas import Picture

_PLAIN = (str, int, float, bool, type(None))
_KINDS: dict[str, tuple[type, ...]] = {
    "str": (str,), "float": (float,), "float | None": (float, int, type(None)), "bool": (bool,), "Grade": (str,)
}  # fmt: skip
"""What stands in a kept finding, by the type of its field."""


def packed_section(section: Section) -> dict[str, Any] | None:
    """A section as plain data; None where a table holds what is none, or a picture what is no drawing."""
    tables = [(title, _packed_table(table)) for title, table in section.tables.items()]
    pictures = [(name, _packed_picture(picture)) for name, picture in section.pictures.items()]
    if any(packed is None for _, packed in (*tables, *pictures)):
        return None
    return {
        "title": section.title,
        "findings": [{**asdict(each), "value": float(each.value)} for each in section.findings],
        "tables": tables,
        "pictures": pictures,
        "notes": section.notes,
        "key_tables": section.key_tables,
    }


def unpacked_section(packed: dict[str, Any], examine: Callable[[], Section]) -> Section:
    """A section of plain data.

    Parameters
    ----------
    packed : dict
        As `packed_section` gives it.
    examine : callable
        Gives the section anew, when a picture is to be drawn otherwise than on a page.

    Raises
    ------
    ValueError, KeyError, TypeError, AttributeError
        For data that are none of ours.
    """
    tables = {_words(title): _unpacked_table(table) for title, table in packed["tables"]}
    again = lru_cache(maxsize=1)(examine)
    pictures = {
        _words(name): _unpacked_picture(each, partial(_redrawn, again, name)) for name, each in packed["pictures"]
    }
    return Section(
        _words(packed["title"]),
        tuple(map(_unpacked_finding, packed["findings"])),
        tables,
        pictures,
        tuple(map(_words, packed["notes"])),
        tuple(map(_words, packed["key_tables"])),
    )


def _words(given: object) -> str:
    if not isinstance(given, str):
        raise TypeError(given)
    return given


def _unpacked_finding(packed: dict[str, Any]) -> Finding:
    if not all(isinstance(packed[each.name], _KINDS[str(each.type)]) for each in fields(Finding)):
        raise TypeError(packed)
    return Finding(**{**packed, "grade": Grade(packed["grade"])})


def _packed_picture(picture: Shown) -> tuple[str, str, str] | None:
    drawn = drawn_picture(picture)
    return (drawn.heading, drawn.alternative, drawn.svg) if is_plain_svg(drawn.svg) else None


def _unpacked_picture(packed: list[Any], draw: Callable[[], Picture]) -> DrawnPicture:
    heading, alternative, drawn = map(_words, packed)
    if not is_plain_svg(drawn):
        raise ValueError(heading)
    return DrawnPicture(heading, alternative, drawn, draw)


def _redrawn(again: Callable[[], Section], name: str) -> Picture:
    """A picture of a section that is examined again for it."""
    picture = again().pictures[name]
    return picture.draw() if isinstance(picture, DrawnPicture) else picture


def _packed_table(table: pd.DataFrame) -> dict[str, Any] | None:
    """Rows' numbers, and name, kind and values of each column; None where something else than plain values is there."""
    columns = [(name, str(table[name].dtype), table[name].tolist()) for name in table.columns]
    plain = all(isinstance(each, _PLAIN) for name, _, values in columns for each in (name, *values))
    packed = {"rows": table.index.tolist(), "columns": columns}
    return packed if plain and _unpacked_table(packed).equals(table) else None


def _unpacked_table(packed: dict[str, Any]) -> pd.DataFrame:
    rows = packed["rows"]
    made = {name: pd.Series(values, index=rows, dtype=kind) for name, kind, values in packed["columns"]}
    return pd.DataFrame(made, index=rows)
