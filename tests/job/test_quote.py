"""Quotes: sums to the cent by published rules, hours from table and earlier jobs, kept in the job, told by the shop."""

from __future__ import annotations

import csv
import datetime
import decimal
import io
import random
from collections.abc import Iterator
from dataclasses import fields, replace
from decimal import Decimal
from fractions import Fraction
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from ampsim.base.errors import DescriptionError
from ampsim.job.howto.public import public_job
from ampsim.job.papers.bench_plan import job_plan
from ampsim.job.papers.bill_paper import order_html, quote_html
from ampsim.job.papers.page_tree import read_page
from ampsim.job.papers.pdf import pdf_of
from ampsim.job.quote.bill_texts import bill_csv, bill_text
from ampsim.job.quote.hours import KindOfWork, estimate, past_times, refuse_unknown, sessions_of_one_kind
from ampsim.job.quote.make_quote import PART, answer_quote, keep_quote, make_quote
from ampsim.job.quote.money import total
from ampsim.job.quote.order_list import purchase_of
from ampsim.job.quote.ordering import keep_orders, take_in_orders
from ampsim.job.quote.price_list import parse_price_list, read_price_lists
from ampsim.job.quote.shop_sheet import ShopSheet, Tax, read_shop_sheet
from ampsim.job.quote.sums import add_up, line_amount, tax_by_rate
from ampsim.job.record.beginning import begin_job
from ampsim.job.record.billing import Answer, Bill, Charge, Order
from ampsim.job.record.changing import enter_status
from ampsim.job.record.data import Record, Session
from ampsim.job.record.frozen import open_job
from ampsim.job.record.reading import check_record, read_record
from ampsim.job.record.saving import save_record
from ampsim.job.record.sessions import keep_session
from ampsim.job.record.words import Status
from ampsim.job.shop.lines import job_line
from ampsim.job.shop.overview import shop as all_jobs
from ampsim.job.shop.past import past_sessions
from ampsim.library.files import models
from ampsim.work.parts_list.parts_list import PartsList, parts_list
from ampsim.work.steps.step import Phase, Step
from tests.tools.read_pdf import open_pdf, texts

DAY = datetime.date(2027, 3, 1)
CENT = Decimal("0.01")
MOD = """
name = "less treble"
reason = "A duller plate."
parts = { C109 = "470p" }
edits = [{ fit = "C109", across = "R3" }, { replace = "R4", with = "2k2" }]
"""
STEPS = [Step(Phase.REMOVE, "out"), Step(Phase.FIT, "in"), Step(Phase.FIT, "in too")]
NOTHING = purchase_of(
    PartsList("amp", "stock", ()), parse_price_list(b"kind;value;price\n", "list"), ShopSheet("", "", 2)
)


@pytest.fixture(autouse=True)
def no_binary_fractions() -> Iterator[None]:
    """Whoever mixes a float with an amount stops here."""
    with decimal.localcontext() as context:
        context.traps[decimal.FloatOperation] = True
        yield


def bill(*amounts: str, **entries: object) -> Bill:
    lines = tuple(
        Charge("fit", "in", Decimal(1), "piece", Decimal(each), Decimal(1), Decimal(each)) for each in amounts
    )
    return replace(Bill(DAY, "EUR", 2, lines, Decimal(0)), **entries)  # type: ignore[arg-type]


AMOUNTS = st.lists(st.integers(0, 10**7).map(lambda cents: str(Decimal(cents).scaleb(-2))), min_size=1, max_size=12)
RATES = st.sampled_from(["0", "2.5", "7", "19", "20", "21", "25.5"]).map(Decimal)


