"""Rows of a place and a value, in whatever way people and programs write them, as the tables of a TOML file."""

from __future__ import annotations

import re

from ...base.errors import DescriptionError, shown
from ..text_files import split_cells, text_lines
from .probes import MOST_PROBES

ABOUT = ("mains", "mains_drawn", "meter", "accuracy", "digit", "source")
_LONGEST_LINE, _MOST_COLUMNS = 300, 12
_MOST_KILOVOLTS = 4  # beyond every reading
_COMMENT = re.compile(r"\s*\"?\s*(?:[#%!]|//)")
# A place and a number with blanks, a colon or an equals sign between: "across R26  1,25 V".
_LOOSE = re.compile(r"([^,]+?)(?:\s*[=:]\s*|\s+)([+\-\u2212]?[0-9.,]\S*(?:\s+\S{1,3})?)\s*")
# Heads of the column that was measured, the surest first.
_MEASURED = tuple(
    re.compile(word, re.I)
    for word in (r"measured|gemessen|mesur|medid|misurat", r"reading|reads?\b|messwert", r"volt|value")
)


def place_value_tables(data: bytes, name: str) -> dict[str, object]:
    """Read rows of a place, or one of `ABOUT`, and a value; `name` stands in messages.

    Columns may be apart by semicolons, tabulators, upright strokes or commas, two also by blanks; a head of more than
    two says which was measured. Comment lines, and places without a value, are passed over.

    Raises
    ------
    DescriptionError
        Names file, line and offending text.
    """
    about: dict[str, str] = {}
    volts: dict[str, str] = {}
    first, column = True, 0
    for number, line in enumerate(text_lines(data, name), 1):
        if not line.strip() or _COMMENT.match(line):
            continue
        where = f"{name}: line {number}"
        cells = _cells(line, where)
        if first and len(cells) > 1 and not any(re.search(r"[0-9]", cell) for cell in cells[1:]):
            first, column = False, _measured_column(cells, where)
            continue
        first = False
        place, value = _pair(cells, column, f"{where}: {shown(line)}")
        table = about if place in ABOUT else volts
        if place in table:
            raise DescriptionError(f"{where}: {shown(place)} is there already")
        if value:
            table[place] = value
        if len(volts) > MOST_PROBES:
            raise DescriptionError(f"{where}: more than {MOST_PROBES} readings")
    told = {**about, **volts}
    _refuse_points_among_commas(told, name)
    if any(map(_has_decimal_comma, told.values())) and not any("." in value for value in told.values()):
        # One that can be nothing else shows what the others are, "1,310" among them.
        about, volts = ({key: value.replace(",", ".") for key, value in each.items()} for each in (about, volts))
    return {**about, "volts": volts}


def _has_decimal_comma(value: str) -> bool:
    """Whether a comma in a value cannot part thousands: not three digits behind it, or more volts than there are."""
    found = re.match(r"[+-]?([0-9]*),([0-9]+)(?![0-9,])", value)
    return found is not None and (len(found[2]) != 3 or found[1] in ("", "0") or int(found[1]) >= _MOST_KILOVOLTS)


def _refuse_points_among_commas(values: dict[str, str], name: str) -> None:
    """Where other numbers have decimal commas, a point before three digits may part thousands."""
    commas = [value for value in values.values() if _has_decimal_comma(value)]
    for place, value in values.items():
        found = re.match(r"[+-]?([1-9][0-9]{0,2})\.([0-9]{3})(?![0-9])", value)
        if commas and found:
            raise DescriptionError(
                f"{name}: {shown(place)}: {shown(value)} may part thousands, for {shown(commas[0])} has a decimal "
                f"comma; write {found[1]}{found[2]} or {found[1]},{found[2]}0"
            )


def _cells(line: str, where: str) -> list[str]:
    if len(line) > _LONGEST_LINE:
        raise DescriptionError(f"{where}: {len(line)} characters; at most {_LONGEST_LINE}")
    sign = next((each for each in ";\t|" if each in line), ",")
    loose = _LOOSE.fullmatch(line.strip()) if sign == "," else None
    cells = [cell.strip() for cell in loose.groups()] if loose else split_cells(line, sign, least=2)
    cells = [cell.replace("\u2212", "-") for cell in cells]
    if len(cells) > _MOST_COLUMNS:
        raise DescriptionError(f"{where}: {len(cells)} columns; at most {_MOST_COLUMNS}")
    return cells


def _measured_column(head: list[str], where: str) -> int:
    """The column of a wide table that holds what was measured; 0 for a head of two."""
    if len(head) == 2:
        return 0
    for word in _MEASURED:
        for number, cell in enumerate(head[1:], 1):
            if word.search(cell):
                return number
    raise DescriptionError(f'{where}: {len(head)} columns; head the one with the readings "measured"')


def _pair(cells: list[str], column: int, told: str) -> tuple[str, str]:
    """Place and value of one row; no value for a place that was not measured."""
    if not cells[0] or len(cells) < 2 or (len(cells) > 2 and not column):
        more = "; with decimal commas, put semicolons between the columns" if len(cells) == 3 else ""
        raise DescriptionError(f"{told} is not a place and a value{more}")
    if cells[0].lower() in ABOUT:
        return cells[0].lower(), next(filter(None, cells[1:]), "")
    return cells[0], cells[column or 1] if len(cells) > column else ""
