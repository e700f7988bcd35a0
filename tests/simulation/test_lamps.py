"""Lamps, what they light, and thermistors: closed forms, lamp tables, the time-step solver beside ngspice, ratings."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from ampsim import FrequencySweep, OperatingPoint, apply_mods, parse_amp, parse_mod, simulate
from ampsim.base.errors import DescriptionError
from ampsim.circuit.amp import Amp
from ampsim.circuit.designators import kind_of
from ampsim.circuit.part_entries import part_entry
from ampsim.circuit.semiconductors.thermistors import ohms_at
from ampsim.library.files import models, read_toml
from ampsim.library.netlists.importing import import_text
from ampsim.simulation.analyses import Transient
from ampsim.simulation.spice_file import spice_file
from ampsim.simulation.stimuli import Waveform
from ampsim.simulation.supplies import supplies_at_rest
from ampsim.simulation.timestep.solver import play
from ampsim.studies.ratings.devices import device_ratings
from ampsim.studies.ratings.simulate import stress

RATE = 8000.0
FILAMENT = {"volts": "12", "current": "100m"}
NEON = {"strikes": "70", "glows": "55"}
CELL = {"ohms": "9k", "lamp": "LA1", "lux": 100}
NTC = {"cold": "120", "warm": "1R18", "current": "2"}


def network(wires: dict[str, list[str]], parts: dict[str, object], volts: float = 10.0) -> Amp:
    stage = {"name": "network", "template": "free wiring", "wires": wires}
    return parse_amp({"name": "network", "parts": parts, "rails": [{"name": "B1", "volts": volts}], "stages": [stage]})


def lit_divider(volts: float) -> Amp:
    """A lamp at a rail, and its cell as the lower half of a divider that the signal passes."""
    wires = {"LA1": ["B1", "ground"], "R1": ["in", "out"], "LDR1": ["out", "ground"]}
    return network(wires, {"LA1": FILAMENT, "R1": "2k", "LDR1": CELL | {"dark": "1G"}}, volts)


def amps_of(amp: Amp, branch: str) -> float:
    return float(simulate(amp, OperatingPoint())["current"].sel(branch=branch).squeeze())


@pytest.mark.parametrize("share", [0.5, 0.8, 1.0, 1.2])
def test_a_filament_and_its_light_go_with_the_volts_as_lamp_tables_say(share):
    """Lamps are re-rated by current with V^0.55 and light with V^3.4 (from memory); the cell by light^-slope."""
    amp = lit_divider(12.0 * share)
    assert amps_of(amp, "LA1.1") == pytest.approx(0.1 * share**0.55, rel=0.02)
    gain = abs(simulate(amp, FrequencySweep(1e3, 2e3, 4), nodes=["LDR1.1"])["voltage"].values.ravel()[0])
    assert 2e3 * gain / (1.0 - gain) == pytest.approx(9e3 * (100.0 * share**3.4 / 10.0) ** -0.7, rel=0.06)


@pytest.mark.parametrize(("volts", "glows"), [(60.0, False), (69.0, False), (72.0, True), (150.0, True)])
def test_a_glow_lamp_strikes_where_it_should_and_holds_its_volts(volts, glows):
    amp = network({"R1": ["B1", "k"], "LA1": ["k", "ground"], "R2": ["in", "out"], "R3": ["out", "ground"]},
                  {"R1": "100k", "LA1": NEON, "R2": "1k", "R3": "1M"}, volts)  # fmt: skip
    amps = amps_of(amp, "LA1.1")
    assert (amps > 1e-4) == glows
    if glows:
        assert volts - 1e5 * amps == pytest.approx(55.0, abs=3.5)


@pytest.mark.parametrize("ohms", [20.0, 200.0, 2000.0])
def test_a_thermistor_settles_where_what_it_gives_off_is_what_it_gets(ohms):
    amp = network({"NTC1": ["B1", "k"], "R1": ["k", "ground"], "R2": ["in", "out"], "R3": ["out", "ground"]},
                  {"NTC1": NTC, "R1": ohms, "R2": "1k", "R3": "1M"}, 100.0)  # fmt: skip
    amps = amps_of(amp, "NTC1.1")
    assert 100.0 / amps - ohms == pytest.approx(ohms_at(amp.semiconductors[0], amps), rel=1e-4)


def test_a_thermistor_has_the_resistances_of_its_entry_and_a_printed_one_between():
    """A type of 120 ohm and 1.18 ohm at 2 A is printed with 3.04 ohm at half its current (from memory)."""
    device = network({"NTC1": ["in", "out"], "R3": ["out", "ground"]}, {"NTC1": NTC, "R3": "1M"}).semiconductors[0]
    assert [ohms_at(device, amps) for amps in (0.0, 2.0)] == pytest.approx([120.0, 1.18])
    assert ohms_at(device, 1.0) == pytest.approx(3.04, rel=0.06)


@settings(max_examples=3, deadline=None)
@given(lamp=st.sampled_from([FILAMENT, NEON]), slope=st.floats(0.5, 1.0), lux=st.floats(10.0, 300.0))
def test_in_time_lamp_and_cell_are_those_of_ngspice(lamp, slope, lux):
    """A lamp that is driven through its resistor with a slow swing, its cell in a divider."""
    level, ohms = (12.0, "10") if lamp is FILAMENT else (130.0, "100k")
    wires = {"R1": ["in", "a"], "LA1": ["a", "ground"], "R2": ["B1", "out"], "LDR1": ["out", "ground"]}
    amp = network(wires, {"R1": ohms, "R2": "47k", "LA1": lamp, "LDR1": CELL | {"slope": slope, "lux": lux}})
    time = np.arange(round(0.3 * RATE)) / RATE
    signal = level * np.sin(2.0 * np.pi * 7.0 * time) * np.minimum(1.0, time / 0.05)
    ours = play(amp, signal, RATE, node="LDR1.1").volts
    found = simulate(amp, Transient(Waveform(tuple(signal), RATE), 1.0 / RATE, 2e-5), nodes=["LDR1.1"])
    theirs = found["voltage"].values.ravel()[: len(ours)]
    assert np.sqrt(np.mean((ours - theirs) ** 2) / np.mean((theirs - theirs[0]) ** 2)) < 1e-3
    assert np.ptp(theirs) > 1.0


def mains_amp(**more: object) -> Amp:
    """The example of a power supply with a thermistor behind its rectifier, or before its primary."""
    tables = read_toml(models() / "stages" / "power-supply.toml")
    if "NTC1" in more:
        tables["rails"][0]["through"] = "NTC1"
        tables["parts"]["NTC1"] = more["NTC1"]
    tables["parts"]["PT1"] |= more.get("PT1", {})
    return parse_amp(tables, "supply.toml")


def test_a_thermistor_behind_the_rectifier_is_warm_at_rest_and_cold_at_switch_on():
    plain, (warm,) = mains_amp(), supplies_at_rest(mains_amp(NTC1={"cold": "150", "warm": "6", "current": "0.4"}))
    before = supplies_at_rest(plain)[0]
    rest = ohms_at(mains_amp(NTC1={"cold": "150", "warm": "6", "current": "0.4"}).semiconductors[0], warm.rms_amps)
    assert 6.0 < rest < 150.0
    assert warm.duties[0].source_ohms == pytest.approx(before.duties[0].source_ohms + rest, rel=0.03)
    assert warm.duties[0].surge_amps < before.duties[0].surge_amps * 0.8
    amp = mains_amp(NTC1={"cold": "150", "warm": "6", "current": "0.4"})
    volts = float(simulate(amp, OperatingPoint(), nodes=["B1"])["voltage"].squeeze())
    assert volts == pytest.approx(warm.volts("B1"), rel=2e-3)
    assert volts < supplies_at_rest(plain)[0].volts("B1")


def test_a_thermistor_before_the_primary_is_the_resistance_it_has_at_what_the_amp_draws():
    inrush = {"inrush": NTC, "draws": "1"}
    ohms = ohms_at(network({"NTC1": ["in", "out"], "R3": ["out", "ground"]}, {"NTC1": NTC, "R3": "1M"})
                   .semiconductors[0], 1.0)  # fmt: skip
    (with_it,), (as_ohms,) = (supplies_at_rest(mains_amp(PT1=each)) for each in (
        inrush, {"primary_resistance": 22.0 + ohms}))  # fmt: skip
    assert with_it.volts("B1") == pytest.approx(as_ohms.volts("B1"), rel=1e-6)
    assert with_it.duties[0].surge_amps < as_ohms.duties[0].surge_amps
    # Where nobody says what the amp draws, it is as warm as its own current makes it.
    (unsaid,), (said,) = (supplies_at_rest(mains_amp(PT1=each)) for each in (
        {"inrush": NTC}, {"inrush": NTC, "draws": NTC["current"]}))  # fmt: skip
    assert unsaid.volts("B1") == said.volts("B1") != with_it.volts("B1")


def test_a_lamp_above_its_volts_and_a_cell_above_its_watts_are_found():
    amp = network({"LA1": ["B1", "ground"], "R1": ["in", "out"], "LDR1": ["out", "B1"], "R2": ["out", "ground"]},
                  {"LA1": FILAMENT, "R1": "1M", "R2": "1k", "LDR1": CELL | {"most_watts": 0.02}}, 15.0)  # fmt: skip
    table = device_ratings(stress(amp))
    beyond = table[table["value"] > table["limit"]]
    assert {("LA1", "volts (rms) across it"), ("LDR1", "dissipation of its cell")} <= set(
        zip(beyond["device"], beyond["quantity"], strict=True)
    )


def test_what_they_are_goes_out_to_an_entry_and_back():
    wires = {"LA1": ["B1", "ground"], "LA2": ["B1", "g"], "R4": ["g", "ground"], "R1": ["in", "out"],
             "LDR1": ["out", "ground"], "LDR2": ["out", "ground"], "NTC1": ["out", "ground"]}  # fmt: skip
    parts = {"LA1": FILAMENT, "LA2": NEON, "R4": "10k", "R1": "1k", "LDR1": CELL | {"most_volts": "100"},
             "LDR2": {"ohms": "5k", "lux": 30}, "NTC1": NTC}  # fmt: skip
    amp = network(wires, parts)
    again = network(wires, {name: part_entry(part) for name, part in amp.part_by_designator.items()})
    assert [part.own.parameters for part in again.parts if hasattr(part, "own")] == [
        part.own.parameters for part in amp.parts if hasattr(part, "own")
    ]


def test_letters_of_lamps_cells_and_thermistors_are_no_inductors_or_resistors():
    assert [kind_of(each) for each in ("LDR1", "LA1", "NE1", "NTC1", "TH1", "RT1", "L1", "R1", "T1")] == [
        "light-dependent resistor", "lamp", "lamp", "thermistor", "thermistor", "thermistor", "inductor", "resistor",
        "transformer",
    ]  # fmt: skip


@pytest.mark.parametrize(
    ("parts", "message"),
    [
        ({"LDR1": {"ohms": "9k", "lamp": "LA9", "lux": 10}}, "LA9"),
        ({"LDR1": {"ohms": "9k"}}, "lux"),
        ({"LA1": {"strikes": "50", "glows": "55"}}, "glows at less"),
        ({"NTC1": {"cold": "1", "warm": "10", "current": "1"}}, "less than cold"),
    ],
)
def test_what_cannot_be_is_refused_with_its_reason(parts, message):
    (name,) = parts
    with pytest.raises(DescriptionError, match=message):
        simulate(network({name: ["out", "ground"], "R1": ["in", "out"]}, {"R1": "1k"} | parts), OperatingPoint())


def test_an_amp_with_lamps_goes_out_as_a_netlist_and_back():
    tables = read_toml(models() / "stages" / "power-supply.toml")
    tables["rails"][0]["through"] = "NTC1"
    tables["parts"] |= {"NTC1": NTC, "R70": "47k", "LA1": NEON, "LDR1": CELL, "R71": "100k"}
    wires = {"R70": ["B2", "l"], "LA1": ["l", "ground"], "R71": ["in", "out"], "LDR1": ["out", "ground"]}
    tables["stages"].insert(1, {"name": "tremolo", "template": "free wiring", "wires": wires})
    amp = parse_amp(tables, "lamps.toml")
    back = import_text(spice_file(amp).encode(), "back.cir").amp
    sweep = FrequencySweep(100.0, 10e3, 3)
    gains = [simulate(each, sweep, nodes=["speaker"])["voltage"].values.ravel() for each in (amp, back)]
    assert gains[1] == pytest.approx(gains[0], rel=1e-6)
    assert back.part_by_designator["LDR1"] == amp.part_by_designator["LDR1"]


def test_a_thermistor_before_both_halves_of_a_doubler_is_warmed_by_both():
    tables = read_toml(models() / "stages" / "voltage-doubler.toml")
    tables["stages"][-1]["series_resistor"] = "NTC1"
    with pytest.raises(DescriptionError, match="NTC1"):
        parse_amp(tables | {"parts": tables["parts"] | {"NTC1": NTC}}, "doubler.toml")
    tables["stages"][-1].pop("series_resistor")
    wired = {"name": "softer start", "reason": "A test.", "parts": {"NTC1": NTC | {"warm": "4", "current": "0.4"}},
             "edits": [{"fit": "NTC1", "in_series_at": "PT1.ht_a"}]}  # fmt: skip
    amp = apply_mods(parse_amp(tables, "doubler.toml"), parse_mod(wired))
    (found,) = supplies_at_rest(amp)
    volts = float(simulate(amp, OperatingPoint(), nodes=["B1"])["voltage"].squeeze())
    assert volts == pytest.approx(found.volts("B1"), rel=5e-3)
    assert volts < supplies_at_rest(parse_amp(tables, "doubler.toml"))[0].volts("B1")
    assert found.rms_amps == pytest.approx(2.0**0.5 * found.duties[0].rms_amps, rel=0.02)
