"""Netlists of other programs read as amps: nothing is lost out and back, nothing guessed, nothing carried out."""

from __future__ import annotations

import dataclasses
import shutil
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from ampsim.base.errors import DescriptionError
from ampsim.circuit.amp import Amp, Part, Pot
from ampsim.circuit.build import Circuit, build_circuit, circuit_at
from ampsim.circuit.mods import apply_mods
from ampsim.circuit.part_entries import entry_text, part_entry
from ampsim.circuit.reverb_tank import ReverbTank
from ampsim.interface.commands.main import main
from ampsim.library.files import models, models_in, toml_tables
from ampsim.library.loader import load_amp, load_mod, parse_amp
from ampsim.library.netlists.drawing import Answers
from ampsim.library.netlists.importing import import_text
from ampsim.library.netlists.types import load_type, type_of
from ampsim.simulation.analyses import FrequencySweep, Transient
from ampsim.simulation.response import simulate
from ampsim.simulation.spice_file import spice_file
from tests.tools.any_amps import made_amp
from tests.tools.kicad_netlist import PARTS, kicad_text

COARSE = FrequencySweep(per_decade=3)
MODELS = [*sorted(models_in("amps").values()), *sorted(models_in("stages").values())]


def joined_places(wired: Circuit) -> set[frozenset[str]]:
    """Which pins are one wire, whatever the wire is called; a rail's source among them by its net alone."""
    nets: dict[str, set[str]] = {}
    for element in wired.elements:
        for pin, net in element.pins:
            nets.setdefault(net, set())
            if element.kind != "rail":
                nets[net].add(f"{element.designator}.{pin}")
    return {frozenset(places) for places in nets.values()}


def plain_numbers(part: object) -> object:
    """A part with its numbers to twelve figures."""
    if isinstance(part, float):
        return float(f"{part:.12g}")
    if isinstance(part, tuple):
        return tuple(map(plain_numbers, part))
    if not dataclasses.is_dataclass(part):
        return part
    return type(part), tuple(plain_numbers(getattr(part, field.name)) for field in dataclasses.fields(part))


def check_round_trip(amp: Amp, position: dict[str, float | str], swept: bool = True) -> None:
    """Out and back: the same designators, values, wires and supplies, and the same gain."""
    back = import_text(spice_file(amp, position).encode(), "there and back.cir").amp
    assert back.name == "there and back"
    before, after = circuit_at(amp, position), build_circuit(back)
    assert joined_places(before) == joined_places(after)
    setting = amp.setting(position)
    for element in before.elements:
        if element.kind == "rail":
            continue
        was, now = before.parts[element.designator], after.parts[element.designator]
        if isinstance(was, Part):
            assert was.value == now.value
        elif isinstance(was, Pot):
            assert (was.value, was.taper, setting[was.control]) == (now.value, now.taper, now.rotation)
        else:
            assert plain_numbers(was) == plain_numbers(now)
    assert sorted(rail.volts for rail in amp.rails if rail.volts) == sorted(rail.volts for rail in back.rails)
    if swept:
        asked, found = (simulate(each, COARSE, [where], nodes=["speaker"]).voltage.values.ravel()
                        for each, where in ((amp, position), (back, {})))  # fmt: skip
        np.testing.assert_allclose(found, asked, rtol=1e-6, atol=1e-6 * abs(asked).max())


@pytest.mark.parametrize("path", MODELS, ids=lambda path: path.stem)
def test_every_amp_and_stage_that_comes_along_goes_out_and_back(path: Path) -> None:
    check_round_trip(load_amp(path), {}, swept=path.parent.name == "amps")


def test_springs_that_take_their_time_come_back() -> None:
    drawn = load_amp(str(models_in("stages")["reverb"]))
    back = import_text(spice_file(drawn, {}, (Transient(),)).encode(), "there and back.cir").amp
    before, after = ([each for each in amp.parts if isinstance(each, ReverbTank)] for amp in (drawn, back))
    assert before
    assert [plain_numbers(each) for each in after] == [plain_numbers(each) for each in before]


