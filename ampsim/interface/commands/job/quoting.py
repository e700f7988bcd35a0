"""What the job costs: the quote, and the order list."""

from __future__ import annotations

import argparse
from decimal import Decimal
from pathlib import Path
from typing import TYPE_CHECKING

from ....base.errors import DescriptionError, nearest, shown
from .common import PAPERS, Steps, announce, open_record, output_path, paper_options, to_option

if TYPE_CHECKING:
    from ....job.quote.choosing import Purchase
    from ....job.quote.hours import KindOfWork
    from ....job.quote.price_rows import PriceList
    from ....job.quote.shop_sheet import ShopSheet
    from ....job.record.data import Record
    from ....job.record.frozen import Opened

_ANSWERS = ("accepted", "declined")


def add(steps: Steps) -> None:
    """Add the steps of quoting."""
    steps.group("what it costs")
    quote = steps.step("quote", "what the work and the parts come to, for the owner: HTML, PDF and CSV", _quote)
    _shop_options(quote)
    quote.add_argument(
        "--minutes", action="append", default=[], help='what one step of a kind takes, such as "fit=6"; repeatable'
    )
    quote.add_argument("--past", action="store_true", help="take what earlier jobs took where the sheet says nothing")
    quote.add_argument("--add", action="append", default=[], help="what is charged besides, such as courier=12.50")
    quote.add_argument("--discount", default="", help='an amount, or a share such as "5 %%"')
    quote.add_argument("--deposit", default="", help="what is asked for beforehand, likewise")
    quote.add_argument("--number", default="", help="the shop's own number of it")
    quote.add_argument("--draft", action="store_true", help="do not keep it in the job")
    quote.add_argument("--answer", choices=_ANSWERS, help="write down what the owner said to the last one, and no more")
    paper_options(quote, "quote")
    order = steps.step("order", "what to order at which supplier, by the shop's price list; the drawer first", _order)
    _shop_options(order)
    order.add_argument("--sent", action="store_true", help="keep it in the job as ordered today")
    order.add_argument(
        "--arrived", nargs="?", const="", metavar="SUPPLIER", help="what was ordered is here, and no more"
    )
    order.add_argument("--paper", choices=("A4", "Letter"), default="A4", help="default: A4")
    to_option(order, "folder for a page and a CSV to each supplier", PAPERS)
    stock = steps.step(
        "stock", "what the job took from the drawer, once fitted, and count it off the price list", _stock
    )
    _shop_options(stock)
    stock.add_argument("--count-off", action="store_true", help="write it into the price list; a copy is kept")


def _shop_options(parser: argparse.ArgumentParser) -> None:
    parser.add_argument("--shop", type=Path, help="the shop's sheet (default: shop.toml on the shelf)")
    parser.add_argument("--prices", type=Path, action="append", help="a price list in place of the sheet's; repeatable")
    parser.add_argument(
        "--room", action="append", default=[], help="the space for a part in mm, such as C101=13x30; repeatable"
    )
    parser.add_argument(
        "--take", action="append", default=[], help="the order number for a part, such as C101=F4-22n; repeatable"
    )


def _quote(options: argparse.Namespace) -> None:
    from ....base.files import write_whole
    from ....job.papers.bill_paper import quote_html
    from ....job.quote.bill_texts import bill_csv, bill_text, hours_words
    from ....job.quote.make_quote import keep_quote, make_quote
    from ....job.quote.shop_sheet import shop_sheet
    from ....job.record.saving import update_record

    if options.answer:
        _answer(options)
        return
    shop = shop_sheet(options.shop)
    record, found = open_record(options)
    path = output_path(options, f"{PAPERS}/quote.html")
    purchase = _purchase(options, found, shop)
    work = _work(options, record, found, shop)
    told = {"others": options.add, "discount": options.discount, "deposit": options.deposit, "number": options.number}
    bill = make_quote(shop, work, purchase, **told)
    print(bill_text(bill, f"Quote: {record.name}", shop.comma))
    for each in work:
        if each.past and each.past.median != each.each:
            print(f"One step of '{each.kind}' is reckoned with {each.each} min; {each.past.words}.")
    print(f"\n{hours_words(bill)} of work. Taxes and what a quote must say are for local law to say.")
    write_whole(path, quote_html(bill, record, found.stock.name, shop, options.paper))
    written = write_whole(path.with_suffix(".csv"), bill_csv(bill, "quote", shop.comma, shop.separator))
    announce("quote", path, options.paper)
    print(f"As data: {written}")
    if not options.draft:
        update_record(options.folder, lambda now: keep_quote(now, bill))


def _answer(options: argparse.Namespace) -> None:
    from ....job.quote.make_quote import answer_quote
    from ....job.record.billing import Answer
    from ....job.record.saving import update_record

    record = update_record(options.folder, lambda now: answer_quote(now, Answer(options.answer)))
    last = record.quotes[-1]
    print(f"The quote of {last.date}, {last.total} {last.currency}: {last.answer} on {last.answered}")


