"""Invoices: from what was agreed or what it took, numbered by the shop alone; estimated and taken side by side."""

from __future__ import annotations

import csv
import datetime
import decimal
import io
from collections.abc import Iterator
from dataclasses import replace
from decimal import Decimal
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from ampsim.base.errors import DescriptionError
from ampsim.interface.commands.main import main
from ampsim.job.papers.bill_paper import invoice_html
from ampsim.job.papers.shop_tables import compared_table
from ampsim.job.quote.bill_texts import bill_csv, sum_rows
from ampsim.job.quote.invoice import UNSORTED, agreed_quote, compare, keep_invoice, make_invoice, minutes_taken
from ampsim.job.quote.make_quote import other_charge, work_charge
from ampsim.job.quote.shop_sheet import read_shop_sheet
from ampsim.job.quote.sums import add_up
from ampsim.job.record.billing import OTHER, PART, Answer, Bill, Charge, Order
from ampsim.job.record.data import Record, Session
from ampsim.job.record.intake import intake
from ampsim.job.record.reading import check_record, from_tables
from ampsim.job.record.tables import as_tables
from ampsim.library.files import models

DAY = datetime.date(2027, 3, 1)
HOUR = Decimal("54.00")
MOD = 'name = "less treble"\nreason = "Duller."\nparts = { C109 = "470p" }\nedits = [{ fit = "C109", across = "R3" }]\n'


@pytest.fixture(autouse=True)
def no_binary_fractions() -> Iterator[None]:
    """Whoever mixes a float with an amount stops here."""
    with decimal.localcontext() as context:
        context.traps[decimal.FloatOperation] = True
        yield


def quote(**entries: object) -> Bill:
    lines = (
        work_charge("fit", Decimal(30), HOUR, 2),
        work_charge("proof", Decimal(20), HOUR, 2),
        Charge(PART, "22k resistor (R1)", Decimal(2), "piece", Decimal("4.20"), Decimal(100), Decimal("0.08")),
        other_charge("courier=12,50", 2),
    )
    bare = Bill(DAY, "EUR", 2, lines, Decimal(0), tax_name="VAT", tax_rate=Decimal(19))
    return replace(bare, **({"total": add_up(bare).total} | entries))  # type: ignore[arg-type]


def record(*quotes: Bill, **entries: object) -> Record:
    return check_record(Record("a job", "an-amp", quotes=quotes or (quote(),), **entries))  # type: ignore[arg-type]


SESSIONS = (
    Session(DAY, ("in",), 41, kinds=(("fit", 2),)),
    Session(DAY, ("in", "bias it"), 20, kinds=(("fit", 1), ("bias", 3))),
    Session(DAY, ("look",), 0, kinds=(("proof", 1),)),
)


def test_an_invoice_says_what_was_agreed() -> None:
    early, agreed, late = quote(answer=Answer.DECLINED), quote(answer=Answer.ACCEPTED, answered=DAY), quote(number="3")
    job = record(early, agreed, late)
    assert agreed_quote(job).answer is Answer.ACCEPTED
    assert agreed_quote(record(early, late)).number == "3"
    with pytest.raises(DescriptionError, match="no quote to go by"):
        agreed_quote(record(early))
    bill = make_invoice(job, "2027-1", paid="30 %", date=DAY)
    assert (bill.lines, bill.total, bill.deposit) == (agreed.lines, agreed.total, Decimal("20.56"))
    assert dict(sum_rows(bill, paid=True))["To be paid"] == bill.total - bill.deposit
    assert {line.kind for line in bill.lines} == {"fit", "proof", PART, OTHER}


def test_a_number_is_given_and_never_used_for_two() -> None:
    with pytest.raises(DescriptionError, match="number of the shop's own"):
        make_invoice(record(), "  ")
    kept = keep_invoice(record(sessions=SESSIONS[:1]), make_invoice(record(), "7", date=DAY))
    assert keep_invoice(kept, make_invoice(kept, "7", date=DAY + datetime.timedelta(1))) == kept
    with pytest.raises(DescriptionError, match="'7' of 2027-03-01 says something else"):
        make_invoice(kept, "7", as_taken=True)
    with pytest.raises(DescriptionError, match="says something else"):
        keep_invoice(kept, replace(kept.invoices[0], deposit=Decimal(1)))
    with pytest.raises(DescriptionError, match=r"come to 68\.52 EUR, and its total says 60\.00 EUR"):
        make_invoice(record(quote(total=Decimal(60))), "9")
    assert check_record(from_tables(as_tables(kept))).invoices == kept.invoices
    with pytest.raises(DescriptionError, match="deposit"):
        make_invoice(record(), "8", paid="1000")


def test_work_is_charged_as_it_took_where_that_was_written_down() -> None:
    bill = make_invoice(record(sessions=SESSIONS), "7", as_taken=True)
    told = {line.kind: line.quantity for line in bill.lines if line.unit == "min"}
    assert told == {"fit": 46, "proof": 20, "bias": 15}
    assert bill.total == add_up(bill).total
    with pytest.raises(DescriptionError, match="nobody wrote down"):
        make_invoice(record(), "7", as_taken=True)
    with pytest.raises(DescriptionError, match="not kept"):
        make_invoice(record(sessions=(Session(DAY, ("in",), 5),)), "7", as_taken=True)


KINDS = st.lists(
    st.tuples(st.sampled_from(["fit", "wire", "proof", "bias"]), st.integers(1, 9)),
    max_size=4,
    unique_by=lambda k: k[0],
)


