"""What a hand adds to an amp drawn by lot: lamps and what they light, thermistors, semiconductors at any place, relays.

They are drawn by a lot of their own, so the amp that they are added to is the same without them.
"""

from __future__ import annotations

import itertools
from collections.abc import Callable

from ampsim.base.errors import DescriptionError
from ampsim.circuit.amp import Amp
from ampsim.circuit.mods import apply_mods
from ampsim.library.loader import parse_mod
from tests.tools.random_kit import Kit, Lot, Tables
from tests.tools.random_known import wired
from tests.tools.random_semiconductors import COUPLERS, DEPLETION, DIODES

_SHARE = 0.3  # of the amps; each of these has one to three


def extras(kit: Kit) -> None:
    """Some of the additions, all of them in one stage of free wiring."""
    lot = kit.extra
    if not lot.chance(_SHARE):
        return
    wires: Tables = {}
    for _ in range(int(lot.rng.integers(1, 4))):
        wires |= lot.one(ADDITIONS)(kit)
    if wires:
        kit.stage("free wiring", wires=wires)


def value(kit: Kit, letters: str, start: float) -> str:
    """A part of its own, its value drawn."""
    return kit.new(letters, kit.extra.spread(start))


def places(kit: Kit, *pins: str) -> list[str]:
    """The pins of triodes that stand in stages of the preamp."""
    valves = [each["valve"] for each in kit.stages if each["template"] in ("triode stage", "grid-leak stage")]
    return [f"{valve}.{pin}" for valve in valves for pin in pins]


def any_place(kit: Kit, *pins: str) -> str:
    """One of them; without any a rail."""
    return str(kit.extra.one(places(kit, *pins) or ["B2"]))


def filament(kit: Kit) -> Tables:
    """A lamp on a low rail, and a cell that it lights beside a cathode or a plate."""
    lot = kit.extra
    volts = lot.spread(12.0)
    lamp = kit.new("LA", {"volts": volts, "current": lot.spread(60e-3)})
    wires: Tables = {lamp: [kit.low_rail("BL", 12.0), "ground"]}
    return wires | cell(kit, lamp)


def cell(kit: Kit, lamp: str) -> Tables:
    """What a lamp lights, behind a resistor and a capacitor."""
    lot = kit.extra
    own = {"ohms": lot.spread(9e3), "slope": float(lot.rng.uniform(0.5, 1.0)), "lux": lot.log(3.0, 300.0)}
    name = kit.new("LDR", own | ({"lamp": lamp} if lamp else {}))
    node = f"lit_{name.lower()}"
    return {value(kit, "C", 1e-6): [any_place(kit, "plate", "cathode"), node],
            value(kit, "R", 10e3): [node, f"{node}_r"], name: [f"{node}_r", "ground"],
            value(kit, "R", 4.7e6): [node, "ground"]}  # fmt: skip


def glow(kit: Kit) -> Tables:
    """A glow lamp behind its resistor on a rail."""
    lot = kit.extra
    strikes = lot.spread(75.0)
    lamp = kit.new("LA", {"strikes": strikes, "glows": strikes * float(lot.rng.uniform(0.7, 0.9))})
    node = f"glow_{lamp.lower()}"
    return {value(kit, "R", 330e3): [lot.one(("B1", "B2", "B3")), node], lamp: [node, "ground"]} | cell(kit, lamp)


def daylight(kit: Kit) -> Tables:
    """A cell that a constant light falls on."""
    return cell(kit, "")


def thermistor(kit: Kit) -> Tables:
    """A thermistor in a load on a rail."""
    lot = kit.extra
    cold = lot.spread(5e3)
    name = kit.new("NTC", {"cold": cold, "warm": cold * lot.log(0.01, 0.3), "current": lot.log(2e-3, 2e-2)})
    node = f"warm_{name.lower()}"
    return {value(kit, "R", 47e3): [lot.one(("B2", "B3")), node], name: [node, "ground"]}


def diode_at_a_cathode(kit: Kit) -> Tables:
    """One or two diodes in series from a cathode to ground."""
    lot = kit.extra
    first, node = kit.new("D", lot.one(DIODES)), f"below_{kit.counts['D']}"
    return {first: [any_place(kit, "cathode"), node], kit.new("D", lot.one(DIODES)): [node, "ground"]}


def clamped_grid(kit: Kit) -> Tables:
    """Two zeners back to back from a grid or a plate to ground, or diodes to a rail and to ground."""
    lot = kit.extra
    place, kinds = any_place(kit, "plate", "grid"), ("1N5242B", "1N5231B", "1N4148")
    one, node = kit.new("D", lot.one(kinds)), f"clamp_{kit.counts['D']}"
    return {one: [node, place], kit.new("D", lot.one(kinds[:2])): [node, "ground"]} if lot.chance(0.5) else {
        one: [place, "B3"], kit.new("D", "1N4007"): ["ground", place]}  # fmt: skip


