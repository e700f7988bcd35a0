"""The source of the signal: equal circuits are equal however they are said, jacks switch, what cannot be is refused."""

from __future__ import annotations

from dataclasses import replace
from itertools import pairwise, permutations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from ampsim.base.errors import DescriptionError
from ampsim.circuit.amp import Amp, Part, Stage
from ampsim.circuit.build import build_circuit
from ampsim.circuit.mods import apply_mods
from ampsim.circuit.plugging import describe_source, jack_names, plug_in, usual_sources
from ampsim.circuit.signal_path import valve_stages
from ampsim.circuit.source import FIRST_JACK, Source, SourceKind, parse_source
from ampsim.circuit.stages import Kind, stages_of
from ampsim.library.explaining import describe_file
from ampsim.library.files import models
from ampsim.library.loader import load_amp, parse_mod
from ampsim.simulation.analyses import FrequencySweep
from ampsim.simulation.response import simulate
from ampsim.simulation.unpowered import jack_ohms
from tests.tools.jacks import HIGH, LOW, MIXING, RETURN, with_jacks

AMPS = sorted(path.stem for path in (models() / "amps").glob("*.toml"))
WITH_GUITAR = [name for name in AMPS if stages_of(load_amp(name), Kind.INSTRUMENT)]
SWEEP = FrequencySweep(20.0, 20e3, 5)


def gains(amp: Amp, place: str = "speaker") -> np.ndarray:
    return np.asarray(simulate(amp, SWEEP, nodes=[place])["voltage"].values.ravel())


def described_with(amp: Amp, ohms: float) -> Amp:
    """The same amp as a file would describe it that has a generator and no guitar."""
    plugged = stages_of(amp, Kind.INSTRUMENT, Kind.SOURCE)
    generator = Stage("generator", "generator", (("resistance", "R999"),))
    stages = (generator, *(stage for stage in amp.stages if stage.name not in plugged))
    return replace(amp, parts=(*amp.parts, Part("R999", "resistor", ohms)), stages=stages)


@pytest.mark.parametrize("name", AMPS)
def test_a_generator_at_the_jack_is_the_amp_that_a_file_describes_with_a_generator(name: str) -> None:
    amp = load_amp(name)
    for ohms in (600.0, 47e3):
        said = gains(plug_in(amp, Source(SourceKind.GENERATOR, ohms=ohms)))
        np.testing.assert_allclose(said, gains(described_with(amp, ohms)), rtol=1e-9)


@pytest.mark.parametrize("name", WITH_GUITAR)
def test_a_guitar_that_is_said_is_the_one_that_is_drawn(name: str) -> None:
    amp = load_amp(name)
    for source in ("guitar", f"guitar at {FIRST_JACK}"):
        np.testing.assert_allclose(gains(plug_in(amp, source)), gains(amp), rtol=1e-9)
    assert plug_in(plug_in(amp, "generator"), "") == amp


# Those in which nothing leads back from a grid to one before it, and one output valve alone is heard.
ONE_WAY = ("glasshouse", "kitchen", "lesson-stage", "rehearsal-room", "workshop-a", "workshop-b")


@pytest.mark.parametrize("name", ONE_WAY)
def test_a_generator_at_any_grid_drives_that_grid_and_nothing_before_it(name: str) -> None:
    amp = load_amp(name)
    stages = valve_stages(build_circuit(amp))
    for before, stage in pairwise(stages):
        grid = stage.driven[0]
        driven = plug_in(amp, f"generator 0 at {grid} through 100u")
        heard = simulate(driven, FrequencySweep(200.0, 2e3, 5), nodes=[grid, before.grids[0], "speaker"])["voltage"]
        volts = np.abs(heard.isel(variant=0, position=0).values)
        np.testing.assert_allclose(volts[0], 1.0, rtol=0.02)
        assert volts[1].max() < 0.3 < volts[2].max()


def test_jacks_mix_and_switch_as_they_are_wired() -> None:
    amp = with_jacks(load_amp("workshop-a"), "third stage")
    low, high = (np.abs(gains(plug_in(amp, f"generator 0 at {jack}"), "R971.2"))[:4] for jack in (LOW, HIGH))
    np.testing.assert_allclose(high, 1.0, rtol=0.07)
    # The high jack is on ground then, so its mixing resistor takes half; the grid leak of 1M is there besides.
    np.testing.assert_allclose(low / high, 0.5 * (1.0 + 0.5 * MIXING / 1e6) / (1.0 + 0.5 * MIXING / 1e6), rtol=0.02)
    beside = 1.0 / (1.0 / 1e6 + 1.0 / (MIXING / 2.0 + 1e6))
    assert jack_ohms(amp, HIGH) == pytest.approx(beside)
    assert jack_ohms(amp, LOW) == pytest.approx(MIXING + 1.0 / (1.0 / MIXING + 1e-6))
    assert jack_names(amp) == (HIGH, LOW, RETURN)
    silent = simulate(plug_in(amp, f"generator at {RETURN}"), SWEEP, nodes=["V1A.plate", "V2A.grid", "speaker"])
    volts = np.abs(silent["voltage"].isel(variant=0, position=0).values)
    assert volts[0].max() < 0.01
    assert volts[1].min() > 0.9
    assert volts[2].max() > 1.0