def test_a_modded_amp_at_a_position_goes_out_and_back() -> None:
    amp = apply_mods(load_amp("workshop-a"), load_mod("bright-switch"), load_mod("depth"))
    check_round_trip(amp, {"bright": "120p", "gain": 0.0, "treble": 1.0})


def test_a_mains_side_that_is_another_one_is_asked_about() -> None:
    text = spice_file(load_amp(models_in("stages")["power-supply"]))
    assert "resistance = 310.0" in text
    with pytest.raises(DescriptionError, match="mains side"):
        import_text(text.replace("resistance = 310.0", "resistance = 210.0").encode())


def test_every_usual_value_goes_out_and_back() -> None:
    """Large reservoirs and small resistors too, whose values in farads and ohms look like those of a drawing."""
    values = [float(f"{figure}e{power}") for figure in (1, 2.2, 4.7) for power in range(-12, 7)]
    parts: dict[str, Any] = {f"C{n}": f"{1e6 * value:.9g}u" for n, value in enumerate(values) if value <= 0.01}
    parts |= {f"R{n}": value for n, value in enumerate(values) if 0.1 <= value <= 1e7}
    wires: dict[str, Any] = {name: ["in", "ground"] for name in parts} | {"R99": ["in", "out"]}
    stage = {"name": "all of them", "template": "free wiring", "wires": wires}
    check_round_trip(parse_amp({"name": "values", "parts": parts | {"R99": 1e3}, "stages": [stage]}), {}, swept=False)


@settings(max_examples=12)
@given(st.integers(0, 10_000))
def test_any_amp_goes_out_and_back(number: int) -> None:
    check_round_trip(made_amp(16, number).amp, {}, swept=number % 4 == 0)


@pytest.mark.parametrize("path", MODELS, ids=lambda path: path.stem)
def test_every_part_is_written_so_that_it_reads_back_the_same(path: Path) -> None:
    from ampsim.base.entries import Entry
    from ampsim.library.parts import read_parts

    def found(kind: str, name: str, _: str) -> Any:
        return load_type(kind, name, None)

    parts = load_amp(path).parts
    tables = toml_tables(
        "".join(f"{each.designator} = {entry_text(part_entry(each))}\n" for each in parts).encode(), "x"
    )
    for was, now in zip(parts, read_parts(Entry(tables, "x", "parts"), found), strict=True):
        assert plain_numbers(was) == plain_numbers(now)


HAND = """a stage of two triodes
.include "/etc/passwd"
VB B+ 0 DC 300
VIN in 0 AC 1 SIN(0 0.1 1k)
Vmeter k1 k1b 0
R1 in 0 1MEG
R2 in g1 68k ; stopper
XV1 p1 g1 k1 12AX7
R3 B+ p1 100k
R4 k1b 0 1.5k
C1 k1b 0 22uF
C2 p1 n001 22n
Rvol n001 0 1Meg
XV2 k2 n001 p2 back
.subckt back K G P
E1 7 0 VALUE={45*V(A,K)}
.ends
R5 B+ p2 100K
R6 k2 0
+ 1500
C3 p2 out 0.022u
R7 out 0 1Meg
Q1 a b c 2N3904
.control
shell rm -rf /
.endc
.end
R99 a b 1k
"""


