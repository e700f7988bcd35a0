"""A valve from a few points: what made the points is found again, every way to write them, files that are refused."""

from __future__ import annotations

import contextlib
import dataclasses
import tomllib
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from ampsim.base.errors import DescriptionError
from ampsim.bench.valves.curves import curve_families
from ampsim.bench.valves.driven import DrivenPoints
from ampsim.bench.valves.fit import FittedValve, fit_points, fit_valve
from ampsim.bench.valves.points_file import EXAMPLE, read_points
from ampsim.bench.valves.report import badly_determined, contradictions, far_off, fit_text, lacking_points
from ampsim.bench.valves.residuals import Residuals
from ampsim.circuit.valves.description import Point, Valve
from ampsim.circuit.valves.evaluation import currents, slopes
from ampsim.circuit.valves.laws import LAWS
from ampsim.circuit.valves.parsing import parse_valve
from ampsim.interface.commands.main import main
from ampsim.library.kinds import listing
from ampsim.library.loader import load_valve
from ampsim.library.valve_text import valve_text
from tests.truth import outputs, stages, valves_alone

NAMES = listing()["valves"]
CSV = "type;KT66\nlike;6L6GC\nplate [V];grid;screen;mA;screen mA;gm\n250;-15;250;85;6,3;6,3\n100;0;plate;56,4;;\n"


def perturbed(name: str, seed: int) -> Valve:
    """A valve that differs from a type in every parameter, by a tenth or so."""
    valve = load_valve(name)
    factors = np.exp(np.random.default_rng(seed).normal(0.0, 0.12, len(valve.parameters)))
    parameters = [(key, max(value * factor, 1.0) if key in ("exponent", "x") else value * factor)
                  for (key, value), factor in zip(valve.parameters, factors, strict=True)]  # fmt: skip
    return dataclasses.replace(valve, type=f"{name}-other", parameters=tuple(parameters))


def made_points(valve: Valve, grids: int = 4, plates: int = 4, fitted: bool = True) -> list[Point]:
    """Points over the range of a valve, by its own law, away from cut-off."""
    reach = valve.fit_range
    screen = None if reach.screen_volts is None else reach.screen_volts[0]
    found = []
    for plate in np.linspace(0.15, 0.9, plates) * reach.plate_volts[1]:
        for grid in np.linspace(0.0, 0.6, grids) * min(reach.grid_volts[0], -1.0):
            at = (("plate_volts", float(plate)), ("grid_volts", float(grid)))
            at += () if screen is None else (("screen_volts", screen),)
            flow = currents(valve, plate, grid, screen)
            told = {"plate current": (flow.plate, "A"), "gm": (slopes(valve, plate, grid, screen).gm, "S")}
            told |= {} if screen is None else {"screen current": (flow.screen, "A")}
            if flow.plate > 1e-4:
                row = (f"P{len(found)}", "made", "valve alone", at)
                found += [Point(*row, name, float(value), unit, fitted, "secondary")
                          for name, (value, unit) in told.items()]  # fmt: skip
    return found


@pytest.mark.parametrize("name", ["12AX7", "6L6GC", "12AU7-koren-1996", "12AX7-dempwolf-zoelzer-2011"])
def test_what_made_the_points_is_found_again(name: str) -> None:
    """Any law by its entry alone: what it predicts between the points is what made them."""
    valve = perturbed(name, 3)
    unseen = [dataclasses.replace(each, id=f"Q{each.id}") for each in made_points(valve, 3, 3, False)]
    found = fit_points(dataclasses.replace(valve, points=(*made_points(valve), *unseen)), "made.toml")
    off = [ours / each.value - 1.0 for each, ours in zip(found.points, found.values, strict=True)]
    assert np.median(np.abs(off)) < 0.01
    assert np.max(np.abs(off)) < 0.06


@pytest.mark.parametrize("name", NAMES)
def test_a_valve_written_as_text_reads_back_the_same(name: str) -> None:
    valve = load_valve(name)
    assert parse_valve(tomllib.loads(valve_text(valve)), f"{name}.toml") == valve
    hostile = dataclasses.replace(valve, source='x"\n[limits]\nplate_volts = 9\\u0041\x07')
    assert tomllib.loads(valve_text(hostile))["source"] == hostile.source


