"""A finding names the settings that make it and no others; a loss that is a choice is graded as one."""

from __future__ import annotations

import tomllib
from collections.abc import Callable
from typing import Any

import numpy as np
import pytest
import xarray as xr
from hypothesis import assume, given
from hypothesis import strategies as st

from ampsim.circuit.amp import Amp
from ampsim.circuit.build import build_circuit
from ampsim.circuit.mods import apply_mods
from ampsim.circuit.output_stage import changes_output_stage, output_valves
from ampsim.circuit.positions import control_coords, position_label
from ampsim.library.files import models
from ampsim.library.loader import load_amp, load_mod, parse_amp, parse_mod
from ampsim.measures.labels import common_settings
from ampsim.simulation.facts import DRAWN, put
from ampsim.simulation.response import simulate
from ampsim.studies.findings import Finding, Grade
from ampsim.studies.headroom.simulate import headroom
from ampsim.studies.ratings.simulate import EQUAL_VALVES
from ampsim.studies.ratings.valves import worst_rows
from ampsim.studies.settings import EVERY_POSITION, in_steps, once_per_setting, positions_of
from ampsim.studies.sheet.sheet import consequences, examine

CONTROLS: dict[str, tuple[float | str, ...]] = {"a": ("one", "two", "three"), "b": ("off", "on"), "c": (0.5, 0.0, 1.0)}
DRAWN_AT = {name: values[0] for name, values in CONTROLS.items()}
ONE_AT_A_TIME: list[dict[str, float | str]] = [{}] + [
    {name: value} for name, values in CONTROLS.items() for value in values[1:]
]


def response(positions: list[dict[str, Any]]) -> xr.Dataset:
    """A response that knows its positions and nothing else."""
    coords = {"position": [position_label(each) for each in positions], **control_coords(positions)}
    return xr.Dataset(coords=coords, attrs=put(DRAWN, DRAWN_AT))


@pytest.mark.parametrize("name", ["level", "position", "variant", "node", "frequency"])
def test_a_control_may_be_called_as_a_dimension_is(name: str) -> None:
    """As knobs are: "level"; one of a filter "frequency", a switch "position"."""
    drawing = tomllib.loads((models() / "stages" / "volume.toml").read_text("utf-8"))
    drawing["parts"]["P1"]["control"] = name
    amp = parse_amp(drawing)
    wanted: list[dict[str, float | str]] = [{name: 0.1}, {name: 0.9}]
    swept = simulate(amp, positions=wanted)
    played = headroom(amp, wanted, (0.01, 0.02))
    for each in (swept, played):
        assert list(each["position"].values) == [f"{name} 1", f"{name} 9"]
        assert positions_of(each).settings == {f"{name} 1": {name: 0.1}, f"{name} 9": {name: 0.9}}
        assert common_settings(each.isel(position=[1])) == f"{name} 9"
    quiet, loud = np.abs(swept["voltage"].sel(node="speaker")).max("frequency").values[0]
    assert loud > 5.0 * quiet


def finding(position: dict[str, Any], value: float) -> Finding:
    return Finding("t", "s", "v", position_label(position), value, "V", 10.0, Grade.FINE, f"{value:g} V", "h", "o")


def tables() -> st.SearchStrategy[dict[str, dict[float | str, float]]]:
    """What each position of each control adds to a figure; a control may add nothing wherever it stands."""
    added = st.sampled_from((0.0, 0.0, 2.0, 5.0))
    return st.fixed_dictionaries(
        {name: st.fixed_dictionaries(dict.fromkeys(values, added)) for name, values in CONTROLS.items()}
    )


