"""Every cold reading of the work is that of the amp as it is by then: parts still out, leads that still hang."""

from __future__ import annotations

import pytest

from ampsim.base.errors import DescriptionError
from ampsim.circuit.mods import apply_mods
from ampsim.library.loader import load_amp, parse_mod
from tests.tools.any_amps import amps
from tests.tools.any_mods import mods_for
from tests.tools.soldered_so_far import readings


def test_a_pot_is_read_without_the_wire_that_its_switch_brings_later() -> None:
    fit = {"fit": "P160", "pins": {"top": "V1B.plate", "wiper": "R8.2", "bottom": "ground"}}
    positions = {"whole": [], "open": [{"cut": ["P160.bottom", "ground"]}]}
    switch = {"designator": "S160", "control": "trial", "drawn": "whole", "positions": positions}
    parts = {"P160": {"track": "1M", "control": "level"}}
    given = {"name": "n", "reason": "r", "parts": parts, "edits": [fit], "switches": [switch]}
    stock = load_amp("workshop-a")
    found = [each for each in readings(stock, apply_mods(stock, parse_mod(given))) if "Wire P160" in each.step.do]
    assert {each.check.place for each in found} == {"P160.top", "P160.wiper"}
    for each in found:
        assert each.ohms == pytest.approx(each.check.value, rel=1e-3)


@pytest.mark.parametrize("turn", range(2))
def test_what_a_step_says_is_what_a_meter_reads_by_then(turn: int) -> None:
    wrong, read = [], 0
    for made in list(amps(8, 5))[turn::2]:
        mods = list(mods_for(made, 5))
        for first, second in zip(mods[turn::3], mods[7 + turn :: 3], strict=False):
            try:
                both = apply_mods(made.amp, first.mod, second.mod)
            except DescriptionError:
                continue
            for each in readings(made.amp, both):
                read += 1
                if each.ohms != pytest.approx(each.check.value, rel=1e-3, abs=0.05):
                    mods_words = f"{made!r}, {first.kind}, {second.kind}: {each.step.do}"
                    wrong.append(f"{mods_words}: {each.check.words}, a meter reads {each.ohms:.4g}")
    assert wrong == []
    assert read > 20
