"""Voltages read at the bench, from a file or a table: bounded, checked, never run."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace
from pathlib import Path

from ...base.entries import Entry
from ...base.errors import DescriptionError, shown
from ...base.files import read_bounded
from ...base.quantities import OHM, VOLT, Quantity, format_value, parse_value
from ...circuit.amp import Amp
from ...circuit.build import Circuit, circuit_at
from ...circuit.plugging import plug_in
from ...circuit.positions import Position
from ...circuit.source import DRAWN_SOURCE, Source, parse_source
from ...circuit.stages.template import GROUND
from ...library.files import toml_tables
from ..mains import LEAST_VOLTS, MOST_VOLTS, mains_factor, mains_fault
from .probes import MOST_PROBES, probe
from .readings_text import place_value_tables

_MAINS = Quantity("mains voltage", "V", ("V",), "", LEAST_VOLTS, MOST_VOLTS)
_METER = replace(OHM, name="meter impedance", least=1e4, most=1e12)
_DIGIT = Quantity("last digit", "V", ("V",), "m", 1e-6, 10.0)
# The supply is known to this share: of what a mains reading says, and without one (own choice; EN 50160 allows the
# mains 10 %).
_SUPPLY_KNOWN, _SUPPLY_UNKNOWN = 0.02, 0.05
# A place on ground may read so much [V] (own choice).
_ON_GROUND = 0.1


@dataclass(frozen=True)
class Readings:
    """What was read.

    Attributes
    ----------
    volts
        Reading ("V1A.plate", "B2", "across R26", "V4.plate to B1") to its [V].
    mains, mains_drawn
        Mains while reading, and that which the drawing's voltages hold for [V]; None where not told. The first alone
        says nothing of the supply.
    meter_ohms
        Impedance of the meter [ohm].
    accuracy, digit
        Share of the reading, and volts, that the meter may be off (one standard deviation).
    source
        What messages call it.
    plugged
        What was plugged into the amp.
    grounded
        Places that read nothing because the drawing has them on ground; they are not weighed.
    """

    volts: tuple[tuple[str, float], ...]
    mains: float | None = None
    mains_drawn: float | None = None
    meter_ohms: float = 10e6
    accuracy: float = 0.01
    digit: float = 0.01
    source: str = "readings"
    grounded: tuple[str, ...] = ()
    plugged: Source = DRAWN_SOURCE

    @property
    def names(self) -> tuple[str, ...]:
        """Where was read."""
        return tuple(name for name, _ in self.volts)

    @property
    def supply(self) -> float:
        """The supply over the drawing's [ratio], as the mains tells; 1 where it was not read."""
        return mains_factor(self.mains, self.mains_drawn) or 1.0

    @property
    def supply_known(self) -> float:
        """Standard deviation of the supply's factor [ratio]."""
        return _SUPPLY_UNKNOWN if mains_factor(self.mains, self.mains_drawn) is None else _SUPPLY_KNOWN

    @property
    def about_supply(self) -> str:
        """What is known of mains and meter, and of what was plugged in, in a sentence."""
        plugged = f" Plugged in: {self.plugged}." if self.plugged != DRAWN_SOURCE else ""
        meter = f"Meter of {format_value(self.meter_ohms, OHM)}.{plugged}"
        if self.mains is None:
            return f"Mains not read. {meter}"
        if self.mains_drawn is None:
            return f"Mains {self.mains:g} V; which mains the drawing's volts hold for is not told. {meter}"
        return f"Mains {self.mains:g} V, the drawing's volts hold for {self.mains_drawn:g} V. {meter}"


def read_readings(path: str | Path, amp: Amp, position: Position = {}) -> Readings:  # noqa: B006
    """Read a TOML file (`mains = "231 V"`, `meter = "10M"`, a table `[volts]`) or a CSV file of two columns.

    A CSV file has rows of a place or one of mains, mains_drawn, meter, accuracy, digit, source, and its value; see
    `readings_text.place_value_tables`. A decimal comma will do.

    Raises
    ------
    DescriptionError
        Names file, entry and offending value; for a place the nearest ones.
    """
    file = Path(path)
    data = read_bounded(file)
    name = file.name if file.name.isprintable() else shown(file.name)
    tables = toml_tables(data, name) if file.suffix.lower() == ".toml" else place_value_tables(data, name)
    return parse_readings(tables, amp, name, position)


def parse_readings(
    data: Mapping[str, object],
    amp: Amp,
    file: str = "readings",
    position: Position = {},  # noqa: B006
) -> Readings:
    """Check readings that stand in a table as a TOML file has them.

    Parameters
    ----------
    data : mapping
        Mains, meter and volts by place; see `read_readings`.
    amp : Amp
        The amp that was read.
    file : str
        What messages call the table.
    position : mapping
        Where the controls stood; as drawn by default.

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
    plugged = parse_source(top.raw("source"), top.where("source")) if top.has("source") else DRAWN_SOURCE
    wired = circuit_at(amp if plugged == DRAWN_SOURCE else plug_in(amp, plugged), position)
    read = {key: table.value(key, VOLT) for key in names}
    grounded = tuple(key for key in names if wired.net_by_place.get(key) == GROUND)
    volts = tuple(_reading(key, value, wired, file) for key, value in read.items() if key not in grounded)
    table.finish()
    found = Readings(
        volts,
        _optional(top, "mains", _MAINS),
        _optional(top, "mains_drawn", _MAINS),
        top.value("meter", _METER, 10e6),
        _share(top, "accuracy", 0.01),
        top.value("digit", _DIGIT, 0.01),
        file,
        grounded,
        plugged,
    )
    top.finish()
    _check(found, read, top)
    return found


def _reading(key: str, value: float, wired: Circuit, file: str) -> tuple[str, float]:
    try:
        return probe(wired, " ".join(key.split())).name, value
    except DescriptionError as problem:
        raise DescriptionError(f"{file}: volts: {problem}") from None


def _check(found: Readings, read: Mapping[str, float], top: Entry) -> None:
    """Refuse what cannot be."""
    if found.mains_drawn is not None and found.mains is None:
        raise top.fail("mains_drawn", "says nothing without the mains while reading (mains)")
    far = mains_fault(found.mains, found.mains_drawn)
    if far:
        raise top.fail("mains", far)
    if not found.volts:
        raise top.fail("volts", f"only places on ground were read: {', '.join(found.grounded)}")
    for name in found.names:
        if found.names.count(name) > 1:
            raise top.fail("volts", f"{shown(name)} is read twice")
    for place in found.grounded:
        if abs(read[place]) > _ON_GROUND:
            raise top.fail(
                "volts", f"{place} reads {read[place]:g} V but lies on ground in the drawing: see to that first"
            )


def _optional(top: Entry, key: str, quantity: Quantity) -> float | None:
    return top.value(key, quantity) if top.has(key) else None


def _share(top: Entry, key: str, default: float) -> float:
    """A percentage, "1 %" or 1, as a share."""
    if not top.has(key):
        return default
    value = top.raw(key)
    text = value.replace("%", " ") if isinstance(value, str) else value
    return parse_value(text, Quantity("percentage", "%", (), "", 0.01, 20.0), top.where(key)) / 100.0
