"""A price list as suppliers and shops write them: what each row offers, at which price, and how many lie in the drawer.

A list is foreign: it is read in whatever way a spreadsheet writes it, within bounds, and a mistake is named with file,
row, column and what stands there.
"""

from __future__ import annotations

import csv
import io
from collections.abc import Iterator, Sequence
from pathlib import Path

from ...base.errors import DescriptionError, nearest, shown
from ...base.files import printable, read_bounded
from ...base.wording import one_line
from ...bench.text_files import decode_text
from .price_rows import COLUMNS, PriceList, Rows

MOST_BYTES, _MOST_ROWS = 40_000_000, 300_000
"""Of a price list, at most; and rows."""
_LONGEST = 300  # signs of a cell
_SEPARATORS = (";", "\t", ",")
_SEEN = 10  # rows in which the head may stand
_NEEDED = ("kind", "value", "price")


def read_price_lists(paths: Sequence[str | Path]) -> PriceList:
    """Read price lists as one.

    Raises
    ------
    DescriptionError
        As `read_price_list`.
    """
    read = [read_price_list(path) for path in paths]
    kinds = dict.fromkeys(kind for each in read for kind in each.offers)
    offers = {kind: tuple(offer for each in read for offer in each.offers.get(kind, ())) for kind in kinds}
    return PriceList(offers, tuple(note for each in read for note in each.notes))


def read_price_list(path: str | Path) -> PriceList:
    """Read a price list.

    Raises
    ------
    DescriptionError
        When it cannot be read, lacks a needed column, or for mistakes in it, each with row, column and value.
    """
    file = Path(path)
    return parse_price_list(read_bounded(file, MOST_BYTES), printable(file.name), file.stem)


def parse_price_list(data: bytes, name: str, supplier: str = "") -> PriceList:
    """Read a price list from the bytes of its file.

    Parameters
    ----------
    data : bytes
        UTF-8, UTF-16 with its mark, or Windows-1252; cells parted by semicolons, tabs or commas.
    name : str
        What messages call the file.
    supplier : str
        Whose list it is, where no column says it.

    Raises
    ------
    DescriptionError
        As `read_price_list`.
    """
    text = decode_text(data, name)
    at, head, separator = _head(text, name)
    places, unknown = _places(head, at, name)
    rows = Rows(name, places, supplier)
    for number, cells in _lines(text, separator, name, at):
        rows.take(number, cells)
    return rows.finished(unknown)


def _head(text: str, name: str) -> tuple[int, list[str], str]:
    """The row with the names of the columns, from 1, and what parts the cells: what makes most of them known."""
    best: tuple[int, int, list[str], str] = (0, 0, [], ";")
    begin = text[: 100 * _LONGEST]
    for separator in _SEPARATORS:
        for number, cells in _first_lines(begin, separator):
            known = len({column for each in cells if (column := _column(each))})
            if known > best[0]:
                best = (known, number, cells, separator)
    if best[0] < len(_NEEDED):
        first = next((line for line in begin.splitlines() if line.strip()), "")
        needed = ", ".join(_NEEDED)
        raise DescriptionError(f"{name}: no row names the columns {needed}; it begins with {shown(first)}")
    return best[1:]


def _first_lines(text: str, separator: str) -> Iterator[tuple[int, list[str]]]:
    reader = csv.reader(io.StringIO(text), delimiter=separator)
    try:
        for cells in reader:
            yield reader.line_num, cells
            if reader.line_num >= _SEEN:
                return
    except csv.Error:
        return


def _column(head: str) -> str:
    """The column that a head means; "" for one that is not known."""
    plain = " ".join(head.lower().replace("_", " ").replace(".", " ").split())
    return next((column for column, others in COLUMNS.items() if plain == column or plain in others), "")


def _places(head: Sequence[str], row: int, name: str) -> tuple[dict[str, int], list[str]]:
    """Where each column stands, and the heads that are not known."""
    places: dict[str, int] = {}
    unknown = []
    for place, each in enumerate(head):
        column = _column(each)
        if column in places:
            raise DescriptionError(f"{name}, row {row}: two columns are the {column}: {shown(each)} is the second")
        if column:
            places[column] = place
        elif each.strip():
            unknown.append(one_line(each.strip())[:40])
    missing = [column for column in _NEEDED if column not in places]
    if missing:
        given = nearest(missing[0], [each for each in head if each.strip()]).replace("known", "given")
        raise DescriptionError(f"{name}, row {row}: there is no column {missing[0]}{given}")
    return places, unknown


def _lines(text: str, separator: str, name: str, after: int) -> Iterator[tuple[int, list[str]]]:
    """The rows below the head with the line on which each ends."""
    reader = csv.reader(io.StringIO(text), delimiter=separator, skipinitialspace=True)
    try:
        for count, cells in enumerate(reader):
            if reader.line_num > after and any(cells):
                yield reader.line_num, cells
            if count > _MOST_ROWS:
                raise DescriptionError(f"{name}: more than {_MOST_ROWS:,} rows are not read")
    except csv.Error as problem:
        raise DescriptionError(f"{name}, row {reader.line_num}: not a row of cells: {problem}") from None


def find_cell(data: bytes, name: str, line: str, column: str) -> tuple[int, int]:
    """Where in a line of a price list the text of one column stands, quotes not included.

    Parameters
    ----------
    data : bytes
        The whole list.
    name : str
        What messages call it.
    line : str
        One of its lines.
    column : str
        One of `COLUMNS`.

    Raises
    ------
    DescriptionError
        When the list has no such column, or the line no such cell.
    """
    at, head, separator = _head(decode_text(data, name), name)
    place = _places(head, at, name)[0].get(column)
    spans = list(_spans(line.rstrip("\r"), separator))
    if place is None or place >= len(spans):
        raise DescriptionError(f"{name}: {shown(line[:40])} has no cell of the column {column}")
    return spans[place]


def _spans(line: str, separator: str) -> Iterator[tuple[int, int]]:
    """Where the text of each cell of a line begins and ends."""
    at = 0
    while at <= len(line):
        while at < len(line) and line[at] == " ":
            at += 1
        quoted = line[at : at + 1] == '"'
        begin = at + quoted
        at = begin
        if quoted:
            while at < len(line) and not (line[at] == '"' and line[at + 1 : at + 2] != '"'):
                at += 2 if line[at] == '"' else 1
        stop = line.find(separator, at)
        stop = len(line) if stop < 0 else stop
        yield begin, at if quoted else begin + len(line[begin:stop].rstrip())
        at = stop + 1
