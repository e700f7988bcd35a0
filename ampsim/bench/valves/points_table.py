"""Points of a valve in columns, as testers and spreadsheets write them: the rows as simple points of a TOML file."""

from __future__ import annotations

import math
import re
from collections.abc import Sequence

from ...base.errors import DescriptionError, nearest, shown
from ...base.written_numbers import leading_number
from ..text_files import split_cells, text_lines

ABOUT = ("type", "like", "family", "law", "source")
_MOST_ROWS, _MOST_COLUMNS = 500, 20
_COMMENT = re.compile(r"\s*\"?\s*(?:[#%!]|//)")
_UNIT = re.compile(r"[\[(]([^\])]*)[\])]")
_NAMES = {
    "plate": ("plate", "anode", "va", "ua", "vp", "ep", "eb", "plate volts", "anode volts", "plate v", "anode v"),
    "grid": ("grid", "g1", "vg", "ug", "vg1", "ug1", "eg", "ec", "ec1", "grid volts", "grid v", "grid 1"),
    "screen": ("screen", "g2", "vg2", "ug2", "eg2", "ec2", "vs", "screen volts", "screen v", "grid 2"),
    "mA": ("ma", "ia", "ip", "ib", "plate ma", "anode ma", "plate current", "anode current", "current"),
    "screen_mA": ("screen ma", "ig2", "is", "ic2", "screen current", "g2 ma"),
    "gm": ("gm", "s", "transconductance", "mutual conductance", "slope"),
    "rp": ("rp", "ri", "ra", "plate resistance", "anode resistance", "internal resistance"),
    "mu": ("mu", "\u00b5", "\u03bc", "amplification factor", "amplification"),
    "id": ("id", "row", "point", "name", "no"),
    "aside": ("aside",),
}  # fmt: skip
# What a column's unit is multiplied by to come to the first of its kind.
_SCALES = {
    "V": {"v": 1.0, "volt": 1.0, "volts": 1.0},
    "mA": {"ma": 1.0, "ua": 1e-3, "a": 1e3},
    "mA/V": {"ma/v": 1.0, "ms": 1.0, "us": 1e-3, "umho": 1e-3, "umhos": 1e-3, "micromhos": 1e-3, "ua/v": 1e-3},
    "kohm": {"kohm": 1.0, "k": 1.0, "kohms": 1.0, "ohm": 1e-3, "ohms": 1e-3},
}
_KINDS = {"plate": "V", "grid": "V", "screen": "V", "mA": "mA", "screen_mA": "mA", "gm": "mA/V", "rp": "kohm"}


def points_tables(data: bytes, name: str) -> dict[str, object]:
    """The bytes of a table of points as the tables of a TOML file, each point with the line it stood in.

    Lines of one of `ABOUT` and a text may stand above the heads of the columns. Columns are apart by semicolons,
    tabulators, upright strokes or commas; a unit may stand in brackets behind a head [V, mA, mA/V, kohm where it does
    not].

    Raises
    ------
    DescriptionError
        Names file, line and offending text.
    """
    about: dict[str, object] = {}
    heads: list[tuple[str, float]] = []
    points: list[dict[str, object]] = []
    sign = ""
    for number, line in enumerate(text_lines(data, name), 1):
        if not line.strip(" \t;,|") or _COMMENT.match(line):
            continue
        where = f"{name}: line {number}"
        if not heads and (told := _about(line)):
            about[told[0]] = told[1]
            continue
        if not heads:
            sign = next((each for each in ";\t|," if each in line), " ")
            heads = _heads(_cells(line, sign, where), where)
            continue
        points.append({**_point(_cells(line, sign, where), heads, where, sign), "line": number})
        if len(points) > _MOST_ROWS:
            raise DescriptionError(f"{where}: more than {_MOST_ROWS} points")
    return {**about, "points": points}


def _about(line: str) -> tuple[str, str] | None:
    found = re.fullmatch(r"\s*\"?([A-Za-z]+)\"?\s*[;:=\t|,]\s*\"?([^;\t|\"]{1,200}?)\"?[;,\s]*", line)
    if found and found[1].lower() in ABOUT:
        return found[1].lower(), found[2].strip()
    return None


