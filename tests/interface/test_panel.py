"""The live panel without a browser: what it sends must be what a fresh call in Python draws and measures."""

from __future__ import annotations

import base64
import errno
import os
import re
import threading
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from ampsim.measures.margins import margin_table
from ampsim.measures.sweep import gain_at
from ampsim.pictures.export import svg, svg_element
from ampsim.pictures.moving import move
from ampsim.pictures.overlay import overlay_curves, overlay_picture
from ampsim.simulation.facts import VALVES, get, put

pytest.importorskip("anywidget", reason="the extra 'notebooks' is not installed")

from ampsim import apply_mods, job, simulate
from ampsim.base.e_series import preferred_values
from ampsim.base.errors import AmpsimError, DescriptionError
from ampsim.circuit.build import circuit_at
from ampsim.circuit.positions import coord_name
from ampsim.circuit.tapers import track_fraction
from ampsim.circuit.values import value_of, with_values
from ampsim.interface.panel import Panel, explore, open_panel
from ampsim.interface.panel.background import BackgroundTask
from ampsim.interface.panel.picture import bias_rows
from ampsim.interface.panel.simulator import AS_SET
from ampsim.library import loader
from ampsim.library.files import models
from ampsim.pictures.moving_svg import MovingSvg
from ampsim.simulation.analyses import FrequencySweep, OperatingPoint
from ampsim.simulation.loop_gain import loop_gain

MOVING = ("stock-0", "modded-0", "change-0", "between", "change-area")
JOB = loader.load_audition("bright-cathode-depth")
AT_REST: list[tuple[Any, ...]] = []  # what the panel told when it was brought to rest last


@pytest.fixture(scope="module")
def shared() -> Panel:
    return explore(JOB.stock, JOB.modded, values={"C101": ("47p", "22n", "E6")})


@pytest.fixture
def panel(shared: Panel) -> Iterator[Panel]:
    """The panel as drawn and at rest; brought there only where the test before left it elsewhere, for it takes long."""
    shared._keeps = False
    drawn = {dial.key: dial.drawn for dial in shared._state.dials}
    if shared._state.held or not shared.at == shared._state.at == drawn or [told(shared)] != AT_REST:
        shared._state.held = []
        shared.at = drawn
        shared._redraw()
        AT_REST[:] = [told(shared)]
    yield shared
    shared.cancel_wave()


def told(panel: Panel) -> tuple[Any, ...]:
    """All that the browser was told of this position."""
    return panel.dials, panel.drawing, panel.frames, panel.curves, panel.tables, panel.held


def step(panel: Panel, key: str, to: int) -> None:
    """Turn a dial as the browser does: a new mapping of steps."""
    panel.at = {**panel.at, key: to}


def rest(panel: Panel) -> None:
    """Say that nothing has moved for a moment, as the browser does."""
    ask(panel, "rest")


def ask(panel: Panel, do: str, words: str = "", **steps: int) -> None:
    """Press a button, as the browser does."""
    panel._on_button(None, {"do": do, "with": words, "at": {**panel.at, **steps}}, [])


def shown_paths(panel: Panel) -> dict[str, str]:
    """The paths a reader of the last messages has on the screen."""
    return dict(panel.curves["paths"])


def fresh_paths(panel: Panel) -> dict[str, str]:
    """The paths of a fresh simulation and a fresh drawing with the limits that are on the screen."""
    amp = with_values(JOB.modded, panel.part_values)
    response = simulate([JOB.stock, amp], FrequencySweep(20.0, 20e3, 40), [panel.position], [panel.listen_at])
    # The settings stand on the controls, not in the picture's words.
    response = response.drop_vars([coord_name(each) for each in panel.position]).assign_coords(position=[AS_SET])
    picture = overlay_picture(response, panel.listen_at)
    for axes, live in zip(picture.axes, panel._state._picture.axes, strict=True):
        axes.set_ylim(live.get_ylim())
    text = svg(picture)
    return {gid: re.search(rf'<g id="{gid}">\s*<path d="([^"]*)"', text)[1] for gid in MOVING}


# Dials --------------------------------------------------------------------------------------------------------------


