"""An amp in time: against closed forms, plain linear algebra and ngspice; and what must not become a sound."""

from __future__ import annotations

import itertools
import math
import os
import subprocess
import sys
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy import signal as filters
from scipy.special import wrightomega

from ampsim import load_amp, load_mod, load_valve
from ampsim.base.errors import DescriptionError, EngineError, Stopped
from ampsim.circuit.amp import Amp
from ampsim.circuit.build import build_circuit
from ampsim.circuit.mods import apply_mods
from ampsim.circuit.nets import INPUT
from ampsim.circuit.stages.template import GROUND
from ampsim.circuit.switches.moving import moving
from ampsim.circuit.valves.evaluation import currents
from ampsim.library.files import models
from ampsim.simulation.analyses import OperatingPoint, Transient
from ampsim.simulation.netlist import node_vector, write
from ampsim.simulation.ngspice import engine
from ampsim.simulation.response import simulate
from ampsim.simulation.stimuli import Throw
from ampsim.simulation.timestep import compiled, elementary, kernel_arguments, machine, starting
from ampsim.simulation.timestep.branches import Branch, Parts, parts_of, valve_seat
from ampsim.simulation.timestep.differentiate import LANES
from ampsim.simulation.timestep.moves import stands
from ampsim.simulation.timestep.setting import prepare
from ampsim.simulation.timestep.sockets import seats_of
from ampsim.simulation.timestep.solver import play
from ampsim.simulation.timestep.state_space import equations
from ampsim.simulation.timestep.walker import Walker
from tests.figures import in_time
from tests.tools import random_amps
from tests.tools.loop_laws import at_volts
from tests.truth import bench

ROOT = Path(__file__).resolve().parents[2]

RATE = 48_000.0
AMPS = ("workshop-a", "workshop-b", "rehearsal-room", "lesson-stage")
VALVES = sorted(path.stem for path in (models() / "valves").rglob("*.toml"))


def tone(hertz: float, level: float, seconds: float) -> Any:
    return level * np.sin(2.0 * np.pi * hertz * np.arange(round(seconds * RATE)) / RATE)


def bump(level: float = 1.0, samples: int = 300, width: float = 8.0) -> Any:
    """A smooth pulse that no low-pass at 20 kHz changes."""
    return level * np.exp(-0.5 * ((np.arange(samples) - 60.0) / width) ** 2)


def settled(amp: Amp, step: float = 1.0 / (8.0 * RATE), **position: Any) -> machine.Machine:
    wired, whole = stands(amp, position)
    return starting.machine_at_rest(whole[0].parts, wired.speaker, step)


# Linear circuits ------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize("oversampling", [1, 8])
def test_low_pass_against_its_closed_form(oversampling):
    """10 kohm, 10 nF: scipy's exact solution for an input of straight lines, drawn sixteen times as fine."""
    given_, fine = bump(), 16
    found = play(bench.corner(), given_, RATE, oversampling=oversampling).volts
    time = np.arange(given_.size * fine) / (RATE * fine)
    smooth = np.exp(-0.5 * ((time * RATE - 60.0) / 8.0) ** 2)
    exact = filters.lsim(([1.0], [10e3 * 10e-9, 1.0]), smooth, time)[1][::fine]
    # The rule is good to the square of its steps, but for what it leans to the backward rule.
    assert np.abs(found - exact).max() < {1: 5e-3, 8: 4e-4}[oversampling]


def test_resonance_against_its_closed_form():
    """100 ohm, 100 mH and 100 nF in series: 1592 Hz, Q 10."""
    parts = {"R1": 100.0, "L1": 0.1, "C1": 100e-9, "R2": 10e9}
    wires = bench.wired("ring", R1=["in", "a"], L1=["a", "out"], C1=["out", "ground"], R2=["out", "ground"])
    found = play(bench.amp(parts, [wires]), bump(samples=2000), RATE, oversampling=16).volts
    time = np.arange(2000 * 16) / (RATE * 16)
    smooth = np.exp(-0.5 * ((time * RATE - 60.0) / 8.0) ** 2)
    exact = filters.lsim(([1.0], [0.1 * 100e-9, 100.0 * 100e-9, 1.0]), smooth, time)[1][::16]
    assert np.abs(found - exact).max() < 3e-3 * np.abs(exact).max()


