"""The order list of a job: what lies in the drawer, what is bought at which supplier, and what nobody offers."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from itertools import count

from ...base.csv_cells import csv_text, safe_cell
from ...base.files import file_word
from ...base.tables import text_of_rows
from ...base.wording import one_line
from ...work.parts_list.parts_list import PartsList
from .choosing import OrderLine, Purchase, choose, unit_price
from .matching import candidates
from .money import money, price_text, written
from .needs import Need, needs_of_list
from .price_rows import PriceList
from .shop_sheet import ShopSheet

HEAD = ("order number", "what", "for", "needed", "buy", "left over", "price", "amount", "note")


def purchase_of(
    parts: PartsList,
    prices: PriceList,
    shop: ShopSheet,
    rooms: Mapping[str, tuple[float, ...]] | None = None,
    numbers: Mapping[str, str] | None = None,
) -> Purchase:
    """What is taken for a parts list.

    Parameters
    ----------
    parts : PartsList
    prices : PriceList
    shop : ShopSheet
    rooms : mapping
        The space that there is for a part [mm], longest first, by designator.
    numbers : mapping
        The order number that a part is to have, by designator, where somebody chose one.
    """
    return choose([candidates(need, prices) for need in needs_of_list(parts, rooms, numbers)], shop)


def order_rows(lines: Sequence[OrderLine], shop: ShopSheet) -> list[tuple[str, ...]]:
    """The lines of one supplier as texts, in the columns of `HEAD`."""
    return [
        (
            each.offer.number, each.offer.words, ", ".join(each.parts), str(each.needed), str(each.count),
            str(each.left or ""), price_words(each, shop), written(each.amount, shop.comma, shop.places), each.note,
        )
        for each in lines
    ]  # fmt: skip


def price_words(line: OrderLine, shop: ShopSheet) -> str:
    """The price of a piece, or of so many as the list has it for."""
    price = price_text(unit_price(line.offer, shop), shop.places, shop.comma)
    return f"{price} per {line.offer.per}" if line.offer.per > 1 else price


def order_files(suppliers: Sequence[str]) -> dict[str, str]:
    """A file name to each supplier, without ending; no two are the same, however alike the suppliers are called."""
    found: dict[str, str] = {}
    for supplier in suppliers:
        stem = f"order-{file_word(supplier)}" if supplier else "order"
        names = (f"{stem}-{number}" if number > 1 else stem for number in count(1))
        found[supplier] = next(name for name in names if name not in found.values())
    return found


def order_csv(lines: Sequence[OrderLine], shop: ShopSheet) -> str:
    """The order to one supplier as CSV, in the shop's way; no cell is a formula."""
    head = ("supplier", "order number", "what", "for", "buy", "price", "per", "amount", "currency", "note")
    rows = [
        (
            safe_cell(each.offer.supplier), safe_cell(each.offer.number), safe_cell(each.offer.words),
            safe_cell(", ".join(each.parts)), str(each.count),
            price_text(unit_price(each.offer, shop), shop.places, shop.comma), str(each.offer.per),
            written(each.amount, shop.comma, shop.places), safe_cell(shop.currency), safe_cell(each.note),
        )
        for each in lines
    ]  # fmt: skip
    return csv_text([head, *rows], shop.separator)


def drawer_rows(purchase: Purchase) -> list[tuple[str, ...]]:
    """What is taken from the drawer: order number, what, for which parts, note."""
    return [
        (each.fit.offer.where_from, each.fit.offer.words, ", ".join(each.parts), each.fit.note)
        for each in purchase.taken
        if not each.buy
    ]


def without_rows(purchase: Purchase) -> list[tuple[str, ...]]:
    """What has no price: what, for which parts, why."""
    return [(need_words(need), ", ".join(need.parts), why) for need, why in purchase.without]


def need_words(need: Need) -> str:
    """How many of what."""
    return f"{len(need.parts)} x {need.words}" if len(need.parts) > 1 else need.words


def substitute_rows(purchase: Purchase) -> list[tuple[str, ...]]:
    """What would serve as well: for which parts, what is taken, what else, and in which way it is more."""
    return [
        (
            ", ".join(taken.parts),
            taken.fit.offer.where_from,
            other.offer.where_from,
            other.note or "just what was asked",
        )
        for taken in purchase.taken
        for other in taken.others
    ]


def order_text(purchase: Purchase, shop: ShopSheet) -> str:
    """The whole as plain text."""
    told: list[str] = []
    for supplier, lines in purchase.orders.items():
        head = f"To order at {one_line(supplier) or 'the supplier of the list'}"
        told.append(f"{head}\n{text_of_rows(HEAD, order_rows(lines, shop))}")
        sending = shop.shipping.get(supplier)
        if sending is not None:
            told.append(f"Sending: {money(sending, shop.currency, shop.places, shop.comma)}")
    if rows := drawer_rows(purchase):
        told.append(f"In the drawer\n{text_of_rows(('order number', 'what', 'for', 'note'), rows)}")
    if rows := without_rows(purchase):
        told.append(f"Nothing on the price list serves\n{text_of_rows(('what', 'for', 'why'), rows)}")
    if rows := substitute_rows(purchase):
        told.append(f"What would serve as well\n{text_of_rows(('for', 'taken', 'or', 'note'), rows)}")
    return "\n\n".join([*told, *purchase.why]) or "Nothing is brought or changed: there is nothing to order."