def test_a_knob_runs_from_0_to_10_with_the_resistance_of_its_taper(panel: Panel) -> None:
    gain = next(dial for dial in panel.dials if dial["key"] == "knob gain")
    assert (gain["texts"][0], gain["texts"][50], gain["texts"][100]) == ("0", "5", "10")
    assert (gain["notes"][0], gain["notes"][50], gain["notes"][100]) == ("0 of 1M", "150k of 1M", "1M of 1M")
    assert track_fraction("audio 15 %", 0.5) == pytest.approx(0.15)


def test_every_control_of_both_amps_is_on_the_panel(panel: Panel) -> None:
    names = {dial["name"] for dial in panel.dials if dial["kind"] in ("knob", "switch")}
    assert names == set(JOB.stock.controls) | set(JOB.modded.controls)
    assert panel.position == {**JOB.stock.setting({}), **JOB.modded.setting({})}


def test_a_part_steps_through_its_series_and_keeps_its_own_value(panel: Panel) -> None:
    texts = next(dial for dial in panel.dials if dial["key"] == "part C101")["texts"]
    assert len(texts) == len(preferred_values("E6", 47e-12, 22e-9)) + 1  # 120p belongs to E12
    assert (texts[0], texts[-1]) == ("47p", "22n")
    assert "120p" in texts


@pytest.mark.parametrize(
    ("values", "words"),
    [
        ({"C999": ("47p", "22n", "E6")}, "C999"),
        ({"V1A": ("47p", "22n", "E6")}, "V1A"),
        ({"C101": ("47p", "22n", "E7")}, "E7"),
        ({"C101": ("22n", "47p", "E6")}, "least"),
        ({"C101": "47p"}, "E6"),
        ({"C101": ("47k", "22n", "E6")}, "47k"),
    ],
)
def test_values_that_make_no_sense_are_refused(values: Any, words: str) -> None:
    with pytest.raises(DescriptionError, match=words):
        explore(JOB.stock, JOB.modded, values=values)


def test_values_reach_parts_that_a_mod_puts_in_place() -> None:
    mod = loader.load_mod("feedback-resistor")
    amp = apply_mods(JOB.stock, mod)
    designator = next(edit.part for edit in mod.edits if edit.action == "replace")
    assert value_of(amp, designator) != value_of(JOB.stock, designator)
    assert value_of(with_values(amp, {designator: 12e3}), designator) == 12e3


def test_where_a_switch_puts_in_another_part_the_panel_says_what_is_in_circuit() -> None:
    positions = {"a": [], "b": [{"replace": "R3", "with": "150k"}], "c": [{"lift": "C5"}]}
    switch = {"designator": "S9", "control": "tried", "positions": positions}
    mod = loader.parse_mod({"name": "tried loads", "reason": "trial", "switches": [switch]})
    stock = loader.load_amp("workshop-a")
    values = {"R3": ("47k", "470k", "E6"), "C5": ("100p", "1n", "E6")}
    panel = explore(stock, apply_mods(stock, mod), values=values)
    state, seen = panel._state, {}
    for at, ohms in (("b", 47e3), ("b", 470e3), ("a", 47e3), ("a", 470e3)):
        panel.turn({"tried": at}, {"R3": ohms})
        seen[at, ohms] = (readout(panel, "part R3"), state.in_words(), panel.response["voltage"].values)
        amp = state.simulator.amp_at(state.here())
        assert circuit_at(amp, panel.position).parts["R3"].value == (150e3 if at == "b" else ohms)
    assert seen["b", 47e3][:2] == seen["b", 470e3][:2] == (("150k", "by the switch tried"), "tried b")
    np.testing.assert_array_equal(seen["b", 47e3][2], seen["b", 470e3][2])
    assert seen["a", 47e3][:2] == (("47k", ""), "R3 47k")
    assert seen["a", 470e3][:2] == (("470k", ""), "R3 470k")
    assert not np.array_equal(seen["a", 47e3][2], seen["a", 470e3][2])
    panel.turn({"tried": "c"}, {"C5": 1e-9})
    assert readout(panel, "part C5") == ("1n", "not in circuit")
    assert state.in_words() == "tried c, R3 470k"


