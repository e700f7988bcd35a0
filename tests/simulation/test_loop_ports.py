"""Loop gains worked out from one reduction to the tracks of the pots, against a simulation of each position."""

from __future__ import annotations

import numpy as np
import pytest

from ampsim.circuit.amp import Amp
from ampsim.circuit.feedback import find_loop
from ampsim.circuit.mods import apply_mods
from ampsim.circuit.positions import switches_at
from ampsim.library.loader import load_amp, load_mod
from ampsim.simulation import ports
from ampsim.simulation.analyses import FrequencySweep, LoopSweep
from ampsim.simulation.loop_gain import loop_gain, loop_rows
from ampsim.simulation.loop_ports import gains_by_ports
from ampsim.simulation.request import Case
from ampsim.simulation.return_difference import _plans, return_differences

SWEEP = LoopSweep(per_decade=5)
# Amp and mods; the depth control carries direct current, which moves the bias.
AMPS = [
    ("workshop-a", ("cathode-switch",)),
    ("workshop-a", ("depth", "bright-switch")),
    ("workshop-b", ("feedback-with-presence",)),
]


def positions_of(amp: Amp, count: int = 30) -> list[dict[str, float | str]]:
    """Positions by lot: switches and what moves the bias at few places, other knobs anywhere, often at their ends."""
    draw = np.random.default_rng(5)
    turns = (0.0, 1.0, 0.003, *draw.uniform(size=4))
    return [
        {
            control.name: str(draw.choice(control.positions))
            if control.kind == "switch" and number < 4
            else control.drawn
            if control.kind == "switch"
            else float(
                draw.choice((0.3, 1.0))
                if control.name == "depth"
                else 0.3 + 0.4 * (number > 20)
                if control.name in ("gain", "guitar volume")
                else draw.choice(turns)
            )
            for control in amp.controls.values()
        }
        for number in range(count)
    ]


@pytest.mark.parametrize(("name", "mods"), AMPS)
def test_loop_gains_by_ports_are_those_of_each_position_simulated(
    name: str, mods: tuple[str, ...], monkeypatch: pytest.MonkeyPatch
) -> None:
    amp = apply_mods(load_amp(name), *map(load_mod, mods))
    places = [each for each in positions_of(amp) if find_loop(amp, switches_at(amp, each))]
    turned = [control.name for control in amp.controls.values() if control.kind == "knob"]
    cases = [Case(amp, at) for at in places]
    loops = [find_loop(amp, switches_at(amp, at)) for at in places]
    direct = loop_gain(amp, positions=places, sweep=SWEEP)["loop_gain"].values[0]
    asked: list[int] = []
    run = ports.run_kept
    monkeypatch.setattr(ports, "run_kept", lambda netlists, *more: asked.append(len(netlists)) or run(netlists, *more))
    found = loop_rows(cases, loops, SWEEP, None, turned, solved=False).gains
    np.testing.assert_allclose(1.0 + found, 1.0 + direct, rtol=1e-7)
    assert asked
    # A position whose like was reduced costs no simulation more.
    alone = [gains_by_ports([case], [loop], SWEEP, turned, False) for case, loop in zip(cases, loops, strict=True)]
    assert len(asked) == 1
    assert any(row is not None for (row,) in alone)
    for (row,), expected in zip(alone, direct, strict=True):
        if row is not None:
            np.testing.assert_allclose(1.0 + row, 1.0 + expected, rtol=1e-7)


@pytest.mark.parametrize(("name", "mods"), [AMPS[1], ("boathouse", ()), ("kitchen", ())])
def test_return_differences_by_ports_are_those_of_each_position_simulated(name: str, mods: tuple[str, ...]) -> None:
    """Whatever knobs stand where: ends, a position of all at once, some that move the bias."""
    amp = apply_mods(load_amp(name), *map(load_mod, mods)) if mods else load_amp(name)
    sweep = FrequencySweep(1e-3, 1e9, 3)
    cases = [Case(amp, position) for position in ({}, {}, *positions_of(amp, 12))]
    together = return_differences(cases, sweep, solved=False)
    alone = np.concatenate([return_differences([case], sweep, solved=False) for case in cases])
    assert np.abs(together - alone).max() < 1e-5 * np.abs(alone).max()
    assert np.abs(together / alone - 1.0).max() < 1e-4
    # Positions by lot have switches anywhere: with these as drawn a reduction is taken, and takes fewer simulations.
    knobs = [name for name, control in amp.controls.items() if control.kind == "knob"]
    turned = [Case(amp, {name: end}) for name in knobs for end in (0.0, 0.1, 0.9, 1.0)]
    plans = _plans(turned)
    assert len(plans) < len(turned)
    assert sorted(place for plan in plans for place in plan.own) == list(range(len(turned)))
    assert np.abs(return_differences(turned, sweep, solved=False) / np.concatenate(
        [return_differences([case], sweep, solved=False) for case in turned]
    ) - 1.0).max() < 1e-4  # fmt: skip