@given(AMOUNTS, RATES, st.booleans(), st.booleans(), st.integers(0, 100), st.integers(0, 100))
def test_sums_agree_to_the_cent(
    amounts: list[str], rate: Decimal, included: bool, by_line: bool, off: int, before: int
) -> None:
    sums = add_up(bill(*amounts))
    discount = (sums.lines * off / 100).quantize(CENT, rounding=decimal.ROUND_DOWN)
    asked = bill(*amounts, discount=discount, tax_name="tax", tax_rate=rate, tax_included=included, tax_by_line=by_line)
    found = add_up(asked)
    assert found.lines == sum(map(Decimal, amounts))
    assert found.net + found.tax == found.total
    assert found.lines - found.discount == (found.total if included else found.net)
    exact = Fraction(found.total) * Fraction(rate) / (100 + Fraction(rate)) if included else (
        Fraction(found.net) * Fraction(rate) / 100
    )  # fmt: skip
    assert abs(Fraction(found.tax) - exact) <= Fraction(1, 200) * (len(amounts) if by_line else 1)
    deposit = (found.total * before / 100).quantize(CENT, rounding=decimal.ROUND_DOWN)
    paid = add_up(replace(asked, deposit=deposit))
    assert paid.deposit + paid.rest == found.total
    for each in fields(paid):
        value = getattr(paid, each.name)
        assert type(value) is Decimal
        assert value == value.quantize(CENT) >= 0


@given(st.integers(0, 10**5), st.integers(0, 10**6), st.sampled_from([1, 10, 60, 100, 1000]), st.integers(0, 3))
def test_a_line_is_rounded_half_up_from_its_exact_amount(quantity: int, cents: int, per: int, places: int) -> None:
    price = Decimal(cents).scaleb(-2)
    found = line_amount(Decimal(quantity), price, Decimal(per), places)
    exact = Fraction(quantity) * Fraction(cents, 100) / per * 10**places
    assert Fraction(found) * 10**places == (2 * exact + 1) // 2


@pytest.mark.parametrize(("amounts", "entries", "net", "tax", "whole"), [
    (("100.00",), {}, "100.00", "19.00", "119.00"),
    (("0.50",), {}, "0.50", "0.10", "0.60"),  # 0.095: half up
    (("0.50", "0.50"), {"tax_by_line": True}, "1.00", "0.20", "1.20"),
    (("0.50", "0.50"), {}, "1.00", "0.19", "1.19"),
    (("119.00",), {"tax_included": True}, "100.00", "19.00", "119.00"),
    (("60.00", "40.00"), {"discount": Decimal("10.00")}, "90.00", "17.10", "107.10"),
])  # fmt: skip
def test_known_sums(amounts: tuple[str, ...], entries: dict[str, object], net: str, tax: str, whole: str) -> None:
    found = add_up(bill(*amounts, tax_name="VAT", tax_rate=Decimal(19), **entries))
    assert tuple(map(str, (found.net, found.tax, found.total))) == (net, tax, whole)


def rated(*lines: tuple[str, str | None], **entries: object) -> Bill:
    """A bill with lines of an amount and a rate of their own."""
    made = bill(*(amount for amount, _ in lines), tax_name="VAT", tax_rate=Decimal(19), **entries)
    rates = [None if rate is None else Decimal(rate) for _, rate in lines]
    return replace(made, lines=tuple(replace(a, tax_rate=b) for a, b in zip(made.lines, rates, strict=True)))


BY_HAND = {
    # 60.00 at 19 %: 11.40; 40.00 at 7 %: 2.80.
    "two rates": ((("60.00", None), ("40.00", "7")), {}, [("19", "60.00", "11.40"), ("7", "40.00", "2.80")]),
    # 0.50 + 0.50 at 7 %: 0.07 once from the sum, 0.035 twice at the lines.
    "once a rate": ((("0.50", "7"), ("0.50", "7"), ("1.00", None)), {},
                    [("19", "1.00", "0.19"), ("7", "1.00", "0.07")]),
    "at lines": ((("0.50", "7"), ("0.50", "7"), ("1.00", None)), {"tax_by_line": True},
                 [("19", "1.00", "0.19"), ("7", "1.00", "0.08")]),
    # 10.00 off 100.00: 6.00 of the 60.00, 4.00 of the 40.00.
    "discount": ((("60.00", None), ("40.00", "7")), {"discount": Decimal("10.00")},
                 [("19", "54.00", "10.26"), ("7", "36.00", "2.52")]),
    "in the prices": ((("119.00", None), ("107.00", "7")), {"tax_included": True},
                      [("19", "100.00", "19.00"), ("7", "100.00", "7.00")]),
    "free of it": ((("50.00", "0"), ("50.00", None)), {}, [("19", "50.00", "9.50"), ("0", "50.00", "0.00")]),
}  # fmt: skip


