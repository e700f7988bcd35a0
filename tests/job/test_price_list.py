"""Price lists and what serves: read however they are written, faults named, nothing too weak taken, nothing dropped."""

from __future__ import annotations

import ast
import contextlib
import csv
import io
import math
from dataclasses import replace
from decimal import Decimal
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from ampsim.base.csv_cells import csv_text, safe_cell
from ampsim.base.errors import DescriptionError
from ampsim.circuit.switches.kinds import Action, ContactOrder
from ampsim.interface.commands.check import explain
from ampsim.job import quote
from ampsim.job.quote.choosing import choose, order_count
from ampsim.job.quote.matching import candidates
from ampsim.job.quote.money import parse_amount, shares, to_places, total, written
from ampsim.job.quote.needs import Need, needs_of_list
from ampsim.job.quote.order_list import order_csv, order_files
from ampsim.job.quote.price_list import parse_price_list, read_price_lists
from ampsim.job.quote.price_rows import COLUMNS, Offer, PriceList
from ampsim.job.quote.shop_sheet import ShopSheet, read_shop_sheet, shop_sheet
from ampsim.library.files import models
from ampsim.work.parts_list.lines import PartLine
from ampsim.work.parts_list.parts_list import PartsList
from ampsim.work.parts_list.ratings_needed import Rating
from ampsim.work.parts_list.switch_need import SwitchNeed
from ampsim.work.steps.step import Phase

SHOP = ShopSheet("a shop", "EUR", 2)
HEAD = "kind;value;price;supplier;order number;tolerance;watts;volts;make;stock;pack;minimum;taper;size;currency;switch"
MONEY = [
    Path(quote.__file__).with_name(f"{name}.py")
    for name in (
        "money",
        "choosing",
        "order_list",
        "shop_sheet",
        "sums",
        "hours",
        "make_quote",
        "bill_texts",
        "ordering",
        "invoice",
    )
]
R = Need("resistor", "22k", ("R1",), 22e3, 0.01, 0.5, 350.0, 90.0, "metal film")
C = Need("capacitor", "22n", ("C1",), 22e-9, 0.1, math.nan, 400.0, 330.0, "film (polyester or polypropylene)")
E = replace(C, wanted="22u", value=22e-6, tolerance=0.2, volts=25.0, make="electrolytic, plus at C1.1, 105 degrees")
P = Need("pot", "1M audio 15 %", ("P1",), 1e6, 0.2, 0.25, 350.0, 30.0, "carbon or plastic track", "audio 15 %")
V = Need("valve", "12AX7", ("V1",), make="tested valve")
NEEDED = SwitchNeed("S1", "bright", "DPDT on-on", 2, 2, (), ContactOrder.EITHER, "", (), Action.ON_ON)
S = Need("switch", "DPDT on-on", ("S1",), switch=NEEDED)


def priced(*rows: str, head: str = HEAD) -> PriceList:
    return parse_price_list("\n".join([head, *rows]).encode(), "list.csv")


def only(text: str) -> Offer:
    return next(offer for each in priced(text).offers.values() for offer in each)


@pytest.mark.parametrize("separator", [";", ",", "\t"])
@pytest.mark.parametrize("code", ["utf-8", "utf-8-sig", "cp1252", "utf-16"])
@pytest.mark.parametrize("comma", [False, True])
def test_a_list_means_the_same_however_it_is_written(separator: str, code: str, comma: bool) -> None:
    rows = [
        ["Kind", "Value", "Price", "Vendor", "SKU", "Description", "Power", "MOQ", "Tol", "Colour"],
        ["Resistors", "4,7k" if comma else "4k7", "0,035" if comma else "0.035", "Größe", "A;1,2 3", "blue", "1/2 W",
         "10", "1 %", "red"],
        ["", "", "", "", "", "", "", "", "", ""],
        ["pot", "A1M", "1.234,50" if comma else "1,234.50", "Größe", "=2", 'two "x"', "",
         "", "", ""],
        ["solder", "1 kg", "9", "", "", "", "", "", "", ""],
    ]  # fmt: skip
    data = csv_text(rows, separator).replace("\n", "\r\n").encode(code)
    found = parse_price_list(data, "list.csv")
    resistor, pot = found.offers["resistor"][0], found.offers["pot"][0]
    assert (resistor.described.value, resistor.price, resistor.supplier) == (4700.0, Decimal("0.035"), "Größe")
    assert (resistor.watts, resistor.minimum, resistor.number, resistor.row) == (0.5, 10, "A;1,2 3", 2)
    assert (pot.described.taper, pot.price) == ("audio 15 %", Decimal("1234.50"))
    assert "Colour" in found.notes[0]
    assert "solder (1)" in found.notes[1]


