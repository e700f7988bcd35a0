"""Voltages read at the bench, from a file or a table: bounded, checked, never run."""

from __future__ import annotations

import csv
import re
from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path

from ..amp import Amp
from ..circuit import Circuit
from ..entries import Entry
from ..errors import DescriptionError, shown
from ..library import read_bytes, toml_tables
from ..ports import circuit_at
from ..positions import Position
from ..quantities import OHM, VOLT, Quantity, parse_value
from .probes import MOST_PROBES, probe

_ABOUT = ("mains", "mains_drawn", "meter", "accuracy", "digit")
_MAINS = Quantity("mains voltage", "V", ("V",), "", 50.0, 500.0)
_METER = Quantity("meter impedance", "ohm", OHM.spellings, OHM.multipliers, 1e4, 1e12)
_DIGIT = Quantity("last digit", "V", ("V",), "m", 1e-6, 10.0)
_LONGEST_LINE = 300
_WORDS = re.compile(r"[A-Za-z ]{0,40}")
# The supply is known to this share: of what a mains reading says, and without one (own choice; EN 50160 allows the
# mains 10 %).
_SUPPLY_KNOWN, _SUPPLY_UNKNOWN = 0.02, 0.05


@dataclass(frozen=True)
class Readings:
    """What was read.

    Attributes
    ----------
    volts
        Reading ("V1A.plate", "B2", "across R26", "V4.plate to B1") to its [V].
    mains, mains_drawn
        Mains while reading, and that which the drawing's voltages hold for [V]; None where not told.
    meter_ohms
        Impedance of the meter [ohm].
    accuracy, digit
        Share of the reading, and volts, that the meter may be off (one standard deviation).
    source
        What messages call it.
    """

    volts: tuple[tuple[str, float], ...]
    mains: float | None = None
    mains_drawn: float | None = None
    meter_ohms: float = 10e6
    accuracy: float = 0.01
    digit: float = 0.01
    source: str = "readings"

    @property
    def names(self) -> tuple[str, ...]:
        """Where was read."""
        return tuple(name for name, _ in self.volts)

    @property
    def supply(self) -> float:
        """The supply as a factor of the drawing's, as the mains tells; 1 where it was not read."""
        return 1.0 if self.mains is None or self.mains_drawn is None else self.mains / self.mains_drawn

    @property
    def supply_known(self) -> float:
        """Standard deviation of the supply's factor."""
        return _SUPPLY_UNKNOWN if self.mains is None else _SUPPLY_KNOWN


def read_readings(path: str | Path, amp: Amp, position: Position = {}) -> Readings:  # noqa: B006
    """Read a TOML file (`mains = "231 V"`, `meter = "10M"`, a table `[volts]`) or a CSV file of two columns.

    A CSV file has rows of a place or one of mains, mains_drawn, meter, accuracy, digit, and its value, apart by
    semicolons, tabulators or commas; lines that begin with # and a header are passed over. A decimal comma will do.

    Raises
    ------
    DescriptionError
        Names file, entry and offending value; for a place the nearest ones.
    """
    file = Path(path)
    data = read_bytes(file)
    name = file.name if file.name.isprintable() else shown(file.name)
    tables = toml_tables(data, name) if file.suffix.lower() == ".toml" else _csv_tables(data, name)
    return parse_readings(tables, amp, name, position)


def parse_readings(
    data: Mapping[str, object],
    amp: Amp,
    file: str = "readings",
    position: Position = {},  # noqa: B006
) -> Readings:
    """Check readings that stand in a table as a TOML file has them; see `read_readings`.

    Raises
    ------
    DescriptionError
        Names entry and offending value; for a place the nearest ones.
    """
    top = Entry(data, file)
    table = top.table("volts")
    names = table.names()
    if not 1 <= len(names) <= MOST_PROBES:
        raise top.fail("volts", f"{len(names)} readings; expected 1 to {MOST_PROBES}")
    wired = circuit_at(amp, position)
    volts = tuple(_reading(table, key, wired, file) for key in names)
    table.finish()
    found = Readings(
        volts,
        _optional(top, "mains", _MAINS),
        _optional(top, "mains_drawn", _MAINS),
        top.value("meter", _METER, 10e6),
        _share(top, "accuracy", 0.01),
        top.value("digit", _DIGIT, 0.01),
        file,
    )
    top.finish()
    if (found.mains is None) != (found.mains_drawn is None):
        raise top.fail("mains", "the mains while reading (mains) and that of the drawing (mains_drawn) go together")
    if not 0.7 <= found.supply <= 1.3:
        raise top.fail("mains", f"{found.mains:g} V against {found.mains_drawn:g} V; expected within 30 %")
    _refuse_twice(found, wired, file)
    return found


def _reading(table: Entry, key: str, wired: Circuit, file: str) -> tuple[str, float]:
    value = table.value(key, VOLT)
    try:
        return probe(wired, " ".join(key.split())).name, value
    except DescriptionError as problem:
        raise DescriptionError(f"{file}: volts: {problem}") from None


def _refuse_twice(found: Readings, wired: Circuit, file: str) -> None:
    seen: dict[tuple[str, str], str] = {}
    for name in found.names:
        each = probe(wired, name)
        nets = min((each.first, each.second), (each.second, each.first))
        if nets in seen:
            raise DescriptionError(f"{file}: volts: {shown(name)} and {shown(seen[nets])} are read at the same wire")
        seen[nets] = name


def _optional(top: Entry, key: str, quantity: Quantity) -> float | None:
    return top.value(key, quantity) if top.has(key) else None


def _share(top: Entry, key: str, default: float) -> float:
    """A percentage, "1 %" or 1, as a share."""
    if not top.has(key):
        return default
    value = top.raw(key)
    text = value.replace("%", " ") if isinstance(value, str) else value
    return parse_value(text, Quantity("percentage", "%", (), "", 0.01, 20.0), top.where(key)) / 100.0


def _csv_tables(data: bytes, name: str) -> dict[str, object]:
    try:
        lines = data.decode("utf-8-sig").splitlines()
    except UnicodeDecodeError as problem:
        raise DescriptionError(f"{name}: not UTF-8 text (byte {problem.start})") from None
    found: dict[str, object] = {}
    volts: dict[str, str] = {}
    first = True
    for number, line in enumerate(lines, 1):
        if not line.strip() or line.lstrip().startswith("#"):
            continue
        place, value = _row(line, f"{name}: line {number}")
        if first and not re.search(r"[0-9]", value) and _WORDS.fullmatch(value):
            first = False
            continue
        first = False
        table = found if place in _ABOUT else volts
        if place in table:
            raise DescriptionError(f"{name}: line {number}: {shown(place)} is there already")
        table[place] = value
        if len(volts) > MOST_PROBES:
            raise DescriptionError(f"{name}: line {number}: more than {MOST_PROBES} readings")
    return found | {"volts": volts}


def _row(line: str, where: str) -> tuple[str, str]:
    """Place and value of one line."""
    if len(line) > _LONGEST_LINE:
        raise DescriptionError(f"{where}: {len(line)} characters; at most {_LONGEST_LINE}")
    sign = next((each for each in ";\t" if each in line), ",")
    cells = [cell.strip() for cell in next(csv.reader([line], delimiter=sign))]
    while len(cells) > 2 and not cells[-1]:
        cells.pop()
    if len(cells) != 2 or not all(cells):
        more = "; with decimal commas, put semicolons between the columns" if sign == "," and len(cells) == 3 else ""
        raise DescriptionError(f"{where}: {shown(line)} is not a place and a value{more}")
    return cells[0], cells[1]