def _cells(line: str, sign: str, where: str) -> list[str]:
    cells = line.split() if sign == " " else split_cells(line, sign, least=2)
    if len(cells) > _MOST_COLUMNS:
        raise DescriptionError(f"{where}: {len(cells)} columns; at most {_MOST_COLUMNS}")
    return cells


def _heads(cells: Sequence[str], where: str) -> list[tuple[str, float]]:
    found = [_head(cell, where) for cell in cells]
    names = [name for name, _ in found if name]
    twice = next((name for name in names if names.count(name) > 1), "")
    if twice:
        raise DescriptionError(f"{where}: two columns are the {twice}: {shown(list(cells))}")
    lacking = [name for name in ("plate", "grid") if name not in names]
    if lacking:
        raise DescriptionError(
            f"{where}: {shown(', '.join(cells))} has no column of {' and '.join(lacking)} volts; heads are for example "
            "plate;grid;screen;mA;screen mA;gm;rp;mu"
        )
    return found


def _head(cell: str, where: str) -> tuple[str, float]:
    """The column a head means and what its numbers are multiplied by; an empty head is passed over."""
    unit = _UNIT.search(cell)
    text = re.sub(r"[\s_,.]+", " ", _UNIT.sub("", cell)).strip().lower()
    if not text:
        return "", 1.0
    negative = text.startswith("-")
    text = text.removeprefix("-").strip()
    name, last = _column(text), ""
    if not name and " " in text:  # "gm uS": a unit without brackets
        text, last = text.rsplit(" ", 1)
        name = _column(text)
    if name and last:
        return name, (-1.0 if negative else 1.0) * _scale(name, last, cell, where) if name in _KINDS else 1.0
    if not name:
        known = [word for words in _NAMES.values() for word in words]
        raise DescriptionError(f"{where}: no column is headed {shown(cell)}{nearest(text, known)}")
    scale = _scale(name, unit[1], cell, where) if unit and name in _KINDS else 1.0
    return name, -scale if negative else scale


def _column(text: str) -> str:
    return next((key for key, words in _NAMES.items() if text in words or text == key.lower()), "")


def _scale(name: str, unit: str, cell: str, where: str) -> float:
    plain, scales = _plain_unit(unit), _SCALES[_KINDS[name]]
    if plain not in scales:
        raise DescriptionError(f"{where}: {shown(cell)}: the unit of {name} is one of {', '.join(scales)}")
    return scales[plain]


def _point(cells: Sequence[str], heads: Sequence[tuple[str, float]], where: str, sign: str) -> dict[str, object]:
    if len(cells) > len(heads):
        more = "; with decimal commas, put semicolons between the columns" if sign == "," else ""
        raise DescriptionError(f"{where}: {len(cells)} columns below {len(heads)} heads{more}")
    found: dict[str, object] = {}
    for (name, scale), cell in zip(heads, cells, strict=False):
        if not cell or not name:
            continue
        if name == "id":
            found[name] = cell
        elif name == "aside":
            found[name] = cell.lower() in ("1", "x", "yes", "true", "aside")
        elif name == "screen" and cell.lower() in ("plate", "anode", "triode"):
            found[name] = "plate"
        else:
            found[name] = float(f"{_number(cell, name, scale, f'{where}: {name}'):.12g}")
    return found


def _number(cell: str, name: str, scale: float, where: str) -> float:
    """The number of a cell, by the unit that stands behind it, else by that of its column."""
    readings, rest = leading_number(cell)
    if len(readings) > 1:
        raise DescriptionError(f"{where}: {shown(cell)} can be read as {' or '.join(readings)}; write one of them")
    unit = _plain_unit(rest)
    scales = _SCALES.get(_KINDS.get(name, ""), {})
    if not readings or (unit and unit not in scales):
        known = f"; units of {name} are {', '.join(scales)}" if readings and scales else ""
        raise DescriptionError(f"{where}: {shown(cell)} is not a number{known}")
    factor = math.copysign(scales[unit], scale) if unit else scale
    return factor * float(readings[0])


def _plain_unit(text: str) -> str:
    plain = text.strip().lower()
    for odd, letter in (("\u00b5", "u"), ("\u03bc", "u"), ("\u03c9", "ohm"), ("\u2126", "ohm")):
        plain = plain.replace(odd, letter)
    return plain
