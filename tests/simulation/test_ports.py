"""Reduction to ports: against closed forms, linear algebra and direct simulation; and when it must not be used."""

import itertools

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from ampsim.base.errors import DescriptionError
from ampsim.circuit.feedback import feedback_loop
from ampsim.circuit.mods import apply_mods
from ampsim.library.loader import load_amp, load_mod, parse_mod
from ampsim.simulation.analyses import FrequencySweep, LoopSweep
from ampsim.simulation.loop_gain import loop_gain
from ampsim.simulation.ports import PortCase, loop_gains, reduce, simulate_directly
from ampsim.simulation.ports_algebra import admittance, bias_moves, branches, loop_gain_of_cut, without_first
from tests.truth import bench

AMP = load_amp("workshop-a")
SWEEP = FrequencySweep(per_decade=12)
# Bright capacitor, bypass, treble capacitor, presence capacitor, resistor of the attenuator.
PORTS = (("P1.top", "P1.wiper"), ("R4.1", "R4.2"), ("C5.1", "C5.2"), ("C11.1", "C11.2"), ("R8.1", "R8.2"))


def edited(amp=AMP, parts=None, **values):
    edits = [{"replace": name, "with": value} for name, value in values.items()]
    if parts:
        edits += [{"fit": name, "between": ["P1.top", "P1.wiper"]} for name in parts]
    return apply_mods(amp, parse_mod({"name": "values", "reason": "r", "parts": parts or {}, "edits": edits}))


def reduced(amp, position, ports, outputs, sweep=SWEEP):
    (model,) = reduce([PortCase(amp, position, tuple(ports), tuple(outputs))], sweep)
    return model


def at_outputs(model, *changes):
    """Voltages at the outputs after one change at each port."""
    (block,) = branches(model.table(), [np.asarray(change)[None] for change in changes])
    return block[0, :, 0]


def away_db(found, amp, position, outputs):
    (want,) = simulate_directly([PortCase(amp, position, (), outputs)], SWEEP)
    return np.abs(20.0 * np.log10(np.abs(found / want))).max()


def test_bright_network_on_a_pot_against_its_closed_form():
    pot = {"track": "1M", "control": "volume", "rotation": 0.3}
    amp = bench.amp({"P1": pot, "R1": "470k"}, [bench.stage("volume", pot="P1"), bench.stage("load", load="R1")])
    model = reduced(amp, {}, [("P1.top", "P1.wiper")], ["P1.wiper"])
    values = [47e-12, 120e-12, 1e-9]
    found = [at_outputs(model, admittance("capacitor", farads, model.frequency))[0] for farads in values]
    s, below = 2j * np.pi * model.frequency, 1.0 / (1 / 0.3e6 + 1 / 470e3)
    for row, farads in zip(found, values, strict=True):
        above = 1.0 / (1 / 0.7e6 + s * farads)
        np.testing.assert_allclose(row, below / (above + below), rtol=1e-9)


@pytest.mark.parametrize("farads", [0.1e-6, 0.68e-6, 22e-6])
def test_cathode_shelf_is_that_of_the_closed_form(farads):
    # Gain with bypass over gain without: (1 + s R C) / (1 + s R C / (1 + R / r)), r what the cathode shows without R.
    parts = {"V1": "12AX7", "R1": "100k", "R2": "1k5", "R3": "1M", "C1": "1p"}
    roles = {"valve": "V1", "supply": "B1", "grid_leak": "R3", "plate_load": "R1", "cathode_resistor": "R2"}
    amp = bench.amp(parts, [bench.stage("triode stage", cathode_bypass="C1", **roles)], bench.rail("B1", 300))
    model = reduced(amp, {}, [("C1.1", "C1.2")], ["V1.plate"])
    beside = 1.0 / (1.0 / model.Z[0, 0, 0].real - 1.0 / 1500.0)
    found = at_outputs(model, admittance("capacitor", farads, model.frequency))[0] / model.h0[0]
    s = 2j * np.pi * model.frequency
    shelf = (1 + s * 1500.0 * farads) / (1 + s * 1500.0 * farads / (1 + 1500.0 / beside))
    # Valve capacitances make r depend on frequency: 1e-3 at the top of the band.
    np.testing.assert_allclose(abs(found), abs(shelf), rtol=2e-3)


