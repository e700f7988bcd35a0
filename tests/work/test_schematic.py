"""The schematic: read back from its geometry it is the circuit, nothing lies on anything, and the sheet is used."""

from __future__ import annotations

from dataclasses import replace
from itertools import combinations
from random import Random

import pytest
from hypothesis import assume, given, settings
from hypothesis import strategies as st
from matplotlib.text import Text

from ampsim.base.errors import DescriptionError
from ampsim.circuit.amp import Amp, Edit, Mod, Switch
from ampsim.circuit.build import build_circuit
from ampsim.circuit.mods import apply_mods
from ampsim.circuit.positions import every_setting
from ampsim.circuit.stages import Kind, stages_of
from ampsim.library.files import models
from ampsim.library.loader import load_amp, load_mod, parse_mod
from ampsim.pictures.canvas import Picture
from ampsim.pictures.export import svg
from ampsim.work.schematic.contents import CHANGED, GONE, NEW, contents
from ampsim.work.schematic.draw import HEIGHT, WIDTH, schematic
from ampsim.work.schematic.geometry import Box, Sheet, Symbol, meet, shift
from ampsim.work.schematic.rows import Drawing, lay_out
from ampsim.work.schematic.stacking import HIGH, WIDE
from tests.tools.any_amps import amps
from tests.tools.any_mods import single_mods
from tests.tools.drawing_faults import drawing_faults, fill
from tests.tools.random_switches import random_switches

AMPS = ("workshop-a", "workshop-b", "rehearsal-room", "lesson-stage")
MODS = sorted(path.stem for path in (models() / "mods").glob("*.toml"))
JOB = ("bright-switch", "cathode-switch", "depth")
LEAST_UNIT = 0.07  # inches: letters of 4.5 pt
LEAST_FILL = 0.45  # of the sheet, where there are parts enough to fill it


def job() -> Amp:
    """The demo job."""
    return apply_mods(load_amp("workshop-a"), *map(load_mod, JOB))


def fitted(amp: str, mod: str) -> Amp | None:
    """A demo amp with a demo mod; None where the mod is for another amp."""
    try:
        found = apply_mods(load_amp(amp), load_mod(mod))
        for stand in every_setting(found):
            build_circuit(found, stand)
    except DescriptionError:
        return None
    return found


def faults(drawing: Drawing) -> list[str]:
    """What is wrong with a drawing, its size included."""
    found = drawing_faults(drawing.shown, drawing.sheet)
    found += [f"a unit of {drawing.unit:.3f} inches"] if drawing.unit < LEAST_UNIT else []
    share = fill(drawing.sheet, WIDE, HIGH, drawing.unit)
    return found + ([f"{share:.2f} of the sheet"] if share < LEAST_FILL and len(drawing.shown.items) > 25 else [])


@pytest.mark.parametrize("name", AMPS)
def test_every_part_of_an_amp_is_on_the_whole_drawing(name: str) -> None:
    amp = load_amp(name)
    drawing = lay_out(contents(amp), whole=True)
    assert faults(drawing) == []
    before = stages_of(amp, Kind.INSTRUMENT, Kind.SOURCE)
    wanted = {each.designator for each in build_circuit(amp).elements if each.stage not in before}
    assert wanted <= {symbol.item.name for symbol in drawing.sheet.symbols}


@pytest.mark.parametrize("name", AMPS)
@pytest.mark.parametrize("mod", MODS)
def test_what_a_mod_touches_is_on_the_drawing(name: str, mod: str) -> None:
    amp = fitted(name, mod)
    if amp is None:
        return
    drawing = lay_out(contents(amp))
    assert faults(drawing) == []
    assert {part.designator for part in load_mod(mod).parts} <= {
        item.name for item in drawing.shown.items if item.change == NEW
    }


@settings(max_examples=5)
@given(st.randoms(use_true_random=False))
def test_random_switches(rng: Random) -> None:
    amp = random_switches(rng)
    assume(amp is not None)
    assert amp is not None
    try:
        given_amp = contents(amp)
    except DescriptionError:
        assert len(amp.all_switches) > 1
        return
    drawing = lay_out(given_amp, whole=True)
    assert drawing_faults(drawing.shown, drawing.sheet) == []


