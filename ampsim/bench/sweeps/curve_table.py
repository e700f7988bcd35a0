"""A measured curve from a text of columns: frequency, level, perhaps phase; what the text leaves open is guessed.

Nothing of the text is ever run, and every guess is put into words. What cannot be read is refused with its line.
"""

from __future__ import annotations

import itertools
import math
import re
from collections import Counter
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace

from ...base.errors import DescriptionError, shown
from ..text_files import split_cells, text_lines

_MOST_COLUMNS, _LEAST_ROWS = 30, 5
_SEPARATORS = {"\t": "tabulators", ";": "semicolons", "|": "upright strokes", ",": "commas", " ": "spaces"}
_COMMENT = re.compile(r"\s*(?:[#*%!'/]|;|\"\s*[#*%!])")
_BEGINS_AS_DATA = re.compile(r"\s*\"?\s*[+-]?[.,]?[0-9]")
_NUMBER = re.compile(r"[+-]?(?:[0-9]{1,25}(?:\.[0-9]{0,25})?|\.[0-9]{1,25})(?:[eE][+-]?[0-9]{1,3})?")
_NAMES = {
    "frequency": re.compile(r"\b(fre\w*|fré\w*|hz|khz|f)\b", re.I),
    "phase": re.compile(r"\b(phase?|deg\w*|rad\w*|angle|winkel)\b|°", re.I),
    "level": re.compile(r"\b(db\w{0,4}|gain|level|mag\w*|amplitude|response|pegel|verst\w*|niveau|nivel)\b", re.I),
}
_OHMS = re.compile(r"\b(imp\w*|ohms?|ω|z|mag\w*|abs\w*|betrag)\b", re.I)
_BOUNDS = {
    "frequency": (1e-3, 1e6, "Hz"),
    "level": (-400.0, 400.0, "dB"),
    "impedance": (1e-3, 1e6, "ohm"),
    "phase": (-1e6, 1e6, "degrees"),
}


@dataclass(frozen=True)
class Curve:
    """Frequencies [Hz] rising, levels [dB] or impedances [ohm], phases [degrees] or none, and the guesses in words."""

    frequency: tuple[float, ...]
    level: tuple[float, ...]
    phase: tuple[float, ...]
    guesses: tuple[str, ...]


@dataclass(frozen=True)
class _Dialect:
    """How numbers are apart and written, and what stands where a level does."""

    separator: str
    comma: bool
    level: str = "level"


@dataclass(frozen=True)
class _Columns:
    """Which column holds what, and by what its numbers are multiplied; -1: none."""

    frequency: int
    level: int
    phase: int
    hertz: float = 1.0
    degrees: float = 1.0
    names: tuple[str, ...] = ()


def read_curve(data: bytes, name: str, ohms: bool = False) -> Curve:
    """Read the bytes of a text of columns.

    Parameters
    ----------
    data : bytes
    name : str
        File name for messages.
    ohms : bool
        Impedances [ohm] are read where levels [dB] would be.

    Raises
    ------
    DescriptionError
        Names file, line and offending value.
    """
    lines = text_lines(data, name)
    rows = [number for number, line in enumerate(lines) if _BEGINS_AS_DATA.match(line)]
    if len(rows) < _LEAST_ROWS:
        seen = next((line for line in lines if line.strip()), "")
        raise DescriptionError(
            f"{name}: {len(rows)} lines begin with a number, {_LEAST_ROWS} are needed; it begins with {shown(seen)}"
        )
    way, width = _dialect(lines, rows, name)
    way = replace(way, level="impedance") if ohms else way
    first = next(row for row in rows if _starts(_fields(lines[row], way), way, width))
    columns = _columns(lines[:first], way, width, name)
    if not columns.names:
        _refuse_two_meanings([lines[row] for row in rows if row >= first], way, name, first + 1)
    table = list(_table(lines, first, way, width, columns, name))
    zero = bool(table) and table[0][1] == 0.0
    return _curve(table[1:] if zero else table, _words(first, way, width, columns, zero), name)