@pytest.mark.parametrize("case", BY_HAND)
def test_each_rate_has_its_own_base_and_tax_as_reckoned_by_hand(case: str) -> None:
    lines, entries, meant = BY_HAND[case]
    asked = rated(*lines, **entries)
    found = tax_by_rate(asked)
    assert [(f"{each.rate:f}", f"{each.net:f}", f"{each.tax:f}") for each in found] == meant
    sums = add_up(asked)
    assert (sums.tax, sums.net) == (total(each.tax for each in found), total(each.net for each in found))
    told = bill_text(asked, "a bill")
    assert all(f"VAT {rate} % of {net}" in told for rate, net, _ in meant)
    assert bill_csv(asked, "quote").splitlines()[1].endswith(f",EUR,{lines[0][1] or 19}")
    kept = replace(asked, total=sums.total)
    assert check_record(Record("a job", "workshop-a", quotes=(kept,))).quotes == (kept,)


@given(st.lists(st.tuples(AMOUNTS.map(lambda each: each[0]), RATES.map(str)), min_size=1, max_size=9),
       st.booleans(), st.booleans(), st.integers(0, 100), st.randoms())  # fmt: skip
def test_rates_add_up_whatever_their_order_and_one_rate_is_as_before(
    lines: list[tuple[str, str]], included: bool, by_line: bool, off: int, shuffled: random.Random
) -> None:
    plain = bill(*(amount for amount, _ in lines))
    discount = (add_up(plain).lines * off / 100).quantize(CENT, rounding=decimal.ROUND_DOWN)
    entries = {"tax_included": included, "tax_by_line": by_line, "discount": discount}
    found, sums = tax_by_rate(rated(*lines, **entries)), add_up(rated(*lines, **entries))
    assert sums.net + sums.tax == sums.total
    assert sums.total == (sums.lines - discount) + (0 if included else sums.tax)
    assert total(each.net for each in found) == sums.net
    for each in found:
        count = len(lines) if by_line else 1
        assert abs(Fraction(each.tax) - Fraction(each.net) * Fraction(each.rate) / 100) <= Fraction(1, 100) * count
    one = lines[0][1]
    same = rated(*((amount, one) for amount, _ in lines), **entries)
    assert add_up(same) == add_up(replace(plain, tax_name="VAT", tax_rate=Decimal(one), **entries))
    if not discount:
        mixed = list(lines)
        shuffled.shuffle(mixed)
        assert tax_by_rate(rated(*mixed, **entries)) == found


@pytest.mark.parametrize("entries", [{"discount": Decimal(11)}, {"deposit": Decimal(11)}])
def test_more_than_there_is_cannot_be_taken_off(entries: dict[str, object]) -> None:
    with pytest.raises(DescriptionError, match=r"11\.00 EUR is more than there is: 10\.00 EUR"):
        add_up(bill("10.00", **entries))


def test_hours_come_from_the_table_else_are_asked_for_and_never_made_up() -> None:
    sessions = [("fit", 2, minutes) for minutes in (10, 12, 20, 40)]
    past = past_times(sessions)
    assert (past["fit"].median, past["fit"].low, past["fit"].high, past["fit"].sessions) == (
        Decimal("8.0"), Decimal("5.8"), Decimal("12.5"), 4
    )  # fmt: skip
    known = estimate(STEPS, {"remove": Decimal(3), "fit": Decimal(6)}, past)
    assert [(each.kind, each.steps, each.minutes) for each in known] == [("remove", 1, 3), ("fit", 2, 12)]
    asked = estimate(STEPS, {"remove": Decimal(3)}, past)
    with pytest.raises(DescriptionError, match=r"fit \(2 steps\): 8 min in the middle of 4 earlier") as caught:
        refuse_unknown(asked)
    assert "--past" in str(caught.value)
    assert [each.minutes for each in estimate(STEPS, {"remove": Decimal(3)}, past, take_past=True)] == [3, 16]
    with pytest.raises(DescriptionError, match="no earlier job says it either"):
        refuse_unknown(estimate(STEPS, {}, {}, take_past=True))