def test_ports_equal_direct_simulation():
    position = {"gain": 0.3, "presence": 0.8}
    model = reduced(AMP, position, PORTS, ["P2.wiper", "speaker"])
    new = {"C1": 1.2e-5, "C5": 1.5e-10, "C11": 4.7e-8, "R8": 2.2e5}
    f = model.frequency
    steps = [
        admittance("capacitor", 1.2e-10, f),
        admittance("capacitor", 1.1e-5, f),
        admittance("capacitor", -1.8e-10, f),
        admittance("capacitor", -5.3e-8, f),
        admittance("resistor", new["R8"], f) - admittance("resistor", 4.7e5, f),
    ]
    found = at_outputs(model, *steps)
    amp = edited(parts={"C101": "120p"}, **new)
    assert away_db(found, amp, position, ("P2.wiper", "speaker")) < 1e-9
    assert away_db(model.h0, amp, position, ("P2.wiper", "speaker")) > 1.0


def test_several_reductions_at_once_are_the_same_as_one_by_one():
    requests = [PortCase(AMP, {"gain": gain}, PORTS[:2], ("speaker",)) for gain in (0.2, 0.9)]
    for request, model in zip(requests, reduce(requests, SWEEP), strict=True):
        alone = reduced(*request[:4])
        np.testing.assert_allclose(model.table(), alone.table(), rtol=1e-9)
        assert model.runs == 4


def test_every_combination_in_the_order_of_the_product():
    model = reduced(AMP, {}, PORTS[:3], ["speaker"])
    farads = [(0.0, 1e-10, 3e-10), (0.0, 1e-6, 1e-5, 3e-5), (-1e-10, 0.0)]
    changes = [np.array([admittance("capacitor", c, model.frequency) for c in row]) for row in farads]
    wanted = [at_outputs(model, *each) for each in itertools.product(*changes)]
    for most in (1, 5, 8, 4096):
        blocks = list(branches(model.table(), changes, most))
        np.testing.assert_allclose(np.concatenate(blocks)[:, :, 0], wanted, rtol=1e-12)
        assert most == 4096 or len(blocks) > 1


CHANGE = st.floats(-1e-3, 1e-3)


@settings(max_examples=60)
@given(st.integers(1, 4), st.integers(0, 2**31), st.lists(st.tuples(CHANGE, CHANGE), min_size=4, max_size=4))
def test_elimination_equals_one_solution_of_the_whole_system(ports, seed, steps):
    rng = np.random.default_rng(seed)
    # Impedances of a passive network: a positive definite resistive part.
    root = rng.normal(size=(ports, ports))
    z = 100.0 * (root @ root.T + np.eye(ports)) + 1j * rng.normal(size=(ports, ports))
    z0, h0, h = (rng.normal(size=shape) + 0j for shape in ((ports, 1), (2, 1), (2, ports)))
    d = np.array([abs(real) + 1j * imaginary for real, imaginary in steps[:ports]])
    want = h0 - h @ np.diag(d) @ np.linalg.solve(np.eye(ports) + z @ np.diag(d), z0)
    table = np.block([[z, z0], [h, h0]])[:, :, None]
    for change in d:
        table = without_first(table, np.array([change]))
    np.testing.assert_allclose(table[:, 0, 0], want[:, 0], rtol=1e-8, atol=1e-10)


def test_no_ports_leave_the_table_as_it_is():
    table = np.arange(6.0).reshape(2, 3, 1) + 0j
    assert [block.shape for block in branches(table, [])] == [(1, 2, 3, 1)]


def test_the_gate_lets_pass_what_keeps_the_bias_and_nothing_else():
    places = [("R8.1", "R8.2"), ("C2.1", "P1.wiper"), ("R4.1", "R4.2"), ("R20.1", "R20.2"), ("P1.top", "P1.wiper")]
    model = reduced(AMP, {}, places, ["speaker"])
    siemens = np.array([1e-5, 1e-6, 1e-4, 1e-6, 1e-5])
    assert bias_moves(model.volts, siemens).tolist() == [
        False,
        True,
        True,
        True,
        False,
    ]
    assert not bias_moves(model.volts, np.zeros(5)).any()


