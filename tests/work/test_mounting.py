"""How parts are mounted: read from files, followed by the plan, felt by no circuit."""

from __future__ import annotations

import tomllib
from dataclasses import replace
from functools import lru_cache
from pathlib import Path
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from ampsim import DescriptionError, apply_mods, load_amp, parse_amp, parse_mod
from ampsim.circuit.amp import Amp
from ampsim.circuit.build import build_circuit
from ampsim.circuit.mount import Mount
from ampsim.circuit.mounting import mounting_of, parse_mounting
from ampsim.circuit.plugs import plugged_stages
from ampsim.job.record.beginning import begin_job
from ampsim.job.record.changing import change_entry
from ampsim.job.record.frozen import open_job
from ampsim.job.record.reading import read_record
from ampsim.job.record.saving import save_record
from ampsim.library.files import models
from ampsim.library.overview import describe_amp
from ampsim.simulation.analyses import OperatingPoint
from ampsim.simulation.netlist import write
from ampsim.work.steps.soldering import iron_steps
from ampsim.work.steps.step import Phase, Step
from ampsim.work.steps.work_plan import work_steps

WORDS = [str(each) for each in Mount if each is not Mount.CONNECTOR] + ["connector J4"]


@lru_cache(maxsize=1)
def tables() -> dict[str, Any]:
    read = tomllib.loads((models() / "amps" / "workshop-a.toml").read_text("utf-8"))
    return {key: value for key, value in read.items() if key != "mounting"}


def mounted(**told: str) -> Amp:
    return parse_amp(tables() | {"mounting": told}, "mine.toml")


def steps_of(amp: Amp, *edits: dict[str, Any], **more: Any) -> list[Step]:
    mod = parse_mod({"name": "trial", "reason": "A trial.", "edits": list(edits)} | more)
    return list(iron_steps(amp, apply_mods(amp, mod)))


def how(steps: list[Step], words: str) -> str:
    return " ".join(next(step for step in steps if words in step.do).how)


# In files -------------------------------------------------------------------------------------------------------------


@given(words=st.sampled_from(WORDS))
def test_words_are_read_and_written_the_same(words: str) -> None:
    assert parse_mounting(words).words == words
    amp = mounted(default=words, R3="tag strip", V1="socket")
    found = {name: mounting_of(amp, name) for name in ("R4", "R3", "V1A", "V1B", "V4", "R101")}
    assert {name: each.words if each else "" for name, each in found.items()} == {
        "R4": words, "R3": "tag strip", "V1A": "socket", "V1B": "socket", "V4": "", "R101": ""}  # fmt: skip


@pytest.mark.parametrize(
    ("told", "words"),
    [
        ({"R3": "board, trough hole"}, "mine.toml: mounting.R3: 'board, trough hole' is no way .* board, through hole"),
        ({"R999": "panel"}, "mine.toml: mounting.R999: no part of this amp"),
        ({"defalt": "panel"}, "mine.toml: mounting.defalt: .* default, pots"),
        ({"R3": ["panel"]}, "mine.toml: mounting.R3: \\['panel'\\] is no way to mount a part; nearest: panel"),
        ({"R3": "connector"}, "mine.toml: mounting.R3: 'connector' .*connector J4"),
        ({"R3": "connector 4"}, "mine.toml: mounting.R3: 'connector 4'"),
    ],
)
def test_what_says_no_mounting_is_refused_by_name(told: dict[str, Any], words: str) -> None:
    with pytest.raises(DescriptionError, match=words):
        mounted(**told)


def test_a_part_says_it_beside_its_value_once() -> None:
    parts = tables()["parts"]
    given = {"value": parts["R3"], "mounted": "tag strip"}
    amp = parse_amp(tables() | {"parts": parts | {"R3": given}}, "mine.toml")
    assert (mounting_of(amp, "R3"), amp.parts) == (parse_mounting("tag strip"), load_amp("workshop-a").parts)
    pot = parse_amp(tables() | {"parts": parts | {"P1": parts["P1"] | {"mounted": "panel"}}}, "mine.toml")
    assert mounting_of(pot, "P1") == parse_mounting("panel")
    with pytest.raises(DescriptionError, match=r"mounting.R3: parts.R3 says tag strip; say it once"):
        parse_amp(tables() | {"parts": parts | {"R3": given}, "mounting": {"R3": "panel"}}, "mine.toml")
    with pytest.raises(DescriptionError, match=r"mine.toml: parts.R3.mounted: 'glued' is no way"):
        parse_amp(tables() | {"parts": parts | {"R3": given | {"mounted": "glued"}}}, "mine.toml")


