"""The engine's answers against closed forms, and the answers it must not give."""

from __future__ import annotations

import re
from dataclasses import replace

import numpy as np
import pytest

from ampsim.base.errors import EngineError
from ampsim.simulation.netlist import Netlist
from ampsim.simulation.ngspice import engine
from ampsim.simulation.ngspice.messages import is_fault, of_answer
from ampsim.simulation.ngspice.protocol import Form
from ampsim.simulation.ngspice.session import Failure, Numbers, Session, carries_currents
from tests.tools.small_circuits import SWEEP, SWEEP_POINTS, C, R, arrays, low_pass, netlist, one, valve


def fault(wanted: Netlist) -> str:
    """Message of the error that this netlist must give; the engine must work before and after."""
    before, bad, after = engine.run([low_pass("op"), wanted, low_pass("op")], workers=1)
    assert arrays(before).vectors["v(a)"] == pytest.approx([2.0])
    assert arrays(after).vectors["v(a)"] == pytest.approx([2.0])
    assert isinstance(bad, EngineError), bad
    return str(bad)


# Answers against closed forms (Kirchhoff's laws, worked out by hand beside each check).


def test_operating_point_of_a_divider() -> None:
    text = "divider\nv1 in 0 9\nr1 in a {r1}\nr2 a 0 {r2}\n.end\n"
    answer = one(netlist(text, "op", "v(a)", "v1#branch", r1=3e3, r2=6e3))
    assert answer.vectors["v(a)"] == pytest.approx([9 * 6 / 9], rel=1e-9)
    assert answer.vectors["v1#branch"] == pytest.approx([-9 / 9e3], rel=1e-9)
    assert answer.scale.size == 0


def test_frequency_sweep_of_a_low_pass() -> None:
    answer = one(low_pass(SWEEP))
    np.testing.assert_allclose(answer.scale, np.logspace(1, 5, SWEEP_POINTS), rtol=1e-9)
    expected = 1 / (1 + 2j * np.pi * answer.scale * R * C)
    np.testing.assert_allclose(answer.vectors["v(a)"], expected, rtol=1e-9)


def test_step_response_of_a_low_pass() -> None:
    end = 5 * R * C
    answer = one(low_pass(f"tran 1e-06 {end!r} 0.0 1e-06", end=end))
    expected = 3 - np.exp(-answer.scale / (R * C))
    assert answer.scale[-1] == pytest.approx(end)
    # Trapezoidal rule: error of order (h/RC)^2/12 = 8e-6 of the step; ngspice's own control adds its share.
    np.testing.assert_allclose(answer.vectors["v(a)"], expected, atol=1e-4)


def test_points_where_no_current_can_be_trusted_are_left_out() -> None:
    """A supply of 400 V on 40 uF stands still, but for the last digit: tens of milliamperes in steps of 2e-16 s."""
    corner = 6e-4 + 2e-16 * np.arange(50)
    times = np.concatenate([[0.0, 2e-7, 6e-7], corner, [6e-4 + 2e-9, 6.2e-4, 6.4e-4]])
    volts = 400.0 * (1.0 + np.finfo(float).eps * (-1.0) ** np.arange(len(times)))
    amps = 40e-6 * np.abs(np.diff(volts, prepend=volts[0]) / np.diff(times, prepend=-1.0))
    kept = carries_currents(times, 2e-5)
    assert amps.max() > 0.01
    assert amps[kept].max() < 1e-8
    np.testing.assert_array_equal(times[kept], np.delete(times, np.arange(4, 53)))


class Ringing(Session):
    """A session whose ngspice gives up by the trapezoidal rule."""

    def __init__(self, problem: str, never: bool = False) -> None:
        self.loaded: list[str] = []
        self._loaded, self._problem, self._never = None, problem, never

    def _unload(self) -> None:
        pass

    def _load(self, form: Form, values: tuple[float, ...]) -> None:
        self.loaded.append(form.text(values))

    def _analyse(self, form: Form, values: tuple[float, ...]) -> Numbers:
        if self._never or "method=gear" not in self.loaded[-1]:
            raise Failure(self._problem, [self._problem])
        return Numbers(None, np.zeros(0), ())


@pytest.mark.parametrize(
    ("command", "problem", "tries"),
    [("tran 1 2", "Timestep too small", 3), ("tran 1 2", "singular matrix", 1), ("op", "Transient op", 5)],
)
def test_what_has_no_answer_is_tried_again_with_other_pivots_and_in_time_by_gear(
    command: str, problem: str, tries: int
) -> None:
    """The last try is by Gear's method; whoever has another circuit to try wants none of them."""
    wanted = netlist("text\nr1 a 0 {r1}\n.options reltol=1e-4\n.end\n", command, "v(a)", r1=1.0)
    session = Ringing(problem)
    try:
        session.simulate(wanted.form, wanted.values)
        answered = True
    except EngineError:
        answered = False
    assert (len(session.loaded), answered) == (tries, tries == 3)
    assert ["pivrel" in text for text in session.loaded] == [False, True, True, True, False][:tries]
    once = Ringing(problem)
    with pytest.raises(EngineError):
        once.simulate(wanted.form._replace(once=True), wanted.values)
    assert len(once.loaded) == 1