def test_only_sessions_of_one_kind_with_a_time_tell_how_long_it_takes() -> None:
    table = [
        Session(DAY, ("in",), 10, kinds=(("fit", 1),)),
        Session(DAY, ("in", "out"), 10, kinds=(("fit", 1), ("remove", 1))),
        Session(DAY, ("in",), 0, kinds=(("fit", 1),)), Session(DAY, ("in",), 10),
    ]  # fmt: skip
    assert sessions_of_one_kind(table) == [("fit", 1, 10)]


def work(minutes: int = 30) -> list[KindOfWork]:
    return [KindOfWork("fit", 2, Decimal(minutes), "the shop's table")]


def test_a_quote_asks_for_the_price_of_an_hour_and_takes_shares() -> None:
    sheet = ShopSheet("S", "JPY", 0, hour=Decimal(5000), tax=Tax("tax", Decimal(10)))
    found = make_quote(sheet, work(), NOTHING, discount="10 %", deposit="25 %", date=DAY)
    assert (found.discount, found.total, found.deposit) == (500, 4950, 1238)
    with pytest.raises(DescriptionError, match="what does an hour cost"):
        make_quote(replace(sheet, hour=None), work(), NOTHING)
    for wrong in ("110 %", "six", "-5"):
        with pytest.raises(DescriptionError, match="--discount"):
            make_quote(sheet, work(), NOTHING, discount=wrong)


