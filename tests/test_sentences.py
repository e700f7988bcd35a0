"""What ampsim writes, read as an editor would: over amps and mods by lot no sentence is odd."""

from __future__ import annotations

import pytest

from ampsim.circuit.positions import position_clause, position_label
from tests.tools.any_amps import made_amp
from tests.tools.any_mods import KINDS, mod_of
from tests.tools.sentences import ODD, oddities, sentences_of

# Kinds of mod that together make every topic speak, each on an amp that has the place for it.
CASES = (("feedback switched", 1), ("triode switch", 9), ("on-off-on", 4), ("feedback at another tap", 5))


@pytest.mark.parametrize(("kind", "number"), CASES)
def test_no_sentence_is_odd(kind: str, number: int) -> None:
    assert kind in KINDS
    mod = next(found for n in range(number, number + 40) if (found := mod_of(kind, made_amp(31, n))) is not None)
    texts = list(sentences_of(mod))
    assert {where for where, _ in texts} >= {"check", "ratings", "noise", "parts", "steps", "cautions", "wiring"}
    odd = [f"{where}: {each}" for where, text in texts for each in oddities(text)]
    assert odd == []


# Sentences that were once written, each odd in a way of its own.
ODD_ONCE = (
    "Hiss at as drawn: 15.3 dB(A)",
    "0.00 acum duller (1.60 against 1.60)",
    "C201 hang on an open contact: bleed them",
    "leakage 15m H",
    "grid leak 1.25e+03 kohm of at most 1 Mohm",
    "bright=390p: 12 V",
    "it is -3.1 dB lower",
    "so +0.0 dB(A) at equal gain",
    "R1 and R2 carries 3 W",
    "none of  them",
)


@pytest.mark.parametrize("sentence", ODD_ONCE)
def test_an_odd_sentence_is_seen(sentence: str) -> None:
    assert list(oddities(sentence))


def test_every_pattern_compiles_and_passes_plain_english() -> None:
    plain = (
        "V4 (EL84): plate dissipation driven hard 9.4 W of at most 12 W (design centre), 2.6 W to spare, as drawn.",
        "C20, C21 and C22 carry more than 60 V; R7 carries 3 W.",
        "0.29 acum sharper (1.90 against 1.61); turned down by 0.3 dB.",
    )
    assert len(ODD) >= 15
    assert [each for text in plain for each in oddities(text)] == []


def test_a_position_in_a_sentence() -> None:
    assert position_clause({}) == "with every control as drawn"
    assert position_label({"bright": "120p", "level 1": 0.124}) == "bright 120p, level 1 at 1.24"
    assert position_clause({"bright": "120p", "gain": 0.5}) == "with bright at 120p and gain at 5"