@pytest.mark.parametrize("row", ["R15", "VEF4", "S4"])
def test_points_in_circuits_are_worked_out_as_ngspice_does(row: str) -> None:
    cases = [*stages.cases(), *valves_alone.cases()]
    (case,) = (each for each in cases if each.claims[0].id == row)
    valve = next(load_valve(name) for name in NAMES if any(point.id == row for point in load_valve(name).points))
    residuals = Residuals(valve)
    values = residuals.values(np.array([value for _, value in valve.parameters]))
    theirs, seen = case.measure(), 0
    for point, ours in zip(residuals.points, values, strict=True):
        if point.id == row:
            # In ngspice 10 nF and the valve's own input capacitance (90 pF of a 12AX7) divide the signal, and what
            # leaks back through the grid's diode (20 nA at most) lifts a grid behind 1 Mohm by some millivolts.
            near = 1.2e-2 if point.quantity == "gain" else 4e-3
            assert ours == pytest.approx(theirs[point.quantity], rel=near), point.quantity
            seen += 1
    assert seen >= 2


@pytest.mark.parametrize("row", ["E3b", "VB4b", "VB14b"])
def test_driven_stages_are_worked_out_as_ngspice_does(row: str) -> None:
    """A pair with a common cathode resistor, one with fixed bias, one valve as a triode."""
    (case,) = (each for each in outputs.cases() if each.claims[0].id == row)
    valve = next(load_valve(name) for name in NAMES if any(point.id == row for point in load_valve(name).points))
    points = [point for point in valve.points if point.id == row]
    stage = DrivenPoints(LAWS[valve.law], valve.family, points)
    theirs = case.measure()
    for point, ours in zip(points, stage.values(dict(valve.parameters)), strict=True):
        assert ours == pytest.approx(theirs[point.quantity], rel=0.03), point.quantity


@pytest.mark.parametrize(
    ("name", "system"), [("12DW7-1", "12AX7"), ("12DW7-2", "12AU7"), ("6EU7", "12AX7"), ("ECL86-T", "12AX7")]
)
def test_a_valve_of_a_known_system_has_its_law(name: str, system: str) -> None:
    one, other = load_valve(name), load_valve(system)
    assert (one.law, one.parameters) == (other.law, other.parameters)
    assert not any(point.used_in_fit for point in one.points)


@given(st.binary(max_size=300), st.sampled_from(["a.csv", "a.toml"]))
@settings(max_examples=150)
def test_a_file_of_anything_is_read_or_refused(noise: bytes, name: str) -> None:
    for data in (noise, CSV.encode() + noise, noise + b"\n" + CSV.encode()):
        with contextlib.suppress(DescriptionError):
            read_points(data, name)


def points_of(text: str, name: str = "mine.csv", **options: str) -> tuple[Any, ...]:
    points = read_points(text.encode(), name, options).unfitted.points
    return tuple((each.circuit, each.conditions, each.quantity, each.value, each.used_in_fit) for each in points)


def test_every_way_to_write_points_means_the_same() -> None:
    table = """
type = "KT66"
like = "6L6GC"
points = [
  { plate = 250, grid = -15, screen = 250, mA = 85, screen_mA = 6.3, gm = 6.3 },
  { plate = 100, grid = 0, mA = 56.4 },
]
"""
    same = [
        points_of(table, "mine.toml"),
        points_of(CSV),
        points_of(CSV.replace(";", "\t")),
        points_of(CSV.replace(",", ".").replace(";", ",")),
        points_of(CSV.replace("-15", "\u221215")),
        points_of("# tester 7\n\n" + CSV),
        points_of(CSV.replace("plate [V];grid;", "Ua;-Ug1 (V);").replace("-15", "15")),
        points_of(CSV.replace(";gm", ";gm [umho]").replace("6,3\n", "6300\n")),
        points_of(CSV.replace("type;KT66\n", ""), type="KT66"),
    ]
    assert all(each == same[0] for each in same)
    assert len(same[0]) == 4


