"""The letters of a designator tell the kind of part, and never another kind than a drawing means by them."""

from __future__ import annotations

import pytest

from ampsim.base.entries import Entry
from ampsim.base.errors import DescriptionError
from ampsim.circuit.designators import KINDS, OTHERS, kind_of, known_letters, meaning_of
from ampsim.library.parts import read_parts


@pytest.mark.parametrize("letters", [*KINDS, *OTHERS])
def test_letters_mean_what_the_table_says_and_nothing_that_is_shorter(letters: str) -> None:
    for number in ("1", "12", "7A"):
        assert meaning_of(letters + number) == {**OTHERS, **KINDS}[letters]
        assert kind_of(letters + number) == KINDS.get(letters, "")


@pytest.mark.parametrize(("designator", "kind"), [("RK3", "resistor"), ("CK3", "capacitor"), ("VB1", "valve")])
def test_letters_after_known_ones_are_a_name_of_the_drawing(designator: str, kind: str) -> None:
    assert kind_of(designator) == kind


@pytest.mark.parametrize("letters", [*OTHERS, "E", "G", "ABC"])
def test_a_part_that_there_is_not_is_refused_with_what_there_is(letters: str) -> None:
    with pytest.raises(DescriptionError) as refused:
        read_parts(Entry({f"{letters}1": "1k"}, "amp.toml", "parts"))
    message = str(refused.value)
    assert "amp.toml: parts" in message
    assert f"{letters}1" in message
    assert known_letters() in message
    assert OTHERS.get(letters, "no kind of part") in message


def test_a_choke_is_an_inductor_by_either_letters() -> None:
    choke, coil = read_parts(Entry({"CH1": "10", "L1": "10H"}, "amp.toml", "parts"))
    assert choke.kind == coil.kind == "inductor"
    assert choke.value == coil.value == 10.0