def test_it_is_tried_in_finer_steps_before_gear_and_no_method_twice() -> None:
    wanted = netlist("text\nr1 a 0 {r1}\n.options reltol=0.001\n.end\n", "tran 4e-06 2.0 0.0 4e-06", "v(a)", r1=1.0)
    finer = wanted.form.finer()
    assert (finer.command, finer.finer()) == ("tran 1e-06 2.0 0.0 1e-06", finer)
    assert "reltol=0.0001\n" in finer.text(wanted.values)
    session = Ringing("Timestep too small", never=True)
    with pytest.raises(EngineError):
        session.simulate(wanted.form, wanted.values)
    assert [("reltol=0.0001" in each, "gear" in each) for each in session.loaded] == [
        (False, False), (False, False), (True, False), (True, True)
    ]  # fmt: skip


@pytest.mark.parametrize("damped", [False, True])
def test_both_methods_give_the_same_step_response(damped: bool) -> None:
    end = 5 * R * C
    given = low_pass(f"tran 1e-06 {end!r} 0.0 1e-06", end=end)
    first, *others = given.form.skeleton
    text = given.form._replace(skeleton=(first.replace("\n", "\n.options reltol=1e-4\n", 1), *others))
    answer = one(Netlist(text.damped() if damped else text, given.values))
    assert "method=gear" in text.damped().text(given.values)
    assert answer.scale[-1] == pytest.approx(end)
    np.testing.assert_allclose(answer.vectors["v(a)"], 3 - np.exp(-answer.scale / (R * C)), atol=2e-4)


def test_coupled_inductors_after_a_transient() -> None:
    # Inductors are shorts at rest, so v(a) = 10 V; in a load that ran a transient ngspice says 0.0005 V.
    text = "coupled\nv1 d 0 10\nl1 d a 1\nl2 0 b 1\nk1 l1 l2 0.5\nr1 a 0 {r1}\nr2 b 0 1e3\n.end\n"
    rest = netlist(text, "op", "v(a)", r1=1e3)
    moving = netlist(text, "tran 1e-05 0.001 0.0 1e-05", "v(a)", end=1e-3, r1=1e3)
    answers = [arrays(a).vectors["v(a)"] for a in engine.run([rest, moving, rest, moving, rest], workers=1)]
    for answer in answers[::2]:
        assert answer == pytest.approx([10.0], rel=1e-6)
    np.testing.assert_array_equal(answers[1], answers[3])


def test_operating_point_that_needs_gmin_stepping_is_an_answer() -> None:
    text = "steep\nv1 in 0 1\nr1 in p {r1}\nb1 p 0 i=1e-3*atan(1e2*(v(p)-0.5))\n.end\n"
    answer = one(netlist(text, "op", "v(p)", r1=1e3))
    low, high = 0.0, 1.0
    for _ in range(60):
        middle = (low + high) / 2
        low, high = (middle, high) if 1 - middle > np.arctan(1e2 * (middle - 0.5)) else (low, middle)
    assert answer.vectors["v(p)"] == pytest.approx([low], rel=1e-4)
    assert any("gmin stepping completed" in note for note in answer.notes)


# One netlist after the other.


@pytest.mark.parametrize("command", ["op", SWEEP])
def test_altered_values_equal_a_fresh_load(command: str) -> None:
    rng = np.random.default_rng(7)
    settings = [tuple(10 ** rng.uniform((4, 2, -9), (6, 5, -4))) for _ in range(12)]
    sweep = [valve(command, *map(float, setting)) for setting in settings]
    altered = [arrays(outcome) for outcome in engine.run(sweep, workers=1)]
    for wanted, got in zip(sweep, altered, strict=True):
        # Another title, so the netlist is loaded afresh.
        first, *others = wanted.form.skeleton
        fresh = replace(wanted, form=wanted.form._replace(skeleton=("fresh " + first, *others)))
        engine.run([low_pass("op")], workers=1)
        for name, expected in one(fresh).vectors.items():
            np.testing.assert_allclose(got.vectors[name], expected, rtol=1e-9)
    # The bias did move.
    assert np.ptp([abs(got.vectors["v(k)"][0]) for got in altered]) > 0.1


@pytest.mark.parametrize("workers", [1, 2])
def test_order_is_kept(workers: int) -> None:
    resistances = [1e3 + 7 * k for k in range(150)]
    mixed = [low_pass((SWEEP, "op")[k % 5 == 0], r1=r) for k, r in enumerate(resistances)]
    told: list[tuple[int, int]] = []
    outcomes = engine.run(mixed, workers=workers, progress=lambda done, total, _: told.append((done, total)))
    for k, (r, outcome) in enumerate(zip(resistances, outcomes, strict=True)):
        got = arrays(outcome)
        expected = 1 / (1 + 2j * np.pi * got.scale * r * C) if k % 5 else [2.0]
        np.testing.assert_allclose(got.vectors["v(a)"], expected, rtol=1e-9)
    assert told[-1] == (150, 150)
    assert told == sorted(set(told))


