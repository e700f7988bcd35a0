"""The shop's own sheet, ``shop.toml`` on its shelf: who it is, what an hour costs, minutes per step, taxes, prices."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from decimal import Decimal
from pathlib import Path

from ...base.entries import Entry
from ...base.errors import DescriptionError
from ...base.files import printable
from ...library.files import SHELF, read_toml, shelf
from ...work.steps.step import Phase
from .money import NOTHING, parse_amount, places_of

FILE = "shop.toml"
TAXED = ("work", "parts", "others")
"""What may have a rate of the tax of its own."""
_LINE, _MOST_LINES = 120, 20
_HUNDRED = Decimal(100)


@dataclass(frozen=True)
class Tax:
    """A tax on everything: what it is called, its rate [percent], and how it is reckoned.

    `included`: the shop's prices hold it already. `by_line`: it is rounded at each line and summed, else worked out
    once from the sum, as EN 16931 has it (BR-CO-17).
    """

    name: str = ""
    rate: Decimal = NOTHING
    included: bool = False
    by_line: bool = False
    rates: Mapping[str, Decimal] = field(default_factory=dict)


@dataclass(frozen=True)
class ShopSheet:
    """What a shop says of itself, all of it as it gave it.

    Attributes
    ----------
    name, address, details, notes
        Its head on papers, what stands below it (a tax number, a bank), and what stands at the end of a quote.
    currency, places
        Of every amount, and how many decimals an amount has.
    hour
        The price of an hour; None where it says none.
    surcharge
        On the list prices of parts [percent].
    tax
        See `Tax`.
    minutes
        What one step takes [min], by its phase.
    exchange
        What one unit of another currency costs, by its letters.
    shipping
        What an order at a supplier costs besides.
    prices
        The price lists.
    comma, separator
        How CSV is written.
    valid_days
        How long a quote holds [days]; 0 where it does not say.
    jobs
        The folder with the shop's jobs; None where it does not say.
    """

    name: str
    currency: str
    places: int
    address: tuple[str, ...] = ()
    details: tuple[str, ...] = ()
    notes: tuple[str, ...] = ()
    hour: Decimal | None = None
    surcharge: Decimal = NOTHING
    tax: Tax = field(default_factory=Tax)
    minutes: Mapping[str, Decimal] = field(default_factory=dict)
    exchange: Mapping[str, Decimal] = field(default_factory=dict)
    shipping: Mapping[str, Decimal] = field(default_factory=dict)
    prices: tuple[Path, ...] = ()
    comma: bool = False
    separator: str = ","
    valid_days: int = 0
    jobs: Path | None = None


def shop_sheet(path: str | Path | None = None) -> ShopSheet:
    """The shop's sheet: a file, or that on the shelf.

    Raises
    ------
    DescriptionError
        When there is none, saying what would do, or for a mistake in it.
    """
    home = shelf()
    file = Path(path) if path else (home.joinpath(FILE) if home else None)
    if file is None or not (path or file.is_file()):
        where = f"{printable(home.joinpath(FILE))} is missing" if home else f"no shelf is named ({SHELF})"
        raise DescriptionError(
            f"what the shop charges is not known: {where}. Copy {FILE} and the price list of models/shop to the shelf "
            "and write your own into them, or name a file with --shop"
        )
    return read_shop_sheet(file)


def read_shop_sheet(path: Path) -> ShopSheet:
    """Read a shop's sheet; its price lists lie beside it.

    Raises
    ------
    DescriptionError
        For a mistake in it: file, entry, value and what would do.
    """
    top = Entry(read_toml(path), printable(path.name))
    currency = top.plain_text("currency", 12)
    places = top.whole_number("places", 0, 4, places_of(currency))
    comma = top.choice("decimal", ("point", "comma"), "point") == "comma"
    jobs = top.plain_text("jobs", 400, "")
    found = ShopSheet(
        name=top.plain_text("name", _LINE),
        currency=currency,
        places=places,
        address=_lines(top, "address"),
        details=_lines(top, "details"),
        notes=_lines(top, "notes", 1000),
        hour=_amount(top, "hour") if top.has("hour") else None,
        surcharge=_percent(top, "surcharge"),
        tax=_tax(top.table("tax")),
        minutes=_minutes(top.table("minutes")),
        exchange=_amounts(top.table("exchange")),
        shipping=_amounts(top.table("shipping")),
        prices=tuple(path.parent.joinpath(name) for name in _lines(top, "prices", 400)),
        comma=comma,
        separator=top.choice("separator", (",", ";", "\t"), ";" if comma else ","),
        valid_days=top.whole_number("valid_days", 0, 1000, 0),
        jobs=path.parent.joinpath(Path(jobs).expanduser()) if jobs else None,
    )
    top.finish(" in a shop's sheet")
    return found


def _lines(top: Entry, key: str, most: int = _LINE) -> tuple[str, ...]:
    return tuple(top.element(key, each).plain_text(key, most) for each in top.elements(key, _MOST_LINES))


def _amount(entry: Entry, key: str) -> Decimal:
    return parse_amount(entry.raw(key), entry.where(key))


def _percent(entry: Entry, key: str) -> Decimal:
    found = _amount(entry, key) if entry.has(key) else NOTHING
    if found > _HUNDRED:
        raise entry.fail(key, f"{found} percent is more than all of it")
    return found


def _tax(entry: Entry) -> Tax:
    if not entry.names():
        return Tax()
    found = Tax(
        entry.plain_text("name", 40),
        _percent(entry, "rate"),
        entry.choice("prices", ("without", "with")) == "with",
        entry.choice("rounded", ("sum", "line"), "sum") == "line",
        {key: _percent(entry, key) for key in TAXED if entry.has(key)},
    )
    entry.finish(" of a tax")
    return found


def _minutes(entry: Entry) -> dict[str, Decimal]:
    known = [str(each) for each in Phase]
    found = {name: _amount(entry, name) for name in known if entry.has(name)}
    entry.finish(" of the plan")
    return found


def _amounts(entry: Entry) -> dict[str, Decimal]:
    return {name: _amount(entry, name) for name in entry.names()}