def test_a_price_with_two_meanings_is_read_as_the_others_are_or_asked_for() -> None:
    head = "kind;value;price"
    assert priced("resistor;1k;1,500", "resistor;2k;0,5", head=head).offers["resistor"][0].price == Decimal("1.500")
    assert priced("resistor;1k;1,500", "resistor;2k;0.5", head=head).offers["resistor"][0].price == Decimal(1500)
    with pytest.raises(DescriptionError, match=r"row 2, column price: '1,500' can be read as 1500 or as 1\.500"):
        priced("resistor;1k;1,500", "resistor;2k;7", head=head)


@pytest.mark.parametrize(("row", "words"), [
    ("resistor;22k;a lot", ["row 2", "price", "'a lot'"]),
    ("resistor;22k;-1", ["row 2", "price", "'-1'"]),
    ("resistor;22x;1", ["row 2", "value", "'22x'"]),
    ("capacitor;22;1", ["row 2", "value", "'22'"]),
    ("resistor;;1", ["row 2", "value", "there is none"]),
    ("resistor;22k;1;S;N;5 %;lots", ["row 2", "watts", "'lots'"]),
    ("resistor;22k;1;S;N;500 %", ["row 2", "tolerance", "'500 %'"]),
    ("resistor;22k;1;S;N;;;;;1.5", ["row 2", "stock", "'1.5'"]),
    ("resistor;22k;1;S;N;;;;;;0", ["row 2", "pack", "'0'"]),
    ("switch;sideways;1", ["row 2", "value", "'sideways'"]),
    ("pot;A1M;1;S;N;;;;;;;;B", ["row 2", "value", "audio 15 %"]),
    ("capacitor;22n;1;S;N;;;;;;;;;as big as a house", ["row 2", "size", "house"]),
    (f"resistor;22k;1;{'x' * 400}", ["row 2", "supplier", "400 characters"]),
    ("resistor;22k;1;a\x07b", ["row 2", "supplier", "does not print"]),
])  # fmt: skip
def test_a_mistake_is_named_with_row_column_and_value(row: str, words: list[str]) -> None:
    with pytest.raises(DescriptionError) as caught:
        priced(row)
    assert all(word in str(caught.value) for word in ["list.csv", *words])
    with pytest.raises(DescriptionError, match="and 3 more"):
        priced(*[row] * 8)


@pytest.mark.parametrize("text", ["", "\n\n", "a;b;c\n1;2;3", "kind;value\nresistor;22k", "kind;kind;value;price\n"])
def test_what_is_no_price_list_is_refused(text: str) -> None:
    with pytest.raises(DescriptionError, match=r"list\.csv"):
        parse_price_list(text.encode(), "list.csv")


@given(st.binary(max_size=300), st.lists(st.text(max_size=12), max_size=8))
def test_a_hostile_list_is_read_or_refused(data: bytes, cells: list[str]) -> None:
    for each in (data, f"{HEAD}\n".encode() + data, f"{HEAD}\nresistor;{';'.join(cells)}".encode("utf-8", "replace")):
        with contextlib.suppress(DescriptionError):
            found = parse_price_list(each, "list.csv")
            assert all(offer.price is None or offer.price >= 0 for kind in found.offers.values() for offer in kind)