def _dialect(lines: Sequence[str], rows: Sequence[int], name: str) -> tuple[_Dialect, int]:
    """The first way to cut that makes numbers of most lines, and into how many columns."""
    sample = [lines[row] for row in rows[:: max(len(rows) // 50, 1)]]
    ways = [_Dialect(sign, comma) for sign in _SEPARATORS for comma in (False, True)]
    found = [_fitting(sample, way) for way in ways]
    share, width = max(found, key=lambda each: each[0])
    if share < 0.5:
        raise DescriptionError(
            f"{name}: line {rows[0] + 1}: {shown(lines[rows[0]])} is not a row of two or more numbers; a row is a "
            "frequency, a level in dB and perhaps a phase"
        )
    return ways[found.index((share, width))], width


def _fitting(sample: Sequence[str], way: _Dialect) -> tuple[float, int]:
    """The share of lines whose first columns are numbers and that have the commonest width; that width."""
    cut = [_fields(line, way) for line in sample]
    widths = Counter(len(fields) for fields in cut if _starts(fields, way, len(fields)) and _starts(fields[1:], way))
    width, count = widths.most_common(1)[0] if widths else (0, 0)
    return count / len(cut), width


def _starts(fields: Sequence[str], way: _Dialect, width: int | None = None) -> bool:
    """Whether the first of the columns is a number, and there are `width` of them, two at least."""
    return bool(fields) and width in (None, max(len(fields), 2)) and _number(fields[0], way) is not None


def _refuse_two_meanings(rows: Sequence[str], way: _Dialect, name: str, line: int) -> None:
    """Three or more whole numbers between commas, without a header, may be fewer with decimal commas."""
    if way.separator != ",":
        return
    whole = re.compile(r"\s*[+-]?[0-9]+\s*")
    cut = [each.split(",") for each in rows]
    if all(len(each) >= 3 and all(whole.fullmatch(field) for field in each) for each in cut):
        raise DescriptionError(
            f"{name}: line {line}: {shown(rows[0])} can be read as {len(cut[0])} numbers or as fewer with decimal "
            "commas; write the columns apart with semicolons, or a header above them"
        )


def _fields(line: str, way: _Dialect) -> list[str]:
    """A line cut into its columns; an empty last column is none."""
    text = line.strip()
    return text.split() if way.separator == " " else split_cells(text, way.separator)


def _number(field: str, way: _Dialect) -> float | None:
    """A number, or None; infinite when it is beyond every float."""
    text = field.replace("\u2212", "-")
    if way.comma:
        # A point beside decimal commas would part thousands: not read.
        text = text.replace(".", " ").replace(",", ".", 1)
    return float(text) if _NUMBER.fullmatch(text) else None


def _columns(before: Sequence[str], way: _Dialect, width: int, name: str) -> _Columns:
    """Guess from the nearest line above the numbers that has as many columns; a comment may be that line."""
    if width > _MOST_COLUMNS:
        raise DescriptionError(f"{name}: {width} columns; at most {_MOST_COLUMNS}")
    for line in reversed(before):
        names = _fields(line.strip().lstrip("#*%!'/").strip(), way)
        if len(names) == width and any(_NAMES["frequency"].search(_plain_header(each)) for each in names):
            return _name_columns(names, way, name)
    return _Columns(0, 1, 2 if width == 3 else -1)


def _plain_header(header: str) -> str:
    return re.sub(r"[_\W]+", " ", header.replace("°", " deg "))


def _name_columns(names: Sequence[str], way: _Dialect, name: str) -> _Columns:
    found: dict[str, int] = {}
    known = _NAMES | ({"level": _OHMS} if way.level == "impedance" else {})
    for place, header in enumerate(names):
        for kind, pattern in known.items():
            if kind not in found and pattern.search(_plain_header(header)):
                found[kind] = place
                break
    frequency = found["frequency"]
    others = [place for place in range(len(names)) if place not in found.values()]
    if "level" not in found and not others:
        raise DescriptionError(f"{name}: no column of {way.level}s among {shown(list(names))}")
    level = found.get("level", others[0] if others else -1)
    if not re.search(r"db", names[level], re.I) and re.search(
        r"\b[mµu]?v(olts?|rms)?\b", _plain_header(names[level]), re.I
    ):
        raise DescriptionError(
            f"{name}: column {shown(names[level])} is in volts; {way.level}s in {_BOUNDS[way.level][2]} are read"
        )
    if way.level == "impedance" and re.search(r"db", names[level], re.I):
        raise DescriptionError(f"{name}: column {shown(names[level])} is in dB; impedances in ohm are read")
    phase = found.get("phase", -1)
    radians = phase >= 0 and re.search(r"\brad", _plain_header(names[phase]), re.I)
    kilo = re.search(r"\bkhz\b", _plain_header(names[frequency]), re.I)
    return _Columns(frequency, level, phase, 1e3 if kilo else 1.0, math.degrees(1.0) if radians else 1.0, tuple(names))


def _table(
    lines: Sequence[str], first: int, way: _Dialect, width: int, columns: _Columns, name: str
) -> Iterator[tuple[int, float, float, float]]:
    """Line number, frequency [Hz], level [dB], phase [degrees] of each row."""
    for number, line in enumerate(lines[first:], first + 1):
        if not line.strip() or _COMMENT.match(line):
            continue
        fields = _fields(line, way)
        if len(fields) != width:
            raise DescriptionError(f"{name}: line {number}: {shown(line)} has {len(fields)} columns instead of {width}")
        hertz = _value(fields, columns.frequency, "frequency", columns.hertz, way, f"{name}: line {number}")
        level = _value(fields, columns.level, way.level, 1.0, way, f"{name}: line {number}")
        phase = _value(fields, columns.phase, "phase", columns.degrees, way, f"{name}: line {number}")
        yield number, hertz, level, phase


def _value(fields: Sequence[str], place: int, kind: str, scale: float, way: _Dialect, where: str) -> float:
    if place < 0:
        return math.nan
    number = _number(fields[place], way)
    if number is None or not math.isfinite(number):
        raise DescriptionError(f"{where}: {shown(fields[place])} is not a number ({kind})")
    low, high, unit = _BOUNDS[kind]
    zero_hertz = kind == "frequency" and number == 0.0
    if not zero_hertz and not low <= number * scale <= high:
        raise DescriptionError(f"{where}: a {kind} of {shown(fields[place])}; expected {low:g} to {high:g} {unit}")
    return number * scale


def _curve(table: Sequence[tuple[int, float, float, float]], guesses: list[str], name: str) -> Curve:
    if len(table) < _LEAST_ROWS:
        raise DescriptionError(f"{name}: {len(table)} rows of numbers; {_LEAST_ROWS} or more are needed")
    falling = table[1][1] < table[0][1]
    for (_, before, *_), (number, here, *_) in itertools.pairwise(table):
        if here == before or (here < before) != falling:
            way = "fall" if falling else "rise"
            raise DescriptionError(
                f"{name}: line {number}: {here:g} Hz after {before:g} Hz; frequencies {way} from row to row"
            )
    ordered = table[::-1] if falling else table
    if falling:
        guesses = [*guesses, "rows from high to low"]
    phases = () if math.isnan(ordered[0][3]) else tuple(row[3] for row in ordered)
    return Curve(tuple(row[1] for row in ordered), tuple(row[2] for row in ordered), phases, tuple(guesses))


def _words(first: int, way: _Dialect, width: int, columns: _Columns, zero: bool) -> list[str]:
    sign = "decimal comma" if way.comma else "decimal point"
    found = [f"{width} columns apart by {_SEPARATORS[way.separator]}", sign, f"numbers from line {first + 1}"]
    kinds = {"frequency": "kHz" if columns.hertz > 1.0 else "Hz", way.level: _BOUNDS[way.level][2]}
    kinds["phase"] = "radians" if columns.degrees > 1.0 else "degrees"
    for kind, unit in kinds.items():
        place = getattr(columns, "level" if kind == way.level else kind)
        if place >= 0:
            header = f" ({shown(columns.names[place])})" if columns.names else " (no header)"
            found.append(f"{kind} [{unit}] in column {place + 1}{header}")
    used = {columns.frequency, columns.level, columns.phase}
    left = [str(place + 1) for place in range(width) if place not in used]
    return [*found, *([f"columns not used: {', '.join(left)}"] if left else []),
            *(["the row at 0 Hz is left out"] if zero else [])]  # fmt: skip
