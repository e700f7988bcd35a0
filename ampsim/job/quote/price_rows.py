"""The rows of a price list: each taken as what it offers, a mistake named with row, column and what stands there."""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, replace
from decimal import Decimal
from operator import itemgetter
from typing import TypeVar

from ...base.errors import DescriptionError, shown
from ...base.wording import one_line
from .money import amount_readings
from .offered_parts import Described, describe, offered_kind, read_percent, read_size, read_volts, read_watts

_Read = TypeVar("_Read")
_LONGEST = 300  # signs of a cell
_TOLD = 5  # mistakes
_NAN = math.nan
COLUMNS: Mapping[str, tuple[str, ...]] = {
    "kind": ("category", "type of part"),
    "value": ("type", "part"),
    "price": ("unit price", "net price", "price each"),
    "supplier": ("vendor", "from"),
    "order number": ("order no", "order code", "sku", "article", "article number", "number"),
    "what": ("description", "name", "text"),
    "per": ("price unit", "price per", "pieces per price"),
    "minimum": ("minimum quantity", "moq", "least"),
    "pack": ("pack of", "multiple", "packing unit"),
    "stock": ("in the drawer", "drawer", "in stock"),
    "tolerance": ("tol",),
    "watts": ("power", "rated power"),
    "volts": ("voltage", "rated voltage"),
    "make": ("kind of part", "material", "dielectric"),
    "taper": ("law",),
    "gang": ("gangs", "sections"),
    "switch": ("with switch",),
    "size": ("dimensions", "body"),
    "currency": (),
}
"""Columns by their names, and other names that are understood; the first three are needed."""


@dataclass(frozen=True, slots=True)
class Offer:
    """One row: what is sold, by whom, at which price.

    `price` is for `per` pieces, None where the row says none; `minimum` pieces are sold at least, in multiples of
    `pack`; `stock` pieces lie in the shop's own drawer. `tolerance` [ratio], `watts` [W] and `volts` [V] are NaN where
    the row does not say; `size` is the body's measures [mm], longest first, () where the row does not say; `gang` how
    many tracks a pot has.
    """

    described: Described
    supplier: str
    number: str
    what: str
    price: Decimal | None
    currency: str
    per: int
    minimum: int
    pack: int
    stock: int
    tolerance: float
    watts: float
    volts: float
    make: str
    gang: int
    size: tuple[float, ...]
    row: int

    @property
    def words(self) -> str:
        """What it is, in short."""
        return self.what or f"{self.described.text} {self.described.kind}"

    @property
    def where_from(self) -> str:
        """Supplier and order number."""
        return " ".join(filter(None, (self.supplier, self.number)))


@dataclass(frozen=True)
class PriceList:
    """What can be had, by kind of part; `notes` say what of the file was not understood or not used."""

    offers: Mapping[str, tuple[Offer, ...]]
    notes: tuple[str, ...] = ()

    @property
    def count(self) -> int:
        """How many offers there are."""
        return sum(map(len, self.offers.values()))


