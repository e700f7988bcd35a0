"""The labelled Dataset: right labels, right numbers beside them, nothing lost in a file, errors that say where."""

import numpy as np
import pytest
import xarray as xr

import ampsim
from ampsim import Burst, FrequencySweep, OperatingPoint, Sine, Transient, simulate
from ampsim.base.errors import DescriptionError, EngineError
from ampsim.circuit.mods import apply_mods
from ampsim.circuit.positions import coord_name
from ampsim.library.loader import load_amp, load_mod, parse_amp, parse_mod
from ampsim.simulation.stimuli import Waveform

AMP = load_amp("workshop-a")
MODDED = apply_mods(AMP, load_mod("bright-switch"))
DIVIDER = {
    "name": "divider",
    "parts": {"R1": "1k", "P1": {"track": "10k", "control": "level", "rotation": 0.5}, "C1": "100n"},
    "stages": [
        {
            "name": "d",
            "template": "free wiring",
            "wires": {"R1": ["in", "a"], "P1": ["a", "out", "ground"], "C1": ["out", "ground"]},
        }
    ],
}


def divider(rotation):
    """Closed form of the divider: voltage at the wiper for 1 V, over frequency."""
    frequency = FrequencySweep().grid()
    low = 10e3 * rotation
    below = low / (1 + 2j * np.pi * frequency * low * 100e-9)
    return below / (below + 10e3 * (1 - rotation) + 1e3)


def test_every_position_has_its_own_numbers():
    rotations = [0.2, 0.9, 0.5, 0.01]
    response = simulate(parse_amp(DIVIDER), positions=[{"level": r} for r in rotations], nodes=["speaker"])
    for place, rotation in enumerate(rotations):
        np.testing.assert_allclose(response["voltage"].values[0, place, 0], divider(rotation), rtol=1e-6)
    assert response[coord_name("level")].values.tolist() == rotations
    assert response["position"].values.tolist() == ["level 2", "level 9", "level 5", "level 0.1"]


def test_variants_positions_and_nodes_stand_where_their_labels_say():
    positions = [{"bright": "open", "gain": 0.3}, {"bright": "390p", "gain": 0.3}]
    both = simulate([AMP, MODDED], positions=positions, nodes=["V1A.plate", "speaker"])
    assert both["voltage"].dims == ("variant", "position", "node", "frequency")
    alone = simulate(MODDED, positions=[positions[1]], nodes=["speaker"])
    picked = both["voltage"].sel(variant="bright switch", position="bright 390p, gain 3", node="speaker")
    np.testing.assert_allclose(picked.values, alone["voltage"].values[0, 0, 0], rtol=1e-9)
    stock = both["voltage"].sel(variant="stock", node="speaker")
    np.testing.assert_allclose(stock.values[0], stock.values[1], rtol=1e-12)
    assert both["frequency"].attrs["units"] == "Hz"
    assert both["voltage"].attrs["units"] == "V"


def test_results_do_not_depend_on_how_many_processes_work():
    positions = [{"gain": n / 20} for n in range(21)]
    one = simulate(AMP, positions=positions, nodes=["speaker"], workers=1)["voltage"]
    two = simulate(AMP, positions=positions, nodes=["speaker"], workers=2)["voltage"]
    # Altering a loaded circuit and loading it afresh agree to the engine's rounding.
    np.testing.assert_allclose(one.values, two.values, rtol=1e-9)


def test_kirchhoff_holds_at_rest():
    rest = simulate(AMP, OperatingPoint()).squeeze()
    volts, amps = rest["voltage"].to_series(), rest["current"].to_series()
    for valve, resistor in {"V1A": 1500, "V1B": 8200, "V2A": 1500}.items():
        assert volts[f"{valve}.cathode"] / resistor == pytest.approx(
            amps[f"{valve}.plate"] + amps[f"{valve}.grid"], rel=1e-4
        )
    both = sum(amps[f"{valve}.{pin}"] for valve in ("V4", "V5") for pin in ("plate", "screen", "grid"))
    assert volts["V4.cathode"] / 150 == pytest.approx(both, rel=1e-4)


def test_a_transient_starts_at_rest_and_lasts_as_asked():
    tone = Transient(Sine(440.0, 0.01, settle=0.005, cycles=2), 50e-6)
    response = simulate(AMP, tone, nodes=["V1A.plate", "input"])
    rest = simulate(AMP, OperatingPoint(), nodes=["V1A.plate"])
    assert float(response["voltage"][0, 0, 0, 0]) == pytest.approx(float(rest["voltage"][0, 0, 0]), abs=1e-3)
    assert float(response["time"][-1]) == pytest.approx(5 / 440)
    source = response["voltage"].values[0, 0, 1]
    # The source as asked for, sampled from ngspice's own uneven steps.
    np.testing.assert_allclose(source, 0.01 * np.sin(2 * np.pi * 440 * response["time"].values), atol=2e-6)


def test_a_burst_is_silent_before_and_after():
    response = simulate(parse_amp(DIVIDER), Transient(Burst(1000, 1.0, 0.002, 0.004, 0.008)), nodes=["input"])
    source = response["voltage"].squeeze()
    # The cubic through ngspice's own points rings a little at the two kinks; a line would not, but distort the rest.
    assert float(abs(source.where(source["time"] < 0.0019, drop=True)).max()) < 1e-4
    assert float(abs(source.where(source["time"] > 0.0041, drop=True)).max()) < 1e-4
    assert float(abs(source).max()) == pytest.approx(1.0, rel=0.01)