@pytest.fixture(scope="module")
def job(tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = tmp_path_factory.mktemp("jobs") / "one"
    mod = folder.parent / "less-treble.toml"
    mod.write_text(MOD, "utf-8")
    begin_job(folder, "lesson-stage", [mod], owner="<b>O. Wner</b>")
    return folder


@pytest.fixture(scope="module")
def sheet() -> ShopSheet:
    return read_shop_sheet(models() / "shop" / "shop.toml")


@pytest.fixture(scope="module")
def made(job: Path, sheet: ShopSheet) -> Bill:
    record = read_record(job)
    found = open_job(record, job)
    purchase = purchase_of(parts_list(found.stock, found.modded), read_price_lists(sheet.prices), sheet)
    table = dict.fromkeys(map(str, Phase), Decimal(5))
    return make_quote(sheet, estimate(job_plan(record, found).steps, table, {}), purchase, deposit="50", date=DAY)


def test_a_quote_holds_every_step_and_every_part(job: Path, made: Bill) -> None:
    record = read_record(job)
    found = open_job(record, job)
    assert sum(line.quantity for line in made.lines if line.kind != PART) == 5 * len(job_plan(record, found).steps)
    parts = parts_list(found.stock, found.modded)
    told = " ".join([*(line.what for line in made.lines), *made.without])
    assert all(line.part in told for line in parts.lines)
    assert made.total == add_up(made).total > 0


def test_a_quote_is_kept_once_read_back_exactly_and_answered(job: Path, made: Bill) -> None:
    record = save_record(keep_quote(replace(read_record(job), quotes=()), made), job)
    assert record.quotes == (made,)
    again = read_record(job)
    assert keep_quote(again, replace(made, date=DAY + datetime.timedelta(1))).quotes == (made,)
    answered = save_record(answer_quote(again, Answer.ACCEPTED, DAY), job)
    assert (answered.quotes[0].answer, answered.quotes[0].answered) == (Answer.ACCEPTED, DAY)
    assert [line for line in (job / "job.toml").read_text("utf-8").splitlines() if f'total = "{made.total}"' in line]
    with pytest.raises(DescriptionError, match="no quote yet"):
        answer_quote(replace(record, quotes=()), Answer.ACCEPTED)


@pytest.mark.parametrize(("before", "after", "words"), [
    ('total = "', 'total = 1 # "', "total"), ('per = "60"', 'per = "0"', "per"),
    ('unit = "min"', 'size = "min"', "unit"), ('quantity = "', 'quantity = "-', "quantity"),
])  # fmt: skip
def test_a_mistake_in_a_kept_quote_is_named(job: Path, made: Bill, before: str, after: str, words: str) -> None:
    save_record(keep_quote(replace(read_record(job), quotes=()), made), job)
    text = (job / "job.toml").read_text("utf-8")
    (job / "job.toml").write_text(text.replace(before, after, 1), "utf-8")
    try:
        with pytest.raises(DescriptionError, match=rf"quotes\[1\].*{words}"):
            read_record(job)
    finally:
        (job / "job.toml").write_text(text, "utf-8")


@pytest.mark.parametrize("paper", ["A4", "Letter"])
def test_the_papers_show_every_line_and_sum_and_no_markup(job: Path, made: Bill, sheet: ShopSheet, paper: str) -> None:
    record = read_record(job)
    page = quote_html(replace(made, without=("2 x <i>gold</i>",)), record, "the amp", sheet, paper)
    assert "<b>O. Wner" not in page
    assert "<i>gold" not in page
    assert all(f"{amount}" in page for amount in (made.total, made.deposit, *(line.amount for line in made.lines)))
    assert sheet.name in page
    assert pdf_of(read_page(page)).startswith(b"%PDF")


def test_of_a_quote_of_any_length_sum_notes_and_shop_stand_on_one_page(job: Path, made: Bill, sheet: ShopSheet) -> None:
    record, spread = read_record(job), 0
    lines = [replace(made.lines[0], kind=f"kind {n}", what=f"what {n}") for n in range(60)]
    for count in range(24, 60, 3):
        page = quote_html(replace(made, lines=tuple(lines[:count])), record, "the amp", sheet)
        pages = texts(open_pdf(pdf_of(read_page(page))))
        (last,) = [each for each in pages if "Total" in each]
        assert last == pages[-1]
        assert all(words in last for words in ("Sum", "This quote holds until", *sheet.address, *sheet.details))
        spread += len(pages) > 1
    assert 0 < spread < 12


def test_the_data_of_a_quote_add_up_with_comma_and_point(made: Bill) -> None:
    for comma, separator in ((False, ","), (True, ";")):
        text = bill_csv(replace(made, number="=1+1"), "quote", comma, separator)
        head, *rows = csv.reader(io.StringIO(text), delimiter=separator)
        told = [dict(zip(head, row, strict=True)) for row in rows]
        amounts = [Decimal(row["amount"].replace(",", ".")) for row in told if row["line"]]
        assert total(amounts) == add_up(made).lines
        assert {row["number"] for row in told} == {"'=1+1"}
        assert [row["amount"].replace(",", ".") for row in told if row["what"] == "Total"] == [str(made.total)]
    assert str(made.total) in bill_text(made, "Quote")


def test_an_order_has_a_page_of_its_own(job: Path, sheet: ShopSheet) -> None:
    found = open_job(read_record(job), job)
    purchase = purchase_of(parts_list(found.stock, found.modded), read_price_lists(sheet.prices), sheet)
    for lines in purchase.orders.values():
        page = order_html(lines, sheet, DAY)
        assert all(each.offer.number in page for each in lines)
        assert pdf_of(read_page(page)).startswith(b"%PDF")


def test_what_has_no_price_must_be_bought_all_the_same(job: Path, made: Bill, sheet: ShopSheet) -> None:
    found = open_job(read_record(job), job)
    parts = parts_list(found.stock, found.modded)
    unpriced = purchase_of(parts, replace(read_price_lists(sheet.prices), offers={}), sheet)
    quoted = make_quote(sheet, work(), unpriced, date=DAY)
    needed = {part for need, _ in unpriced.without if not need.at_hand for part in need.parts}
    assert needed
    assert needed <= set(quoted.to_buy)
    assert set(made.to_buy) <= set(quoted.to_buy)


def state(record: Record, status: Status) -> Record:
    return enter_status(replace(record, states=()), status, DAY)


def waits(record: Record) -> str:
    return job_line("place", check_record(record), "amp").waits


def test_what_a_job_waits_for_follows_from_its_quote_and_its_orders(job: Path, made: Bill) -> None:
    bare = replace(read_record(job), quotes=(), orders=(), invoices=())
    quoted = replace(bare, quotes=(replace(made, to_buy=("R1", "C1"), answer=Answer.NONE, answered=None),))
    for status in (Status.TAKEN_IN, Status.LOOKED_OVER, Status.WAITING_FOR_OWNER, Status.WAITING_FOR_PARTS):
        record = state(quoted, status)
        assert waits(record) == f"the owner's answer to the quote of {DAY}"
        assert "declined" in waits(answer_quote(record, Answer.DECLINED, DAY))
        agreed = answer_quote(record, Answer.ACCEPTED, DAY)
        assert waits(agreed) == "parts: 2 parts to order"
        some = replace(agreed, orders=(Order(DAY, "S", ("R1",), CENT, "EUR"),))
        assert waits(some) == f"parts: 1 part to order, 1 part of {DAY} from S"
        arrived = replace(agreed, orders=(Order(DAY, "S", ("R1", "C1"), CENT, "EUR", DAY),))
        assert waits(arrived) == "the bench"
        assert waits(state(bare, status)) not in (waits(record), "")
    at_work = replace(state(quoted, Status.BEING_WIRED), orders=(Order(DAY, "S", ("R1", "C1"), CENT, "EUR"),))
    assert waits(at_work) == f"the bench; parts: 2 parts of {DAY} from S"
    assert waits(state(quoted, Status.HANDED_OVER)) == ""


def test_the_shop_tells_the_value_and_what_earlier_jobs_took(job: Path, made: Bill) -> None:
    record = read_record(job)
    found = open_job(record, job)
    steps = job_plan(record, found).steps
    numbers = [n for n, step in enumerate(steps, 1) if step.phase == Phase.FIT]
    kept = keep_session(replace(record, quotes=(made,), sessions=()), steps, numbers, minutes=30, date=DAY)
    assert kept.sessions[0].kinds == (("fit", len(numbers)),)
    save_record(kept, job)
    line = next(each for each in all_jobs(job.parent).lines)
    assert (line.value, line.currency) == (str(made.total), "EUR")
    assert f"{made.total} EUR" in str(all_jobs(job.parent))
    assert f"worth {made.total} EUR" in all_jobs(job.parent).summary
    assert [each.kind for each in all_jobs(job.parent, [str(made.total)]).found["one"]] == ["quote"]
    assert past_sessions(job.parent, job.parent / "another") == [("fit", len(numbers), 30)]
    assert past_sessions(job.parent, job) == []
    declined = replace(kept, quotes=(replace(made, answer=Answer.DECLINED, answered=DAY),))
    assert job_line("place", declined, "amp").value == ""


def test_an_order_is_kept_once_until_it_arrives(job: Path, sheet: ShopSheet) -> None:
    record = replace(read_record(job), orders=())
    found = open_job(record, job)
    purchase = purchase_of(parts_list(found.stock, found.modded), read_price_lists(sheet.prices), sheet)
    sent = save_record(keep_orders(record, purchase, sheet, DAY), job)
    parts = [part for each in purchase.taken if each.buy for part in each.parts]
    assert sorted(parts) == sorted(part for order in sent.orders for part in order.parts)
    assert read_record(job).orders == sent.orders
    with pytest.raises(DescriptionError, match="ordered already"):
        keep_orders(sent, purchase, sheet)
    with pytest.raises(DescriptionError, match="from 'nobody'"):
        take_in_orders(sent, "nobody")
    here = take_in_orders(sent, sent.orders[0].supplier, DAY)
    assert here.orders[0].arrived == DAY
    everything = here if all(order.arrived for order in here.orders) else take_in_orders(here, date=DAY)
    assert all(order.arrived == DAY for order in everything.orders)
    with pytest.raises(DescriptionError, match="no order is on the way"):
        take_in_orders(everything)


def test_what_is_published_knows_nothing_of_money(job: Path, made: Bill) -> None:
    bare = replace(read_record(job), quotes=(), orders=(), invoices=())
    charged = replace(
        bare, quotes=(made,), invoices=(replace(made, number="7"),), orders=(Order(DAY, "Sup", ("R1",), CENT, "EUR"),)
    )
    told = [repr(public_job(record, job)) for record in (bare, charged, replace(bare, words="louder"))]
    assert told[0] == told[1] != told[2]
