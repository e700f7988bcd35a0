"""Switches drawn by lot: one or two of them, two to five positions, each position with up to three edits."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

from ampsim.base.errors import DescriptionError
from ampsim.circuit.amp import Amp, AnyPart, Edit, Mod, Part, Switch
from ampsim.circuit.build import build_circuit
from ampsim.circuit.mods import apply_mods
from ampsim.circuit.positions import every_setting
from ampsim.library.loader import load_amp

AMPS = ("workshop-a", "lesson-stage")


def places_of(amp: Amp) -> list[str]:
    """Ends of parts that wires can be soldered to."""
    pins = [
        f"{each.designator}.{pin}"
        for each in build_circuit(amp).elements
        for pin, _ in each.pins
        if each.kind != "rail"
    ]
    return [*pins, "ground"]


def random_switches(rng: Any) -> Amp | None:
    """An amp with a mod of random switches; None where the amp cannot be wired up so.

    `rng` draws: `randrange` and `choice` as `random.Random` has them.
    """
    amp = replace(load_amp(rng.choice(AMPS)), switches=())
    two_pin = [each.designator for each in build_circuit(amp).elements if each.kind in ("resistor", "capacitor")]
    places = places_of(amp)
    parts: list[AnyPart] = []
    switches = []
    for number in range(1, rng.randrange(1, 3) + 1):
        # The parts that two switches work on are kept apart: what two do together to one wire is another matter.
        mine = two_pin[number % 2 :: 2]
        positions, first = [], len(parts)
        for label in [f"way {n}" for n in range(1, rng.randrange(2, 6) + 1)]:
            edits = _edits(rng, mine, places, parts, first) if rng.randrange(4) else []
            positions.append((label, tuple(edits)))
        drawn = rng.choice([label for label, _ in positions])
        switches.append(Switch(f"S{900 + number}", f"switch {number}", tuple(positions), drawn))
    if not parts and not any(edits for each in switches for _, edits in each.positions):
        return None
    try:
        fitted = apply_mods(amp, Mod("by lot", "tried", tuple(parts), (), tuple(switches)))
        for stand in every_setting(fitted):
            build_circuit(fitted, stand)
    except DescriptionError:
        return None
    return fitted


def _edits(rng: Any, mine: list[str], places: list[str], parts: list[AnyPart], first: int) -> list[Edit]:
    edits: list[Edit] = []
    left = list(mine)
    for _ in range(min(rng.randrange(1, 4), len(left))):
        old = left.pop(rng.randrange(len(left)))
        action = rng.choice(("replace", "across", "between", "in series", "lift", "bridge", "again"))
        if action in ("lift", "bridge"):
            edits.append(Edit(action, old))
        elif action == "replace":
            edits.append(Edit("replace", old, 1e-7 if old[0] == "C" else rng.choice((1e3, 47e3))))
        elif action == "again" and parts[first:]:
            # A part that another position has too.
            part = rng.choice(parts[first:]).designator
            if part not in [edit.part for edit in edits]:
                edits.append(Edit("fit", part, across=old))
        else:
            kind, value = rng.choice((("resistor", 1e5), ("resistor", 2e3), ("capacitor", 1e-9)))
            part = f"{kind[0].upper()}{700 + len(parts)}"
            parts.append(Part(part, kind, value))
            edits.append(_fit(rng, part, old, action, places))
    return edits


def _fit(rng: Any, part: str, old: str, action: str, places: list[str]) -> Edit:
    if action == "between":
        first = rng.choice(places)
        return Edit("fit", part, between=(first, rng.choice([each for each in places if each != first])))
    if action == "in series":
        return Edit("fit", part, in_series=f"{old}.{rng.choice('12')}")
    return Edit("fit", part, across=old)