@st.composite
def networks(draw: Any) -> Parts:
    """Any network of R, C and L in which every node has a path to ground; many with nodes that lack one kind or two."""
    count = draw(st.integers(1, 6))
    nets = [GROUND, INPUT, *(f"n{number}" for number in range(count))]
    values = {"r": (1e1, 1e6), "c": (1e-12, 1e-5), "l": (1e-4, 1e1)}
    branches: list[Branch] = []

    def add(kind: str, first: str, second: str) -> None:
        low, high = values[kind]
        value = low * (high / low) ** draw(st.floats(0.0, 1.0))
        branches.append(Branch(kind, f"{kind}{len(branches)}", first, second, value))

    for number in range(count):
        add(draw(st.sampled_from("rrll")), f"n{number}", nets[draw(st.integers(0, number + 1))])
    for _ in range(draw(st.integers(0, 8))):
        first, second = draw(st.permutations(nets))[:2]
        add(draw(st.sampled_from("rcccl")), first, second)
    coils = [branch.name for branch in branches if branch.kind == "l"]
    couplings = ((coils[0], coils[1], draw(st.floats(0.1, 0.9999))),) if len(coils) > 1 and draw(st.booleans()) else ()
    return Parts(tuple(branches), couplings, (), {INPUT: 0.0})


def nodal(parts: Parts, s: complex, net: str) -> complex:
    """Transfer from the input to a net: modified nodal analysis, coil currents as unknowns (any textbook)."""
    nets = [*dict.fromkeys(n for b in parts.branches for n in (b.first, b.second) if n not in (GROUND, INPUT))]
    coils = [branch for branch in parts.branches if branch.kind == "l"]
    size = len(nets)
    matrix, right = np.zeros((size + len(coils),) * 2, complex), np.zeros(size + len(coils), complex)
    henries = np.diag([coil.value for coil in coils]) if coils else np.zeros((0, 0))
    for one, other, factor in parts.couplings:
        i, j = ([coil.name for coil in coils].index(name) for name in (one, other))
        henries[i, j] = henries[j, i] = factor * math.sqrt(henries[i, i] * henries[j, j])
    matrix[size:, size:] = -s * henries
    for branch in parts.branches:
        ends = [(branch.first, 1.0), (branch.second, -1.0)]
        across = np.array([sum(sign for end, sign in ends if end == net) for net in nets])
        driven = sum(sign for end, sign in ends if end == INPUT)
        if branch.kind == "l":
            row = size + coils.index(branch)
            matrix[:size, row] += across
            matrix[row, :size] += across
            right[row] -= driven
        else:
            y = s * branch.value if branch.kind == "c" else 1.0 / branch.value
            matrix[:size, :size] += y * np.outer(across, across)
            right[:size] -= y * across * driven
    return complex(np.linalg.solve(matrix, right)[nets.index(net)])


@settings(max_examples=150)
@given(networks(), st.floats(2.0, 5.0))
def test_state_equations_of_any_network_equal_nodal_analysis(parts, decade):
    """Capacitors in rings, across sources and without a resistor; coils in series, in stars and coupled."""
    net, s = "n0", 2j * math.pi * 10.0**decade
    found = equations(parts, (), [net])
    if len(found.energy):
        scale = np.sqrt(np.diag(found.energy))
        states = np.linalg.solve(
            (s * found.energy - found.slope) / np.outer(scale, scale), found.drive / scale[:, None]
        )
        ours = (found.read / scale @ states + found.through)[0, 0]
    else:
        ours = found.through[0, 0]
    exact = nodal(parts, s, net)
    assert abs(ours - exact) <= 1e-6 * max(abs(exact), 1e-6)