def test_nothing_asked() -> None:
    assert engine.run([]) == []


def test_versions_name_the_library_and_the_binding() -> None:
    assert re.fullmatch(r"\d+[\w.+]*", engine.versions()["ngspice"])
    assert engine.versions()["PySpice"] == "1.5"


# Answers that must not pass.


def test_floating_node_is_an_error() -> None:
    text = "floating\nv1 in 0 dc 1 ac 1\nr1 in a {r1}\nr2 a 0 1e3\nc1 a b 1e-6\nc2 b 0 1e-6\n.end\n"
    for command in ("op", SWEEP):
        floating = netlist(text, command, "v(a)", r1=1e3)
        message = fault(floating)
        # ngspice complains once per load: a second try in the same load would pass.
        assert all(isinstance(outcome, EngineError) for outcome in engine.run([floating] * 2, workers=1))
        assert "singular matrix:  check node b" in message
        assert "line 5: c1 a b 1e-6" in message


@pytest.mark.parametrize(
    ("line", "words"),
    [
        ("d1 a 0 nosuch", "nosuch"),
        ("x1 a 0 nosuch", "unknown subckt: x1 a 0 nosuch"),
        ("r2 a 0 {nosuch}", "ndefined parameter [nosuch]"),
        # ngspice 39 echoes the line, 44 says "syntax error"; both speak of an error
        ("b1 a 0 i=foo(v(a)", "rror"),
        ("r1 a 0 1e3", "already exists"),
        ("b1 a 0 i=ln(0-1-v(a))", "out of range for ln"),
        ("v2 in 0 5", "singular matrix"),
        ("b1 a 0 v=v(a)+1+v(a)*v(a)", "line 5: b1 a 0 v=v(a)+1+v(a)*v(a)"),
        ("b1 b 0 v=1/(v(in)-v(in))", "not finite"),
        (".options interp", "interp"),
    ],
)
def test_bad_netlist_is_an_error(line: str, words: str) -> None:
    text = f"bad\nv1 in 0 1\nc1 a 0 1e-9\nr1 in a 1e3\n{line}\n.end\n"
    wanted = ("v(a)", "v(b)") if " b " in line else ("v(a)",)
    assert words in fault(Netlist(Form((text,), (), "op", wanted, 1), ()))


@pytest.mark.parametrize("name", ["v(nosuch)", "v(c)", "i(v9)"])
def test_missing_vector_is_an_error(name: str) -> None:
    # ngspice answers "c" with the speed of light.
    text = "few nodes\nv1 in 0 1\nr1 in 0 {r1}\n.end\n"
    assert f"vector {name} is missing" in fault(netlist(text, "op", "v(in)", name, r1=1e3))


def test_wrong_length_and_useless_command_are_errors() -> None:
    assert "41 points came back, 40 expected" in fault(low_pass(SWEEP, points=40))
    assert "no such command" in fault(low_pass("nosuch"))
    assert "0.002 s" in fault(low_pass("tran 1e-05 0.001 0.0 1e-05", end=2e-3))


def test_part_that_cannot_be_altered_is_loaded_afresh() -> None:
    text = "renamed\nv1 in 0 9\nr1 in a {r9}\nr2 a 0 1e3\n.end\n"
    first, second = (netlist(text, "op", "v(a)", r9=ohms) for ohms in (1e3, 2e3))
    answers = engine.run([first, second], workers=1)
    assert [arrays(a).vectors["v(a)"][0] for a in answers] == pytest.approx([4.5, 3.0])


def test_remarks_and_faults_are_told_apart() -> None:
    assert not is_fault("stderr Warning: can't find the initialization file spinit.")
    assert not is_fault("stderr Supplies reduced to   0.0000% Warning: source stepping failed")
    assert not is_fault("stdout Circuit: error terror")
    assert is_fault("stderr Trying gmin =   1.0000E-03 Warning: singular matrix:  check node v1#branch")
    # Its 10 us charge no coupling capacitor: the point it ends at is not an operating point.
    assert is_fault("stderr Note: Transient op finished successfully")
    assert is_fault("stderr Warning: gmin step failed; Error: no convergence")


def test_what_a_search_said_that_was_given_up_is_no_fault_of_the_answer() -> None:
    """Behind the answer every word counts, and before it those that no search takes back."""
    singular, begins = "stderr Warning: singular matrix: check node a", "stderr Note: Starting dynamic gmin stepping"
    out_of_range, found = "stderr Error: 1e+229, 1e+229 out of range for *", "stderr Note: Source stepping completed"
    assert not any(map(is_fault, of_answer([singular, out_of_range, begins, singular, found])))
    assert any(map(is_fault, of_answer([singular])))
    assert any(map(is_fault, of_answer([singular, begins])))
    assert any(map(is_fault, of_answer([begins, found, singular])))
    assert any(map(is_fault, of_answer([begins, "stderr Note: Transient op started"])))
    assert any(map(is_fault, of_answer(["stderr Error: no such vector a", begins, found])))
    assert Failure("", [begins, singular, "stderr Note: Transient op started"]).astray
    assert not Failure("", [singular, begins, "stderr Note: Transient op started"]).astray