def readout(panel: Panel, key: str) -> tuple[str, str]:
    """What the browser writes beside a slider: its text and its note."""
    dial = next(each for each in panel.dials if each["key"] == key)
    others = [each for each in dial["switched"] if panel.at[each["key"]] == each["step"]]
    other = others[-1] if others else {"text": "", "note": ""}
    step = panel.at[key]
    return other["text"] or dial["texts"][step], other["note"] or dial["notes"][step]


# Curves -------------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    "steps",
    [
        {"knob depth": 70, "switch cathode": 1},
        {"knob gain": 3, "switch bright": 2, "part C101": 15},
        {"switch bright": 1, "part C101": 17, "knob gain": 20, "knob treble": 0},
        {"knob gain": 0},
        {"place listen at": 3},
    ],
)
def test_what_is_sent_is_what_a_fresh_drawing_shows(panel: Panel, steps: dict[str, int]) -> None:
    for key, to in steps.items():
        step(panel, key, to)
    assert panel.curves["of"] == panel.at
    assert shown_paths(panel) == fresh_paths(panel)


def test_a_drag_ends_on_its_last_value_with_the_drawing_that_was_sent(panel: Panel) -> None:
    drawings = set()
    for to in (*range(50, 101, 2), *range(100, -1, -2), *range(34)):
        step(panel, "knob gain", to)
        drawings.add(panel.drawing)
        assert shown_paths(panel).keys() == set(MOVING)
    assert shown_paths(panel) == fresh_paths(panel)
    assert len(drawings) < 15  # of 111 moves: the others patch
    rest(panel)
    assert shown_paths(panel) == fresh_paths(panel)


def test_a_template_holds_the_text_of_a_fresh_drawing() -> None:
    def drawn(position: dict[str, Any]) -> Any:
        return simulate([JOB.stock, JOB.modded], FrequencySweep(), [position], ["speaker"])

    first, second = drawn({"cathode": "6k8"}), drawn({"cathode": "2k7 and 1u"})
    curves = overlay_curves(second)
    template = MovingSvg(overlay_picture(first), overlay_curves(first))
    moved = overlay_picture(first)
    move(moved, curves)
    fresh = svg_element(moved)
    patched = template.svg(template.paths(curves))
    # The id is made of the text that was drawn first; all the rest is equal.
    names = [re.search(r'id="(ampsim-\w+)"', text)[1] for text in (patched, fresh)]
    assert patched.replace(names[0], names[1]) == fresh


def test_a_template_refuses_curves_the_picture_lacks() -> None:
    response = simulate([JOB.stock, JOB.modded], FrequencySweep(), nodes=["speaker"])
    with pytest.raises(DescriptionError, match="modded-7"):
        MovingSvg(overlay_picture(response), {"modded-7": np.zeros((2, 2))})


def test_the_stock_amp_is_not_simulated_where_it_did_not_move(panel: Panel, monkeypatch: pytest.MonkeyPatch) -> None:
    asked: list[Any] = []

    def watched(amps: Any, *rest: Any, **more: Any) -> Any:
        asked.append(amps)
        return simulate(amps, *rest, **more)

    monkeypatch.setattr("ampsim.interface.panel.simulator.simulate", watched)
    step(panel, "knob depth", 33)
    step(panel, "knob gain", 91)
    step(panel, "knob depth", 34)
    kinds = [len(amps) if isinstance(amps, list) else 1 for amps in asked]
    assert kinds == [1, 2, 1]


def test_a_position_without_an_answer_shows_no_old_curve(panel: Panel, monkeypatch: pytest.MonkeyPatch) -> None:
    def broken(*_: Any, **__: Any) -> Any:
        raise AmpsimError("no convergence")

    step(panel, "knob depth", 50)
    rest(panel)
    with monkeypatch.context() as patch:
        patch.setattr("ampsim.interface.panel.simulator.simulate", broken)
        step(panel, "knob depth", 51)
        assert panel.curves == {"of": panel.at, "problem": "no convergence"}
        rest(panel)
        assert panel.tables["problem"] == "no convergence"
    # An engine may fail once: where nothing moves any more the page asks again.
    rest(panel)
    assert "problem" not in panel.curves
    assert "problem" not in panel.tables
    assert panel.curves["of"] == panel.at
    assert shown_paths(panel) == fresh_paths(panel)