SERVES = [
    (R, "resistor;22k;1;S;N;1 %;0.5;350;metal film", ""),
    (R, "resistor;22k;1;S;N;1 %;0.5;;metal film", ""),
    (R, "resistor;22000;1;S;N;0.1 %;2;500;metal film", "runs cooler"),
    (R, "resistor;22k1;1;S;N;0.5 %;1;500;metal film", "lies within"),
    (R, "resistor;22k;1;S;N;1 %;0.5", "check what it is made of"),
    (C, "capacitor;22n;1;S;N;5 %;;630;polyester", "630 V where 400 V are needed"),
    (C, "capacitor;0.022u;1;S;N;;;400;MKP", "its tolerance is not said"),
    (E, "capacitor;22u;1;S;N;20 %;;35;electrolytic", "check that it is made for 105 degrees"),
    (E, "capacitor;22u;1;S;N;20 %;;63;bipolar electrolytic 105", "no wrong way round"),
    (replace(C, room=(30.0, 13.0)), "capacitor;22n;1;S;N;5 %;;400;film;;;;;26 x 12", ""),
    (replace(C, room=(30.0, 13.0)), "capacitor;22n;1;S;N;5 %;;400;film", "its size is not said"),
    (P, "pot;1M;1;S;N;20 %;0.25;;;;;;log", ""),
    (V, "valve;ECC83;1", "another name"),
    (S, "switch;DPDT on-on;1", ""),
    (S, "switch;4PDT on-on;1", "4 poles where 2 are needed"),
    (replace(S, switch=replace(NEEDED, action=Action.ON_OFF, throws=1)), "switch;DPDT on-on;1", "stays free"),
    (replace(P, switch=replace(NEEDED, action=Action.PUSH_PULL)), "pot;A1M;1;S;N;20 %;0.25;;;;;;;;;DPDT push-pull", ""),
]
REFUSED = [
    (R, "resistor;22k;1;S;N;1 %;0.25;350;metal film", "0.25 W is less"),
    (R, "resistor;22k;1;S;N;1 %;;350;metal film", "watts are not said"),
    (R, "resistor;22k;1;S;N;1 %;0.5;50;metal film", "50 V is less"),
    (R, "resistor;22k;1;S;N;5 %;0.5;350;metal film", "may lie outside"),
    (R, "resistor;22k;1;S;N;;0.5;350;metal film", "tolerance is not said"),
    (R, "resistor;22k1;1;S;N;1 %;0.5;350;metal film", "may lie outside"),
    (R, "resistor;22k;1;S;N;1 %;0.5;350;carbon film", "is not metal film"),
    (R, "resistor;22k;;S;N;1 %;0.5;350;metal film", "no price"),
    (C, "capacitor;22n;1;S;N;5 %;;250;polyester", "250 V is less"),
    (C, "capacitor;22n;1;S;N;5 %;;;polyester", "volts are not said"),
    (C, "capacitor;22n;1;S;N;5 %;;630;X7R", "class 2 ceramic is not film"),
    (C, "capacitor;22n;1;S;N;5 %;;630", "made of is not said"),
    (replace(E, make="film or bipolar electrolytic"), "capacitor;22u;1;S;N;20 %;;63;electrolytic", "is not film"),
    (replace(C, room=(30.0, 13.0)), "capacitor;22n;1;S;N;5 %;;400;film;;;;;26 x 14", "larger than the room"),
    (replace(C, volts=math.inf), "capacitor;22n;1;S;N;5 %;;630;film", "no single part"),
    (P, "pot;B1M;1;S;N;20 %;0.25", "its taper is linear"),
    (P, "pot;1M;1;S;N;20 %;0.25", "taper is not said"),
    (replace(P, gang=2), "pot;A1M;1;S;N;20 %;0.25", "1 track, not 2"),
    (P, "pot;A1M;1;S;N;20 %;0.25;;;;;;;;;DPDT push-pull", "it has a switch"),
    (replace(P, switch=NEEDED), "pot;A1M;1;S;N;20 %;0.25", "has no switch"),
    (S, "switch;SPDT on-on;1", "1 pole, 2 are needed"),
    (S, "switch;DPDT on-off-on;1", "is not DPDT on-on"),
    (S, "switch;on-on;1", "poles are not said"),
]


@pytest.mark.parametrize(("need", "row", "note"), SERVES)
def test_what_is_enough_serves_and_what_is_more_is_said(need: Need, row: str, note: str) -> None:
    (fit,) = candidates(need, priced(row)).fits
    assert note in fit.note
    assert bool(note) == bool(fit.note)


@pytest.mark.parametrize(("need", "row", "why"), REFUSED)
def test_what_is_less_or_not_said_is_refused_with_the_reason(need: Need, row: str, why: str) -> None:
    found = candidates(need, priced(row))
    assert not found.fits
    assert why in found.refused[0]