def test_a_change_that_moves_the_bias_is_wrong_by_ports_and_the_direct_check_says_so():
    model = reduced(AMP, {}, [("R4.1", "R4.2")], ["speaker"])
    change = admittance("resistor", 2.7e3, model.frequency) - admittance("resistor", 1.5e3, model.frequency)
    assert bias_moves(model.volts, change[0].real).all()
    found = at_outputs(model, change)
    assert away_db(found, edited(R4=2.7e3), {}, ("speaker",)) > 0.1


def test_loop_gain_from_ports_equals_double_injection():
    sweep = LoopSweep(per_decade=6)
    line = [{"fit": "R302", "between": ["T1.tap16", "V2A.cathode"]}]
    second = parse_mod({"name": "second way", "reason": "r", "parts": {"R302": "330k"}, "edits": line})
    for mods in ((load_mod("depth"),), (load_mod("depth"), second)):
        amp = apply_mods(AMP, *mods)
        ports = (("C11.1", "C11.2"), ("C104.1", "C104.2"), ("R20.1", "R20.2"))
        position = {"depth": 0.6, "presence": 0.9}
        [model] = reduce([PortCase(amp, position, ports, cut=feedback_loop(amp).cut)], sweep)
        f = model.frequency
        steps = [
            [admittance("capacitor", 0.0, f)] * 3,
            [admittance("capacitor", 1.2e-7, f), admittance("capacitor", -3e-9, f), admittance("capacitor", 0.0, f)],
            [admittance("capacitor", 0.0, f)] * 2
            + [admittance("resistor", 100e3, f) - admittance("resistor", 68e3, f)],
        ]
        found = loop_gains(model, np.array(steps))
        # The resistor carries some of the tail's direct current: its change by ports leaves the bias where it was.
        variants = (amp, edited(amp, C11=2.2e-7, C104=3.8e-9), edited(amp, R20=100e3))
        for row, variant, near in zip(found, variants, (1e-8, 1e-8, 2e-3), strict=True):
            want = loop_gain(variant, positions=[position], sweep=sweep)["loop_gain"].values[0, 0]
            np.testing.assert_allclose(row, want, rtol=near)


def test_loop_gain_of_a_line_between_two_one_way_stages():
    # A transconductance g into the far end r2, seen at r1 through a line of `ohms`: T = g r1 r2 / (r1 + r2 + ohms).
    g, r1, r2, ohms = 0.02, 50.0, 1e3, 1e4
    y = np.array([[1 / r1 + 1 / ohms, -1 / ohms + g], [-1 / ohms, 1 / r2 + 1 / ohms]])
    # The line is cut at its first end: 1 A into it there, then 1 V in series with it.
    into, in_series = np.linalg.inv(y) @ [1.0, 0.0], np.linalg.inv(y) @ [1.0 / ohms, -1.0 / ohms]
    volts = [into[0], in_series[0] - 1.0]
    amps = [(into[0] - into[1]) / ohms - 1.0, (in_series[0] - 1.0 - in_series[1]) / ohms]
    table = np.array([volts, amps])
    loop = loop_gain_of_cut(table[:, :, None] + 0j)
    np.testing.assert_allclose(loop, [g * r1 * r2 / (r1 + r2 + ohms)], rtol=1e-12)


@pytest.mark.parametrize(
    ("ports", "outputs", "words"),
    [
        ([("P1.top", "R99.1")], ["speaker"], "not a place"),
        ([("C2.2", "P1.top")], ["speaker"], "one piece of wire"),
        ([], [], "nothing to reduce"),
        ([("R4.1", "R4.2")], ["nowhere"], "not a place"),
    ],
)
def test_impossible_requests(ports, outputs, words):
    with pytest.raises(DescriptionError, match=words):
        reduced(AMP, {}, ports, outputs)