class Rows:
    """Takes rows one by one; mistakes are gathered, so that they are told together."""

    def __init__(self, name: str, places: Mapping[str, int], supplier: str) -> None:
        self._name, self._supplier = name, supplier
        # Every column in one order; one that the list does not have is the empty cell put at the end of each row.
        self._width = max(places.values()) + 1
        self._take_cells = itemgetter(*(places.get(column, self._width) for column in COLUMNS))
        self._faults: list[str] = []
        self._offers: list[tuple[Offer, str]] = []
        self._other: dict[str, int] = {}
        self._commas, self._points = False, False

    def take(self, number: int, cells: list[str]) -> None:
        """One row."""
        padded = [*cells[: self._width], *[""] * (self._width + 1 - len(cells[: self._width]))]
        row = _Row(self._name, number, self._take_cells([*map(str.strip, padded)]))
        try:
            kind = offered_kind(row.texts[0])
            if not kind:
                other = one_line(row.texts[0])[:40] or "without a kind"
                self._other[other] = self._other.get(other, 0) + 1
                return
            offer, price = row.offer(kind, self._supplier)
        except DescriptionError as problem:
            self._faults.append(str(problem))
            return
        self._offers.append((offer, price))
        if offer.price is not None:
            self._commas = self._commas or "," in price
            self._points = self._points or "." in price

    def finished(self, unknown: Sequence[str]) -> PriceList:
        """All that was taken.

        Raises
        ------
        DescriptionError
            For mistakes, the first few of them told.
        """
        found: dict[str, list[Offer]] = {}
        for offer, price in self._offers:
            if offer.price is None and price:
                offer = self._priced(offer, price)
            found.setdefault(offer.described.kind, []).append(offer)
        if self._faults:
            more = len(self._faults) - _TOLD
            told = self._faults[:_TOLD] + ([f"and {more} more"] if more > 0 else [])
            raise DescriptionError("\n".join(told))
        notes = [f"{self._name}: not used: the columns {', '.join(unknown)}"] if unknown else []
        if self._other:
            told = [f"{each} ({count})" for each, count in sorted(self._other.items())[:12]]
            notes.append(f"{self._name}: rows of kinds that no parts list asks for: {', '.join(told)}")
        return PriceList({kind: tuple(each) for kind, each in found.items()}, tuple(notes))

    def _priced(self, offer: Offer, price: str) -> Offer:
        """An offer whose price can be read in two ways: the list's other prices say which sign is the decimal one."""
        whole, part = amount_readings(price)
        if self._commas == self._points:
            where = f"{self._name}, row {offer.row}, column price"
            self._faults.append(f"{where}: {shown(price)} can be read as {whole} or as {part}; write one of them")
        return replace(offer, price=Decimal(part if self._commas else whole))


@dataclass(frozen=True, slots=True)
class _Row:
    """The cells of one row, in the order of `COLUMNS`."""

    name: str
    number: int
    texts: tuple[str, ...]

    def offer(self, kind: str, supplier: str) -> tuple[Offer, str]:
        """What the row offers, and the text of its price; the price is None where that can be read in two ways."""
        self._check()
        (_, value, price, own, order_number, what, per, minimum, pack, stock, tolerance, watts, volts, make, taper,
         gang, switch, size, currency) = self.texts  # fmt: skip
        readings = amount_readings(price)
        if price and not readings:
            raise self._fault("price", f"{shown(price)} is not an amount; written for example 0.35")
        try:
            described = describe(kind, value, taper, switch)
        except DescriptionError as problem:
            raise self._fault("value", str(problem).removeprefix("value: ")) from None
        offer = Offer(
            described,
            own or supplier,
            order_number,
            what,
            Decimal(readings[0]) if len(readings) == 1 else None,
            currency.upper(),
            self._whole("per", per, 1),
            self._whole("minimum", minimum, 1),
            self._whole("pack", pack, 1),
            self._whole("stock", stock, 0),
            self._read("tolerance", tolerance, read_percent) if tolerance else _NAN,
            self._read("watts", watts, read_watts) if watts else _NAN,
            self._read("volts", volts, read_volts) if volts else _NAN,
            make,
            self._whole("gang", gang, 1),
            self._read("size", size, read_size) if size else (),
            self.number,
        )
        return offer, price

    def _check(self) -> None:
        whole = "".join(self.texts)
        if len(whole) <= _LONGEST and whole.isprintable():
            return
        for column, text in zip(COLUMNS, self.texts, strict=True):
            if len(text) > _LONGEST:
                raise self._fault(column, f"{len(text)} characters are too many; at most {_LONGEST}")
            if not text.isprintable():
                raise self._fault(column, f"{shown(text)} holds what does not print")

    def _whole(self, column: str, text: str, least: int) -> int:
        """A whole number; what is not said is the least."""
        if not text:
            return least
        if not (text.isascii() and text.isdigit() and len(text) <= 7 and int(text) >= least):
            raise self._fault(column, f"{shown(text)} is not a whole number from {least}")
        return int(text)

    def _read(self, column: str, text: str, read: Callable[[str], _Read]) -> _Read:
        try:
            return read(text)
        except DescriptionError as problem:
            raise self._fault(column, str(problem).removeprefix("value: ")) from None

    def _fault(self, column: str, text: str) -> DescriptionError:
        return DescriptionError(f"{self.name}, row {self.number}, column {column}: {text}")