def test_a_return_with_nothing_in_it_passes_the_signal_on() -> None:
    plain, amp = load_amp("workshop-a"), load_amp("workshop-a")
    back = replace(amp, jacks=with_jacks(amp, "master").jacks[2:])
    np.testing.assert_allclose(gains(back), gains(plain), rtol=1e-9)
    assert jack_names(back) == (FIRST_JACK, RETURN)


def test_a_cable_between_two_jacks_is_a_wire_between_their_tips() -> None:
    amp = with_jacks(load_amp("rehearsal-room"))
    linked = gains(plug_in(amp, f"generator 600 at {HIGH} linked {LOW} to {HIGH}"))
    np.testing.assert_allclose(linked, gains(plug_in(amp, f"generator 600 at {HIGH}")), rtol=1e-9)


def test_what_a_mod_does_to_the_guitar_goes_with_the_guitar() -> None:
    amp = load_amp("workshop-a")
    bleed = {"fit": "C801", "between": ["P901.top", "P901.wiper"]}
    rest = {"fit": "R801", "in_series_at": "C801.1"}
    cut = {"fit": "P801", "in_series_at": "P901.top", "wired": "rising"}
    track = {"track": "500k", "taper": "linear", "control": "guitar cut", "rotation": 0.5}
    mod = parse_mod(
        {"name": "bleed", "reason": "Keep the treble.", "parts": {"C801": "1n", "R801": "150k", "P801": track},
         "edits": [bleed, rest, cut]}, "bleed.toml",
    )  # fmt: skip
    modded = apply_mods(amp, mod)
    assert not np.allclose(gains(modded), gains(amp), rtol=0.01)
    driven = plug_in(modded, "generator")
    np.testing.assert_allclose(gains(driven), gains(plug_in(amp, "generator")), rtol=1e-9)
    assert not {"guitar volume", "guitar tone", "guitar cut"} & set(driven.controls)
    assert set(driven.controls) < set(modded.controls)


@pytest.mark.parametrize("order", list(permutations(range(3))))
def test_the_order_of_jacks_does_not_matter(order: tuple[int, ...]) -> None:
    amp = with_jacks(load_amp("workshop-b"), "master" if "master" in stage_names("workshop-b") else "")
    jacks = tuple(amp.jacks[number] for number in order if number < len(amp.jacks))
    other = replace(amp, jacks=jacks)
    assert jack_names(other)[0] == HIGH
    for source in ("guitar at low", "generator", "nothing"):
        np.testing.assert_allclose(gains(plug_in(other, source)), gains(plug_in(amp, source)), rtol=1e-9)


def stage_names(name: str) -> list[str]:
    return [stage.name for stage in load_amp(name).stages]


NAMES = st.sampled_from(["", "low", "bright high", "V2A.grid", "B1"])


def values(least: float, most: float) -> st.SearchStrategy[float]:
    return st.floats(least, most).map(lambda value: float(f"{value:.6g}"))


SOURCES = st.one_of(
    st.builds(Source, st.just(SourceKind.GUITAR), NAMES),
    st.builds(
        Source, st.just(SourceKind.GENERATOR), NAMES, values(0.01, 1e9), values(1e-12, 0.1),
        st.lists(st.tuples(st.just("low"), st.sampled_from(["bright high", "high-2"])), max_size=2).map(tuple),
    ),
    st.just(Source(SourceKind.NOTHING)),
)  # fmt: skip


@given(SOURCES)
def test_what_is_written_reads_back(source: Source) -> None:
    assert parse_source(str(source)) == source


@pytest.mark.parametrize(
    ("source", "told"),
    [
        ("gutar", "nearest: guitar"),
        ("", "is no source"),
        ("guitar 600", "belong to a generator"),
        ("nothing at low", "nothing plugged in"),
        ("generator at lwo", "nearest: low"),
        ("generator at V9.grid", "no jack or place"),
        ("generator at ground", "on ground"),
        ("guitar at V1A.grid", "no jack"),
        ("generator at high linked low", "two jacks"),
        ("generator at high linked low to hihg", "nearest: high"),
        ("generator x", "not a resistance"),
    ],
)
def test_what_is_no_source_is_refused(source: str, told: str) -> None:
    amp = with_jacks(load_amp("workshop-a"))
    with pytest.raises(DescriptionError, match=told):
        plug_in(amp, source) if source else parse_source(source)


