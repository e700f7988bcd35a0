"""Operational amplifiers on the drawing and in the parts list."""

from __future__ import annotations

import pytest

from ampsim.circuit.amp import Amp
from ampsim.circuit.mods import apply_mods
from ampsim.library.loader import load_amp, parse_mod
from ampsim.work.parts_list.parts_list import parts_list
from ampsim.work.schematic.contents import contents
from ampsim.work.schematic.rows import lay_out
from tests.simulation.test_op_amps import by_lot, drive, inverting
from tests.tools.drawing_faults import drawing_faults


@pytest.mark.parametrize("amp", [inverting("TL072", 1e3, 1e5, 1e-10), drive("RC4558", "9"), *map(by_lot, range(4))])
def test_an_amplifier_is_drawn_with_its_inputs_and_supplies(amp: Amp) -> None:
    drawing = lay_out(contents(amp), whole=True)
    assert not drawing_faults(drawing.shown, drawing.sheet)
    (symbol,) = (each for each in drawing.sheet.symbols if each.item.name.startswith("U1"))
    pins = {symbol.item.own_pin(pin): point for pin, point in symbol.ends.items()}
    assert pins.keys() == {"plus", "minus", "out", "vplus", "vminus"}
    assert pins["vplus"][1] > pins["out"][1] > pins["vminus"][1]
    assert max(pins["plus"][0], pins["minus"][0]) < pins["out"][0]


def test_a_package_is_bought_once() -> None:
    pins = {"plus": "V1A.cathode", "minus": "C1.1", "out": "C1.2", "vplus": "B1", "vminus": "ground"}
    tables = {"name": "m", "reason": "r", "parts": {"U9A": "TL072"}, "edits": [{"fit": "U9A", "pins": pins}]}
    stock = load_amp("workshop-a")
    (line,) = parts_list(stock, apply_mods(stock, parse_mod(tables)), [{}]).lines
    assert "2 in a package: U9 is bought once" in line.rating.why