REFUSED = [
    ("type;KT66\nplate;grid;mA\n250;-2;1\n", "missing: capacitances, limits, grid_current"),
    ("plate;grid;mA\n250;-2;1\n", "missing: type, capacitances, limits"),
    ("", "missing: type, points, capacitances"),
    (CSV.replace("85", "much"), r"line 4: mA: 'much' is not a number"),
    (CSV.replace("250;-15", "1,500;-15"), r"line 4: plate: '1,500' can be read as 1500 or 1.500"),
    (CSV.replace("85", "-85"), "points\\[1\\].mA: -85.0 is not a number from 0 to 5000"),
    (CSV.replace("85", "nan"), "line 4: mA: 'nan'"),
    (CSV.replace("85", "1e300"), "mA"),
    (CSV.replace("grid;", "gird;"), "no column is headed 'gird'; nearest: grid"),
    (CSV.replace(";gm", ";plate"), "two columns are the plate"),
    (CSV.replace("plate [V];grid", "rp;mu"), "no column of plate and grid"),
    (CSV.replace("plate [V]", "plate [furlong]"), "the unit of plate is one of"),
    (CSV.replace("85;6,3;6,3", ";;"), "line 4: no figure beside the volts"),
    (CSV.replace("100;0;plate", "100;;plate"), r"points\[2\].grid: this entry is missing"),
    (CSV.replace("type;KT66", "type;KT66 $(x)"), "type"),
    (CSV.replace("like;6L6GC", "like;../6L6GC"), "like"),
    (CSV.replace("like;6L6GC", "like;6L6GX"), "nearest: 6L6GC"),
    (CSV.replace("like;6L6GC", "like;12AX7"), "a triode has no screen"),
    (CSV.replace("type;KT66", "type;KT66\nlaw;kroen 1996 pentode"), "nearest: koren 1996 pentode"),
    (CSV.replace("type;KT66", "type;KT66\nlaw;three-halves"), "one for a triode"),
    (CSV.replace("56,4", "56,4;;;;9"), "7 columns below 6 heads|8 columns below 6 heads"),
    ("\x00" * 9, "zero byte"),
]


@pytest.mark.parametrize(("text", "said"), REFUSED)
def test_what_cannot_be_read_is_refused_with_file_row_and_value(text: str, said: str) -> None:
    with pytest.raises(DescriptionError, match=said) as refusal:
        fit_valve(text.encode(), "mine.csv")
    assert str(refusal.value).startswith("mine.csv")
    assert "\n" not in str(refusal.value)


@pytest.mark.parametrize(
    ("rows", "said"),
    [
        ("250;-15;250;85;;\n", "1 figures to fit"),
        ("250;-15;250;;6;6\n300;-15;250;;6;6\n", "no plate current"),
        ("250;15;250;85;;\n250;20;250;50;;\n250;25;250;30;;\n", "leaves out the minus sign"),
    ],
)
def test_points_that_say_too_little_are_refused(rows: str, said: str) -> None:
    with pytest.raises(DescriptionError, match=said):
        fit_valve((CSV[: CSV.index("250;")] + rows).encode(), "mine.csv")


@pytest.fixture(scope="module")
def kt66() -> FittedValve:
    return fit_valve(EXAMPLE.encode(), "example.toml")


def test_the_example_can_be_fitted_and_the_same_points_give_the_same_valve(kt66: FittedValve) -> None:
    again = fit_valve(EXAMPLE.encode(), "example.toml")
    assert valve_text(again.valve) == valve_text(kt66.valve)
    assert fit_text(again) == fit_text(kt66)


def test_what_is_kept_aside_moves_nothing(kt66: FittedValve) -> None:
    moved = fit_valve(EXAMPLE.replace("mA = 56.4", "mA = 30").encode(), "example.toml")
    assert moved.valve.parameters == kt66.valve.parameters
    assert "predicted" in fit_text(moved)


def test_what_the_points_do_not_say_is_named(kt66: FittedValve) -> None:
    """One point says nothing of the knee; points over the whole plane say everything that a triode's curves show."""
    assert {"knee_volts", "knee_per_volt", "width"} <= set(badly_determined(kt66))
    assert any("knee" in each for each in lacking_points(kt66))
    assert "250 V alone" in fit_text(kt66)
    valve = perturbed("12AX7", 5)
    whole = fit_points(dataclasses.replace(valve, points=tuple(made_points(valve, 8, 8))), "made.toml")
    assert not set(badly_determined(whole)) & {"mu", "perveance", "exponent", "knee_volts"}
    assert whole.plate_known[1][3] < 0.5 < kt66.determined[7].off


