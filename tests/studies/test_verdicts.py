"""Verdicts over amps and mods by lot: settings that are named matter, equal circuits get equal verdicts."""

from __future__ import annotations

import math
import re
from collections.abc import Iterator, Mapping
from functools import lru_cache

import pytest

from ampsim.circuit.amp import Amp
from ampsim.studies.findings import Finding
from ampsim.studies.section import Examination
from ampsim.studies.settings import EVERY_POSITION
from ampsim.studies.sheet.sheet import consequences, examine
from tests.tools.any_amps import made_amp
from tests.tools.any_mods import MadeMod, mod_of
from tests.tools.equal_forms import equal_amps, equal_mods

SEED = 29
CASES = [
    ("on-off-on", "ratings"),
    ("bypass switch", "pop"),
    ("bias switch", "ratings"),
    ("triode switch", "pop"),
    ("bright switch", "noise"),
    ("depth", "ratings"),
    ("presence", "noise"),
]


@lru_cache(maxsize=64)
def mods(kind: str, count: int = 1) -> tuple[MadeMod, ...]:
    """The first amps that have a place for a kind of mod, with it."""
    found = (mod_of(kind, made_amp(SEED, number)) for number in range(200))
    return tuple(mod for mod, _ in zip(filter(None, found), range(count), strict=False))


def findings(stock: Amp, modded: Amp, topic: str, *positions: dict[str, float | str]) -> list[Finding]:
    examined = Examination(stock, modded, positions) if positions else examine(stock, modded)
    return [each for each in consequences(examined, [topic]).findings if each.variant == modded.variant]


def labels(modded: Amp, where: str) -> dict[str, float | str]:
    """The settings that words name, back as settings."""
    found: dict[str, float | str] = {}
    for name, control in modded.controls.items():
        match = re.search(rf"(?:^|, ){re.escape(name)} ([^,]+)", where)
        if match:
            found[name] = match[1] if control.kind == "switch" else float(match[1]) / 10.0
    return found


def other_settings(modded: Amp, position: dict[str, float | str], name: str) -> Iterator[dict[str, float | str]]:
    control = modded.controls[name]
    values: tuple[float | str, ...] = control.positions or (0.0, 1.0, control.drawn)
    yield from ({**position, name: value} for value in values if value != position[name])


@pytest.mark.parametrize(("kind", "topic"), CASES)
def test_a_setting_that_a_finding_names_changes_what_it_says(kind: str, topic: str) -> None:
    """Changed alone, it gives other words or takes the finding away; and findings told apart say different things."""
    (mod,) = mods(kind)
    stock, modded = mod.amp.amp, mod.modded
    found = findings(stock, modded, topic)
    told: dict[tuple[str, str], Finding] = {}
    for each in found:
        assert (each.subject, each.words) not in told, each.sentence
        told[each.subject, each.words] = each
    named = {
        each.where: labels(modded, each.where) for each in found if each.where not in ("", EVERY_POSITION, "as drawn")
    }
    for where, position in named.items():
        assert position, where
        for name in position:
            there = [{each.subject: each.words for each in findings(stock, modded, topic, other)}
                     for other in other_settings(modded, position, name)]  # fmt: skip
            here = [each for each in found if each.where == where]
            assert all(any(words.get(each.subject) != each.words for words in there) for each in here), (where, name)


def verdicts(found: list[Finding], names: Mapping[str, str]) -> dict[tuple[str, str], tuple[str, float]]:
    """Grade and value by subject and settings; of valves and the whole amp, whose names all forms share."""

    def renamed(words: str) -> str:
        return " ".join(names.get(word, word) for word in words.split())

    kept = {}
    for each in found:
        if not each.subject.endswith((" rating", " DC")) and each.subject != "parts":
            kept[renamed(each.subject), each.where] = (str(each.grade), each.value)
    return kept


def same(one: dict[tuple[str, str], tuple[str, float]], other: dict[tuple[str, str], tuple[str, float]]) -> None:
    assert set(one) == set(other)
    for key, (grade, value) in one.items():
        assert other[key][0] == grade, key
        assert math.isclose(other[key][1], value, rel_tol=0.02, abs_tol=0.05) or math.isnan(value), (key, value)


@pytest.mark.parametrize(
    ("kind", "topic"), [("on-off-on", "ratings"), ("on-off-on", "pop"), ("triode switch", "noise")]
)
def test_equal_amps_get_equal_verdicts(kind: str, topic: str) -> None:
    """Other names, another order, parts side by side, in a row or wired freely."""
    (mod,) = mods(kind)
    expected = findings(mod.amp.amp, mod.modded, topic)
    tried = 0
    for other in equal_amps(mod.amp):
        fitted = other.fitted(mod)
        if fitted is not None:
            tried += 1
            found = findings(fitted.amp.amp, fitted.modded, topic)
            same(verdicts(expected, other.names), verdicts(found, {}))
    assert tried


@pytest.mark.parametrize(("kind", "topic"), [("bypass switch", "pop"), ("bright switch", "ratings")])
def test_a_mod_written_another_way_gets_the_same_verdicts(kind: str, topic: str) -> None:
    (mod,) = mods(kind)
    expected = verdicts(findings(mod.amp.amp, mod.modded, topic), {})
    forms = list(equal_mods(mod))
    assert forms
    for _, other in forms:
        same(expected, verdicts(findings(other.amp.amp, other.modded, topic), {}))
