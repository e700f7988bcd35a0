"""Loop gain with the loop closed, against ways that do not use it."""

import numpy as np
import pytest

from ampsim.base.errors import DescriptionError
from ampsim.circuit.mods import apply_mods
from ampsim.library.loader import load_amp, load_mod, parse_amp, parse_mod
from ampsim.measures.margins import margin_table
from ampsim.simulation.analyses import FrequencySweep, LoopSweep
from ampsim.simulation.loop_gain import FADED, loop_gain
from ampsim.simulation.netlist import Netlist, build
from ampsim.simulation.ngspice import engine
from ampsim.simulation.ngspice.protocol import Form
from ampsim.simulation.response import simulate
from tests.tools.any_mods import single_mods

AMP = load_amp("workshop-a")
SWEEP = LoopSweep(per_decade=10)


def by_impedances(amp):
    """Loop gain from two currents put in at the ends of the removed feedback resistor: T = -(Z12+Z21)/(Z11+Z22+R)."""
    base = build(amp, {}, FrequencySweep(SWEEP.start, SWEEP.stop, SWEEP.per_decade), ("T1.tap8", "R20.2"))
    # Removing R20 would move the bias, so it stays and its admittance is taken out of the matrix afterwards.
    z = []
    for node in ("t1_tap8", "phase_inverter_foot"):
        text = base.text.replace("dc 0 ac 1", "dc 0 ac 0").replace(".save", f"iadded 0 {node} dc 0 ac 1\n.save")
        answer = engine.run([Netlist(Form((text,), (), base.form.command, base.form.vectors, base.form.points), ())])[0]
        z.append([answer.vectors[name] for name in ("v(t1_tap8)", "v(phase_inverter_foot)")])
    matrix = np.moveaxis(np.array(z), 2, 0).transpose(0, 2, 1)
    y = np.linalg.inv(matrix) - np.array([[1, -1], [-1, 1]]) / 68e3
    z = np.linalg.inv(y)
    return -(z[:, 0, 1] + z[:, 1, 0]) / (z[:, 0, 0] + z[:, 1, 1] + 68e3)


def test_double_injection_equals_the_impedances_of_the_open_ends():
    loop = loop_gain(AMP, sweep=SWEEP)["loop_gain"].values[0, 0]
    np.testing.assert_allclose(loop, by_impedances(AMP), rtol=1e-6)


def test_gain_falls_by_one_plus_the_loop_gain():
    opened = parse_mod({"name": "open", "reason": "r", "edits": [{"replace": "R20", "with": "10G"}]})
    sweep = FrequencySweep(SWEEP.start, SWEEP.stop, SWEEP.per_decade)
    gain = simulate([AMP, apply_mods(AMP, opened)], sweep, nodes=["speaker"])["voltage"].values[:, 0, 0]
    drop = 20 * np.log10(abs(gain[1] / gain[0]))
    loop = loop_gain(AMP, sweep=SWEEP)["loop_gain"].values[0, 0]
    # Opening the line also takes its load off the tap and the foot, and moves the tail's bias a little.
    np.testing.assert_allclose(drop, 20 * np.log10(abs(1 + loop)), atol=0.3)


def test_margins_of_a_loop_of_known_form():
    import xarray as xr

    f = np.logspace(0, 6, 601)
    loop = 10.0 / (1 + 1j * f / 1e3) / (1 + 1j * f / 1e5)
    response = xr.Dataset(
        {"loop_gain": (("variant", "position", "frequency"), loop[None, None])},
        {"variant": ["a"], "position": ["b"], "frequency": f},
    )
    row = margin_table(response).iloc[0]
    crossing = float(row["highest crossing [Hz]"])
    assert abs(10 / (1 + 1j * crossing / 1e3) / (1 + 1j * crossing / 1e5)) == pytest.approx(1, rel=1e-3)
    expected = 180 - np.degrees(np.arctan(crossing / 1e3) + np.arctan(crossing / 1e5))
    assert row["least margin [deg]"] == pytest.approx(expected, abs=0.05)