def test_a_given_waveform_is_played():
    samples = tuple(np.sin(np.linspace(0, 20, 200)))
    response = simulate(parse_amp(DIVIDER), Transient(Waveform(samples, 20e3), 25e-6), nodes=["input"])
    played = np.interp(np.arange(200) / 20e3, response["time"].values, response["voltage"].values[0, 0, 0])
    np.testing.assert_allclose(played, samples, atol=5e-3)


@pytest.mark.parametrize(
    "analysis",
    [FrequencySweep(per_decade=5), OperatingPoint(), Transient(Sine(1000.0, 0.001, 0.001, 1), 1e-4)],
    ids=["sweep", "rest", "transient"],
)
def test_saved_and_loaded_nothing_is_lost(tmp_path, analysis):
    response = simulate([AMP, MODDED], analysis, [{"bright": "open", "gain": 0.2}, {"bright": "120p"}])
    again = ampsim.load_response(ampsim.save_response(response, tmp_path / "response.nc"))
    xr.testing.assert_identical(response, again)
    assert again["voltage"].dtype == response["voltage"].dtype
    assert list(tmp_path.iterdir()) == [tmp_path / "response.nc"]


def test_a_control_of_two_words_is_a_coordinate_again(tmp_path):
    response = simulate(
        ampsim.load_amp("workshop-a"), FrequencySweep(per_decade=5), [{"guitar tone": 0.2}, {"gain": 0.3}]
    )
    again = ampsim.load_response(ampsim.save_response(response, tmp_path / "response.nc"))
    xr.testing.assert_identical(response, again)
    assert again[coord_name("guitar tone")].values[0] == 0.2


def test_where_a_result_came_from_is_written_on_it():
    response = simulate(AMP, positions=[{}, {"gain": 0.7}], nodes=["speaker"])
    other = simulate(AMP, positions=[{}, {"gain": 0.71}], nodes=["speaker"])
    assert response.attrs["netlists_sha256"] != other.attrs["netlists_sha256"]
    assert float(response.attrs["ngspice_version"]) >= 39
    assert '"12AX7"' in response.attrs["valves"]
    assert "source" in response.attrs["valves"]


def test_a_file_that_is_no_response_is_refused(tmp_path):
    (tmp_path / "x.nc").write_bytes(b"CDF\x01 nothing of ours")
    with pytest.raises(DescriptionError, match="not a saved response"):
        ampsim.load_response(tmp_path / "x.nc")
    with pytest.raises(DescriptionError, match="not a saved response"):
        ampsim.load_response(tmp_path / "missing.nc")


@pytest.mark.parametrize(
    ("call", "said"),
    [
        (lambda: simulate(AMP, positions=[{"gian": 0.5}]), "nearest: gain"),
        (
            lambda: simulate(AMP, positions=[{"gain": 5}]),
            "5 is not a rotation; 0 is fully down, 1 fully up; 5 of 10 on its face is 0.5",
        ),
        (lambda: simulate(MODDED, positions=[{"bright": "121p"}]), "nearest: 120p"),
        (lambda: simulate(AMP, nodes=["V1A.plte"]), "nearest: V1A.plate"),
        (lambda: simulate([AMP, AMP]), "both 'stock'"),
        (lambda: simulate(AMP, positions=[]), "one amp and one position"),
        (lambda: simulate(AMP, nodes=["ground"]), "nothing but ground"),
        (lambda: FrequencySweep(200, 20), "start < stop"),
        (lambda: Sine(1000, -1), "0 to 1000 V"),
        (lambda: Transient(Sine(1000, 1, settle=100)), "up to 60 s"),
        (lambda: Waveform((0.0, float("nan"))), "finite"),
    ],
)
def test_a_request_that_cannot_be_met_says_why(call, said):
    with pytest.raises(DescriptionError) as caught:
        call()
    assert said in str(caught.value)


def test_a_simulation_that_fails_names_the_position(monkeypatch):
    from ampsim.simulation.ngspice import engine

    real = engine.run

    def second_fails(netlists, **options):
        outcomes = real(netlists, **options)
        outcomes[1] = EngineError("no answer")
        return outcomes

    monkeypatch.setattr(engine, "run", second_fails)
    with pytest.raises(EngineError, match=r"workshop amp A, stock, gain 7: no answer"):
        simulate(AMP, positions=[{"gain": 0.3}, {"gain": 0.7}])


def test_a_loudspeaker_pad_leaves_the_speaker_at_the_speaker():
    pad = parse_mod(
        {
            "name": "pad",
            "reason": "quieter",
            "parts": {"R990": "8"},
            "edits": [{"fit": "R990", "in_series_at": "LS1.1"}],
        }
    )
    response = simulate([AMP, apply_mods(AMP, pad)], FrequencySweep(400, 4000, 1), nodes=["speaker", "T1.tap8"])
    at_speaker, at_tap = abs(response["voltage"].values[1, 0, :, 0])
    assert at_speaker < 0.7 * at_tap


def test_free_wiring_without_an_output_says_what_is_missing():
    with pytest.raises(DescriptionError, match="put a pin on the net 'out'"):
        parse_amp(
            {
                "name": "x",
                "parts": {"R1": "1k"},
                "stages": [{"name": "d", "template": "free wiring", "wires": {"R1": ["in", "ground"]}}],
            }
        )