def test_of_what_does_not_serve_the_nearest_is_told_first() -> None:
    rows = [
        "resistor;24k;1;S;far;1 %;0.5;350;metal film", "resistor;22k;1;S;weak;1 %;0.1;50;carbon film",
        "resistor;22k;1;S;nearest;1 %;0.25;350;metal film", "resistor;47k;1;S;other;1 %;0.5;350;metal film",
    ]  # fmt: skip
    told = candidates(R, priced(*rows)).refused
    assert [each.split(":")[0] for each in told] == ["S nearest", "S weak", "S far"]


def test_what_a_part_carries_must_be_known() -> None:
    found = candidates(replace(R, rated=False), priced(SERVES[0][1]))
    assert not found.fits
    assert "by hand" in found.refused[0]


def test_a_part_is_taken_by_the_number_that_was_chosen_if_it_serves() -> None:
    prices = priced(
        "resistor;22k;1;S;A;1 %;0.5;350;metal film", "resistor;22k;2;S;B;1 %;2;500;metal film",
        "resistor;22k;1;S;C;1 %;0.1;350;metal film",
    )  # fmt: skip
    assert {fit.offer.number for fit in candidates(R, prices).fits} == {"A", "B"}
    assert {fit.offer.number for fit in candidates(replace(R, number="B"), prices).fits} == {"B"}
    weak, none = (candidates(replace(R, number=number), prices) for number in "CD")
    assert "0.1 W is less" in weak.refused[0]
    assert "order number D" in none.refused[0]
    assert not weak.fits
    assert not none.fits
    parts = PartsList(
        "amp", "variant", tuple(PartLine(f"R{n}", "m", "", "", "resistor", "22k", 22e3) for n in (1, 2, 3))
    )
    needs = needs_of_list(parts, {"R1": (9.0, 4.0)}, {"R2": "B"})
    assert [(need.parts, need.room, need.number) for need in needs] == [
        (("R1",), (9.0, 4.0), ""), (("R2",), (), "B"), (("R3",), (), "")
    ]  # fmt: skip


def test_like_parts_are_bought_together_for_the_hardest_of_their_places() -> None:
    caps = []
    for n, volts in ((1, 10.0), (2, 40.0), (3, 20.0)):
        rating = Rating(math.nan, 63.0, 0.2, f"electrolytic, plus at C{n}.1, 105 degrees", "")
        caps.append(PartLine(f"C{n}", "m", "", "", "capacitor", "22u", 22e-6, rating=rating, carries_volts=volts))
    valves = [PartLine(name, "m", "", "", "valve", "12AX7") for name in ("V1A", "V1B", "V2A")]
    switches = [replace(PartLine(name, "m", "", "", "switch", "DPDT on-on"), switch=replace(NEEDED, designator=name))
                for name in ("S1", "S2")]  # fmt: skip
    found = needs_of_list(PartsList("amp", "variant", (*caps, *valves, *switches)))
    assert [need.parts for need in found] == [("C1", "C2", "C3"), ("V1", "V2"), ("S1", "S2")]
    assert found[0].carried_volts == pytest.approx(44.0)
    assert found[0].make == "electrolytic, 105 degrees"


@given(
    st.sampled_from([20e3, 21.9e3, 22e3, 22.1e3, 22.5e3, 24e3]), st.sampled_from([0.001, 0.01, 0.05, 0.1, math.nan]),
    st.sampled_from([0.25, 0.5, 1.0, 3.0, math.nan]), st.sampled_from([50.0, 350.0, 500.0, math.nan]),
    st.sampled_from([0.01, 0.05, 0.2]),
)  # fmt: skip
def test_whatever_serves_lies_within_what_is_wanted(
    value: float, tolerance: float, watts: float, volts: float, wanted: float
) -> None:
    base = only("resistor;22k;1;S;N;1 %;0.5;350;metal film")
    offer = replace(base, described=replace(base.described, value=value), tolerance=tolerance, watts=watts, volts=volts)
    need = replace(R, tolerance=wanted)

    def serves(each: Offer) -> bool:
        return bool(candidates(need, PriceList({"resistor": (each,)})).fits)

    if serves(offer):
        assert watts >= need.watts
        assert not volts < need.carried_volts
        spread = 0.0 if math.isnan(tolerance) else tolerance
        assert need.value * (1 - wanted) * 0.99999 <= value * (1 - spread)
        assert value * (1 + spread) <= need.value * (1 + wanted) * 1.00001
        better = replace(offer, watts=10.0, volts=1000.0, tolerance=min(tolerance, 0.001))
        assert serves(better)