def test_what_moves_the_source_alone_leaves_the_curves_and_what_ngspice_said(panel: Panel) -> None:
    step(panel, "knob depth", 20)
    before = panel.curves
    step(panel, next(dial.key for dial in panel._state.dials if dial.kind == "level"), 2)
    assert panel.curves == {**before, "of": panel.at} != before


# Tables, held positions ---------------------------------------------------------------------------------------------


def test_the_table_gives_gains_and_corners_of_the_same_call_in_python(panel: Panel) -> None:
    step(panel, "switch cathode", 2)
    rest(panel)
    response = simulate([JOB.stock, JOB.modded], FrequencySweep(20.0, 20e3, 40), [panel.position], ["speaker"])
    levels = gain_at(response, [82.0, 1000.0]).isel(position=0).values
    head, stock, modded, change = panel.tables["gains"]
    assert head[1] == "82 Hz"
    assert float(stock[1]) == pytest.approx(levels[0, 0], abs=0.051)
    assert float(modded[head.index("1 kHz")]) == pytest.approx(levels[1, 1], abs=0.051)
    assert float(change[1]) == pytest.approx(levels[1, 0] - levels[0, 0], abs=0.051)


def test_the_bias_table_names_what_a_position_moves(panel: Panel) -> None:
    assert len(panel.tables["bias"]) == 1
    step(panel, "switch cathode", 1)
    rest(panel)
    assert {row[0] for row in panel.tables["bias"][1:]} >= {"V1B 12AX7"}
    assert not any(row[0].startswith("V2A") for row in panel.tables["bias"])


def test_a_valve_over_its_limit_is_said_so_though_nothing_moved() -> None:
    response = simulate([JOB.stock, JOB.modded], OperatingPoint())
    facts = get(response, VALVES)
    for variant in facts.values():
        variant["V4"].limits["plate_watts"] = 1.0
    rows = bias_rows(response.assign_attrs(put(VALVES, facts)))
    assert [row[-1].split(":")[0] for row in rows[1:]] == ["over the plate dissipation limit"] * 2


def test_held_positions_are_lines_and_rows(panel: Panel) -> None:
    step(panel, "switch bright", 1)
    panel.hold("sparkle")
    before = panel.drawing
    step(panel, "switch bright", 0)
    panel.hold()
    assert [each["name"] for each in panel.held] == ["sparkle", "as drawn"]
    assert panel.drawing != before
    assert [row[0] for row in panel.tables["gains"][4:]] == ["1 sparkle", "2 as drawn"]
    with pytest.raises(DescriptionError, match="sparkle"):
        panel.hold("sparkle")
    panel.drop("sparkle")
    assert [each["name"] for each in panel.held] == ["as drawn"]
    panel.clear()
    assert panel.held == []


def test_at_most_eight_positions_are_held(panel: Panel) -> None:
    for number in range(8):
        panel.hold(f"number {number}")
    ask(panel, "hold", "one more")
    assert "8 positions" in panel.said
    assert len(panel.held) == 8


def test_back_to_the_drawing_keeps_what_is_held(panel: Panel) -> None:
    panel.turn({"gain": 0.333, "bright": "120p"}, {"C101": 123e-12})
    assert panel.position["gain"] == 0.333  # between the steps of the knob, and kept
    assert panel.part_values == {"C101": 123e-12}
    panel.hold("here")
    panel.as_drawn()
    assert panel.position == JOB.modded.setting({})
    assert len(panel.held) == 1


@pytest.mark.parametrize(
    ("position", "values", "words"),
    [
        ({"gian": 0.3}, {}, "gain"),
        ({"gain": 3}, {}, "rotation"),
        ({"bright": "121p"}, {}, "120p"),
        ({}, {"C102": 1e-9}, "C101"),
    ],
)
def test_turning_what_is_not_there(panel: Panel, position: Any, values: Any, words: str) -> None:
    with pytest.raises(DescriptionError, match=words):
        panel.turn(position, values)


