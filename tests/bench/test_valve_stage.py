"""Where a valve of an amp rests and what it works into, against closed forms and the simulated gain."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

from ampsim.base.errors import DescriptionError
from ampsim.bench.valves.overview import trust_table, valves_of, valves_picture
from ampsim.bench.valves.picture import curves_picture, stage_picture
from ampsim.bench.valves.rest import at_rest
from ampsim.bench.valves.stage_lines import stage_lines
from ampsim.interface.commands.main import main
from ampsim.library.loader import load_amp, load_valve
from ampsim.simulation.analyses import FrequencySweep
from ampsim.simulation.response import simulate
from tests.tools.stage_alone import alone, resting_volts, stage

TRIODE = stage(
    "triode stage",
    valve="V1A",
    supply="B1",
    grid_leak="R1",
    plate_load="R3",
    cathode_resistor="R4",
    cathode_bypass="C1",
)
PARTS = {"V1A": "12AX7", "R1": "1M", "R3": "100k", "R4": "1k5", "C1": "220u"}


def test_the_lines_of_a_triode_stage_are_its_resistors() -> None:
    """Steady changes meet plate load and cathode resistor; a signal the load beside the next grid, bypassed or not."""
    after = stage("coupling", capacitor="C2", shunt_resistor="R5")
    amp = alone(PARTS | {"C2": "1u", "R5": "330k"}, TRIODE, after)
    lines = stage_lines(amp, "V1A")
    assert lines.direct_ohms == pytest.approx(101.5e3, rel=1e-3)
    assert lines.supply == pytest.approx(300.0, rel=1e-3)
    assert lines.signal_ohms == pytest.approx(100e3 * 330e3 / 430e3, rel=5e-3)
    plate, cathode = resting_volts(amp, "V1A", "plate", "cathode")
    assert lines.plate == pytest.approx(plate - cathode)
    assert lines.amps == pytest.approx(cathode / 1500.0, rel=1e-3)
    bare = {key: value for key, value in TRIODE.items() if key != "cathode_bypass"}
    without = stage_lines(alone({key: value for key, value in PARTS.items() if key != "C1"}, bare), "V1A")
    assert without.signal_ohms == pytest.approx(without.direct_ohms, rel=1e-3)


@pytest.mark.parametrize(("name", "place"), [("workshop-a", "V1B"), ("workshop-b", "V1A"), ("kitchen", "V2")])
def test_the_gain_by_the_slopes_is_the_simulated_one(name: str, place: str) -> None:
    """From grid to plate, both against the cathode: what the lines and slopes give is what a sweep gives."""
    amp = load_amp(name)
    lines = stage_lines(amp, place)
    pins = [f"{place}.{pin}" for pin in ("plate", "grid", "cathode")]
    plate, grid, cathode = simulate(amp, FrequencySweep(1000.0, 10e3, 1), nodes=pins)["voltage"].values[0, 0, :, 0]
    assert lines.gain == pytest.approx(abs((plate - cathode) / (grid - cathode)), rel=0.02)
    assert 0.0 < lines.watts < lines.valve.limits.plate_watts  # type: ignore[operator]
    picture = stage_picture(lines)
    drawn = {artist.get_gid(): artist for axes in picture.axes for artist in axes.get_lines()}
    assert np.ravel(drawn["rest"].get_xdata())[0] == pytest.approx(lines.plate)  # type: ignore[arg-type]
    assert "rests at" in picture.alternative


def test_a_valve_that_is_not_there_or_draws_nothing_is_refused() -> None:
    amp = load_amp("workshop-a")
    with pytest.raises(DescriptionError, match="no valve 'V9'; nearest"):
        stage_lines(amp, "V9")


def test_the_picture_holds_every_published_point_of_its_families() -> None:
    valve = load_valve("6550")
    picture = curves_picture(valve)
    points = sum(len(line.get_xdata()) for axes in picture.axes for line in axes.get_lines()  # type: ignore[arg-type]
                 if str(line.get_gid()).startswith("points"))  # fmt: skip
    assert points == 17
    assert "6550" in picture.alternative


def test_the_command_shows_any_valve_and_any_stage(
    tmp_path: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.chdir(tmp_path)
    assert main(["valve", "show", "ecc83"]) == 0
    assert "12AX7-curves.png" in capsys.readouterr().out
    assert main(["valve", "show", "--amp", "kitchen", "--of", "V1A", "--at", "volume=0.2"]) == 0
    assert "at volume" in capsys.readouterr().out
    assert [path.suffix for path in tmp_path.iterdir()] == [".png", ".png"]
    for wrong, said in ((["show"], "name a valve"), (["show", "6L6"], "19 W"), (["show", "--amp", "kitchen"], "--of")):
        assert main(["valve", *wrong]) == 1
        assert said in capsys.readouterr().err


def test_every_valve_is_shown_and_counted() -> None:
    """In small each valve has its curves and points; the table counts every figure at rest once."""
    for family in ("triode", "pentode"):
        valves = valves_of(family)
        table, picture = trust_table(valves), valves_picture(valves)
        assert len(picture.axes) == len(table) == len(valves) >= 12
        for row, valve in zip(table.to_dict("records"), valves, strict=True):
            assert row["valve"] == valve.type
            assert row["fitted"] + row["predicted"] == sum(map(at_rest, valve.points))
            assert valve.type in picture.alternative
    with pytest.raises(DescriptionError, match="no family"):
        valves_of("hexode")