def test_a_part_that_hangs_in_the_air_is_an_error():
    loose = (Branch("r", "r1", INPUT, "a", 1e3), Branch("l", "l1", "b", "c", 1.0))
    with pytest.raises(EngineError, match="no solution"):
        starting.machine_at_rest(Parts(loose, (), (), {INPUT: 0.0}), "a", 1e-5)


def test_finer_steps_are_prepared_when_they_are_asked_for_and_nothing_changes_by_that():
    amp = load_amp("workshop-a")
    wired = build_circuit(amp)
    parts = parts_of(wired, amp.setting({}), still=True)
    seats = seats_of(parts.seats)
    tone = 0.5 * np.sin(2.0 * np.pi * 1000.0 * 20e-6 * np.arange(400.0))
    found = []
    for known in (1, 99):
        setting = prepare(parts, seats, [wired.speaker], 20e-6)
        assert len(setting.levels(seats, known).columns) == (1 if known == 1 else setting.parts_of_step.bit_length())
        found.append(Walker(setting, seats).walk(tone, np.array([0]), 1, 0.05))
    (asked, one), (whole, other) = found
    assert np.diff(asked).min() < 0.1  # steps adapted
    np.testing.assert_allclose(asked, whole, rtol=1e-12)
    np.testing.assert_allclose(one, other, atol=1e-6 * np.abs(other).max())


# Valves ---------------------------------------------------------------------------------------------------------------


def test_quick_functions_equal_the_library():
    jit = compiled.jit_uncached
    exp, log, log1p = (jit(lambda x, f=f: f(x)) for f in (elementary.exp, elementary.log, elementary.log1p))
    wide = np.linspace(-700.0, 700.0, 4001)
    np.testing.assert_allclose([exp(x) for x in wide], np.exp(wide), rtol=1e-15)
    np.testing.assert_allclose([log(x) for x in np.exp(wide)], wide, rtol=1e-14, atol=1e-15)
    omega = jit(lambda y: elementary.omega(y))
    np.testing.assert_allclose([omega(y) for y in wide], wrightomega(wide), rtol=5e-15)
    small = np.exp(np.linspace(-90.0, 0.0, 1001))
    np.testing.assert_allclose([log1p(x) for x in small], np.log1p(small), rtol=1e-15)


@pytest.mark.parametrize("name", VALVES)
def test_compiled_law_and_slopes_are_those_of_the_law(name):
    valve = load_valve(name)
    rng = np.random.default_rng(1)
    plate, screen = rng.uniform(-50.0, 600.0, 200), rng.uniform(-20.0, 500.0, 200)
    grid = rng.uniform(-40.0, 30.0, 200)
    whole = valve.family == "pentode"
    seat = valve_seat(valve, dict.fromkeys(("plate", "grid", "screen", "cathode"), "a"))
    laid = seats_of([seat])
    ports = len(laid.ports)
    found, slopes = np.zeros((200, 3)), np.zeros((200, 3, 3))
    for row, volts in enumerate(zip(plate, grid, screen, strict=True)):
        found[row, :ports], slopes[row, :ports, :ports] = at_volts(laid, volts[:ports])
    wanted = currents(valve, plate, grid, screen if whole else None)
    np.testing.assert_allclose(found[:, 0], wanted.plate, rtol=1e-11, atol=1e-14)
    np.testing.assert_allclose(found[:, 2], wanted.screen, rtol=1e-11, atol=1e-14)
    np.testing.assert_allclose(found[:, 1], wanted.grid, rtol=2e-4, atol=2e-8)
    for pin in range(3 if whole else 2):
        step = np.where(np.arange(3) == pin, 1e-4, 0.0)
        ends = [currents(valve, plate + s * step[0], grid + s * step[1], screen + s * step[2] if whole else None)
                for s in (1.0, -1.0)]  # fmt: skip
        for row, electrode in enumerate(("plate", "grid", "screen")[: 3 if whole else 2]):
            slope = (getattr(ends[0], electrode) - getattr(ends[1], electrode)) / 2e-4
            tolerance = {"rtol": 2e-3, "atol": 1e-6} if row == 1 else {"rtol": 1e-5, "atol": 2e-9}
            np.testing.assert_allclose(slopes[:, row, pin], slope, err_msg=f"{electrode} by {pin}", **tolerance)


