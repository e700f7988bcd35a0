"""Tables of ports in a browser: what `port_tables.js` computes against ngspice, at random places of every knob."""

from __future__ import annotations

import random
from typing import Any

import numpy as np
import pytest

from ampsim.circuit.amp import Amp
from ampsim.circuit.mods import apply_mods
from ampsim.circuit.signal_path import listening_points
from ampsim.circuit.tapers import TAPERS
from ampsim.library.loader import load_amp, load_mod
from ampsim.simulation.port_tables import port_script, port_table
from tests.browser.page_figures import missing
from tests.simulation.test_port_tables import by_ngspice, somewhere
from tests.truth import bench

pytestmark = pytest.mark.skipif(bool(missing()), reason=f"missing: {', '.join(missing())}")
AGREED_DB = 0.01
_RESPONDED = """([packed, places, settings]) => {
  const table = loadPortTable(packed);
  const listeners = places.map((place) => table.listen(place));
  return settings.map((at) => listeners.map((each) => {
    const { re, im } = each.respond(at);
    return [[...re], [...im]];
  }));
}"""
_TIMES = """([packed, place, knob]) => {
  const listener = loadPortTable(packed).listen(place);
  listener.respond({ [knob]: 0.5 });
  const times = [];
  for (let step = 0; step < 300; step += 1) {
    const start = performance.now();
    listener.respond({ [knob]: step / 300 });
    times.push(performance.now() - start);
  }
  return times.sort((one, other) => one - other)[150];
}"""


def modded() -> Amp:
    return apply_mods(load_amp("workshop-a"), *map(load_mod, ("bright-switch", "cathode-switch", "depth")))


def every_kind() -> Amp:
    """A tapped track, one of every law as a variable resistor, a gang, a choke whose wire has resistance."""
    pots = {f"P{at}": {"track": "47k", "taper": law, "control": f"turn {at}"} for at, law in enumerate(TAPERS, 1)}
    more = {"P21": {"track": "1M", "control": "turn 1"}, "L1": {"inductance": "2H", "resistance": 180}, "C1": "1n"}
    tapped = {"P22": {"track": "1M", "tap": 0.4, "taper": "audio 15 %", "control": "loudness"}}
    ends = [(f"n{at}", f"n{at + 1}") for at in range(len(pots))]
    ways = [lambda one, two: (one, two, "ground"), lambda one, two: (one, two, two), lambda one, two: (two, two, one)]
    chain = {name: dict(zip(("top", "wiper", "bottom"), ways[at % 3](*ends[at]), strict=True))
             for at, name in enumerate(pots)}  # fmt: skip
    wires = {"P22": {"top": "in", "wiper": "a", "bottom": "ground", "tap": "foot"}, "C1": ["foot", "ground"],
             "R1": ["a", "b"], "L1": ["b", "ground"], "P21": {"top": "b", "wiper": "n0", "bottom": "ground"},
             **chain, "R2": [f"n{len(pots)}", "ground"], "R3": [f"n{len(pots)}", "out"]}  # fmt: skip
    return bench.amp(pots | more | tapped | {"R1": "10k", "R2": "1M", "R3": "10"}, [bench.wired("all", **wires)])


@pytest.mark.parametrize(
    ("amp", "position", "spans"),
    [
        (modded(), {"bright": "120p", "first cathode": "22u"},
         {"C101": (47e-12, 22e-9), "C5": (50e-12, 2e-9), "R8": (47e3, 1e6), "P3": (100e3, 1e6), "C1": (1e-7, 1e-4)}),
        (every_kind(), {}, {"L1": (0.5, 20.0), "P22": (250e3, 2e6), "R2": (100e3, 10e6)}),
        (load_amp("ballroom"), {"bias": 0.3}, {}),
    ],
    ids=["mods and parts", "every-kind", "ballroom"],
)  # fmt: skip
def test_every_place_of_every_dial_is_that_of_ngspice(
    chromium: Any, amp: Amp, position: dict[str, Any], spans: dict[str, tuple[float, float]]
) -> None:
    lot = random.Random(amp.name)
    known = {name: at for name, at in position.items() if name in amp.controls}
    table = port_table(amp, known, tuple(listening_points(amp).values()), spans=spans)
    assert {dial for dial in table.moving if dial.startswith("knob")} <= {"knob bias"}
    assert set(table.dials) | set(table.moving) >= {f"part {name}" for name in spans}
    heard = (table.places[0], "speaker")
    settings = [somewhere(table, lot, ends=number < 4) for number in range(16)]
    page = chromium.new_page()
    page.add_script_tag(content=port_script())
    packings = [table.packed(), table.packed(short=True)]
    assert [each["bits"] for each in packings] == [64, 32]
    found = np.array([page.evaluate(_RESPONDED, [each, heard, settings]) for each in packings])
    page.close()
    # Both packings at once: (settings, packings, places, f).
    answers = (found[..., 0, :] + 1j * found[..., 1, :]).swapaxes(0, 1)
    moved = set()
    for at, answer in zip(settings, answers, strict=True):
        want = by_ngspice(table, at, heard)
        assert np.abs(20.0 * np.log10(np.abs(answer / want))).max() <= AGREED_DB, at
        assert np.abs(np.angle(answer / want)).max() < 2e-3, at
        moved.add(round(abs(want[1, 75]), 9))
    assert len(moved) > 12


def test_a_move_of_one_knob_costs_well_under_a_millisecond(chromium: Any) -> None:
    table = port_table(modded(), {}, ("speaker",))
    page = chromium.new_page()
    page.add_script_tag(content=port_script())
    milliseconds = page.evaluate(_TIMES, [table.packed(), "speaker", "knob treble"])
    page.close()
    assert milliseconds < 1.0  # about 0.05 on a quiet machine
