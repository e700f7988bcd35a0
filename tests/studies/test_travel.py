"""A knob's travel: another taper is another pot, shares are of the whole way, and a volume pot has a closed form."""

from __future__ import annotations

from functools import cache
from pathlib import Path

import numpy as np
import pytest
import xarray as xr
from hypothesis import given
from hypothesis import strategies as st

from ampsim import DescriptionError, apply_mods, load_amp, load_mod, parse_amp, parse_mod
from ampsim.circuit.amp import Amp
from ampsim.circuit.tapers import TAPERS, rotation_of, track_fraction
from ampsim.interface.commands.main import main
from ampsim.measures.knob_travel import QUARTERS, SILENT_DB, quarter_shares
from ampsim.measures.sweep import gain_at
from ampsim.simulation.analyses import FrequencySweep
from ampsim.simulation.response import simulate
from ampsim.studies.travel import Travel, travel


@given(st.sampled_from(TAPERS), st.floats(0.0, 1.0))
def test_a_rotation_is_found_back_from_the_track_below_the_wiper(taper: str, rotation: float) -> None:
    back = rotation_of(taper, track_fraction(taper, rotation))
    assert back == pytest.approx(rotation, abs=1e-7)
    assert 0.0 <= back <= 1.0


def divider(taper: str) -> Amp:
    """A volume pot behind a generator and before nothing that loads it."""
    pot = {"track": "100k", "taper": taper, "control": "volume", "rotation": 0.5}
    return parse_amp(
        {
            "name": "divider",
            "parts": {"P1": pot, "R1": "100M"},
            "stages": [
                {"name": "signal", "template": "generator"},
                {
                    "name": "volume",
                    "template": "free wiring",
                    "wires": {"P1": {"top": "in", "wiper": "out", "bottom": "ground"}, "R1": ["out", "ground"]},
                },
            ],
        }
    )


def test_a_volume_pot_with_a_linear_track_rises_as_the_logarithm_of_its_rotation() -> None:
    found = travel(divider("linear"), "volume", ["audio 10 %"], [1000.0], listen_at="P1.wiper")
    turns = found.gain["rotation"].values[1:]
    for taper in found.gain["taper"].values:
        below = np.array([track_fraction(str(taper), float(turn)) for turn in turns])
        rises = found.gain.sel(taper=taper, frequency=1000.0).values[1:] - 20.0 * np.log10(below)
        assert np.ptp(rises) < 0.06  # the generator's 600 ohm
    # From 60 dB down on: 60 - 20 log10 4 dB in the first quarter of a linear track, and so on.
    shares = quarter_shares(found.gain).sel(taper="linear").values[:, 0]
    closed = np.diff([0.0, *(SILENT_DB + 20.0 * np.log10([0.25, 0.5, 0.75, 1.0]))]) / SILENT_DB
    np.testing.assert_allclose(shares, 100.0 * closed, atol=0.2)


@cache
def of_gain() -> Travel:
    return travel(load_amp("workshop-a"), "gain", at={"treble": 0.8})


def test_another_taper_is_the_amp_with_another_pot() -> None:
    other = apply_mods(
        load_amp("workshop-a"),
        parse_mod({"name": "swap", "reason": "-", "edits": [{"replace": "P1", "with": "1M linear"}]}),
    )
    found = of_gain().gain.sel(taper="linear")
    turns = [float(each) for each in found["rotation"].values[::8]]
    positions = [{"treble": 0.8, "gain": each} for each in turns]
    alone = gain_at(simulate(other, FrequencySweep(), positions, ["speaker"]), found["frequency"].values)
    np.testing.assert_allclose(found.values[::8], alone.values[0], atol=0.01)


def test_shares_are_of_the_whole_way_and_an_audio_track_spreads_it_more_evenly() -> None:
    shares = of_gain().shares
    quarters = [f"{each} [%]" for each in QUARTERS]
    np.testing.assert_allclose(shares[quarters].sum(axis=1), 100.0)
    busiest = shares[quarters].max(axis=1).groupby(shares["taper"]).max()
    assert busiest["linear"] > busiest["audio 15 %"] + 10.0
    assert "audio 15 % spreads it most evenly" in of_gain().words


@given(st.lists(st.floats(-80.0, 80.0), min_size=8, max_size=8))
def test_shares_add_up_and_turn_round_with_the_knob(inner: list[float]) -> None:
    values = np.array([0.0, *inner]).reshape(1, 9, 1)
    coords = {"taper": ["linear"], "rotation": np.linspace(0.0, 1.0, 9), "frequency": [1000.0]}
    gain = xr.DataArray(values, coords, ("taper", "rotation", "frequency"))
    shares = quarter_shares(gain).values[0, :, 0]
    back = quarter_shares(gain.copy(data=values[:, ::-1])).values[0, :, 0]
    np.testing.assert_allclose(back[::-1], shares, atol=1e-9)
    assert np.isnan(shares).all() or shares.sum() == pytest.approx(100.0)


def test_a_knob_that_a_mod_adds_turns_too_and_one_that_does_nothing_is_said_to() -> None:
    amp = load_amp("workshop-a")
    depth = travel(apply_mods(amp, load_mod("depth")), "depth", frequencies=[82.0])
    assert depth.words.startswith("depth changes 82 Hz by")
    nothing = travel(divider("linear"), "volume", frequencies=[1000.0], listen_at="P1.top")
    assert nothing.words.startswith("volume does nothing")
    assert nothing.picture.alternative


@pytest.mark.parametrize(
    ("control", "tapers", "told"),
    [
        ("gian", [], "nearest: gain"),
        ("gain", ["logish"], "not a taper"),
        ("gain", ["linear", "audio 10 %", "audio 20 %"], "at most 3"),
    ],
)
def test_what_has_no_travel_is_refused(control: str, tapers: list[str], told: str) -> None:
    with pytest.raises(DescriptionError, match=told):
        travel(load_amp("workshop-a"), control, tapers)


def test_the_command_leaves_a_picture(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    asked = ["travel", "gain", "--amp", "workshop-a", "--frequency", "1000", "--to", str(tmp_path / "out")]
    assert main(asked) == 0
    assert "each quarter of the turn" in capsys.readouterr().out
    assert (tmp_path / "out" / "travel.svg").is_file()