def _work(options: argparse.Namespace, record: Record, found: Opened, shop: ShopSheet) -> list[KindOfWork]:
    from ....job.papers.bench_plan import job_plan
    from ....job.quote.hours import estimate, past_times
    from ....job.shop.past import past_sessions

    past = past_times(past_sessions(shop.jobs, options.folder)) if shop.jobs else {}
    return estimate(job_plan(record, found).steps, {**shop.minutes, **_minutes(options)}, past, options.past)


def _minutes(options: argparse.Namespace) -> dict[str, Decimal]:
    from ....job.quote.money import parse_amount
    from ....work.steps.step import Phase

    found = {}
    for each in options.minutes:
        kind, sign, minutes = each.partition("=")
        known = [str(phase) for phase in Phase]
        if not sign or kind.strip() not in known:
            raise DescriptionError(f"--minutes: {shown(each)} is no kind of step and its minutes{nearest(kind, known)}")
        found[kind.strip()] = parse_amount(minutes, f"--minutes {kind.strip()}")
    return found


def _by_part(given: list[str], option: str, example: str, parts: set[str]) -> dict[str, str]:
    """What an option says of parts, by their designators."""
    found = {}
    for each in given:
        part, sign, told = (word.strip() for word in each.partition("="))
        if not sign or not told:
            raise DescriptionError(f"{option}: {shown(each)}; written for example {example}")
        if part not in parts:
            raise DescriptionError(f"{option}: {shown(part)} is not on the parts list{nearest(part, parts)}")
        found[part] = told
    return found


def _purchase(options: argparse.Namespace, found: Opened, shop: ShopSheet, listed: PriceList | None = None) -> Purchase:
    from ....job.quote.offered_parts import read_size
    from ....job.quote.order_list import purchase_of
    from ....job.quote.price_list import read_price_lists
    from ....work.parts_list.parts_list import parts_list

    prices = listed or read_price_lists(options.prices or shop.prices)
    for note in prices.notes:
        print(note)
    parts = parts_list(found.stock, found.modded, drawer=found.drawer)
    known = {line.part for line in parts.lines}
    sizes = _by_part(options.room, "--room", "C101=13x30 (mm)", known)
    rooms = {part: read_size(size) for part, size in sizes.items()}
    return purchase_of(parts, prices, shop, rooms, _by_part(options.take, "--take", "C101=F4-22n", known))


def _order(options: argparse.Namespace) -> None:
    import datetime

    from ....base.files import write_whole
    from ....job.papers.bill_paper import order_html
    from ....job.quote.order_list import order_csv, order_files, order_text
    from ....job.quote.ordering import keep_orders
    from ....job.quote.shop_sheet import shop_sheet
    from ....job.record.saving import update_record

    if options.arrived is not None:
        _arrived(options)
        return
    shop = shop_sheet(options.shop)
    found = open_record(options)[1]
    folder = output_path(options, PAPERS)
    purchase = _purchase(options, found, shop)
    if options.sent:
        update_record(options.folder, lambda now: keep_orders(now, purchase, shop))
    print(order_text(purchase, shop))
    files = order_files(list(purchase.orders))
    for supplier, lines in purchase.orders.items():
        page = write_whole(
            folder / f"{files[supplier]}.html", order_html(lines, shop, datetime.date.today(), options.paper)
        )
        print()
        announce(f"order to {supplier}", page, options.paper)
        print(f"As data: {write_whole(page.with_suffix('.csv'), order_csv(lines, shop))}")


def _stock(options: argparse.Namespace) -> None:
    from ....job.papers.bench_plan import job_plan
    from ....job.quote.shop_sheet import shop_sheet
    from ....job.quote.stock import as_one, count_off, counting, read_list

    shop = shop_sheet(options.shop)
    record, found = open_record(options)
    lists = [read_list(path) for path in options.prices or shop.prices]
    told = counting(record, job_plan(record, found).steps, _purchase(options, found, shop, as_one(lists)), lists)
    print(told.text())
    if not told.takings:
        return
    if not options.count_off:
        print("\nNothing was changed; with --count-off the price list then says what is left.")
        return
    for kept in count_off(options.folder, told):
        print(f"\nCounted off. The list as it was: {kept}")


def _arrived(options: argparse.Namespace) -> None:
    from ....job.quote.ordering import take_in_orders
    from ....job.record.saving import update_record

    record = update_record(options.folder, lambda now: take_in_orders(now, options.arrived))
    away = [f"{order.supplier} ({order.date})" for order in record.orders if order.arrived is None]
    print(f"Noted. Still on the way: {', '.join(away)}" if away else "Noted. Nothing is on the way any more.")
