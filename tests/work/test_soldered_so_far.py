"""Every cold reading of the work is that of the amp as it is by then: parts still out, leads that still hang."""

from __future__ import annotations

import pytest

from ampsim.base.errors import DescriptionError
from ampsim.circuit.mods import apply_mods
from tests.tools.any_amps import amps
from tests.tools.any_mods import mods_for
from tests.tools.soldered_so_far import readings


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
