"""Handing over, the money: the invoice, and what was estimated beside what it took."""

from __future__ import annotations

import argparse
from pathlib import Path

from .common import PAPERS, Steps, announce, open_record, output_path, paper_options


def add(steps: Steps) -> None:
    """Add the invoice to the steps of handing over."""
    invoice = steps.step(
        "invoice", "what is to be paid, from the quote, and what was estimated beside what it took", _invoice
    )
    invoice.add_argument("--shop", type=Path, help="the shop's sheet (default: shop.toml on the shelf)")
    invoice.add_argument(
        "--number", default="", help="the shop's own number of it; without one nothing but the comparison"
    )
    invoice.add_argument("--as-taken", action="store_true", help="charge the time that it took, not what was quoted")
    invoice.add_argument("--paid", default="", help='what was paid beforehand: an amount, or a share such as "30 %%"')
    invoice.add_argument("--draft", action="store_true", help="do not keep it in the job")
    paper_options(invoice, "invoice")


def _invoice(options: argparse.Namespace) -> None:
    from ....base.files import write_whole
    from ....base.tables import text_of_rows
    from ....job.papers.bill_paper import invoice_html
    from ....job.quote.bill_texts import bill_csv, bill_text
    from ....job.quote.invoice import compare, keep_invoice, make_invoice
    from ....job.quote.shop_sheet import shop_sheet
    from ....job.record.saving import update_record

    shop = shop_sheet(options.shop)
    record, found = open_record(options)
    path = output_path(options, f"{PAPERS}/invoice.html")
    if options.number:
        bill = make_invoice(record, options.number, as_taken=options.as_taken, paid=options.paid)
        print(bill_text(bill, f"Invoice {bill.number}: {record.name}", shop.comma, paid=True))
        write_whole(path, invoice_html(bill, record, found.stock.name, shop, options.paper))
        data = write_whole(path.with_suffix(".csv"), bill_csv(bill, "invoice", shop.comma, shop.separator, paid=True))
        print()
        quoted = [] if not options.as_taken else [k for k, _, taken in compare(record).work if taken is None]
        if quoted:
            print(f"Charged as quoted, for nobody wrote their time down: {', '.join(quoted)}")
        announce("invoice", path, options.paper)
        print(f"As data: {data}\nWhat an invoice must say, and which tax is due, is for local law to say.\n")
        if not options.draft:
            record = update_record(options.folder, lambda now: keep_invoice(now, bill))
    compared = compare(record)
    head = ("what", "estimated", "taken", "difference")
    rows = compared.rows(shop.comma)
    print(f"Estimated, and what it took\n{text_of_rows(head, rows)}")
    for note in compared.notes:
        print(note)
    sheet = compared.csv(shop.comma, shop.separator)
    print(f"As data: {write_whole(path.with_name('estimated-and-taken.csv'), sheet)}")
