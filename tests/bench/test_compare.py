"""A measured sweep held against a simulated one: level, difference, tolerance band, verdict, picture."""

from __future__ import annotations

import re
from functools import cache
from pathlib import Path

import numpy as np
import pytest
import xarray as xr
from hypothesis import given
from hypothesis import strategies as st
from numpy.typing import NDArray

from ampsim import load_amp, simulate
from ampsim.base.errors import DescriptionError
from ampsim.bench.sweeps.compare import (
    ToleranceBand,
    compare,
    difference_table,
    excess_db,
    resample,
    sweep_findings,
    tolerance_band,
)
from ampsim.bench.sweeps.measured_sweep import read_csv, read_recording
from ampsim.bench.sweeps.picture import compared_curves, compared_picture, describe_compared
from ampsim.bench.sweeps.tone import SweepTone
from ampsim.circuit.values import with_values
from ampsim.measures.sweep import gain_db
from ampsim.pictures.canvas import png
from ampsim.simulation.analyses import FrequencySweep
from ampsim.simulation.monte_carlo import spread
from ampsim.studies.spread.measures import sample_gain_db
from tests.tools.recordings import through_amp

Array = NDArray[np.float64]


def curve(frequency: Array, level: Array) -> xr.DataArray:
    return xr.DataArray(level, {"frequency": frequency}, ("frequency",), attrs={"units": "dB"})


GRID = np.geomspace(20.0, 20e3, 151)


@given(st.floats(-100.0, 100.0), st.integers(20, 400), st.floats(-3.0, 3.0))
def test_level_is_taken_out_and_a_tilt_stays(level: float, points: int, tilt: float) -> None:
    at = np.geomspace(10.0, 30e3, points)
    found = compare(curve(at, level + tilt * np.log10(at)), curve(GRID, np.zeros(GRID.size)), (100.0, 10e3))
    # A straight line over log frequency is zero in the middle of the band, 1 kHz.
    assert found["difference"].values == pytest.approx(tilt * (np.log10(GRID) - 3.0), abs=0.02 * abs(tilt) + 1e-9)
    assert found.attrs["level_db"] == pytest.approx(-level - 3.0 * tilt, abs=0.02 * abs(tilt) + 1e-9)


def test_dense_measurements_are_averaged() -> None:
    at = np.geomspace(15.0, 25e3, 20_000)
    noise = np.random.default_rng(0).standard_normal(at.size)
    # About 93 points around each frequency: a tenth of the noise is left.
    assert np.std(resample(curve(at, noise), GRID)) == pytest.approx(93.0**-0.5, rel=0.2)


def test_only_what_was_measured_is_compared() -> None:
    found = compare(curve(np.geomspace(50.0, 8e3, 30), np.zeros(30)), curve(GRID, np.zeros(GRID.size)))
    assert found["frequency"].values[0] >= 50.0
    assert found["frequency"].values[-1] <= 8e3
    with pytest.raises(DescriptionError, match="0 frequencies lie from 100 to 5000 Hz"):
        compare(curve(np.geomspace(20.0, 80.0, 30), np.zeros(30)), curve(GRID, np.zeros(GRID.size)))
    with pytest.raises(DescriptionError, match="too little in common"):
        compare(curve(np.geomspace(1.0, 10.0, 30), np.zeros(30)), curve(GRID, np.zeros(GRID.size)))
    with pytest.raises(DescriptionError, match="choose one variant and position"):
        compare(curve(GRID, np.zeros(GRID.size)), xr.DataArray(np.zeros((2, 151)), dims=("position", "frequency")))


def test_tolerance_band_of_known_scatter() -> None:
    """Amps that differ in level and in a tilt: the level goes, the band is that of the tilt."""
    rng = np.random.default_rng(0)
    tilt, level = rng.standard_normal((4000, 1)), 20.0 * rng.standard_normal((4000, 1))
    amps = xr.DataArray(
        level + tilt * (np.log10(GRID) - 3.0), {"frequency": GRID}, ("sample", "frequency"), attrs={"units": "dB"}
    )
    found = tolerance_band(amps, curve(GRID, np.zeros(GRID.size)), (100.0, 10e3))
    wanted = 1.6449 * np.abs(np.log10(GRID) - 3.0)  # 95 % of a normal distribution
    assert found.high == pytest.approx(wanted, abs=0.08)
    assert found.low == pytest.approx(-wanted, abs=0.08)
    # Tilts beyond 5 and 95 % lie outside at every frequency: one amp in ten, so the fifth of a hundred too.
    assert found.usual < 0.1


