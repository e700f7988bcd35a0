"""A pot with a tap, in every question held against resistors in the place of its track."""

from __future__ import annotations

from typing import Any

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from ampsim.base.errors import DescriptionError
from ampsim.circuit.amp import Amp
from ampsim.circuit.mods import apply_mods
from ampsim.circuit.tapers import track_fraction
from ampsim.library.loader import parse_amp, parse_mod
from ampsim.simulation.analyses import FrequencySweep, OperatingPoint, Transient
from ampsim.simulation.response import simulate
from ampsim.simulation.stimuli import Sine
from ampsim.simulation.timestep.solver import play
from ampsim.studies.ratings.simulate import stress
from ampsim.work.schematic.contents import contents
from ampsim.work.wiring import wiring
from ampsim.work.wiring.readback import mismatches

FOOT = {"R9": ["P1.tap", "foot"], "C9": ["foot", "ground"], "R8": ["in", "out"]}


def amp(parts: dict[str, Any], *stages: dict[str, Any]) -> Amp:
    common = {"V1A": "12AX7", "R1": "1M", "R3": "100k", "R4": "1k5", "C2": "22n", "R9": "22k", "C9": "22n", "R8": "10"}
    first = {"name": "one", "template": "triode stage", "valve": "V1A", "supply": "B1", "grid_leak": "R1",
             "plate_load": "R3", "cathode_resistor": "R4"}  # fmt: skip
    tables = {"name": "tapped", "parts": common | parts, "rails": [{"name": "B1", "volts": 300}]}
    return parse_amp(tables | {"stages": [first, *stages]}, "tapped.toml")


def tapped(tap: float, taper: str = "linear", rotation: float = 0.5) -> Amp:
    pot = {"track": "1M", "tap": tap, "taper": taper, "control": "volume", "rotation": rotation}
    volume = {"name": "volume", "template": "volume", "coupling": "C2", "pot": "P1"}
    return amp({"P1": pot}, volume, {"name": "loudness", "template": "free wiring", "wires": FOOT})


def stretches(below: float, tap: float) -> Amp:
    """The same with three resistors, in the order in which wiper and tap lie on the track."""
    low, high = sorted((below, tap))
    ohms = {"R11": max(1e6 * low, 1.0), "R12": max(1e6 * (high - low), 1.0), "R13": max(1e6 * (1.0 - high), 1.0)}
    lower, upper = ("wiper", "tap") if below < tap else ("tap", "wiper")
    wires = {"C2": ["in", "top"], "R13": ["top", upper], "R12": [upper, lower], "R11": [lower, "ground"],
             "R9": ["tap", "foot"], "C9": ["foot", "ground"], "R8": ["wiper", "out"]}  # fmt: skip
    return amp(ohms, {"name": "volume", "template": "free wiring", "wires": wires})


@settings(max_examples=8)
@given(st.floats(0.05, 0.95), st.floats(0.0, 1.0), st.sampled_from(["linear", "audio 15 %"]))
def test_a_tapped_track_is_three_resistors(tap: float, rotation: float, taper: str) -> None:
    sweep = FrequencySweep(20, 20e3, 2)
    found = simulate(tapped(tap, taper), sweep, [{"volume": rotation}], nodes=["speaker"])["voltage"].values
    wanted = simulate(stretches(track_fraction(taper, rotation), tap), sweep, nodes=["speaker"])["voltage"].values
    np.testing.assert_allclose(found, wanted, rtol=2e-4 if abs(track_fraction(taper, rotation) - tap) < 1e-5 else 1e-5)


@pytest.mark.parametrize("rotation", [0.0, 0.2, 0.7, 1.0])
def test_in_time_it_is_what_ngspice_says(rotation: float) -> None:
    made = tapped(0.4)
    run = Transient(Sine(1e3, 0.1, settle=0.01))
    theirs = simulate(made, run, [{"volume": rotation}], nodes=["speaker"])["voltage"]
    same = simulate(stretches(rotation, 0.4), run, nodes=["speaker"])["voltage"]
    scale = float(np.abs(same).max())
    np.testing.assert_allclose(theirs.values, same.values, atol=1e-3 * scale)
    dry = 0.1 * np.sin(2 * np.pi * 1e3 * np.arange(960) / 48e3)
    one, other = play(made, dry, 48e3, position={"volume": rotation}), play(stretches(rotation, 0.4), dry, 48e3)
    np.testing.assert_allclose(one.volts, other.volts, atol=1e-6 * scale)


def test_ratings_wiring_and_drawing_have_it() -> None:
    made = tapped(0.4)
    assert mismatches(wiring(made)) == []
    names = {item.name: item for item in contents(made).items}
    assert {"P1", "P1 (below its tap)"} <= names.keys()
    assert "1M linear, tap at 40 %" in names["P1"].words
    loads = stress(made, [{"volume": 0.7}], (Sine(220.0, 0.2, settle=0.05),))["part_watts"].sel(part="P1")
    assert 0.0 < float(loads.max()) < 0.1
    assert simulate(made, OperatingPoint(), nodes=["P1.tap"])["voltage"].values == pytest.approx(0.0, abs=1e-6)


def test_a_tap_that_is_not_there_is_refused_and_one_not_used_does_nothing() -> None:
    plain = {"track": "1M", "control": "volume"}
    volume = {"name": "volume", "template": "volume", "coupling": "C2", "pot": "P1"}
    with pytest.raises(DescriptionError, match=r"'P1\.tap' is not a place"):
        amp({"P1": plain}, volume, {"name": "loudness", "template": "free wiring", "wires": FOOT})
    pins = {"top": "in", "wiper": "out", "bottom": "ground", "tap": "ground"}
    with pytest.raises(DescriptionError, match="P1 has no tap"):
        amp({"P1": plain}, {"name": "v", "template": "free wiring", "wires": {"C2": ["in", "x"], "P1": pins}})
    bare = {"C2": ["in", "top"], "P1": ["top", "out", "ground"], "R9": ["top", "n"], "C9": ["n", "ground"],
            "R8": ["out", "out"]}  # fmt: skip
    del bare["R8"]
    sweep = FrequencySweep(100, 1e3, 2)
    gains = []
    for pot in (plain, plain | {"tap": 0.3}):
        made = amp({"P1": pot}, {"name": "v", "template": "free wiring", "wires": bare | {"R8": ["out", "ground"]}})
        gains.append(simulate(made, sweep, nodes=["speaker"])["voltage"].values)
    np.testing.assert_allclose(*gains, rtol=1e-6)


def test_a_mod_fits_a_tapped_pot_and_what_hangs_on_its_tap() -> None:
    parts = {"P2": {"track": "500k", "tap": 0.5, "control": "edge"}, "C3": "10n"}
    edits = [{"fit": "P2", "between": ["V1A.plate", "ground"]}, {"fit": "C3", "between": ["P2.tap", "ground"]}]
    made = apply_mods(tapped(0.4), parse_mod({"name": "m", "reason": "r", "parts": parts, "edits": edits}, "m.toml"))
    assert mismatches(wiring(made)) == []
    swept = simulate(made, FrequencySweep(100, 10e3, 2), [{"edge": each} for each in (0.0, 1.0)], nodes=["speaker"])
    assert np.ptp(np.abs(swept["voltage"].values), axis=1).max() > 0.0