def test_a_job_says_it_over_the_amp_file(tmp_path: Path) -> None:
    begin_job(tmp_path / "job", "workshop-a", ["cathode-switch"])
    record = read_record(tmp_path / "job")
    told = change_entry(change_entry(record, "mounting.R3", "tag strip"), "mounting.pots", "panel, on board")
    save_record(told, tmp_path / "job")
    kept = read_record(tmp_path / "job")
    assert dict(kept.mounting) == {"R3": "tag strip", "pots": "panel, on board"}
    found = open_job(kept, tmp_path / "job")
    for amp in (found.stock, found.modded):
        names = [mounting_of(amp, name) for name in ("R3", "R4", "P1")]
        assert [each.words if each else "" for each in names] == ["tag strip", "board, turret", "panel, on board"]
    assert change_entry(kept, "mounting.R3", None).mounting == (("pots", "panel, on board"),)
    with pytest.raises(DescriptionError, match=r"job.toml: mounting.R999: no part of this amp"):
        open_job(change_entry(kept, "mounting.R999", "panel"), tmp_path / "job")
    with pytest.raises(DescriptionError, match=r"mounting.R3: 'glued'"):
        change_entry(kept, "mounting.R3", "glued")


@given(lot=st.lists(st.sampled_from(WORDS), min_size=5, max_size=9))
def test_no_circuit_feels_how_its_parts_are_mounted(lot: list[str]) -> None:
    names = list(tables()["parts"])
    amp = mounted(**{name: lot[number % len(lot)] for number, name in enumerate(names)})
    plain = replace(amp, mounting=())
    assert amp != plain
    first, second = (
        write(build_circuit(each), each.setting({}), OperatingPoint(), ("speaker",)) for each in (amp, plain)
    )
    assert (first.form, first.values) == (second.form, second.values)


# In the plan ----------------------------------------------------------------------------------------------------------

NEW = {"replace": "R3", "with": "150k"}


@pytest.mark.parametrize(
    ("words", "sign"),
    [
        ("board, through hole", "clear both holes"),
        ("board, surface mount", "both ends at once"),
        ("board, turret", "unhook"),
        ("board, eyelet", "eyelet"),
        ("tag strip", "tags"),
        ("point to point", "valve socket"),
        ("connector J4", "connector J4: unplug by the body"),
        ("", "How R3 is mounted is not said: look first"),
    ],
)
def test_the_plan_follows_how_a_part_is_mounted(words: str, sign: str) -> None:
    amp = mounted(R3=words) if words else mounted()
    found = steps_of(amp, NEW)
    assert sign in how(found, "Take out R3")
    lifted = [step.do for step in found if "board" in step.do]
    on_board = words in ("board, through hole", "board, surface mount")
    assert lifted == (["Lift the board, once for all: R3.", "Put the board back."] if on_board else [])


def test_a_part_across_another_is_soldered_from_above_and_the_board_stays() -> None:
    found = steps_of(mounted(default="board, through hole"), {"fit": "C161", "across": "R4"}, parts={"C161": "1u"})
    assert not any("board" in step.do for step in found)
    assert "from above" in how(found, "Fit C161")


def test_the_board_is_up_from_the_first_part_that_comes_out_to_the_last_wire() -> None:
    amp = mounted(default="board, through hole", pots="panel")
    parts = {"R161": "1M", "P161": {"track": "100k", "control": "less"}}
    edits = [NEW, {"fit": "R161", "in_series_at": "R5.1"}, {"fit": "P161", "in_series_at": "R20.1"}]
    found = steps_of(amp, *edits, parts=parts)
    words = [step.do for step in found]
    assert words[0] == "Lift the board, once for all: R3, R5, R20." or words[0].startswith("Lift the board")
    assert words[-1] == "Put the board back."
    assert "Lift the leg R5.1 out of its hole" in "\n".join(words)
    order = [step.phase for step in found]
    assert order == sorted(order, key=list(Phase).index)


def test_a_track_is_cut_on_a_board_and_a_wire_elsewhere() -> None:
    cut = {"cut": ["R4.2", "ground"]}
    bridge = {"fit": "R161", "between": ["R4.2", "ground"]}
    for words, sign in (("board, through hole", "may be a track"), ("board, turret", "spliced again")):
        assert sign in how(steps_of(mounted(default=words), cut, bridge, parts={"R161": "10"}), "Cut the wire")


def test_every_amp_that_comes_along_says_how_each_of_its_parts_is_mounted() -> None:
    for path in (models() / "amps").glob("*.toml"):
        amp = load_amp(path)
        if amp.mounting:
            wired = build_circuit(amp)
            plugged = {each.designator for each in wired.elements if each.stage in plugged_stages(wired)}
            assert {part.designator for part in amp.parts} - amp.mounting_by_part.keys() == plugged


def test_what_is_mounted_alike_is_explained_once() -> None:
    stock = load_amp("workshop-a")
    edits = [{"replace": "R3", "with": "150k"}, {"replace": "R4", "with": "1k"}]
    plan = work_steps(stock, apply_mods(stock, parse_mod({"name": "trial", "reason": "A trial.", "edits": edits})))
    told = [" ".join(step.how) for step in plan.steps if step.phase == "remove"]
    assert "unhook its leads" in told[0]
    assert told[1] == "R4 (board, turret): as R3."


def test_check_says_how_parts_are_mounted_and_of_which_nothing_is_said() -> None:
    told = describe_amp(mounted(pots="panel", R3="tag strip"))
    assert "panel: P1, P2, P3" in told
    assert "tag strip: R3" in told
    assert "not said: V1A" in told
    assert "Mounted" not in describe_amp(mounted())