# Whole amps against ngspice -------------------------------------------------------------------------------------------


@pytest.mark.parametrize("name", AMPS)
def test_operating_point_is_that_of_ngspice(name):
    amp = load_amp(name)
    rest = simulate(amp, OperatingPoint())["voltage"].isel(variant=0, position=0)
    ours = settled(amp)
    volts = ours._work[kernel_arguments.V, : len(ours.seats.ports)]
    nets = dict(zip(ours.seats.ports, volts, strict=True))
    wired, _ = stands(amp, {})
    for element in (each for each in wired.elements if each.kind == "valve"):
        for pin in (pin for pin, _ in element.pins if pin != "cathode"):
            place, cathode = (f"{element.designator}.{each}" for each in (pin, "cathode"))
            found = nets[element.net(pin), element.net("cathode")]
            there = float(rest.sel(node=place) - rest.sel(node=cathode))
            assert found == pytest.approx(there, rel=1e-4, abs=1e-3), place


def test_every_demo_amp_at_every_position_as_ngspice():
    """Eight milliseconds of a string, the levels in turn: clean, and where every stage clips."""
    whole = {level: in_time.cases([level], 0.008) for level in in_time.LEVELS}
    mixed = [same[number % len(same)] for number, same in enumerate(zip(*whole.values(), strict=True))]
    for case, error in in_time.errors(mixed, step=in_time.TWICE):
        assert error < 0.004, case.label


def test_amps_by_lot_as_ngspice():
    for case, error in in_time.errors(in_time.by_lot(range(30, 40), 0.006), in_time.FAINT, in_time.TWICE):
        assert error < 0.01, case.label


def test_pop_of_a_switch_as_ngspice():
    amp = apply_mods(load_amp("workshop-a"), load_mod("cathode-switch"))
    before, after = amp.controls["cathode"].positions[:2]
    run = Transient(Throw(at=0.002, duration=0.012), 1e-6)
    wired = moving(amp, (("cathode", before),), "cathode", after)
    netlist = write(wired, amp.setting({"cathode": before}), run, ("speaker",))
    exact = in_time.heard(engine.run([netlist])[0], node_vector(wired, "speaker"), 0.012)
    found = play(amp, np.zeros(577), RATE, position={"cathode": before}, moves=[(0.002, {"cathode": after})])
    assert np.abs(exact).max() > 5.0
    assert in_time.relative(found.volts, exact) < 0.02


# What holds for every amp ---------------------------------------------------------------------------------------------


def test_silence_stays_silent():
    for name in AMPS:
        assert np.ptp(play(load_amp(name), np.zeros(2400), RATE).volts) < 1e-5


def test_a_rail_stays_and_ground_is_nothing():
    amp = load_amp("lesson-stage")
    np.testing.assert_allclose(play(amp, tone(500.0, 0.1, 0.01), RATE, node="B1").volts, 300.0)
    assert not play(amp, tone(500.0, 0.1, 0.01), RATE, node="ground").volts.any()
    np.testing.assert_allclose(play(amp, bump(), RATE, node="input").volts, bump(), atol=2e-5)


@settings(max_examples=15)
@given(st.sampled_from(AMPS[:3]), st.floats(1e-6, 2e-4), st.integers(1, 200))
def test_linear_at_small_levels_and_the_same_at_any_time(name, level, delay):
    amp, once = load_amp(name), bump(1e-4, 500)
    base = play(amp, once, RATE, oversampling=2).volts
    other = play(amp, level / 1e-4 * once, RATE, oversampling=2).volts
    scale = np.abs(base).max()
    assert np.abs(other * (1e-4 / level) - base).max() < (0.01 + 1e-6 / level) * scale
    late = play(amp, np.pad(once, (delay, 0))[:500], RATE, oversampling=2).volts
    assert np.abs(late[delay:] - base[: 500 - delay]).max() < 1e-3 * scale


