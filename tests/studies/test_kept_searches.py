"""A search for the worst corner and a judgement at rest are made once, tell the same, and are believed in nothing."""

from __future__ import annotations

import json
from collections.abc import Callable, Sequence
from dataclasses import fields, replace
from pathlib import Path
from typing import Any

import pandas as pd
import pytest
import xarray as xr

from ampsim.base.kept_files import fetch_kept, keep
from ampsim.circuit.mods import apply_mods
from ampsim.library.loader import load_amp, load_mod, parse_mod
from ampsim.simulation import loop_gain
from ampsim.simulation.agreement import SWEPT_LIMIT
from ampsim.simulation.request import Case
from ampsim.studies.section import Examination
from ampsim.studies.stability import kept_corners, steady
from ampsim.studies.stability.kept_corners import once_searched
from ampsim.studies.stability.section import section
from ampsim.studies.stability.steady import growth_at
from ampsim.studies.stability.worst_corner import Corners

STOCK = load_amp("workshop-b")
MODDED = apply_mods(STOCK, load_mod("feedback-with-presence"))
OTHER = apply_mods(
    STOCK, load_mod("feedback-with-presence"), parse_mod({"name": "o", "reason": "test", "edits": [
        {"replace": "R4", "with": "1k"}]})
)  # fmt: skip


@pytest.fixture(autouse=True)
def kept(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> Path:
    monkeypatch.setenv("AMPSIM_CACHE", str(tmp_path))
    monkeypatch.setattr(steady, "_known", {})
    return tmp_path / "answers"


@pytest.fixture
def searches(monkeypatch: pytest.MonkeyPatch) -> list[str]:
    """The variants that were searched."""
    made: list[str] = []
    real = kept_corners.worst_corners

    def search(amp: Any, *given: Any, **more: Any) -> Corners:
        made.append(amp.variant)
        return real(amp, *given, **more)

    monkeypatch.setattr(kept_corners, "worst_corners", search)
    return made


def same(one: Corners, other: Corners) -> bool:
    pd.testing.assert_frame_equal(one.table, other.table)
    xr.testing.assert_identical(one.response, other.response)
    plain = [each.name for each in fields(Corners) if each.name not in ("table", "response")]
    return all(getattr(one, name) == getattr(other, name) for name in plain)


def test_a_search_is_made_once_and_tells_the_same(searches: list[str], monkeypatch: pytest.MonkeyPatch) -> None:
    first = once_searched(MODDED, {"master": 0.5}, 20)
    assert first.apart <= SWEPT_LIMIT
    assert same(first, once_searched(MODDED, {"master": 0.5}, 20))
    assert len(searches) == 1
    lower = replace(MODDED, rails=(replace(MODDED.rails[0], volts=299.0), *MODDED.rails[1:]))
    others = [
        lambda: once_searched(lower, {"master": 0.5}, 20),
        lambda: once_searched(MODDED, {"master": 0.51}, 20),
        lambda: once_searched(MODDED, {"master": 0.5}, 21),
        lambda: once_searched(MODDED, {"master": 0.5}, 20, ["presence"]),
    ]
    for number, other in enumerate(others, 2):
        other()
        assert len(searches) == number
    monkeypatch.setattr("ampsim.simulation.kept_work._package", lambda: "another version")
    once_searched(MODDED, {"master": 0.5}, 20)
    assert len(searches) == len(others) + 2


@pytest.mark.parametrize(
    "change",
    [
        lambda packed: packed.update(worst=None),
        lambda packed: packed["worst"].update(master="up"),
        lambda packed: packed["worst"].update(master=1.5),
        lambda packed: packed["start"].update(nothing=0.5),
        lambda packed: packed["effects"].update(nothing=0.5),
        lambda packed: packed.update(controls=["nothing"]),
        lambda packed: packed.update(table={"a": [1, 2], "b": [1]}),
        lambda packed: packed.update(apart="near"),
        lambda packed: packed.pop("probed"),
        lambda packed: packed.pop("response"),
        lambda packed: packed["response"]["real"].pop(),
        lambda packed: packed["response"]["hertz"].reverse(),
        lambda packed: packed["response"].update(imaginary="none"),
    ],
)
def test_a_forged_search_is_made_anew(change: Callable[[Any], object], searches: list[str], kept: Path) -> None:
    right = once_searched(MODDED, {"master": 0.5}, 5, ["presence"])
    (path,) = [each for each in kept.iterdir() if b"telling" in each.read_bytes()]
    content = fetch_kept(path, 10**7)
    assert content
    packed = json.loads(bytes(content))
    change(packed)
    keep(path, json.dumps(packed).encode())
    assert same(right, once_searched(MODDED, {"master": 0.5}, 5, ["presence"]))
    assert len(searches) == 2


def test_of_another_mod_the_stock_amp_is_not_searched_again(
    searches: list[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    simulated: list[str] = []
    real = loop_gain.answers

    def answered(cases: Sequence[Case], *given: Any, **more: Any) -> Any:
        simulated.extend(case.amp.variant for case in cases)
        return real(cases, *given, **more)

    monkeypatch.setattr(loop_gain, "answers", answered)
    stock = load_amp("workshop-a")
    one, other = (apply_mods(stock, load_mod(name)) for name in ("depth", "feedback-resistor"))
    section(Examination(stock, one))
    assert "stock" in searches
    searches.clear()
    simulated.clear()
    told = section(Examination(stock, other))
    assert set(searches) == set(simulated) == {other.variant}
    searches.clear()
    simulated.clear()
    assert section(Examination(stock, other)).findings == told.findings
    assert not searches
    assert simulated == []


def test_an_amp_is_judged_once_at_each_position(monkeypatch: pytest.MonkeyPatch) -> None:
    judged: list[int] = []
    real = steady._judged

    def judge(stands: Any, solved: bool) -> Any:
        judged.append(len(stands))
        return real(stands, solved)

    monkeypatch.setattr(steady, "_judged", judge)
    cases = [(MODDED, {"presence": 0.0}), (MODDED, {"presence": 1.0}), (STOCK, {})]
    first = growth_at(cases)
    for asked, fresh in ((cases, 0), (cases[::-1], 0), ([*cases, (MODDED, {"presence": 0.4})], 1), ([(OTHER, {})], 1)):
        steady._known.clear()
        found = growth_at(asked)
        assert judged[-1] == fresh
        assert all(repr(one) == repr(two) for one, two in zip(found, first, strict=False)) or asked != cases
    steady._known.clear()
    assert repr(growth_at(cases)) == repr(first)
    growth_at(cases, solved=False)
    assert judged[-1] == 3


@pytest.mark.parametrize("harm", ["[1]", '{"x": 3}', "{", "swapped", "words"])
def test_a_forged_judgement_is_made_anew(harm: str, kept: Path) -> None:
    (right,) = growth_at([(STOCK, {})])
    (path,) = [each for each in kept.iterdir() if b"true]}" in each.read_bytes()]
    content = bytes(fetch_kept(path, 10**7) or b"").decode()
    forged = {"swapped": content.replace("true", "1"), "words": content.replace("[0, ", '["0", ')}.get(harm, harm)
    assert forged != content
    keep(path, forged.encode())
    steady._known.clear()
    assert repr(growth_at([(STOCK, {})])) == repr([right])