@given(tables(), st.booleans())
def test_every_setting_named_changes_the_figure_and_none_that_does_is_passed_over(
    added: dict[str, dict[float | str, float]], pairs: bool
) -> None:
    positions = list(ONE_AT_A_TIME)
    if pairs:
        positions += [{"a": "two", "b": "on"}, {"b": "on", "c": 1.0}]

    def figure(position: dict[str, Any]) -> float:
        return sum(added[name][value] for name, value in (DRAWN_AT | position).items())

    known = positions_of(response(positions))
    figures = {position_label(each): (figure(each),) for each in positions}
    found = once_per_setting(
        [(finding(each, figure(each)), (figure(each),)) for each in positions], response(positions)
    )
    matter = {name for name, values in added.items() if len(set(values.values())) > 1}
    for each in positions:
        told = known.settings_that_matter(position_label(each), figures)
        assert set(told) <= matter
        for name in each:
            known_there = [each | {name: value} for value in CONTROLS[name] if value != each[name]]
            if len(each) == 1:
                known_there += [{}]
            moved = any(figure(there) != figure(each) for there in known_there if there in positions)
            assert (name in told) >= moved
    for one in found:
        assert not [name for name in CONTROLS if name not in matter and f"{name} " in one.where.replace("as drawn", "")]
        assert (one.where == EVERY_POSITION) == (not matter) or matter
    assert len({(one.subject, one.where) for one in found}) == len(found)
    assert {one.value for one in found} == {figure(each) for each in positions}


@given(st.floats(1e-6, 1e6), st.floats(0.01, 0.2))
def test_a_step_is_a_share(value: float, share: float) -> None:
    assume(value > 1e-3)
    steps = in_steps(value * (1.0 + share), share, 1e-3) - in_steps(value, share, 1e-3)
    assert steps == pytest.approx(np.log1p(share) / share)
    assert in_steps(-value, share, 1e-3) == -in_steps(value, share, 1e-3)


@given(tables(), tables(), st.booleans())
def test_valves_that_are_equal_name_the_same_settings(
    one: dict[str, dict[float | str, float]], other: dict[str, dict[float | str, float]], equal: bool
) -> None:
    known = response(ONE_AT_A_TIME)
    known.attrs |= put(EQUAL_VALVES, [["V4", "V5"]] if equal else [])
    rows = [
        {"valve": valve, "quantity": "q", "state": "driven", "position": position_label(each), "value": value}
        for valve, added in (("V4", one), ("V5", other), ("V6", one))
        for each in ONE_AT_A_TIME
        for value in [10.0 + sum(added[name][at] for name, at in (DRAWN_AT | each).items())]
    ]
    first, second, alone = worst_rows(rows, known, lambda row: row["value"])
    highest = {valve: max(row["value"] for row in rows if row["valve"] == valve) for valve in ("V4", "V5")}
    assert alone["value"] == highest["V4"]
    if equal:
        assert (first["position"], first["where"]) == (second["position"], second["where"])
        assert max(first["value"], second["value"]) == max(highest.values())
    else:
        assert (first["value"], second["value"]) == (highest["V4"], highest["V5"])
        assert (first["position"], first["where"]) == (alone["position"], alone["where"])


def test_settings_given_together_are_looked_at_one_by_one() -> None:
    stock = load_amp("workshop-a")
    modded = apply_mods(stock, load_mod("bright-switch"), load_mod("depth"))
    given_together: dict[str, float | str] = {"bright": "390p", "depth": 1.0}
    found = examine(stock, modded, [given_together]).positions
    assert found == (given_together, {"depth": 1.0}, {"bright": "390p"}, {})
    alone: list[dict[str, float | str]] = [{"bright": "390p"}, {"depth": 1.0}]
    assert examine(stock, modded, alone).positions == (*alone, {})


# In circuit ----------------------------------------------------------------------------------------------------------


def idle(modded: Amp) -> Amp:
    """The amp with a switch that does what makes no difference: a megohm across a cathode resistor of 1k5."""
    switch = {
        "designator": "S801",
        "control": "idle",
        "positions": {"off": [], "on": [{"fit": "R801", "across": "R4"}]},
    }
    data = {"name": "idle", "reason": "check", "parts": {"R801": "10M"}, "switches": [switch]}
    return apply_mods(modded, parse_mod(data, "idle.toml"))