@pytest.mark.parametrize("name", AMPS[:3])
def test_a_mended_inverse_is_that_of_the_matrix_it_stands_for_and_plays_the_same(name):
    """Driven hard through every stage: numpy's product with 1 - K i', i' the slopes it was mended for, is 1."""
    whole, mended = settled(load_amp(name)), settled(load_amp(name))
    mended.for_long()
    heard = [each.run(tone(180.0, 0.5, 0.06)) for each in (whole, mended)]
    counts = [each._state[kernel_arguments.FACTORISATIONS] for each in (whole, mended)]
    assert 0 < counts[1] < 0.6 * counts[0]
    assert np.sqrt(np.mean((heard[1] - heard[0]) ** 2)) < 2e-4 * np.ptp(heard[0])
    for each in (whole, mended):
        slopes = held_slopes(each)
        coupling = each.seats.spread(each.setting.step.coupling).T
        assert np.abs(each._inverse.T @ (np.eye(len(slopes)) - coupling @ slopes) - np.eye(len(slopes))).max() < 1e-7


def held_slopes(driven: machine.Machine) -> Any:
    """The slopes [S] that Newton's matrix was made of, currents by volts."""
    found = np.zeros((driven.seats.width,) * 2)
    for (_, rows, count), place in zip(*driven._valves[:2], strict=True):
        for lane, row, column in itertools.product(range(count), range(rows), range(rows)):
            ports = place[row * LANES + lane], place[column * LANES + lane]
            found[ports] = driven._work[kernel_arguments.HELD + column, ports[0]]
    return found


def test_random_amps_play():
    """Number 17 goes over faster than a sample, and is led there in smaller steps."""
    for number in (*range(1, 12), 17):
        case = random_amps.draw(number, with_transient=False)
        for level in (0.01, 3.0):
            found = play(case.amp, tone(300.0, level, 0.01), RATE, position=case.position, oversampling=4)
            assert np.isfinite(found.volts).all()
            assert np.abs(found.volts).max() < 500.0


def test_a_knob_that_moves_ends_where_it_points():
    amp, samples = load_amp("lesson-stage"), tone(400.0, 0.05, 0.2)
    moved = play(amp, samples, RATE, position={"bypass": "none"}, moves=[(0.02, {"bypass": "820n"})])
    there = play(amp, samples, RATE, position={"bypass": "820n"})
    here = play(amp, samples, RATE, position={"bypass": "none"})
    scale = np.abs(there.volts).max()
    assert np.abs(moved.volts[:900] - here.volts[:900]).max() < 1e-3 * scale
    assert np.abs(moved.volts[-2400:] - there.volts[-2400:]).max() < 0.02 * scale
    assert np.abs(here.volts[-2400:] - there.volts[-2400:]).max() > 0.1 * scale


# Faults ---------------------------------------------------------------------------------------------------------------


def test_a_sample_that_cannot_be_solved_is_an_error(monkeypatch):
    monkeypatch.setattr(machine, "DEEPEST", 0)
    # One by lot that needs smaller steps somewhere.
    case = random_amps.draw(17, with_transient=False)
    loud = 3.0 * np.sin(2.0 * np.pi * 300.0 * np.arange(960) / 48e3)
    with pytest.raises(EngineError, match="nothing is played"):
        play(case.amp, loud, 48e3, position=case.position, oversampling=4)


@pytest.mark.parametrize(
    ("wrong", "told"),
    [
        ({"signal": [[0.0, 1.0]]}, "shape"),
        ({"signal": [0.0, math.nan]}, "nan V"),
        ({"signal": ["a"]}, "numbers"),
        ({"signal": []}, "shape"),
        ({"signal": [2000.0]}, "1000 V"),
        ({"rate": math.nan}, "8,000"),
        ({"oversampling": 3}, "oversampling"),
        ({"position": {"gian": 0.5}}, "gain"),
        ({"node": "V9.plate"}, "not a place"),
        ({"moves": [(0.2, {"gain": 0.1}), (0.1, {"gain": 0.2})]}, "later"),
    ],
)
def test_impossible_requests_are_refused(wrong, told):
    whole = {"signal": np.zeros(100), "rate": RATE} | wrong
    with pytest.raises(DescriptionError, match=told):
        play(load_amp("workshop-a"), whole.pop("signal"), whole.pop("rate"), **whole)