def zener_rail(kit: Kit) -> Tables:
    """Zeners in series behind a dropper, with a load of their own."""
    lot = kit.extra
    nodes = [f"zener_{kit.counts['D']}_{each}" for each in range(int(lot.rng.integers(1, 4)))] + ["ground"]
    wires: Tables = {kit.new("D", lot.one(("1N5242B", "1N5231B"))): [low, high]
                     for high, low in itertools.pairwise(nodes)}  # fmt: skip
    return wires | {value(kit, "R", 33e3): [lot.one(("B1", "B2", "B3")), nodes[0]],
                    value(kit, "R", 100e3): [nodes[0], "ground"],
                    value(kit, "C", 10e-6): [nodes[0], "ground"]}  # fmt: skip


def current_source(kit: Kit) -> Tables:
    """A depletion MOSFET with its source resistor that feeds a plate, or takes current from a cathode."""
    lot = kit.extra
    name, ohms = kit.new("Q", lot.one(DEPLETION)), value(kit, "R", 3.3e3)
    node = f"source_{name.lower()}"
    top, foot = ("B2", any_place(kit, "plate")) if lot.chance(0.5) else (any_place(kit, "cathode"), "ground")
    return {name: {"drain": top, "source": node, "gate": foot}, ohms: [node, foot]}


def muting_fet(kit: Kit) -> Tables:
    """A JFET or a MOSFET across a grid or behind a capacitor at a plate, its gate held by a divider or at ground."""
    lot = kit.extra
    name = kit.new("Q", lot.one(("J201", "2N7000")))
    node, gate = f"mute_{name.lower()}", f"gate_{name.lower()}"
    return {name: {"drain": node, "source": "ground", "gate": gate}, value(kit, "R", 1e6): [gate, "ground"],
            value(kit, "R", 2.2e6): [kit.low_rail("BL", 12.0), gate], value(kit, "R", 100e3): [node, "ground"],
            value(kit, "C", 22e-9): [any_place(kit, "plate"), node]}  # fmt: skip


def source_follower_at_a_plate(kit: Kit) -> Tables:
    """An enhancement MOSFET straight on a plate, a zener from its gate to its source, its output left alone."""
    lot = kit.extra
    name = kit.new("Q", "IRF820")
    node, gate = f"source_{name.lower()}", f"gate_{name.lower()}"
    wires: Tables = {name: {"drain": "B2", "source": node, "gate": gate}, value(kit, "R", 100e3): [node, "ground"]}
    wires |= {kit.new("D", "1N5242B"): [node, gate]} if lot.chance(0.6) else {}
    return wires | {value(kit, "R", 1e3): [any_place(kit, "plate"), gate], value(kit, "C", 100e-9): [node, f"{node}_c"],
                    value(kit, "R", 100e3): [f"{node}_c", "ground"]}  # fmt: skip


def coupler(kit: Kit) -> Tables:
    """An opto-coupler lit from a low rail, its cell behind a capacitor at a plate."""
    lot = kit.extra
    name = kit.new("OC", lot.one(COUPLERS))
    light, node = f"light_{name.lower()}", f"cell_{name.lower()}"
    return {value(kit, "R", 10e3): [kit.low_rail("BL", 12.0), light],
            name: {"anode": light, "cathode": "ground", "cell1": node, "cell2": "ground"},
            value(kit, "C", 22e-9): [any_place(kit, "plate"), node],
            value(kit, "R", 1e6): [node, "ground"]}  # fmt: skip


ADDITIONS: list[Callable[[Kit], Tables]] = [
    filament, glow, daylight, thermistor, diode_at_a_cathode, clamped_grid, zener_rail, current_source, muting_fet,
    source_follower_at_a_plate, coupler,
]  # fmt: skip


def with_relay(amp: Amp, lot: Lot) -> Amp:
    """The amp with a relay that adds a part at a triode, its coil fed from a low rail by a switch of its own."""
    rail = next((each.name for each in amp.fitted_rails if each.volts is not None and 4.0 < each.volts < 40.0), "")
    valves = [each.designator for each in amp.parts if each.kind == "valve"]
    if not rail or not valves:
        return amp
    pin = lot.one(("plate", "cathode"))
    coil = {"resistance": lot.spread(360.0), "volts": 12, "between": ["fed", "ground"], "driver": "S950"}
    added = [{"fit": "C950", "between": [f"{lot.one(valves)}.{pin}", "ground"]}]
    fed = [{"bridge": [rail, "fed"]}]
    switches = [{"control": "relay", "designator": "K950", "type": "relay", "coil": coil,
                 "positions": {"as drawn": [], "added": added}},
                {"control": "feed", "designator": "S950", "type": "on-off",
                 "positions": {"off": [], "on": fed}}]  # fmt: skip
    given = {"name": "relay", "reason": "by lot", "nets": ["fed"], "parts": {"C950": lot.spread(1e-9)}}
    try:
        return wired(apply_mods(amp, parse_mod(given | {"switches": switches}, "relay.toml")))
    except DescriptionError:
        return amp