@pytest.mark.parametrize("topic", ["ratings", "headroom", "blocking", "noise", "pop", "spread"])
def test_no_finding_names_a_switch_that_makes_no_difference(topic: str) -> None:
    stock = load_amp("workshop-a")
    modded = idle(apply_mods(stock, load_mod("depth")))
    found = consequences(examine(stock, modded), [topic]).findings
    assert found
    own = ("R801", "idle")  # what the switch itself brings, and its own pop
    assert not [each.sentence for each in found if "idle" in each.where and not each.subject.startswith(own)]


def triode_switch() -> dict[str, Any]:
    """Screens to plates through resistors: half the power at home, by a switch."""
    edits = [{"lift": "R26"}, {"lift": "R27"}, {"fit": "R301", "between": ["V4.screen", "V4.plate"]},
             {"fit": "R302", "between": ["V5.screen", "V5.plate"]}]  # fmt: skip
    positions = {"full": [], "half": edits}
    return {"name": "half power", "reason": "check", "parts": {"R301": "100", "R302": "100"},
            "switches": [{"designator": "S301", "control": "power", "positions": positions}]}  # fmt: skip


def fixed_triodes() -> dict[str, Any]:
    switched = triode_switch()
    return {**switched, "switches": [], "edits": switched["switches"][0]["positions"]["half"]}


def cold_switch() -> dict[str, Any]:
    positions = {"warm": [], "cold": [{"replace": "R11", "with": "33k"}]}
    return {"name": "cold", "reason": "check",
            "switches": [{"designator": "S301", "control": "bias", "positions": positions}]}  # fmt: skip


@pytest.mark.parametrize(
    ("mod", "grade"), [(triode_switch, Grade.FINE), (fixed_triodes, Grade.NEAR), (cold_switch, Grade.NEAR)]
)
def test_a_loss_that_is_a_choice_is_no_fault(mod: Callable[[], dict[str, Any]], grade: Grade) -> None:
    """Half power by a switch is what it is for; for good, or in a stage before, it wants looking at."""
    stock = load_amp("workshop-a")
    found = consequences(examine(stock, apply_mods(stock, parse_mod(mod()))), ["headroom"]).findings
    assert max((each.grade for each in found), key=lambda each: each.worry) == grade
    lost = [each for each in found if each.value < -2.0]
    assert lost
    assert all(each.where != "as drawn" or mod is fixed_triodes for each in lost)


def test_the_output_stage_is_found_in_the_circuit() -> None:
    for name, valves in (("workshop-a", ("V4", "V5")), ("workshop-b", ("V3", "V4")), ("lesson-stage", ())):
        assert output_valves(build_circuit(load_amp(name))) == valves
    stock = load_amp("workshop-a")
    modded = apply_mods(stock, load_mod("bright-switch"), load_mod("cathode-switch"), load_mod("depth"))
    assert not any(changes_output_stage(stock, modded, each) for each in examine(stock, modded).positions)
    switched = apply_mods(stock, parse_mod(triode_switch()))
    assert [changes_output_stage(stock, switched, each) for each in ({}, {"power": "half"})] == [False, True]


@given(
    st.lists(
        st.dictionaries(st.sampled_from(["bright", "cathode", "gain"]), st.sampled_from(["low", "high"])),
        min_size=1,
        max_size=4,
        unique_by=lambda position: tuple(sorted(position.items())),
    )
)
def test_each_position_is_looked_at_once(positions: list[dict[str, float | str]]) -> None:
    stock = load_amp("workshop-a")
    looked_at = examine(stock, stock, positions).positions
    assert all(looked_at.count(each) == 1 for each in looked_at)
    fewer = [{name: at for name, at in each.items() if name != left} for each in positions for left in each]
    assert all(each in looked_at for each in fewer)