OFFERS = st.builds(
    lambda value, supplier, price, per, minimum, pack, stock: (
        f"resistor;{value};{price};{supplier};N{price}{per};1 %;0.5;350;metal film;{stock};{pack};{minimum};;;;;{per}"
    ),
    st.sampled_from(["22k", "47k", "1M"]), st.sampled_from("ABC"), st.sampled_from(["0.10", "0.333", "1", "0.07"]),
    st.sampled_from([1, 10, 100]), st.integers(1, 12), st.sampled_from([1, 5, 10]), st.integers(0, 3),
)  # fmt: skip


@given(st.lists(OFFERS, max_size=9), st.lists(st.integers(1, 4), min_size=3, max_size=3))
def test_every_part_is_taken_once_drawer_first_rest_cheapest(rows: list[str], counts: list[int]) -> None:
    prices = priced(*rows, head=f"{HEAD};per")
    shop = replace(SHOP, shipping={"A": Decimal("1.50"), "B": Decimal("0.40")})
    values = {"22k": 22e3, "47k": 47e3, "1M": 1e6}
    needs = [
        replace(R, wanted=name, value=value, parts=tuple(f"R{len(name)}{k}{n}" for k in range(count)))
        for n, ((name, value), count) in enumerate(zip(values.items(), counts, strict=True))
    ]
    found = choose([candidates(need, prices) for need in needs], shop)
    given_parts = [part for each in found.taken for part in each.parts]
    without = [part for need, _ in found.without for part in need.parts]
    assert sorted([*given_parts, *without]) == sorted(part for need in needs for part in need.parts)
    for kind in prices.offers.values():
        for offer in kind:
            used = sum(each.count for each in found.taken if each.fit.offer is offer and not each.buy)
            assert used <= offer.stock
            same = [each for each in found.taken if each.buy and each.need.value == offer.described.value]
            assert not same or used == offer.stock
    lines = [line for each in found.orders.values() for line in each]
    for line in lines:
        assert line.count >= max(line.needed, line.offer.minimum)
        assert line.count % line.offer.pack == 0
        assert line.needed == len(line.parts)
    bought = {each.need.value: each.count for each in found.taken if each.buy}
    spent = total([*(line.amount for line in lines), *(shop.shipping.get(name, Decimal(0)) for name in found.orders)])
    for name in "ABC":
        its = [offer for offer in prices.offers.get("resistor", ()) if offer.supplier == name]
        own = {value: [offer for offer in its if offer.described.value == value] for value in bought}
        if bought and all(own.values()):
            alone = total(
                min(
                    to_places(Decimal(order_count(o, bought[v])) * (o.price or Decimal(0)) / o.per, 2) for o in own[v]
                ) for v in bought
            )  # fmt: skip
            assert spent <= alone + shop.shipping.get(name, Decimal(0))


def test_a_currency_of_which_nobody_said_the_worth_is_named() -> None:
    prices = priced("resistor;22k;1.00;S;N;1 %;0.5;350;metal film;;;;;;usd")
    found = choose([candidates(R, prices)], SHOP)
    assert "USD" in found.without[0][1]
    known = replace(SHOP, exchange={"USD": Decimal("0.915")})
    (line,) = choose([candidates(R, prices)], known).orders["S"]
    assert line.amount == Decimal("0.92")


def test_no_cell_is_a_formula_and_the_order_reads_back() -> None:
    prices = priced('resistor;22k;0,07;"=cmd|x";@N;1 %;0.5;350;metal film')
    shop = replace(SHOP, comma=True, separator=";", currency="+EUR")
    (line,) = choose([candidates(R, prices)], shop).orders["=cmd|x"]
    head, row = csv.reader(io.StringIO(order_csv([line], shop)), delimiter=";")
    told = dict(zip(head, row, strict=True))
    assert (told["supplier"], told["order number"], told["currency"]) == ("'=cmd|x", "'@N", "'+EUR")
    assert (told["price"], told["amount"], told["buy"]) == ("0,07", "0,07", "1")


@given(st.lists(st.sampled_from(["", "A+B", "A-B", "a b", "A-B-2", "C"]), unique=True))
def test_every_supplier_has_files_of_its_own(suppliers: list[str]) -> None:
    found = order_files(suppliers)
    assert list(found) == suppliers
    assert len(set(found.values())) == len(suppliers)


