"""Stock: what a job took from the drawer is told, counted off once, and nothing else of the price list changes."""

from __future__ import annotations

import shutil
from functools import cache
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from ampsim.base.errors import DescriptionError
from ampsim.interface.commands.main import main
from ampsim.job.quote import stock
from ampsim.job.quote.order_list import purchase_of
from ampsim.job.quote.shop_sheet import read_shop_sheet
from ampsim.job.quote.stock import Counting, ReadList, as_one, count_off, counting, read_list, with_stock
from ampsim.job.record.beginning import begin_job
from ampsim.job.record.frozen import open_job
from ampsim.job.record.reading import read_record
from ampsim.job.record.saving import save_record
from ampsim.job.record.sessions import keep_session
from ampsim.library.files import models
from ampsim.library.landing import apply_mods
from ampsim.library.loader import load_amp, load_mod
from ampsim.work.parts_list.parts_list import parts_list
from ampsim.work.steps.step import Step
from ampsim.work.steps.work_plan import work_steps

CELLS = st.text(st.sampled_from("ab ,;\"'é.-%"), max_size=8)


@st.composite
def price_lists(draw: st.DrawFn) -> tuple[str, dict[int, int]]:
    """A list in somebody's way, and the stock that each row is to have."""
    separator = draw(st.sampled_from(",;\t"))
    end = draw(st.sampled_from(["\n", "\r\n"]))

    def cell(text: str) -> str:
        quoted = any(sign in text for sign in f'{separator}"') or draw(st.booleans())
        return '"' + text.replace('"', '""') + '"' if quoted else text

    lines, left = [separator.join(["what", "kind", "value", "stock", "price", "note"])], {}
    for row in range(2, 2 + draw(st.integers(1, 5))):
        texts = [draw(CELLS).strip(), "resistor", "4k7", str(draw(st.integers(3, 40))), "0.10", draw(CELLS).strip()]
        lines.append(separator.join(map(cell, texts)))
        if draw(st.booleans()):
            left[row] = draw(st.integers(0, 3))
    return end.join(lines) + draw(st.sampled_from(["", end])), left


@given(price_lists(), st.sampled_from(["utf-8", "utf-8-sig", "cp1252", "utf-16"]))
def test_nothing_but_the_stock_of_the_rows_changes_however_a_list_is_written(
    drawn: tuple[str, dict[int, int]], code: str
) -> None:
    text, left = drawn
    data = text.encode(code)
    source = ReadList(Path("list.csv"), data, stock.parse_price_list(data, "list.csv"))
    changed = with_stock(source, left).decode(code)
    before, after = text.split("\n"), changed.split("\n")
    assert len(before) == len(after)
    offers = stock.parse_price_list(changed.encode(code), "list.csv").offers["resistor"]
    assert {each.row: each.stock for each in offers if each.row in left} == left
    for row, (one, other) in enumerate(zip(before, after, strict=True), 1):
        if row not in left:
            assert one == other
        else:  # only digits were put in the place of digits
            strip = str.maketrans("", "", "0123456789")
            assert one.translate(strip) == other.translate(strip)


@pytest.fixture(scope="module")
def made(tmp_path_factory: pytest.TempPathFactory) -> Path:
    place = tmp_path_factory.mktemp("shop")
    shutil.copytree(models() / "shop", place / "shelf")
    prices = place / "shelf" / "prices.csv"
    text = prices.read_text("utf-8")
    for number in ("R05-6k8,resistor,6k8", "R05-2k7,resistor,2k7"):
        text = text.replace(f"{number},,4.20,100,10,10,,", f"{number},,4.20,100,10,10,3,")
    prices.write_text(text, "utf-8")
    save_record(begin_job(place / "job", "workshop-a", ["cathode-switch"]), place / "job")
    return place


@pytest.fixture
def place(made: Path, tmp_path: Path) -> Path:
    shutil.copytree(made, tmp_path / "all")
    return tmp_path / "all"


@cache
def plan() -> tuple[Step, ...]:
    """The steps of the job, which no tick changes."""
    stock_amp = load_amp("workshop-a")
    return tuple(work_steps(stock_amp, apply_mods(stock_amp, load_mod("cathode-switch"))).steps)


def told(place: Path) -> Counting:
    folder, shop = place / "job", read_shop_sheet(place / "shelf" / "shop.toml")
    record, lists = read_record(folder), [read_list(path) for path in shop.prices]
    found = open_job(record, folder)
    purchase = purchase_of(parts_list(found.stock, found.modded), as_one(lists), shop)
    return counting(record, plan(), purchase, lists)


def tick_all(place: Path) -> None:
    folder = place / "job"
    save_record(keep_session(read_record(folder), plan(), range(1, len(plan()) + 1)), folder)


def test_what_is_fitted_is_counted_off_once_and_a_copy_stays(place: Path) -> None:
    prices = place / "shelf" / "prices.csv"
    before = prices.read_bytes()
    first = told(place)
    assert first.takings == ()
    assert first.others["R102"] == first.others["R103"] == "not ticked off as fitted"
    tick_all(place)
    seen = told(place)
    assert [(each.parts, each.offer.stock, each.left) for each in seen.takings] == [
        (("R102",), 3, 2),
        (("R103",), 3, 2),
    ]
    assert seen.others["S102"] == "bought, or to be bought"
    assert prices.read_bytes() == before, "told, not done"
    (kept,) = count_off(place / "job", seen)
    assert kept.read_bytes() == before
    stocks = {offer.number: offer.stock for offer in read_list(prices).prices.offers["resistor"]}
    assert (stocks["R05-6k8"], stocks["R05-2k7"]) == (2, 2)
    assert told(place).others["R102"] == "counted off before"
    with pytest.raises(DescriptionError, match="somebody wrote to it meanwhile"):
        count_off(place / "job", seen)


def test_two_who_count_the_same_job_count_once(place: Path) -> None:
    tick_all(place)
    one, other = told(place), told(place)
    count_off(place / "job", one)
    shutil.copy(next((place / "shelf").glob("prices before*")), place / "shelf" / "prices.csv")
    with pytest.raises(DescriptionError, match="R102, R103: counted off already"):
        count_off(place / "job", other)


def test_a_full_disk_leaves_list_and_job_as_they_were(place: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    tick_all(place)
    seen, prices = told(place), place / "shelf" / "prices.csv"
    before, write = prices.read_bytes(), stock.write_whole

    def full(path: Path, content: bytes | str) -> Path:
        if path == prices:
            raise DescriptionError("no room left")
        return write(path, content)

    monkeypatch.setattr(stock, "write_whole", full)
    with pytest.raises(DescriptionError, match="no room"):
        count_off(place / "job", seen)
    assert prices.read_bytes() == before
    assert read_record(place / "job").counted == ()
    monkeypatch.undo()
    count_off(place / "job", told(place))
    assert [each.parts for each in read_record(place / "job").counted] == [("R102",), ("R103",)]


def test_the_command_tells_first_and_changes_on_request(place: Path, capsys: pytest.CaptureFixture[str]) -> None:
    tick_all(place)
    command = ["job", "stock", str(place / "job"), "--shop", str(place / "shelf" / "shop.toml")]
    assert main(command) == 0
    assert "Nothing was changed" in capsys.readouterr().out
    assert main([*command, "--count-off"]) == 0
    assert "Counted off. The list as it was: " in capsys.readouterr().out
    assert main(command) == 0
    assert "Nothing is to be counted off" in capsys.readouterr().out