@given(st.lists(st.tuples(st.integers(0, 600), KINDS), max_size=8))
def test_no_minute_is_lost_nor_made_up(told: list[tuple[int, list[tuple[str, int]]]]) -> None:
    sessions = [Session(DAY, ("x",), minutes, kinds=tuple(kinds)) for minutes, kinds in told]
    found = minutes_taken(sessions)
    assert sum(found.values()) == sum(minutes for minutes, _ in told)
    kinds = {kind for minutes, kinds in told if minutes for kind, _ in kinds}
    assert set(found) - {UNSORTED} == kinds
    work = compare(record(sessions=tuple(sessions))).work
    assert {kind: taken for kind, _, taken in work if taken is not None} == found


def test_estimated_and_taken_stand_side_by_side_with_their_difference() -> None:
    orders = (Order(DAY, "S", ("R1",), Decimal("4.00"), "EUR"), Order(DAY, "T", ("C1",), Decimal(9), "USD"))
    found = compare(record(sessions=SESSIONS, orders=orders))
    assert found.rows(comma=True) == [
        ("fit", "30 min", "46 min", "+16 min"),
        ("proof", "20 min", "", ""),
        ("bias", "0 min", "15 min", "+15 min"),
        ("work whose time is known", "30 min", "61 min", "+31 min"),
        ("parts", "0,08 EUR", "4,00 EUR", "+3,92 EUR"),
    ]
    head, *rows = csv.reader(io.StringIO(found.csv(comma=True, separator=";")), delimiter=";")
    assert head[1:4] == ["estimated", "taken", "difference"]
    for row in rows:
        one, other, off = (Decimal(each.replace(",", ".")) if each else None for each in row[1:4])
        assert (off is None) == (other is None)
        assert off is None or off == Decimal(other or 0) - Decimal(one or 0)
    assert any("USD" in note for note in found.notes)
    assert any("without a time" in note for note in found.notes)


def test_the_page_and_the_data_of_an_invoice_hold_it_all() -> None:
    sheet = read_shop_sheet(models() / "shop" / "shop.toml")
    bill = make_invoice(record(), "=7", paid="10", date=DAY)
    page = invoice_html(bill, record(owner="<b>O.</b>"), "the amp", sheet, "Letter")
    assert "<b>O." not in page
    assert "Invoice =7" in page
    assert all(str(amount) in page for _, amount in sum_rows(bill, paid=True))
    assert "'=7" in bill_csv(bill, "invoice", paid=True)


def test_from_taking_in_to_the_invoice(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """As a shop does it, and no price is in what goes to others."""
    folder, shop = tmp_path / "jobs" / "one", str(models() / "shop" / "shop.toml")
    own = tmp_path / "shop.toml"
    text = Path(shop).read_text("utf-8").replace('# jobs = "/full/path/to/the/jobs"', 'jobs = "jobs"')
    own.write_text(text.replace('"fit" = 6\n', "").replace('"point" ', '"comma" '), "utf-8")
    (tmp_path / "prices.csv").write_bytes((models() / "shop" / "prices.csv").read_bytes())

    def said(*words: str) -> str:
        assert main(["job", words[0], str(folder), *words[1:]]) in (0, None)
        return capsys.readouterr().out

    mod = tmp_path / "less-treble.toml"
    mod.write_text(MOD, "utf-8")
    said("begin", "--amp", "lesson-stage", "--mod", str(mod), "--owner", "O. Wner")
    assert main(["job", "quote", str(folder), "--shop", str(own)]) == 1
    assert "how long does one step of each of these take" in capsys.readouterr().err
    told = said("quote", "--shop", str(own), "--minutes", "fit=6", "--add", "courier=9", "--deposit", "20 %")
    assert "courier" in told
    assert "accepted" in said("quote", "--answer", "accepted")
    assert "order" in said("order", "--shop", str(own), "--sent")
    said("order", "--arrived")
    said("done", "1-3", "--minutes", "12")
    told = said("invoice", "--shop", str(own), "--number", "R 1", "--as-taken")
    assert "Charged as quoted" in told
    papers = {path.name for path in (folder / "papers").iterdir()}
    assert {"quote.pdf", "quote.csv", "invoice.pdf", "invoice.csv", "estimated-and-taken.csv"} <= papers
    assert ";" in (folder / "papers" / "quote.csv").read_text("utf-8").splitlines()[0]
    assert main(["shop", str(folder.parent)]) in (0, None)
    assert " EUR" in capsys.readouterr().out
    total = read_total(folder / "job.toml")
    assert total in (folder / "papers" / "invoice.html").read_text("utf-8").replace(",", ".")
    for kind in ("steps", "parts", "wiring"):
        assert total not in said(kind)


def read_total(file: Path) -> str:
    """The last total in a job's file."""
    return [line.split('"')[1] for line in file.read_text("utf-8").splitlines() if line.startswith("total = ")][-1]


def test_the_job_tells_what_was_quoted_ordered_and_charged() -> None:
    job = record(quote(answer=Answer.ACCEPTED, answered=DAY), orders=(Order(DAY, "Sup", ("R1",), Decimal(4), "EUR"),))
    job = keep_invoice(job, make_invoice(job, "7", paid="10"))
    told = str(intake(job))
    assert all(word in told for word in ("Quoted", "accepted 2027-03-01", "Sup", "not yet", "Charged", "10.00 EUR"))
    assert compared_table(job)["estimated"].tolist()[0] == "30 min"
    assert compared_table(record(quote(answer=Answer.DECLINED))).empty
    assert compared_table(None).empty
