"""A closed contact carries what the circuit asks for, however little that is beside its conductance."""

from __future__ import annotations

import random

import numpy as np
import pytest

from ampsim import apply_mods, load_amp, parse_mod
from ampsim.base.errors import AmpsimError
from ampsim.circuit.amp import Amp
from ampsim.circuit.build import build_circuit
from ampsim.circuit.switches.moving import moving
from ampsim.library.files import models
from ampsim.simulation.timestep.branches import AFTER, BEFORE, parts_of
from ampsim.simulation.timestep.sockets import seats_of
from ampsim.simulation.timestep.state_space import equations
from ampsim.simulation.timestep.topology import basis

AMPS = sorted(path.stem for path in (models() / "amps").glob("*.toml"))
PAIRS = 12
DRIFT = 1e-3  # V


def switched(amp: Amp, first: str, second: str) -> Amp:
    """The amp with a small capacitor between two places, by a switch."""
    fit = {"fit": "C991", "between": [first, second]}
    switch = {"designator": "S991", "control": "small", "positions": {"out": [], "in": [fit]}}
    data = {"name": "small", "reason": "a test", "parts": {"C991": "150p"}, "switches": [switch]}
    return apply_mods(amp, parse_mod(data, "small.toml"))


def drift(amp: Amp) -> float:
    """How far an amp at rest drifts for good once the contact is closed [V], by its equations alone."""
    parts = parts_of(moving(amp, (), "small", "in"), amp.setting({}), AFTER, still=True)
    given = equations(parts, seats_of(parts.seats).ports, [])
    driven = np.concatenate([[parts.held[net] for net in given.held], np.full(given.ports, 1e-3)])
    rest = np.linalg.solve(given.slope, -given.drive @ driven)
    return float(np.abs(rest - given.rest_states @ driven).max())


@pytest.mark.parametrize("name", AMPS)
def test_an_amp_stands_still_once_a_contact_is_closed(name: str) -> None:
    amp = load_amp(name)
    places = sorted(place for place, net in build_circuit(amp).net_by_place.items() if "." in place and net != "0")
    draw = random.Random(name)
    found = []
    while len(found) < PAIRS:
        try:
            found.append(drift(switched(amp, *draw.sample(places, 2))))
        except (AmpsimError, np.linalg.LinAlgError):  # both on one wire, or none that a switch may join
            continue
    assert max(found) < DRIFT


def test_contacts_move_and_all_else_stays() -> None:
    amp = switched(load_amp("workshop-a"), "V1A.plate", "V1A.grid")
    wired, setting = moving(amp, (), "small", "in"), amp.setting({})
    parts = parts_of(wired, setting, still=True)
    assert parts.contacts
    moved = {closed: parts.with_closed(closed) for closed in ((), BEFORE, AFTER, (*BEFORE, *AFTER))}
    assert moved == {closed: parts_of(wired, setting, closed, still=True) for closed in moved}
    assert moved[BEFORE] == parts != moved[AFTER]


def test_groups_behind_a_short_move_with_those_they_hang_on() -> None:
    # 0 and 1 are joined by a capacitor; 2 hangs on 0 by a short, 3 on 2, 4 on ground.
    shorts = [(0, 2), (2, 3), (4, -1)]
    change, charged, fixed = basis(5, [(0, 1)], [*shorts, (1, -1)], shorts)
    assert (charged, fixed) == (1, 4)
    assert abs(round(np.linalg.det(change))) == 1
    assert {(1, 1, 1, 1, 0), (0, 0, 1, 1, 0), (0, 0, 0, 1, 0), (0, 0, 0, 0, 1)} <= set(map(tuple, change.T.astype(int)))


def test_where_nothing_leads_to_ground_but_coils_the_whole_island_is_one_voltage() -> None:
    change, charged, fixed = basis(3, [], [(0, 1), (1, 2)], [(0, 1), (1, 2)])
    assert (charged, fixed) == (0, 2)
    assert abs(round(np.linalg.det(change))) == 1
    assert tuple(change[:, -1]) == (1.0, 1.0, 1.0)


def test_what_capacitors_hold_is_counted_in_the_same_order_whichever_contacts_are_closed() -> None:
    """Or a capacitor would hold what another did as soon as a contact moves."""
    draw, moved = random.Random(1), 0
    for _ in range(200):
        pairs = [(draw.randrange(8), draw.randrange(-1, 8)) for _ in range(20)]
        capacitors, conductors = pairs[:5], [*pairs[5:], *((node, -1) for node in range(8))]
        shorts = draw.sample(conductors, 4)
        (opened, charged, _), (closed, same, _) = (basis(8, capacitors, conductors, each) for each in ([], shorts))
        assert charged == same
        np.testing.assert_array_equal(opened[:, :charged], closed[:, :charged])
        moved += not np.array_equal(opened, closed)
    assert moved > 100