def test_a_netlist_written_by_hand() -> None:
    found = import_text(HAND.encode(), "hand.cir", Answers(output="out", types={"back": "12AX7"}))
    parts = {each.designator: getattr(each, "value", None) for each in found.amp.parts}
    assert parts == {"R1": 1e6, "R2": 68e3, "V1": None, "R3": 1e5, "R4": 1500.0, "C1": 22e-6, "C2": 22e-9, "R901": 1e6,
                     "V2": None, "R5": 1e5, "R6": 1500.0, "C3": 22e-9, "R7": 1e6}  # fmt: skip
    wired = build_circuit(found.amp)
    assert {"V2.cathode", "R6.1"} == set(wired.places_by_net[wired.net("V2.cathode")])
    assert {"V1.cathode", "R4.1", "C1.1"} == set(wired.places_by_net[wired.net("V1.cathode")])
    told = {each.line: str(each) for each in (*found.left_out, *found.assumed)}
    expected = {1: "title", 2: "never opened", 5: "a wire", 8: "in this order", 13: "R901", 15: "law of ampsim is used"}
    expected |= {23: "bipolar", 24: "never carried out", 25: "never carried out", 28: "after the end"}
    for line, why in expected.items():
        assert why in told[line]
    assert len(told) == 11  # and the end of the commands
    assert [rail.volts for rail in found.amp.rails] == [300.0]


@pytest.mark.parametrize(
    ("line", "asked", "answers", "value"),
    [
        ("R1 a 0 1M", "0.001 ohm for SPICE, which writes a megohm 1MEG", {"values": {"R1": "1M"}}, 1e6),
        ("R1 a 0 1m", "0.001 ohm for SPICE", {"values": {"R1": 1e6}}, 1e6),
        ("R1 a 0 4k7", "a drawing means 4k7 by it", {"values": {"R1": "4k7"}}, 4700.0),
        ("R1 a 0 {load}", "no value of SPICE", {"values": {"R1": "10k"}}, 10e3),
        ("R1 a 0 10k m=2", "'m=2' changes the value", {"values": {"R1": "5k"}}, 5e3),
        ("R1 a 0 1000000000000k", "for SPICE", {"values": {"R1": "1k"}}, 1e3),
        ("C1 a 0 1F", "1e-15 F for SPICE", {"values": {"C1": "1u"}}, 1e-6),
        ("C1 a 0 .022", "writes a microfarad 1u", {"values": {"C1": "22n"}}, 22e-9),
        ("C1 a 0 22mil", "no value of SPICE", {"values": {"C1": "22n"}}, 22e-9),
    ],
)
def test_what_has_two_meanings_is_asked_and_can_be_answered(line: str, asked: str, answers: dict, value: float) -> None:  # type: ignore[type-arg]
    text = f"title\nVin in 0 AC 1\nR9 in a 1k\n{line}\n"
    with pytest.raises(DescriptionError, match="line 4: ") as refusal:
        import_text(text.encode(), answers=Answers(output="a"))
    assert asked in str(refusal.value)
    found = import_text(text.encode(), answers=Answers(output="a", **answers)).amp
    assert found.part_by_designator[line[:2]].value == pytest.approx(value, rel=1e-12)  # type: ignore[union-attr]


def test_which_pin_is_which_is_asked_where_the_netlist_does_not_tell() -> None:
    text = "t\nVin in 0 AC 1\nVb b 0 300\nR1 in 0 1MEG\nX1 b k in b EL84\nR2 k 0 150\n"
    with pytest.raises(DescriptionError, match="--pins EL84=plate,grid,screen,cathode"):
        import_text(text.encode(), answers=Answers(output="k"))
    told = Answers(output="k", pins={"EL84": ("plate", "cathode", "grid", "screen")})
    wired = build_circuit(import_text(text.encode(), answers=told).amp)
    assert wired.net("V901.grid") == wired.net("input")
    assert wired.net("V901.cathode") == wired.net("R2.1")
    with pytest.raises(DescriptionError, match=r"12AX7.own.*--as 12AX7_own=12AX7"):
        import_text(b"t\nVin in 0 AC 1\nXV1 in b c 12AX7_own\n", answers=Answers(output="in"))


@pytest.mark.parametrize(("old", "new"), [("rp1_top p1_top p1_wiper 9", "rp1_top p1_top p1_wiper 8"),
                                          ("track = 1000000.0", "track = 2000000.0"), ("track = 1000000.0", "x = [["),
                                          ("on top p1_top", "on top p1_tip")])  # fmt: skip