def test_a_button_cannot_overtake_a_move(panel: Panel) -> None:
    ask(panel, "hold", "late", **{"knob gain": 12})
    assert panel.position["gain"] == 0.12
    assert panel._state.held[0].settings["gain"] == 0.12
    assert panel.curves["of"]["knob gain"] == 12


SENT_STEPS: tuple[Any, ...] = (
    {"knob gain": 10**9},
    {"knob gain": -1},
    {"knob gain": "3"},
    {"knob gain": 3.5},
    {"knob gain": True},
    {"knob gain": None},
    {"knob gain": [3]},
    {"knob nothing": 1},
    {"": {}},
    ["knob gain"],
    "knob gain",
    None,
    7,
)


@pytest.mark.parametrize("sent", SENT_STEPS, ids=repr)
@pytest.mark.parametrize("way", ["state", "button"])
def test_steps_that_the_panel_does_not_have_change_nothing(panel: Panel, sent: Any, way: str) -> None:
    step(panel, "knob gain", 30)
    before, shown = dict(panel.at), dict(panel.curves)
    if way == "state":
        panel.set_state({"at": sent})
    else:
        panel._on_button(None, {"do": "drawn", "with": "", "at": sent}, [])
    assert "nothing was changed" in panel.said
    assert (panel.at, panel._state.at, panel.curves) == (before, before, shown)
    panel.set_state({"at": {"knob gain": 31}})
    assert panel.position["gain"] == 0.31
    assert panel.at == {**before, "knob gain": 31} == panel.curves["of"]


@pytest.mark.parametrize(
    "sent",
    [
        None,
        [],
        "hold",
        {},
        {"do": "hodl"},
        {"do": ["hold"]},
        {"do": "hold", "with": 7},
        {"do": "save", "with": "x" * 2000},
    ],
    ids=repr,
)
def test_buttons_that_the_panel_does_not_have_change_nothing(panel: Panel, sent: Any) -> None:
    before = dict(panel.at)
    panel._on_button(None, sent, [])
    assert "nothing was changed" in panel.said
    assert panel.at == before
    assert not panel.held


JUNK = st.recursive(
    st.none() | st.booleans() | st.integers() | st.floats() | st.text(max_size=20),
    lambda inner: st.lists(inner, max_size=3) | st.dictionaries(st.text(max_size=12), inner, max_size=3),
    max_leaves=8,
)
KEYS = st.sampled_from(("knob gain", "knob treble", "switch bright", "part C101", "place", "level", "knob x"))
STEPS = st.dictionaries(KEYS, st.integers(-3, 130) | JUNK, max_size=4)
# Not those that start long work or write files.
BUTTONS = st.fixed_dictionaries(
    {}, optional={"do": st.sampled_from(("rest", "hold", "drop", "clear", "drawn", "hodl")) | JUNK,
                  "with": st.text(max_size=60) | JUNK, "at": STEPS | JUNK},
)  # fmt: skip


@given(st.lists(st.tuples(st.booleans(), BUTTONS | JUNK), max_size=4))
@settings(
    deadline=None, max_examples=15, suppress_health_check=[HealthCheck.function_scoped_fixture, HealthCheck.too_slow]
)
def test_whatever_a_page_sends_the_panel_stands_where_it_says(panel: Panel, sent: list[tuple[bool, Any]]) -> None:
    for as_state, content in sent:
        if as_state:
            panel.set_state({"at": content.get("at") if isinstance(content, dict) else content})
        else:
            panel._on_button(None, content, [])
        assert panel.at == panel._state.at == panel.curves["of"]
        assert all(0 <= panel.at[dial.key] < len(dial.values) for dial in panel._state.dials)
        assert len(panel.held) == len(panel._state.held) <= 8
    panel.clear()