@pytest.mark.parametrize("seed", [19, 5199])
def test_a_switch_at_a_net_inside_the_supply_is_joined_to_it(seed: int) -> None:
    amp = random_switches(Random(seed))
    assert amp is not None
    drawing = lay_out(contents(amp), whole=True)
    assert "R50.1" in {sign.text for sign in drawing.sheet.signs}
    assert drawing_faults(drawing.shown, drawing.sheet) == []


@pytest.mark.parametrize("number", range(4))
def test_amps_that_nobody_has_seen(number: int) -> None:
    (made,) = list(amps(number + 1, seed=11))[number:]
    assert faults(lay_out(contents(made.amp), whole=True)) == []


def test_mods_that_nobody_has_seen() -> None:
    for each in single_mods(8, seed=11):
        try:
            given_amp = contents(each.modded)
        except DescriptionError:
            continue
        assert faults(lay_out(given_amp)) == [], each


def test_the_job_is_one_sheet() -> None:
    picture = schematic(job())
    assert (picture.width, picture.height <= HEIGHT) == (WIDTH, True)
    assert squeezed(picture) == []
    assert len(lay_out(contents(job())).shown.items) > 60


def symbol_of(sheet: Sheet, name: str) -> Symbol:
    """The symbol of a part."""
    return next(symbol for symbol in sheet.symbols if symbol.item.name == name)


def test_supply_above_ground_below_signal_to_the_right() -> None:
    for name in AMPS:
        drawing = lay_out(contents(load_amp(name)), whole=True)
        for symbol in drawing.sheet.symbols:
            ends, nets = symbol.ends, dict(symbol.item.pins)
            if symbol.item.kind == "valve":
                assert ends["plate"][1] > ends["grid"][1] > ends["cathode"][1]
                assert ends["grid"][0] < ends["plate"][0]
            elif symbol.look in ("resistor", "capacitor") and not symbol.across:
                heights = {nets[pin]: y for pin, (_, y) in ends.items()}
                if drawing.shown.ground in heights and len(heights) == 2:
                    assert heights[drawing.shown.ground] == min(heights.values()), symbol.item.name
    sheet = lay_out(contents(load_amp("workshop-b")), whole=True).sheet
    along = [symbol_of(sheet, name).at[0] for name in ("V2A", "C6", "R14", "V3", "T1", "LS1")]
    assert along == sorted(along)


def test_loads_stand_over_plates_cathode_resistors_under_cathodes() -> None:
    sheet = lay_out(contents(load_amp("rehearsal-room")), whole=True).sheet
    for valve, load, cathode in (
        ("V1A", "R3", "R4"),
        ("V1B", "R6", "R7"),
        ("V2A", "R10", "R11"),
        ("V2B", "R13", "R14"),
    ):
        x, y = symbol_of(sheet, valve).at
        assert symbol_of(sheet, load).at[0] == symbol_of(sheet, cathode).at[0] == x
        assert symbol_of(sheet, load).at[1] > y > symbol_of(sheet, cathode).at[1]


def test_screens_are_at_their_valves() -> None:
    sheet = lay_out(contents(load_amp("workshop-a")), whole=True).sheet
    for valve, screen in (("V4", "R26"), ("V5", "R27")):
        (x, y), (u, v) = symbol_of(sheet, valve).ends["screen"], symbol_of(sheet, screen).at
        assert abs(u - x) + abs(v - y) < 8


def test_a_switch_is_one_symbol_with_all_its_positions() -> None:
    for item in contents(job()).items:
        if item.kind == "pole" and item.change == NEW:
            switch = next(each for each in job().all_switches if each.designator == item.name)
            assert sorted(throw.label for throw in item.throws) == sorted(switch.labels)
            assert [throw.label for throw in item.throws if throw.drawn] == [switch.drawn]


