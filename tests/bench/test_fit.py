"""Parts fitted to a measured sweep: recovered within their stated ranges, and refused where they cannot be."""

from __future__ import annotations

import math
from functools import cache
from pathlib import Path

import numpy as np
import pytest
import xarray as xr
from lmfit import Minimizer, Parameters

from ampsim import apply_mods, load_amp, load_mod, simulate
from ampsim.base.errors import DescriptionError
from ampsim.bench.sweeps.fit import fit_parts
from ampsim.bench.sweeps.fit_result import variance_growth
from ampsim.bench.sweeps.measured_sweep import read_recording
from ampsim.bench.sweeps.tone import SweepTone
from ampsim.circuit.amp import Amp
from ampsim.circuit.values import with_values
from ampsim.measures.sweep import gain_db
from ampsim.simulation.analyses import FrequencySweep
from tests.tools.recordings import through_amp

BUILT = {"C5": 330e-12 * 1.3, "R13": 39e3 * 0.8}


@cache
def workshop() -> Amp:
    return load_amp("workshop-a")


def swept(amp: Amp, position: dict[str, float | str] | None = None) -> xr.DataArray:
    response = simulate(amp, FrequencySweep(per_decade=40), [position or {}])
    return gain_db(response).isel(variant=0, position=0)


def measured(gain: xr.DataArray, noise_db: float = 0.0, seed: int = 0, level: float = 13.0) -> xr.Dataset:
    noise = noise_db * np.random.default_rng(seed).standard_normal(gain.size)
    return xr.Dataset({"gain_db": gain + level + noise})


def test_exact_values_come_back() -> None:
    found = fit_parts(workshop(), measured(swept(with_values(workshop(), BUILT))), ["C5", "R13"])
    for part in found.parts:
        assert part.value == pytest.approx(BUILT[part.designator], rel=1e-3)
    assert found.rms_after < 1e-3 < found.rms_before
    assert found.remarks == ()
    assert found.runs <= 40
    assert "C5 is 429p (drawn 330p)" in found.words()
    assert list(found.table()["part"]) == ["C5", "R13"]


def test_stated_ranges_cover_the_truth() -> None:
    """Of 40 fits to 0.3 dB of noise, about 68 % of the values lie within one deviation, 95 % within two."""
    gain = swept(with_values(workshop(), BUILT))
    scores = []
    for seed in range(40):
        found = fit_parts(workshop(), measured(gain, 0.3, seed), ["C5", "R13"])
        scores += [math.log(part.value / BUILT[part.designator]) / part.deviation for part in found.parts]
    within = [float(np.mean(np.abs(scores) <= limit)) for limit in (1.0, 2.0)]
    # Binomial of 80: 68 +- 5 % and 95 +- 2.4 %; three of these either way.
    assert 0.52 <= within[0] <= 0.84
    assert within[1] >= 0.88


def test_range_is_that_of_lmfit() -> None:
    """The same least-squares problem, solved by lmfit with slopes by its own differences, gives the same ranges."""
    stage = load_amp("lesson-stage")
    position: dict[str, float | str] = {"bypass": "820n"}
    data = measured(swept(with_values(stage, {"C11": 900e-9}), position), 0.1)
    found = fit_parts(stage, data, ["C11"], position, band=(20.0, 20e3))

    def gain(log: float) -> xr.DataArray:
        return swept(with_values(stage, {"C11": 820e-9 * math.exp(log)}), position)

    def residual(params: Parameters) -> np.ndarray:
        return np.asarray(gain(params["log"].value) + params["level"].value - data["gain_db"])

    params = Parameters()
    params.add("log", 0.1)
    params.add("level", 0.0)
    theirs = Minimizer(residual, params, epsfcn=1e-6).leastsq().params["log"]
    (part,) = found.parts
    assert math.log(part.value / 820e-9) == pytest.approx(theirs.value, abs=0.05 * theirs.stderr)
    left = (gain(theirs.value) - data["gain_db"]).values
    assert part.deviation == pytest.approx(theirs.stderr * math.sqrt(variance_growth(left)), rel=0.05)


