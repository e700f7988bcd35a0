"""What was understood of a price list and of a shop's sheet, for `ampsim check`."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

from ...base.tables import text_of_rows
from ...base.wording import join_words
from ...work.steps.step import Phase
from .money import money, written
from .offered_parts import families
from .price_list import read_price_list, read_price_lists
from .price_rows import PriceList
from .shop_sheet import FILE, ShopSheet, read_shop_sheet


def describe_prices(path: Path) -> str:
    """Say what was understood of a price list, or of a shop's sheet and its price lists.

    Raises
    ------
    DescriptionError
        For mistakes in them.
    """
    if path.name != FILE:
        return "\n".join(_list_words(path.name, read_price_list(path)))
    shop = read_shop_sheet(path)
    return "\n".join([*_shop_words(shop), "", *_list_words("Price lists", read_price_lists(shop.prices))])


def _list_words(name: str, prices: PriceList) -> Iterator[str]:
    yield f"{name}: {prices.count:,} offers"
    rows = []
    for kind, offers in sorted(prices.offers.items()):
        unpriced = sum(offer.price is None for offer in offers)
        bare = sum(not families(f"{offer.make} {offer.what}") for offer in offers) if kind == "capacitor" else 0
        told = [f"{unpriced} without a price"] if unpriced else []
        told += [f"{bare} that do not say what they are made of"] if bare else []
        in_drawer = sum(offer.stock > 0 for offer in offers)
        suppliers = sorted({offer.supplier for offer in offers})
        rows.append((kind, len(offers), in_drawer, join_words(suppliers[:4]), "; ".join(told)))
    yield text_of_rows(("kind", "offers", "in the drawer", "suppliers", "besides"), rows)
    yield from prices.notes


def _shop_words(shop: ShopSheet) -> Iterator[str]:
    yield f"Shop: {', '.join((shop.name, *shop.address))}"
    hour = money(shop.hour, shop.currency, shop.places, shop.comma) if shop.hour is not None else "not said"
    yield f"An hour: {hour}; on parts {written(shop.surcharge, shop.comma)} %"
    tax = shop.tax
    held = "in the prices already" if tax.included else "on top of the prices"
    where = "at each line" if tax.by_line else "once, from the sum"
    others = "".join(f", {what} {written(rate)} %" for what, rate in tax.rates.items())
    yield f"Tax: {tax.name} {written(tax.rate)} %{others}, {held}, worked out {where}" if tax.name else "Tax: none"
    silent = [str(phase) for phase in Phase if str(phase) not in shop.minutes]
    yield f"Minutes of a step not said: {', '.join(silent)}" if silent else "Minutes: said of every kind of step"