def test_a_guitar_that_is_not_described_is_refused() -> None:
    with pytest.raises(DescriptionError, match="describes no guitar"):
        plug_in(load_amp("rehearsal-room"), "guitar")


def test_only_a_drawing_that_leaves_a_choice_has_several_usual_sources() -> None:
    assert [str(each) for each in usual_sources(load_amp("rehearsal-room"))] == [""]
    assert [str(each) for each in usual_sources(load_amp("workshop-a"))] == ["guitar", "generator 600 at input"]
    assert len(usual_sources(with_jacks(load_amp("rehearsal-room")))) == 3
    assert describe_source(load_amp("workshop-a")) == "guitar at input, as in the amp file"


JACKS = """
[[jacks]]
name = "high"
tip = "R1.1"
rest = "ground"

[[jacks]]
name = "low"
tip = "R2.1"
rest = "high"
"""


@pytest.mark.parametrize(
    ("old", "new", "told"),
    [
        ('tip = "R2.1"', 'tip = "R99.1"', "nearest"),
        ('tip = "R2.1"', "", "it has no tip and no stage begins at it"),
        ('tip = "R2.1"', 'tip = "R2.1"\nbefore = "first"', "either 'tip'"),
        ('tip = "R2.1"', 'tip = "ground"', "on ground"),
        ('tip = "R2.1"', 'tip = "R1.1"', "one piece of wire"),
        ('rest = "high"', 'rest = "hihg"', "nearest: high"),
        ('rest = "high"', 'rest = "low"', "very wire"),
        ('name = "low"', 'name = "high"', "given twice"),
        ('name = "low"', 'name = "linked"', "no name for a jack"),
        ('rest = "high"', 'before = "out"', "either 'tip'"),
        ('tip = "R2.1"\nrest = "high"', 'before = "outt"', "nearest: out"),
        ('tip = "R2.1"\nrest = "high"', 'before = "out"\nrest = "high"', "leave this out"),
        ('rest = "high"', 'rests = "high"', "not known"),
    ],
)
def test_jacks_that_cannot_be_are_refused_with_what_would_do(tmp_path, old: str, new: str, told: str) -> None:
    path = tmp_path / "amp.toml"
    text = """name = "two jacks"
[parts]
R1 = "68k"
R2 = "68k"
R3 = "1M"
V1A = "12AX7"
R5 = "100k"
R4 = "1k5"
C3 = "22n"
R9 = "1M"
[[rails]]
name = "B1"
volts = 300
[[stages]]
name = "inputs"
template = "free wiring"
wires = { R3 = ["in", "ground"], R1 = ["in", "out"], R2 = ["low", "out"] }
[[stages]]
name = "first"
template = "triode stage"
valve = "V1A"
supply = "B1"
plate_load = "R5"
cathode_resistor = "R4"
[[stages]]
name = "out"
template = "coupling"
capacitor = "C3"
shunt_resistor = "R9"
"""
    path.write_text(text + JACKS, "utf-8")
    assert "low: R2.1; a plug meets 136 kohm to ground; without one it lies on high" in describe_file(path)
    path.write_text(text + JACKS.replace(old, new), "utf-8")
    with pytest.raises(DescriptionError, match=told):
        load_amp(path)


def test_nets_of_jacks_and_generators_are_nobody_else_s() -> None:
    """A stage and its nets may be called anything: "jack" with a net "return" is not the jack called "return"."""
    drawn = load_amp("rehearsal-room")
    amp = with_jacks(drawn, drawn.stages[2].name)
    source, inputs, *others = amp.stages
    wires = tuple(
        (part, tuple((pin, "return" if net == "low" else net) for pin, net in pins))
        for part, pins in dict(inputs.roles)["wires"]  # type: ignore[attr-defined]
    )
    other = replace(amp, stages=(source, Stage("jack", inputs.template, (("wires", wires),)), *others))
    low = plug_in(other, f"generator at {LOW}")
    assert any(net.endswith("jack_return") for each in build_circuit(low).elements for _, net in each.pins)
    for said in (f"generator at {LOW}", f"generator at {RETURN}", "generator at V1A.grid through 10n"):
        np.testing.assert_allclose(gains(plug_in(other, said)), gains(plug_in(amp, said)), rtol=1e-9)
