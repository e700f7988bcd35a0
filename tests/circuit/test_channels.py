"""Channels: stages that name where their signal comes from, jacks that lines begin at, and where lines meet."""

import math
import tomllib

import pytest

from ampsim.base.errors import DescriptionError
from ampsim.circuit.build import build_circuit
from ampsim.circuit.plugging import jack_names, plug_in
from ampsim.circuit.signal_path import listening_points, valve_stages
from ampsim.library.files import models
from ampsim.library.loader import parse_amp
from tests.tools.stage_alone import alone, gain, resting_volts, stage

MIXER = tomllib.loads((models() / "stages" / "mixer.toml").read_text("utf-8"))


def two_channels(**changes):
    return parse_amp(MIXER | changes, "two.toml")


def with_stage(name, **roles):
    return [each | roles if each["name"] == name else each for each in MIXER["stages"]]


def test_lines_meet_through_their_resistors():
    parts = {"R1": "100k", "R2": "220k", "R3": "470k", "R4": "1k"}
    mixer = stage("mixer", mixing_resistor=["R1", "R2"], leak="R3", input=["input", "low"])
    held = {"name": "held", "template": "free wiring", "input": "low", "wires": {"R4": ["in", "ground"]}}
    amp = alone(parts, held, mixer, jacks=[{"name": "low"}], rails=[])
    beside = 1 / (1 / 221e3 + 1 / 470e3)
    assert jack_names(amp) == ("input", "low")
    assert gain(amp, "R3.1").real == pytest.approx(beside / (beside + 100e3), rel=1e-3)
    assert gain(plug_in(amp, "generator 0 at low"), "R3.1").real == pytest.approx(470 / 690, rel=1e-3)
    leak = {"name": "leak", "template": "free wiring", "input": "input", "wires": {"R5": ["in", "ground"]}}
    parts |= {"C1": "10n", "C2": "10u", "R5": "1M"}
    stages = (leak, held, mixer | {"coupling": ["C1", "C2"]})
    coupled = alone(parts, *stages, jacks=[{"name": "low"}], rails=[])
    corner = 1 / (2 * math.pi * (100e3 + beside) * 10e-9)
    assert abs(gain(coupled, "R3.1", corner)) == pytest.approx(beside / (beside + 100e3) / 2**0.5, rel=5e-3)


def test_only_the_channel_that_is_played_is_in_the_path_and_the_next_stage_knows_which_drives_it():
    amp = two_channels()
    paths = {}
    for source in ("", "generator at bright", "generator linked input to bright"):
        stages = valve_stages(build_circuit(plug_in(amp, source)))
        paths[source] = [(each.name, each.before) for each in stages]
    assert paths[""] == [("normal stage", ""), ("second stage", "normal stage")]
    assert paths["generator at bright"] == [("bright stage", ""), ("second stage", "bright stage")]
    heard = listening_points(plug_in(amp, "generator at bright"))
    assert list(heard) == ["bright stage", "bright volume", "mixer", "second stage"]
    both = [("normal stage", ""), ("bright stage", ""), ("second stage", "normal stage")]
    assert paths["generator linked input to bright"] == both
    assert [each.name for each in valve_stages(build_circuit(plug_in(amp, "nothing")))] == [each[0] for each in both]


def test_the_order_in_which_channels_are_written_changes_nothing():
    generator, *normal, mixer, second = MIXER["stages"]
    turned = two_channels(stages=[generator, *normal[2:], *[normal[0] | {"input": "input"}, normal[1]], mixer, second])
    for source in ("", "generator at bright"):
        for position in ({"volume": 0.9}, {"volume": 0.2, "bright volume": 0.8}):
            one, other = (gain(plug_in(each, source), "V2A.plate", 2e3, position) for each in (two_channels(), turned))
            assert one == pytest.approx(other, rel=1e-9)


def test_each_volume_turns_its_own_channel_and_loads_the_other_a_little():
    amp = two_channels()
    bright = plug_in(amp, "generator at bright")

    def level(played, **knobs):
        return abs(gain(played, "V2A.plate", 1e3, knobs))

    assert level(amp, volume=0.0) < 1e-3 * level(amp, volume=1.0)
    assert level(bright, **{"bright volume": 0.0}) < 1e-3 * level(bright, **{"bright volume": 1.0})
    assert 1.0 < level(amp, **{"bright volume": 1.0}) / level(amp, **{"bright volume": 0.0}) < 1.6


def test_a_stage_may_take_one_line_of_an_inverter_or_a_place():
    parts = {"V1": "12AX7", "R1": "1M", "R2": "56k", "R3": "1k5", "R4": "56k", "C1": "100n", "C2": "1u", "R5": "1M"}
    roles = {"valve": "V1", "supply": "B1", "coupling": "C1", "grid_leak": "R1", "plate_load": "R2"}
    inverter = stage("split-load inverter", **roles, bias_resistor="R3", cathode_load="R4")
    for given in ("split-load inverter (2)", "V1.cathode"):
        amp = alone(parts, inverter, stage("coupling", capacitor="C2", shunt_resistor="R5", input=given))
        assert gain(amp, "R5.1").real == pytest.approx(gain(amp, "V1.cathode").real, rel=1e-3)


WRONG = [
    ({"input": "brite"}, "no jack and no place; nearest: bright"),
    ({"input": "second stage"}, "comes later"),
    ({"input": []}, "names no stage, jack or place"),
    ({"input": "V9.plate"}, "is not a place"),
]


@pytest.mark.parametrize(("entry", "told"), WRONG, ids=[told for _, told in WRONG])
def test_an_input_that_is_not_there_is_refused(entry, told):
    with pytest.raises(DescriptionError, match=told):
        two_channels(stages=with_stage("bright stage", **entry))


def test_lines_without_resistors_and_jacks_without_stages_are_refused():
    with pytest.raises(DescriptionError, match="2 lines meet here and there are 3 mixing resistors"):
        two_channels(stages=with_stage("mixer", mixing_resistor=["R9", "R10", "R11"]))
    with pytest.raises(DescriptionError, match="needs 2 signal lines and has 1"):
        two_channels(stages=with_stage("mixer", input="bright volume"))
    with pytest.raises(DescriptionError, match="it has no tip and no stage begins at it"):
        two_channels(jacks=[{"name": "bright"}, {"name": "low"}])


def test_an_empty_jack_before_a_capacitor_is_no_fault():
    parts = {"V1": "12AX7", "C1": "22n", "R1": "10M", "R2": "220k"}
    roles = {"valve": "V1", "supply": "B1", "coupling": "C1", "grid_leak": "R1", "plate_load": "R2"}
    amp = alone(parts, stage("grid-leak stage", **roles, input="low"), jacks=[{"name": "low"}])
    assert -1.0 < resting_volts(plug_in(amp, "nothing"), "V1", "grid")[0] < -0.2
    assert abs(gain(amp, "V1.plate")) < 1e-6 < 30 < abs(gain(plug_in(amp, "generator at low"), "V1.plate"))
