"""Tables of ports against ngspice: of random amps, at random places of every knob; and what a table leaves out."""

from __future__ import annotations

import random
from typing import Any

import numpy as np
import pytest

from ampsim.circuit.signal_path import listening_points
from ampsim.circuit.values import with_values
from ampsim.library.loader import load_amp
from ampsim.simulation.port_tables import PortTable, port_table
from ampsim.simulation.response import simulate
from tests.tools import random_amps

AGREED_DB = 0.01


def somewhere(table: PortTable, lot: random.Random, ends: bool) -> dict[str, float]:
    """A lot of where every dial of a table stands: anywhere, or at its ends."""
    owner = {dial: port for port in table.ports for dial in port.dials}
    found = {}
    for dial, port in owner.items():
        low, _, high = port.places_of(dial)
        share = lot.choice((0.0, 1.0)) if ends else lot.random()
        found[dial] = share if dial == port.knob else low * (high / low) ** share
    return found


def by_ngspice(table: PortTable, at: dict[str, float], places: tuple[str, ...]) -> Any:
    knobs = {dial.removeprefix("knob "): value for dial, value in at.items() if dial.startswith("knob ")}
    values = {dial.removeprefix("part "): value for dial, value in at.items() if dial.startswith("part ")}
    response = simulate(with_values(table.amp, values), positions=[{**table.position, **knobs}], nodes=places)
    return response["voltage"].values[0, 0]


@pytest.mark.parametrize("number", [100_011, 100_017, 100_023, 100_036])
def test_random_amps_respond_everywhere_as_ngspice_says(number: int) -> None:
    amp, lot = random_amps.draw(number, with_transient=False).amp, random.Random(number)
    places = tuple(dict.fromkeys([*listening_points(amp).values(), "speaker"]))
    table = port_table(amp, {}, places)
    assert {*table.dials, *table.moving} <= {f"knob {name}" for name in amp.controls}
    settings = [somewhere(table, lot, ends=place == 0) for place in range(2)]
    for at, found in zip(settings, table.respond(settings), strict=True):
        want = by_ngspice(table, at, places)
        heard = np.maximum(abs(want), abs(found)) > 1e-10
        assert np.abs(20.0 * np.log10(np.abs(found[heard] / want[heard]))).max(initial=0.0) <= AGREED_DB, at


def test_a_part_that_moves_the_bias_is_left_to_a_table_of_its_own() -> None:
    amp, spans = load_amp("workshop-a"), {"R4": (1e3, 4.7e3), "C1": (1e-7, 1e-4), "R20": (47e3, 150e3)}
    table = port_table(amp, {}, ("speaker",), spans=spans)
    assert "part R4" in table.moving
    assert "part R4" not in table.dials
    assert "part C1" in table.dials
    # The bias stands as it does in the amp that was given.
    at = dict.fromkeys((dial for dial in table.dials if dial.startswith("knob")), 0.5) | {"part C1": 1e-6}
    colder = with_values(amp, {"R4": 2.7e3})
    others = [port_table(each, {}, ("speaker",), spans=spans).respond([at])[0] for each in (amp, colder)]
    assert np.abs(20.0 * np.log10(np.abs(others[0] / others[1]))).max() > 0.1
    want = by_ngspice(port_table(colder, {}, ("speaker",), spans=spans), at, ("speaker",))
    np.testing.assert_allclose(abs(others[1]), abs(want), rtol=1e-3)


def test_a_switch_at_the_end_of_a_track_holds_its_pot() -> None:
    for name in ("boathouse", "brickworks", "kitchen"):
        amp = load_amp(name)
        knobs = [control for control, each in amp.controls.items() if each.kind == "knob"]
        for switch in amp.all_switches:
            for label in switch.labels:
                held = amp.setting({**dict.fromkeys(knobs, 1.0), switch.control: label})
                table = port_table(amp, {switch.control: label}, ("speaker",))
                assert not {f"knob {control}" for control, at in held.items() if at == 0.0} & set(table.dials)