def test_what_comes_out_and_what_changes_is_marked() -> None:
    edits = [{"replace": "R3", "with": "220k"}, {"lift": "C1"}]
    mod = parse_mod({"name": "n", "reason": "r", "edits": edits}, "n.toml")
    items = {item.name: item for item in contents(apply_mods(load_amp("workshop-a"), mod)).items}
    assert (items["R3"].change, items["R3"].was) == (CHANGED, "100k")
    assert items["C1"].change == GONE
    assert items["C1"].nets == items["R4"].nets
    assert faults(lay_out(contents(apply_mods(load_amp("workshop-a"), mod)))) == []


def test_names_tell_the_drawing_nothing() -> None:
    amp = load_amp("rehearsal-room")
    other = replace(amp, stages=tuple(replace(stage, name=f"x{n}") for n, stage in enumerate(amp.stages)))
    ours, theirs = (lay_out(contents(each), whole=True).sheet for each in (amp, other))
    assert [symbol.at for symbol in ours.symbols] == [symbol.at for symbol in theirs.symbols]


def test_a_torn_wire_is_found() -> None:
    drawing = lay_out(contents(job()))
    sheet, torn = drawing.sheet, 0
    some = range(0, len(sheet.wires), 17)
    for k in some:
        less = Sheet(sheet.symbols, sheet.signs, sheet.wires[:k] + sheet.wires[k + 1 :])
        torn += bool(drawing_faults(drawing.shown, less))
    assert torn >= 0.9 * len(some)


def test_a_wrong_joint_a_missing_part_and_an_overlap_are_found() -> None:
    drawing = lay_out(contents(load_amp("workshop-b")), whole=True)
    sheet = drawing.sheet
    plate, grid = (symbol_of(sheet, "V1A").ends[pin] for pin in ("plate", "grid"))
    joined = Sheet(
        sheet.symbols, sheet.signs, [*sheet.wires, (plate, (grid[0], plate[1])), ((grid[0], plate[1]), grid)]
    )
    assert any("joined" in fault for fault in drawing_faults(drawing.shown, joined))
    less = Sheet(sheet.symbols[1:], sheet.signs, sheet.wires)
    assert any("drawn" in fault for fault in drawing_faults(drawing.shown, less))
    first, *rest = sheet.symbols
    moved = replace(first, text=replace(first.text, box=shift(rest[0].body, 0.2, 0.2)))
    assert any(
        " on " in fault for fault in drawing_faults(drawing.shown, Sheet([moved, *rest], sheet.signs, sheet.wires))
    )


def squeezed(picture: Picture) -> list[str]:
    """Texts of a picture as they are drawn that overlap, or that leave the canvas."""
    boxes = [(text.get_text(), text.get_window_extent()) for text in picture.findobj(Text) if text.get_text()]
    shapes: list[tuple[str, Box]] = [(words, (b.x0 + 0.5, b.y0 + 0.5, b.x1 - 0.5, b.y1 - 0.5)) for words, b in boxes]
    width, height = 100 * picture.width, 100 * picture.height
    found = [words for words, box in shapes if box[0] < 0 or box[1] < 0 or box[2] > width or box[3] > height]
    return found + [f"{one} on {other}" for (one, a), (other, b) in combinations(shapes, 2) if meet(a, b)]


def test_picture_says_what_it_shows() -> None:
    picture = schematic(apply_mods(load_amp("workshop-a"), load_mod("bright-switch")))
    assert "C101 120p (new) between" in picture.alternative
    assert "P1 gain 1M audio 15 %, top to C2/S101, wiper to R5/C101/C102, bottom to ground" in picture.alternative
    assert "S101 bright (new), standing at open," in picture.alternative


def test_names_are_escaped_in_svg() -> None:
    hostile = "<script>alert(1)</script>" + 40 * " longer"
    amp = load_amp("workshop-a")
    switch = Switch("S900", "tried", ((hostile, ()), ("b", (Edit("lift", "C1"),))), "b")
    picture = schematic(apply_mods(amp, Mod(hostile, "a test", (), (), (switch,))))
    assert squeezed(picture) == []
    text = svg(picture)
    assert "<script" not in text
    assert "&lt;script" in text