def test_the_demo_amps_are_steady_at_every_end_of_their_controls():
    modded = apply_mods(AMP, load_mod("depth"))
    corners = [{"presence": p, "depth": d} for p in (0.0, 1.0) for d in (0.0, 0.5, 1.0)]
    table = margin_table(loop_gain(modded, positions=corners))
    assert table["least margin [deg]"].min() > 45
    small = apply_mods(load_amp("workshop-b"), load_mod("feedback-with-presence"))
    table = margin_table(loop_gain(small, "R202.1", [{"presence": p} for p in (0.0, 0.5, 1.0)]))
    assert table["least margin [deg]"].min() > 45


def test_a_secondary_the_wrong_way_round_is_said():
    import tomllib

    from ampsim.library.files import models

    data = tomllib.loads((models() / "amps" / "workshop-a.toml").read_text("utf-8"))
    data["parts"]["T1"]["secondary"] = "reversed"
    table = margin_table(loop_gain(parse_amp(data, "reversed.toml")))
    assert "wrong way round" in table["verdict"].iloc[0]


def test_an_amp_without_feedback_asks_for_the_place():
    with pytest.raises(DescriptionError, match="no feedback stage"):
        loop_gain(load_amp("workshop-b"))
    with pytest.raises(DescriptionError, match=r"nearest: R20\."):
        loop_gain(AMP, "R20.3")


def test_the_picture_shows_the_loop_gain():
    from ampsim.pictures.loop_gain import loop_gain_curves, loop_gain_picture

    response = loop_gain(AMP, positions=[{"presence": 0.0}, {"presence": 1.0}], sweep=SWEEP)
    picture = loop_gain_picture(response)
    lines = {
        line.get_gid(): line.get_ydata() for line in picture.axes[0].lines if str(line.get_gid()).startswith("line")
    }
    np.testing.assert_allclose(lines["line-1"], 20 * np.log10(abs(response["loop_gain"].values[0, 1])))
    assert set(lines) == set(loop_gain_curves(response))
    assert "Presence 10" in picture.alternative


def test_a_position_without_the_loop_is_drawn_and_said():
    from ampsim.pictures.loop_gain import loop_gain_picture

    off = {"designator": "S301", "control": "line", "positions": {"on": [], "off": [{"lift": "R20"}]}}
    switched = apply_mods(AMP, parse_mod({"name": "line", "reason": "r", "switches": [off]}))
    response = loop_gain(switched, positions=[{"line": "on"}, {"line": "off"}], sweep=SWEEP)
    picture = loop_gain_picture(response)
    assert "Line off: no feedback here." in picture.alternative
    assert list(margin_table(response)["verdict"].str.contains("no feedback here")) == [False, True]


@pytest.mark.parametrize("number", [1, 5, 29, 101, 129])
def test_no_margin_is_unknown_because_a_sweep_ends_early(number):
    mod = next(single_mods(1, 13 if number > 100 else 3, number))
    knobs = [each.name for each in mod.modded.controls.values() if each.kind == "knob"]
    switched = {each.control: each.labels[-1] for each in mod.modded.all_switches}
    positions = [{**switched, **dict.fromkeys(knobs, turned)} for turned in (0.0, 0.5, 1.0)]
    plain = loop_gain(mod.modded, positions=positions, sweep=LoopSweep())
    found = loop_gain(mod.modded, positions=positions)
    hertz = found["frequency"].values
    assert np.diff(np.log10(hertz)) == pytest.approx(1.0 / 25.0)
    inside = (hertz > 0.99) & (hertz < 1.01e6)
    np.testing.assert_allclose(found["loop_gain"].values[..., inside], plain["loop_gain"].values, rtol=1e-6)
    faded = np.abs(plain["loop_gain"].values[..., [0, -1]]).max() <= FADED
    assert faded == (found.sizes["frequency"] == plain.sizes["frequency"])
    assert not margin_table(found)["verdict"].str.contains("not known").any()


def test_a_sweep_goes_on_at_the_end_where_the_loop_gain_is_still_large():
    response = loop_gain(AMP, sweep=LoopSweep(100.0, 1e4, 10, whole=True))
    whole = loop_gain(AMP, sweep=LoopSweep(1.0, 1e6, 10))
    np.testing.assert_allclose(response["frequency"], whole["frequency"], rtol=1e-9)
    np.testing.assert_allclose(response["loop_gain"], whole["loop_gain"], rtol=1e-6)
    assert margin_table(loop_gain(AMP, sweep=LoopSweep(100.0, 1e4, 10)))["verdict"].str.contains("not known").all()