def test_stopping_half_way():
    done: list[int] = []

    def enough(now: int, total: int, text: str) -> None:
        assert (total >= 48_000, text) == (True, "samples")
        done.append(now)
        if len(done) == 2:
            raise Stopped("enough")

    with pytest.raises(Stopped):
        play(load_amp("lesson-stage"), np.zeros(48_000), RATE, progress=enough)
    assert len(done) == 2
    assert 0 < done[-1] < 24_000


def test_where_no_folder_can_be_written_nothing_is_kept(tmp_path, monkeypatch):
    blocked = tmp_path / "file"
    blocked.write_text("", "utf-8")
    for name in ("XDG_CACHE_HOME", "NUMBA_CACHE_DIR"):
        monkeypatch.setenv(name, str(blocked))
    assert compiled.cache_folder() is None
    monkeypatch.setattr(compiled, "_FOLDER", None)
    assert compiled.jit(lambda x: x + 1.0)(1.0) == 2.0


def test_kept_code_is_loaded_without_what_compiling_takes_and_compiled_anew_where_cut_short(tmp_path: Path) -> None:
    # Taken twice in one process: the second finds what the first has kept, also after that was cut short.
    (tmp_path / "twice.py").write_text(
        "import itertools, pathlib, sys\n"
        "from ampsim.simulation.timestep.compiled import jit, jit_uncached\n"
        "def taken():\n"
        "    for _ in range(2):\n"
        "        @jit\n        def twice(x):\n            return 2.0 * x\n"
        "        print(twice(21.0), dict(twice._cache_hits), dict(twice._cache_misses))\n"
        "    return twice\n"
        "twice = taken()\n"
        "print('numba.np.linalg' in sys.modules)\n"
        "assert jit_uncached(lambda x: twice(twice(x)))(3.0) == 12.0\n"
        "for ending, left in itertools.product(sys.argv[1:], (0, -10)):\n"
        "    cut = [*pathlib.Path().rglob(f'*.{ending}')]\n"
        "    print(ending, left, bool(cut))\n"
        "    for file in cut:\n        file.write_bytes(file.read_bytes()[:left])\n"
        "    taken()\n",
        "utf-8",
    )
    environment = {**os.environ, "NUMBA_CACHE_DIR": str(tmp_path), "PYTHONPATH": str(ROOT)}
    anew, kept = "42.0 {} {(float64,): 1}", "42.0 {(float64,): 1} {}"

    def said(*cut: str) -> list[str]:
        command = [sys.executable, "twice.py", *cut]
        done = subprocess.run(command, cwd=tmp_path, env=environment, capture_output=True, encoding="utf-8", check=True)
        return done.stdout.splitlines()

    assert said() == [anew, kept, "True"]
    first, again, compiler, *after = said("nbi", "nbc")
    # What is compiled later calls it.
    assert (first, again, compiler) == (kept, kept, "False")
    for ending, left in itertools.product(("nbi", "nbc"), (0, -10)):
        heading, first, second, *after = after
        assert heading == f"{ending} {left} True"
        assert first.startswith("42.0"), heading
        assert second == kept, ("it was not kept anew", heading)
    assert after == []


def test_a_valve_taken_twice_has_its_own_currents():
    """Two machines of one amp share nothing that changes."""
    one, other = settled(load_amp("lesson-stage")), settled(load_amp("lesson-stage"))
    first = one.run(tone(500.0, 1.0, 0.01))
    other.run(tone(900.0, 0.1, 0.01))
    again = settled(load_amp("lesson-stage"))
    assert np.array_equal(again.run(tone(500.0, 1.0, 0.01)), first)