def test_neighbours_that_hang_together_widen_the_range() -> None:
    """An autoregression of first order with r has (1 + r) / (1 - r) times the variance of its mean (from memory)."""
    rng = np.random.default_rng(1)
    noise = rng.standard_normal(20_000)
    for n in range(1, noise.size):
        noise[n] = 0.6 * noise[n - 1] + 0.8 * noise[n]
    assert variance_growth(noise) == pytest.approx(4.0, rel=0.1)
    assert variance_growth(rng.standard_normal(20_000)) == pytest.approx(1.0, abs=0.05)
    assert variance_growth(np.zeros(10)) == 1.0


def test_fit_to_a_recording(tmp_path: Path) -> None:
    tone = SweepTone(seconds=6.0, quiet=0.75)
    through_amp(tmp_path / "bench.wav", with_values(workshop(), BUILT), tone, 40.0)
    found = fit_parts(workshop(), read_recording(tmp_path / "bench.wav", tone), ["C5", "R13"])
    for part in found.parts:
        off = math.log(part.value / BUILT[part.designator])
        assert abs(off) <= 3.0 * part.deviation
        assert abs(off) <= 0.005
        assert part.deviation <= 0.01


def test_a_part_of_a_mod_at_a_position() -> None:
    modded = apply_mods(workshop(), load_mod("bright-switch"))
    position: dict[str, float | str] = {"bright": "120p", "gain": 0.3}
    (name,) = [part.designator for mod in modded.mods for part in mod.parts if getattr(part, "value", 0) == 120e-12]
    data = measured(swept(with_values(modded, {name: 180e-12}), position))
    (part,) = fit_parts(modded, data, [name], position).parts
    assert part.value == pytest.approx(180e-12, rel=1e-3)
    with pytest.raises(DescriptionError, match=f"{name} is not in the circuit at bright open"):
        fit_parts(modded, data, [name], {"bright": "open", "gain": 0.3})


def test_parts_that_cannot_be_told_apart_are_named() -> None:
    """Pickup and cable capacitance lie side by side."""
    data = measured(swept(with_values(workshop(), {"C902": 600e-12})), 0.05)
    found = fit_parts(workshop(), data, ["C901", "C902"])
    assert any("C901 and C902 cannot be told apart" in each for each in found.remarks)
    assert found.correlations[0][2] < -0.99
    assert not any(part.told for part in found.parts)
    assert "anything in its bounds" in found.words()


def test_what_stays_and_bounds_are_said() -> None:
    other = fit_parts(workshop(), measured(swept(with_values(workshop(), {"C5": 1e-9}))), ["C1"])
    assert any("something besides C1 differs" in each for each in other.remarks)
    stopped = fit_parts(workshop(), measured(swept(with_values(workshop(), {"C5": 1e-9}))), ["C5"], bounds=(0.5, 2.0))
    assert any("C5 went to the end of its bounds" in each for each in stopped.remarks)
    assert stopped.parts[0].value == pytest.approx(660e-12, rel=0.01)


@pytest.mark.parametrize(
    ("parts", "words"),
    [
        (["C1", "C5", "C6", "C7"], "fit one to 3 different parts"),
        ([], "fit one to 3 different parts"),
        (["C1", "C1"], "fit one to 3 different parts"),
        (["X9"], "'X9' is no part of workshop amp A"),
        (["P1"], "P1 is a pot"),
        (["V1A"], "V1A is a valve"),
        (["LS1"], "LS1 is a loudspeaker"),
        (["C50"], "C50 does not change this sweep"),
        (["C1", "R26"], "R26 changes only the level of this sweep"),
    ],
    ids=str,
)
def test_refused(parts: list[str], words: str) -> None:
    with pytest.raises(DescriptionError, match=words):
        fit_parts(workshop(), measured(swept(workshop())), parts)


def test_other_refusals() -> None:
    data = measured(swept(workshop()))
    with pytest.raises(DescriptionError, match="two octaves or more are needed"):
        fit_parts(workshop(), data, ["C1"], band=(1000.0, 2000.0))
    with pytest.raises(DescriptionError, match="bounds of"):
        fit_parts(workshop(), data, ["C1"], bounds=(2.0, 5.0))
    with pytest.raises(DescriptionError, match="ground"):
        fit_parts(workshop(), data, ["C1"], node="ground")