@given(st.text(max_size=20))
def test_a_cell_is_text_for_every_spreadsheet(text: str) -> None:
    (row,) = csv.reader(io.StringIO(csv_text([[safe_cell(text), "x"]])))
    assert not row[0].lstrip().startswith(("=", "+", "-", "@"))


@given(st.integers(0, 10**9), st.lists(st.integers(0, 10**6), min_size=1, max_size=12), st.integers(0, 3))
def test_parting_an_amount_loses_nothing(cents: int, weights: list[int], places: int) -> None:
    whole = Decimal(cents).scaleb(-places)
    parts = shares(whole, [Decimal(each) for each in weights], places)
    assert total(parts) == whole
    known = weights if any(weights) else [1] * len(weights)
    for part, weight in zip(parts, known, strict=True):
        assert abs(part - whole * weight / sum(known)) < Decimal(1).scaleb(-places)


@pytest.mark.parametrize(("value", "means"), [("58,50", "58.50"), (19, "19"), ("1 234,5", "1234.5"), ("0.07", "0.07")])
def test_an_amount_is_read_exactly(value: object, means: str) -> None:
    assert written(parse_amount(value, "hour")) == written(Decimal(means))


@pytest.mark.parametrize("value", [58.5, "1,500", "-3", "", "many", True, None, "1e5", "9" * 20])
def test_what_is_no_exact_amount_is_refused(value: object) -> None:
    with pytest.raises(DescriptionError, match="hour"):
        parse_amount(value, "hour")


@pytest.mark.parametrize("path", MONEY, ids=lambda path: path.stem)
def test_no_binary_fraction_is_near_money(path: Path) -> None:
    """No float literal, no `float`, no `round`, no plain division, no math."""
    for node in ast.walk(ast.parse(path.read_text("utf-8"))):
        assert not (isinstance(node, ast.Constant) and isinstance(node.value, float)), node.lineno
        assert not (isinstance(node, ast.Name) and node.id in ("round", "math", "numpy", "pd")), node.lineno
        assert not (isinstance(node, ast.BinOp) and isinstance(node.op, ast.Div)), node.lineno
        called = node.func.id if isinstance(node, ast.Call) and isinstance(node.func, ast.Name) else ""
        assert called != "float", node.lineno


def test_the_demo_shop_is_read_and_every_row_of_its_list_understood(monkeypatch: pytest.MonkeyPatch) -> None:
    shop = read_shop_sheet(models() / "shop" / "shop.toml")
    prices = read_price_lists(shop.prices)
    assert prices.notes == ()
    assert prices.count == (models() / "shop" / "prices.csv").read_text("utf-8").count("\n") - 1
    assert list(shop.minutes) == list(Phase)
    assert {each.supplier for kind in prices.offers.values() for each in kind} == set(shop.shipping)
    for file in ("shop.toml", "prices.csv"):
        told = explain(models() / "shop" / file)
        assert all(kind in told for kind in prices.offers)
    monkeypatch.setenv("AMPSIM_SHELF", str(models() / "shop"))
    assert shop_sheet() == shop
    monkeypatch.delenv("AMPSIM_SHELF")
    with pytest.raises(DescriptionError, match="models/shop"):
        shop_sheet()


@pytest.mark.parametrize(("entry", "words"), [
    ("hour = 54.5", "in quotes"), ('hour = "x"', "hour"), ('[minutes]\nfitt = 3', "nearest: fit"),
    ('[tax]\nname = "VAT"\nrate = "190"\nprices = "with"', "190 percent"),
    ('[tax]\nname = "VAT"\nrate = "19"', "prices"),
    ("places = 9", "places"), ('wages = "7"', "wages"), ('surcharge = "1,500"', "can be read as"),
])  # fmt: skip
def test_a_mistake_in_the_sheet_is_named(tmp_path: Path, entry: str, words: str) -> None:
    (tmp_path / "shop.toml").write_text(f'name = "S"\ncurrency = "EUR"\n{entry}\n', "utf-8")
    with pytest.raises(DescriptionError, match=r"shop\.toml") as caught:
        shop_sheet(tmp_path / "shop.toml")
    assert words in str(caught.value)


def test_the_columns_that_are_known_have_no_two_meanings() -> None:
    names = [name for column, others in COLUMNS.items() for name in (column, *others)]
    assert len(names) == len(set(names))