def test_the_browser_sets_steps_alone(panel: Panel) -> None:
    for number, name in enumerate(("dials", "drawing", "curves", "tables", "held", "wave", "said", "file")):
        before = getattr(panel, name)
        panel.set_state({name: type(before)(), "at": {"knob gain": 12 + number}})
        assert panel.position["gain"] == pytest.approx(0.12 + 0.01 * number)
        if name in ("dials", "held", "wave", "file"):
            assert getattr(panel, name) == before
        assert panel.drawing
        assert panel.curves["of"] == panel.at
    rest(panel)
    assert panel.tables["of"] == panel.at


# Job file -----------------------------------------------------------------------------------------------------------


def test_positions_come_back_from_a_job_file(panel: Panel, tmp_path: Path) -> None:
    path = tmp_path / "bench.toml"
    panel.turn({"gain": 0.3, "bright": "390p", "depth": 0.123}, {"C101": 33e-9})
    panel.hold('quoted "name" \\ and é')
    panel.turn({"gain": 0.7})
    ask(panel, "save", str(path))
    assert panel.said == "Saved to bench.toml."
    again = explore(JOB.stock, JOB.modded, values={"C101": ("47p", "22n", "E6")}, job=path)
    assert again.position == panel.position
    assert again.part_values == panel.part_values
    assert again.held == panel.held
    assert again._state.held == panel._state.held


def test_a_folder_that_was_moved_is_missed_and_positions_stay(panel: Panel, tmp_path: Path) -> None:
    for lost in (tmp_path / "job", tmp_path / "job" / "positions.toml"):
        ask(panel, "hold", "kept")
        ask(panel, "save", str(lost))
        assert "not saved" in panel.said
        assert "still on the panel" in panel.said
        assert not (tmp_path / "job").exists()
        assert [each["name"] for each in panel.held] == ["kept"]
        ask(panel, "save", str(tmp_path / "elsewhere.toml"))
        assert panel.said == "Saved to elsewhere.toml."
        panel._keeps = False
        ask(panel, "clear")


@pytest.mark.parametrize("name", ["x" * 300 + ".toml", "x" * 300 + "/a.toml", "a\0b.toml", "\u00e4" * 128 + ".toml"])
@pytest.mark.parametrize("button", ["save", "read"])
def test_a_name_that_no_file_can_have_is_said(panel: Panel, button: str, name: str) -> None:
    before, asked = panel.file, panel.answered
    ask(panel, button, name)
    assert "too long" in panel.said or "cannot be used" in panel.said
    assert (panel.file, panel._keeps, panel.answered) == (before, False, asked + 1)


def test_reading_a_job_without_positions_drops_nothing(panel: Panel, tmp_path: Path) -> None:
    path = tmp_path / "fresh.toml"
    path.write_text('name = "fresh"\namp = "workshop-a"\n', "utf-8")
    ask(panel, "hold", "dear")
    before = panel.at
    ask(panel, "read", str(path))
    assert "no positions" in panel.said
    assert ([each["name"] for each in panel.held], panel.at) == (["dear"], before)


def test_the_rest_of_a_job_file_stays_as_it_was(panel: Panel, tmp_path: Path) -> None:
    path = tmp_path / "job.toml"
    text = (models() / "jobs" / "bright-cathode-depth.toml").read_text("utf-8")
    path.write_text(f"# a remark\n{text}", "utf-8")
    for gain in (0.1, 0.2):
        panel.turn({"gain": gain})
        panel.save(path)
    found = path.read_text("utf-8")
    assert found.startswith(f"# a remark\n{text.rstrip()}")
    assert found.count("[[positions]]") == 1
    assert "0.2" in found.rsplit("[[positions]]", 1)[1]


def test_what_stands_below_the_mark_is_not_thrown_away(panel: Panel, tmp_path: Path) -> None:
    path = tmp_path / "job.toml"
    panel.save(path)
    text = path.read_text("utf-8") + '\n[compare]\ntitle = "mine"\n'
    path.write_text(text, "utf-8")
    with pytest.raises(DescriptionError, match="would be lost"):
        panel.save(path)
    assert path.read_text("utf-8") == text


