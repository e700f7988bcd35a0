"""What the job costs: the order list."""

from __future__ import annotations

import argparse
from pathlib import Path
from typing import TYPE_CHECKING

from ....base.errors import DescriptionError, shown
from .common import PAPERS, Steps, open_record, output_path, to_option

if TYPE_CHECKING:
    from ....job.quote.choosing import Purchase
    from ....job.quote.shop_sheet import ShopSheet
    from ....job.record.frozen import Opened


def add(steps: Steps) -> None:
    """Add the steps of quoting."""
    steps.group("what it costs")
    order = steps.step("order", "what to order at which supplier, by the shop's price list; the drawer first", _order)
    _shop_options(order)
    to_option(order, "folder for a CSV to each supplier", PAPERS)


def _shop_options(parser: argparse.ArgumentParser) -> None:
    parser.add_argument("--shop", type=Path, help="the shop's sheet (default: shop.toml on the shelf)")
    parser.add_argument("--prices", type=Path, action="append", help="a price list in place of the sheet's; repeatable")
    parser.add_argument(
        "--room", action="append", default=[], help="the space for a part in mm, such as C101=13x30; repeatable"
    )


def _rooms(options: argparse.Namespace) -> dict[str, tuple[float, ...]]:
    from ....job.quote.offered_parts import read_size

    found = {}
    for each in options.room:
        part, sign, size = each.partition("=")
        if not sign:
            raise DescriptionError(f"--room: {shown(each)}; written for example C101=13x30 (mm)")
        found[part.strip()] = read_size(size)
    return found


def _purchase(options: argparse.Namespace, found: Opened, shop: ShopSheet) -> Purchase:
    from ....job.quote.order_list import purchase_of
    from ....job.quote.price_list import read_price_lists
    from ....work.parts_list.parts_list import parts_list

    rooms = _rooms(options)
    prices = read_price_lists(options.prices or shop.prices)
    for note in prices.notes:
        print(note)
    parts = parts_list(found.stock, found.modded, drawer=found.drawer)
    unknown = sorted(rooms.keys() - {line.part for line in parts.lines})
    if unknown:
        raise DescriptionError(f"--room: {shown(unknown[0])} is not on the parts list")
    return purchase_of(parts, prices, shop, rooms)


def _order(options: argparse.Namespace) -> None:
    from ....base.files import file_word, write_whole
    from ....job.quote.order_list import order_csv, order_text
    from ....job.quote.shop_sheet import shop_sheet

    shop = shop_sheet(options.shop)
    _, found = open_record(options)
    folder = output_path(options, PAPERS)
    purchase = _purchase(options, found, shop)
    print(order_text(purchase, shop))
    for supplier, lines in purchase.orders.items():
        path = write_whole(folder / f"order-{file_word(supplier)}.csv", order_csv(lines, shop))
        print(f"\nThe order to {supplier} is {path}")
