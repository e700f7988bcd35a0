"""Chains of parts between rails are drawn whole, with the supply, diodes among them."""

from __future__ import annotations

from hypothesis import given, settings
from hypothesis import strategies as st

from ampsim import parse_amp
from ampsim.work.schematic.contents import contents
from ampsim.work.schematic.rows import lay_out, supply_items
from tests.tools.drawing_faults import drawing_faults

VALUES = {"D": "1N4007", "R": "1k", "L": "10"}


@settings(max_examples=12)
@given(st.lists(st.sampled_from("DRL"), min_size=1, max_size=4), st.booleans())
def test_a_chain_between_rails_stands_with_the_supply(letters: str, behind_source: bool) -> None:
    chain = {f"{letter}{number}": VALUES[letter] for number, letter in enumerate(letters, 21)}
    feed = {"name": "B0", "volts": 320.0} | ({"through": list(chain), "reservoir": "C3"} if behind_source else {})
    rail = {"name": "B1", "from": "B0", "through": ["R12"] if behind_source else list(chain), "reservoir": "C1"}
    parts = {"R1": "1M", "R2": "100k", "R3": "1k5", "V1": "12AX7", "C1": "22u", "R5": "1M"} | chain
    parts |= {"R12": "1k", "C3": "22u"} if behind_source else {}
    stage = {"name": "first", "template": "triode stage", "valve": "V1", "supply": "B1", "grid_leak": "R1",
             "plate_load": "R2", "cathode_resistor": "R3"}  # fmt: skip
    load = {"name": "load", "template": "load", "load": "R5"}
    amp = parse_amp({"name": "chain", "parts": parts, "rails": [feed, rail], "stages": [stage, load]})
    given_items = contents(amp)
    supply = {item.name for item in supply_items(given_items)}
    assert chain.keys() <= supply
    assert not {"V1", "R1", "R2", "R3", "R5"} & supply
    drawing = lay_out(given_items, whole=True)
    assert not drawing_faults(drawing.shown, drawing.sheet)
