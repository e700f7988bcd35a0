"""Parts that stand in one another's place at output valves: by the wires, whatever they are called."""

from __future__ import annotations

import pytest

from ampsim import load_amp
from ampsim.circuit.build import build_circuit
from ampsim.circuit.equal_places import equal_places
from tests.tools.any_amps import made_amp
from tests.tools.equal_forms import equal_amps


@pytest.mark.parametrize(
    ("amp", "pairs"),
    [
        ("workshop-a", ["C12 C13", "R22 R23", "R24 R25", "R26 R27"]),  # its inverter's plate loads differ
        ("boathouse", ["R13 R14", "C11 C12", "R21 R22", "R23 R24", "R25 R26"]),  # here they are equal
        ("glasshouse", ["R8 R9", "C10 C11", "R14 R15", "R16 R20 R17 R21", "R18 R22 R19 R23"]),  # four valves
        ("kitchen", []),  # one valve
    ],
)
def test_what_hangs_alike_on_output_valves(amp: str, pairs: list[str]) -> None:
    found = equal_places(build_circuit(load_amp(amp)))
    assert sorted(map(sorted, found)) == sorted(sorted(each.split()) for each in pairs)


@pytest.mark.parametrize("number", range(7))
def test_an_amp_written_otherwise_has_the_same_pairs(number: int) -> None:
    made = made_amp(5, number)
    expected = set(map(frozenset, equal_places(build_circuit(made.amp))))
    assert bool(expected) == (made.kind.endswith(("pair", "load")))
    for form in equal_amps(made):
        if not form.split:
            back = {new: old for old, new in form.names.items()}
            found = equal_places(build_circuit(form.made.amp))
            assert {frozenset(back.get(name, name) for name in group) for group in found} == expected, form.form
