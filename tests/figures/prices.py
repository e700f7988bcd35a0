"""The figures of a shop's prices: a long list read, and everything of a job found in it."""

from __future__ import annotations

import time
from collections.abc import Iterator

from ampsim.job.quote.choosing import choose
from ampsim.job.quote.matching import candidates
from ampsim.job.quote.needs import needs_of_list
from ampsim.job.quote.price_list import parse_price_list
from ampsim.job.quote.shop_sheet import read_shop_sheet
from ampsim.library.files import models
from ampsim.library.landing import apply_mods
from ampsim.library.loader import load_amp, load_mod
from ampsim.work.parts_list.parts_list import parts_list
from tests.figures.figure import Figure, Scale

_ROWS, _READ, _CHOSEN = 100_000, 2.0, 2.0  # s


def long_list(scale: Scale) -> Iterator[Figure]:
    """A list of the demo's offers over and over, each with an order number of its own."""
    head, *rows = (models() / "shop" / "prices.csv").read_text("utf-8").splitlines()
    many = [rows[number % len(rows)].replace(",", f",{number}-", 1) for number in range(_ROWS)]
    data = "\n".join([head, *many]).encode()
    begin = time.perf_counter()
    prices = parse_price_list(data, "list.csv")
    took = time.perf_counter() - begin
    assert prices.count == _ROWS
    yield Figure(f"price list of {_ROWS:,} rows read", f"{took:.1f} s", f"<= {_READ:g} s", took <= _READ)
    stock = load_amp("workshop-a")
    modded = apply_mods(stock, *map(load_mod, ("bright-switch", "cathode-switch", "depth")))
    needs = needs_of_list(parts_list(stock, modded))
    begin = time.perf_counter()
    purchase = choose([candidates(need, prices) for need in needs], read_shop_sheet(models() / "shop" / "shop.toml"))
    took = time.perf_counter() - begin
    assert not purchase.without
    yield Figure("parts of a job chosen from it", f"{took:.1f} s", f"<= {_CHOSEN:g} s", took <= _CHOSEN)


SECTIONS = (long_list,)