def test_a_file_that_is_no_job_is_left_alone(panel: Panel, tmp_path: Path) -> None:
    path = tmp_path / "other.toml"
    path.write_text('title = "something else"\n', "utf-8")
    ask(panel, "save", str(path))
    assert "no job file" in panel.said
    assert path.read_text("utf-8") == 'title = "something else"\n'


def test_a_full_disk_leaves_the_old_file(panel: Panel, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    path = tmp_path / "bench.toml"
    panel.save(path)
    before = path.read_bytes()

    def full(_: int) -> None:
        raise OSError(errno.ENOSPC, os.strerror(errno.ENOSPC))

    monkeypatch.setattr("ampsim.base.files.os.fsync", full)
    ask(panel, "save", str(path))
    assert panel.said == f"{path}: cannot be written: No space left on device; the old file is as it was"
    assert path.read_bytes() == before
    assert [each.name for each in tmp_path.iterdir()] == ["bench.toml"]


@pytest.mark.parametrize(
    ("text", "words"),
    [
        ('[[positions]]\nname = "x"\nat = { gian = 0.3 }', "gain"),
        ('[[positions]]\nname = "x"\nat = { gain = 3 }', "0 to 1"),
        ('[[positions]]\nname = "x"\nvalues = { C101 = "4k7" }', "capacitance"),
        ('[[positions]]\nname = "x"\nvalues = { V1A = "4k7" }', "V1A"),
        ("[[positions]]\nat = { gain = 0.3 }", "name"),
        ('[[positions]]\nname = "x"\nwhen = 1', "when"),
        ("positions = 3", "list of tables"),
    ],
)
def test_mistakes_in_a_job_file_are_named(panel: Panel, tmp_path: Path, text: str, words: str) -> None:
    path = tmp_path / "bench.toml"
    path.write_text(text, "utf-8")
    ask(panel, "read", str(path))
    assert words in panel.said


def test_a_panel_with_a_job_file_keeps_itself(tmp_path: Path) -> None:
    path = tmp_path / "bench.toml"
    panel = explore(JOB.stock, JOB.modded, job=path)
    ask(panel, "hold", "one")
    step(panel, "knob gain", 25)
    rest(panel)
    again = explore(JOB.stock, JOB.modded, job=path)
    assert again.position["gain"] == 0.25
    assert [each["name"] for each in again.held] == ["one"]


def test_a_panel_opens_from_a_job_where_it_compares_and_then_where_it_was_left(tmp_path: Path) -> None:
    compare = {"title": "at home", "at": {"bright": "120p", "gain": 0.3}}
    made = job.change_entry(job.begin_job(tmp_path / "job", "workshop-a", ["bright-switch"]), "compare", compare)
    job.save_record(made, tmp_path / "job")
    panel = open_panel(tmp_path / "job")
    assert {name: panel.position[name] for name in compare["at"]} == compare["at"]
    assert job.read_record(tmp_path / "job").positions == ()
    step(panel, "knob gain", 60)
    rest(panel)
    again = open_panel(tmp_path / "job").position
    assert (again["gain"], again["bright"]) == (0.6, "120p")


def test_a_panel_of_a_job_that_does_not_say_where_to_compare_stands_where_all_that_was_added_works(
    tmp_path: Path,
) -> None:
    job.save_record(job.begin_job(tmp_path / "job", "workshop-a", ["bright-switch"]), tmp_path / "job")
    assert open_panel(tmp_path / "job").position["bright"] == "390p"


# Waveform -----------------------------------------------------------------------------------------------------------


def test_a_waveform_says_what_it_belongs_to(panel: Panel) -> None:
    at = dict(panel.at)
    panel.compute_wave()
    assert panel.wave["state"] == "computing"
    panel._wave_task.join(240)
    assert (panel.wave["state"], panel.wave["of"]) == ("done", at)
    assert ["waveform" in each for each in panel.wave["pictures"]] == [True, False]
    step(panel, "knob gain", 12)
    assert panel.wave["of"] != panel.at  # the page shows it as old


def test_a_waveform_inside_the_amp(panel: Panel) -> None:
    step(panel, "place listen at", 1)
    panel.compute_wave()
    panel._wave_task.join(240)
    assert panel.wave["state"] == "done", panel.wave
    assert "V1A.plate" in panel.wave["pictures"][0]


def test_a_burst_is_drawn_in_time(panel: Panel) -> None:
    step(panel, "shape shape", 1)
    step(panel, "tone frequency", 8)
    panel.compute_wave()
    panel._wave_task.join(240)
    (shown,) = panel.wave["pictures"]
    assert "burst at speaker" in shown


def test_a_cancelled_waveform_never_appears(panel: Panel) -> None:
    panel.compute_wave()
    panel.cancel_wave()
    panel._wave_task.join(240)
    assert panel.wave == {"state": "cancelled"}


def test_only_the_newest_errand_is_delivered() -> None:
    errand: BackgroundTask[int] = BackgroundTask()
    go, got = threading.Event(), []

    def slow(progress: Any) -> int:
        go.wait(240)
        progress(1, 2, "samples")
        return 1

    errand.start(slow, got.append)
    errand.start(lambda progress: 2, got.append)
    go.set()
    errand.join(240)
    assert got == [2]


@pytest.mark.filterwarnings("ignore::pytest.PytestUnhandledThreadExceptionWarning")
def test_a_fault_of_the_program_is_told_to_who_waits_for_the_answer() -> None:
    def fail(progress: Any) -> int:
        raise KeyError("V9")

    errand: BackgroundTask[int] = BackgroundTask()
    got: list[Any] = []
    errand.start(fail, got.append)
    errand.join(240)
    assert [str(each) for each in got] == ["a fault of the program, KeyError: 'V9'"]


# What a notebook stores ---------------------------------------------------------------------------------------------


def test_a_picture_stands_beside_the_widget_for_readers_without_a_kernel(panel: Panel) -> None:
    data, _ = panel._repr_mimebundle_()
    assert "application/vnd.jupyter.widget-view+json" in data
    png = base64.b64decode(data["image/png"])
    assert png.startswith(b"\x89PNG")
    assert len(png) < 150_000
    assert "as drawn" in data["text/plain"]
    assert "dB at" in data["text/plain"]


def test_the_python_is_loaded_only_when_used() -> None:
    import subprocess
    import sys

    ask_python = "import sys, ampsim.interface.panel; print('anywidget' in sys.modules, 'matplotlib' in sys.modules)"
    done = subprocess.run([sys.executable, "-c", ask_python], capture_output=True, encoding="utf-8", check=True)
    assert done.stdout.split() == ["False", "False"]


def test_the_margin_of_the_feedback_loop_is_told_live(panel: Panel) -> None:
    _, stock, modded = panel.tables["loops"]
    assert (stock[0], modded[0]) == ("stock", "modded")
    panel.turn({"depth": 1.0})
    turned = panel.tables["loops"]
    assert turned[1] == stock
    expected = margin_table(loop_gain(panel._state.simulator.modded, positions=[panel.position])).iloc[0]
    assert turned[2][2] == f"{expected['least margin [deg]']:.0f}"
    assert float(turned[2][2]) < float(modded[2])
    assert turned[2][-1] == expected["verdict"]


def test_an_amp_that_oscillates_is_marked_where_its_gain_would_stand() -> None:
    stock = loader.load_amp("workshop-a")
    edits = [{"replace": "R20", "with": "3k3"}]
    panel = explore(stock, apply_mods(stock, loader.parse_mod({"name": "too much", "reason": "r", "edits": edits})))
    rest(panel)
    assert "too much oscillates by itself near" in panel.tables["position"]
    stock_row, modded_row, change = panel.tables["gains"][1:4]
    assert modded_row[-1] == "oscillates"
    assert set(modded_row[1:-1]) == set(change[1:-1]) == {"-"}
    assert "oscillates" not in stock_row
    assert "oscillates by itself" in panel.drawing


def test_an_amp_without_a_feedback_loop_has_no_row_for_it() -> None:
    stock = loader.load_amp("workshop-b")
    modded = apply_mods(stock, loader.load_mod("feedback-with-presence"))
    rows = explore(stock, modded).tables["loops"]
    assert [row[0] for row in rows[1:]] == ["modded"]