def test_the_range_is_that_of_the_fitted_points(kt66: FittedValve) -> None:
    assert kt66.valve.fit_range.plate_volts == (250.0, 250.0)
    assert kt66.valve.fit_range.screen_volts == (250.0, 250.0)
    assert "taken over from 6L6GC" in valve_text(kt66.valve)
    assert kt66.borrowed == "grid current of 6L6GC"


def test_families_of_curves_show_every_published_plate_current() -> None:
    for name in NAMES:
        valve = load_valve(name)
        families = curve_families(valve, most=99)
        shown = {point.row for each in families for point in each.points}
        alone = {point.id for point in valve.points if point.circuit in ("valve alone", "triode connected")
                 and point.quantity == "plate current" and "grid_volts" in dict(point.conditions)}  # fmt: skip
        assert shown == alone
        assert all(len(each.curves) >= 2 for each in families)
        assert all(point.amps <= each.amps_end and point.plate <= each.plate_end
                   for each in families for point in each.points)  # fmt: skip


def test_the_command_writes_a_valve_that_an_amp_takes(
    tmp_path: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.chdir(tmp_path)
    Path("points.csv").write_text(CSV, "utf-8")
    assert main(["valve", "fit", "points.csv"]) == 0
    assert "May be used" in capsys.readouterr().out
    assert sorted(path.name for path in tmp_path.iterdir()) == ["KT66.png", "KT66.svg", "KT66.toml", "points.csv"]
    assert load_valve("KT66.toml").type == "KT66"
    assert main(["valve", "fit", "points.csv"]) == 1
    assert "KT66.toml is there already" in capsys.readouterr().err
    assert main(["valve", "fit"]) == 1
    assert "--example" in capsys.readouterr().err


@pytest.mark.parametrize(
    ("head", "cells"),
    [("gm [mA/V]", ("1.6", "1.25")), ("gm uS", ("1600", "1250")), ("S (umho)", ("1600", "1250")),
     ("gm", ("1600 uS", "1.25mA/V")), ("gm", ("1600\u00b5S", "1250 micromhos")), ("gm uS", ("1600", "1.25 mA/V"))],
)  # fmt: skip
def test_units_stand_in_the_head_or_in_the_cell(head: str, cells: tuple[str, str]) -> None:
    text = f"type;T\nlike;12AX7\nplate V;grid;mA;{head}\n250;-2;1200 uA;{cells[0]}\n100;-1;0,5;{cells[1]}\n"
    points = read_points(text.encode(), "units.csv").unfitted.points
    assert [point.value for point in points] == pytest.approx([1.2e-3, 1.6e-3, 0.5e-3, 1.25e-3])


@pytest.mark.parametrize("cell", ["1600 W", "1.6 mS 2", "1,600.0,1", "=1+1", "1e999"])
def test_a_unit_that_gm_does_not_have_is_named(cell: str) -> None:
    with pytest.raises(DescriptionError, match="line 4"):
        read_points(f"type;T\nlike;12AX7\nplate;grid;gm\n250;-2;{cell}\n".encode(), "units.csv")


def test_points_that_contradict_one_another_are_named() -> None:
    """Two currents at the same volts, and one whose decimal slipped: said before anything else is."""
    valve = perturbed("12AX7", 7)
    points = [point for point in made_points(valve) if point.quantity == "plate current"]
    sound = fit_points(dataclasses.replace(valve, points=tuple(points)), "made.toml")
    assert contradictions(sound) == far_off(sound) == []
    twice = dataclasses.replace(points[2], id="P99", value=3.0 * points[2].value)
    (words,) = contradictions(fit_points(dataclasses.replace(valve, points=(*points, twice)), "made.toml"))
    assert words.startswith(f"{points[2].id} and P99, plate current of")
    slipped = [*points[:3], dataclasses.replace(points[3], value=10.0 * points[3].value), *points[4:]]
    found = fit_points(dataclasses.replace(valve, points=tuple(slipped)), "made.toml")
    assert [each.split()[0] for each in far_off(found)] == [points[3].id]
    assert "Far from any curve" in fit_text(found)