def test_a_remark_that_says_something_else_than_its_lines_is_asked_about(old: str, new: str) -> None:
    text = spice_file(load_amp("rehearsal-room"))
    assert old in text
    with pytest.raises(DescriptionError, match="P1"):
        import_text(text.replace(old, new).encode())


def test_a_netlist_of_kicad(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    file = tmp_path / "stage.net"
    file.write_text(kicad_text(PARTS), "utf-8")
    assert main(["import", str(file)]) == 1
    assert "--rail NET=VOLTS" in capsys.readouterr().err
    assert main(["import", str(file), "--rail", "+300V=300"]) == 0
    said = capsys.readouterr().out
    for words in ("J1 Jack", "'1W' is no part of its value", "pin 3 is the end", "so a wire", "6.4 ohm"):
        assert words in said
    amp = load_amp(tmp_path / "stage.toml")
    assert main(["import", str(file), "--rail", "+300V=300"]) == 1
    assert "there already" in capsys.readouterr().err
    wired = build_circuit(amp)
    refs = set(PARTS) - {"J1", "F1", "V1"} | {"V1A", "V1B"}
    assert refs == set(amp.part_by_designator)
    ground = {"R1.2", "R4.2", "C1.2", "RV1.bottom", "R6.2", "R7.2", "R8.2", "T1.common", "LS1.2", "ground"}
    assert set(wired.places_by_net["0"]) == ground
    one_wire = "V1B.grid R2.2, V1A.grid RV1.wiper, V2.screen R3.1, T1.primary_b R3.1, V2.plate T1.primary_a"
    for one, other in map(str.split, f"{one_wire}, LS1.1 T1.tap8, speaker LS1.1, input R1.1".split(", ")):
        assert wired.net(one) == wired.net(other)
    assert amp.part_by_designator["RV1"].taper.startswith("audio")  # type: ignore[union-attr]
    swapped = {**PARTS, "V2": ("EL84", "EL84", {**PARTS["V2"][2], "2": ("K", "/g3"), "3": ("G1", "/k3")})}
    with pytest.raises(DescriptionError, match="pin 2 is called cathode, and is the grid by its base"):
        import_text(kicad_text(swapped).encode(), answers=Answers(rails={"+300V": 300.0}))


NONSENSE = ["(" * 100_000, "(export " + '("' * 50, "(export (components (comp)))", "(a) (b)", ")(", "x" * 5000, ""]
NONSENSE += ["\n" * 40_000, "t\n+ + +", "t\nR1", "t\n.subckt a", "t\nV1 0 0 DC", "t\nX1 a", "t\nR1 a a 1e999"]


@pytest.mark.parametrize("text", NONSENSE, ids=lambda text: text[:12])
def test_what_is_no_netlist_is_refused_in_words(text: str) -> None:
    with pytest.raises(DescriptionError):
        import_text(text.encode())


TEXTS = (
    (HAND, Answers(output="out", types={"back": "12AX7"})),
    (kicad_text(PARTS), Answers(rails={"+300V": 300.0})),
    (spice_file(load_amp("lesson-stage")), Answers()),
)
WORDS = st.sampled_from(
    ["(", ")", '"', "*", "+", ".end", "\n", "{", "= {", "\x00", "\u2028", "0", "1e999", "R1", "on top", "]"]
)


@settings(max_examples=60)
@given(st.sampled_from(TEXTS), st.lists(st.tuples(st.floats(0, 1), st.integers(0, 30), WORDS), min_size=1, max_size=6))
def test_a_netlist_that_was_damaged_gives_an_amp_file_or_a_refusal(
    whole: tuple[str, Answers], damage: list[tuple[float, int, str]]
) -> None:
    text, answers = whole
    for where, length, word in damage:
        at = int(where * len(text))
        text = text[:at] + word + text[at + length :]
    try:
        found = import_text(text.encode(), answers=answers)
        toml_tables(found.text.encode(), "amp")
        assert found.amp.parts
    except DescriptionError:
        pass


def coupled_netlist(secondary: str, coils: str, couplings: str) -> str:
    """A source behind a resistor, a transformer by K lines, a load: what a bare circuit simulator has."""
    return f"""a transformer by its windings
V1 in 0 AC 1
R1 in p 3.3k
{coils}
{secondary}
{couplings}
R2 s 0 8
R3 s 0 1meg
.print ac v(s)
.end
"""


def coupled_gain(hertz: np.ndarray, ohms: float, primary: float, secondary: float, factor: float) -> np.ndarray:
    """Volts at a load of 8 ohm beside a megohm, by the equations of two coupled inductors [ratio]."""
    s, load = 2j * np.pi * hertz, 1.0 / (1.0 / 8.0 + 1e-6)
    mutual = factor * np.sqrt(primary * secondary)
    through = (s * mutual) / ((ohms + s * primary) * (load + s * secondary) - (s * mutual) ** 2)
    return np.asarray(load * through)


@pytest.mark.parametrize("factor", [0.9, 0.995, 0.9995])
@pytest.mark.parametrize("reversed_", [False, True])
def test_coupled_inductors_become_a_transformer_of_the_same_gain(factor: float, reversed_: bool) -> None:
    ends = "0 s" if reversed_ else "s 0"
    text = coupled_netlist(f"L2 {ends} 30m", "L1 p 0 20", f"K1 L1 L2 {factor}")
    found = import_text(text.encode(), "coupled.cir", Answers(output="s"))
    assert found.amp.part_by_designator.keys() == {"R1", "R2", "R3", "T1"}
    response = simulate(found.amp, COARSE, nodes=["R2.1"])["voltage"].squeeze()
    expected = coupled_gain(response["frequency"].values, 3300.0, 20.0, 30e-3, factor) * (-1.0 if reversed_ else 1.0)
    np.testing.assert_allclose(response.values, expected, rtol=2e-3, atol=1e-6)


def test_two_halves_and_a_further_winding_are_one_transformer_and_go_out_and_back() -> None:
    coils, second = "La p c 5\nLb c 0 5", "Ls s 0 30m\nLf f 0 3m\nR4 f 0 100\nR5 c 0 1meg"
    text = coupled_netlist(second, coils, "K1 La Lb Ls Lf 0.999")
    amp = import_text(text.encode(), "coupled.cir", Answers(output="s")).amp
    response = simulate(amp, COARSE, nodes=["R2.1"])["voltage"].squeeze()
    whole, factor = 10.0 * 1.999, 0.999 * 2.0 / np.sqrt(2.0 * 1.999)
    expected = coupled_gain(response["frequency"].values, 3300.0, whole, 30e-3, factor)
    # The further winding's hundred ohms are left out of the closed form: 1 % of the load.
    np.testing.assert_allclose(response.values, expected, rtol=0.02)
    check_round_trip(amp, {})


def test_couplings_that_make_no_transformer_are_left_out_with_their_reason() -> None:
    text = coupled_netlist("L2 s 0 30m\nL3 s 0 30m", "L1 p 0 20", "K1 L1 L2 0.99\nK2 L2 L3 0.99")
    left = import_text(text.encode(), "coupled.cir", Answers(output="s")).left_out
    assert any("not each coupled to each" in str(each) for each in left)


def test_a_type_that_is_laid_beside_a_netlist_is_known_from_then_on(tmp_path: Path) -> None:
    """As whoever is told in a notebook that a type is not known does, and imports once more."""
    assert type_of("OWN-TUBE", "valves", tmp_path) == ""
    shutil.copy(models() / "valves" / "12AX7.toml", tmp_path / "OWN-TUBE.toml")
    assert type_of("own tube", "valves", tmp_path) == "OWN-TUBE"