def flat_band() -> ToleranceBand:
    return ToleranceBand(np.full(GRID.size, -1.0), np.full(GRID.size, 1.0), 0.8, 0.5)


def bump(size: float, octaves: float, hertz: float = 600.0) -> xr.DataArray:
    return curve(GRID, size * np.exp(-0.5 * (np.log2(GRID / hertz) / octaves) ** 2))


@pytest.mark.parametrize(
    ("measured", "grade", "words"),
    [
        (bump(0.8, 1.0), "fine", "100 % of the frequencies.*is the one drawn"),
        (bump(3.0, 1.0, 40.0), "near the limit", "dB above it: a part may be off"),
        (bump(12.0, 1.2), "beyond the limit", "no amp of the run is as far out"),
    ],
    ids=["fine", "near", "beyond"],
)
def test_verdict(measured: xr.DataArray, grade: str, words: str) -> None:
    found = compare(measured, curve(GRID, np.zeros(GRID.size)), tolerance=flat_band())
    (finding,) = sweep_findings(found, "stock", "as drawn")
    assert finding.grade == grade, finding.words
    assert re.search(words, finding.words)
    assert finding.value == pytest.approx(100.0 * float(found["within"].mean()))
    assert (excess_db(found)[found["within"].values] == 0.0).all()
    assert (np.abs(excess_db(found)[~found["within"].values]) > 0.0).all()


def test_without_a_band_nothing_is_judged() -> None:
    found = compare(bump(3.0, 0.5), curve(GRID, np.zeros(GRID.size)))
    (finding,) = sweep_findings(found, "stock", "as drawn")
    assert finding.grade == "not known"
    assert finding.limit is None
    assert difference_table(found)["within tolerance [%]"].isna().all()


@cache
def drawn() -> xr.DataArray:
    return gain_db(simulate(load_amp("workshop-a"))).isel(variant=0, position=0)


@cache
def allowed() -> ToleranceBand:
    run = spread(load_amp("workshop-a"), 60, analysis=FrequencySweep(per_decade=10))
    return tolerance_band(sample_gain_db(run).isel(variant=0, position=0), drawn())


@pytest.mark.parametrize(("factor", "grade"), [(1.05, "fine"), (2.2, "beyond the limit")])
def test_an_amp_measured_through_a_recording(tmp_path: Path, factor: float, grade: str) -> None:
    """A capacitor 5 % off is what the drawing allows, one of more than twice the value is not."""
    tone = SweepTone(seconds=6.0, quiet=0.75)
    built = with_values(load_amp("workshop-a"), {"C5": 330e-12 * factor})
    found = read_recording(through_amp(tmp_path / "bench.wav", built, tone, 40.0), tone)
    measured = found["gain_db"].assign_attrs(source=found.attrs["source"])
    right = compare(measured, gain_db(simulate(built)).isel(variant=0, position=0))
    inside = (right["frequency"] >= 40.0) & (right["frequency"] <= 10e3)
    assert float(np.abs(right["difference"].where(inside)).max()) <= 0.1
    (finding,) = sweep_findings(compare(measured, drawn(), tolerance=allowed()), "stock", "as drawn")
    assert finding.grade == grade, finding.words


def test_picture_shows_the_numbers(tmp_path: Path) -> None:
    text = "Hz;dB\n" + "".join(f"{hertz:.2f};{-40 + 2 * np.sin(np.log(hertz)):.3f}\n" for hertz in GRID)
    (tmp_path / "bench.csv").write_text(text, "utf-8")
    measured = read_csv(tmp_path / "bench.csv")
    gain = measured["gain_db"].assign_attrs(source=measured.attrs["source"])
    for tolerance in (None, flat_band()):
        found = compare(gain, curve(GRID, np.zeros(GRID.size)), tolerance=tolerance)
        picture = compared_picture(found)
        assert "bench.csv" in picture.heading
        assert png(picture).startswith(b"\x89PNG")
        curves = compared_curves(found)
        moving = {artist.get_gid() for artist in picture.findobj() if artist.get_gid()}
        assert set(curves) <= moving
        assert ("band" in curves) == (tolerance is not None)
        assert curves["difference"][:, 1] == pytest.approx(found["difference"].values)
        assert picture.alternative == describe_compared(found)
        assert "level taken out from 100 Hz to 5 kHz (measured moved by +39.8 dB)" in picture.alternative
