"""What amps drawn by lot are made of: the lot itself, parts and stages under way, sources."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable
from typing import Any

import numpy as np

from ampsim.circuit.tapers import TAPERS

Tables = dict[str, Any]
TRIODES = ("12AX7", "12AT7", "12AU7", "12AY7", "6DJ8")
PUBLISHED = (
    "12AX7-koren-1996", "12AX7-cohen-helie-2012", "12AX7-dempwolf-zoelzer-2011", "12AX7A-koren-2001",
    "12AT7-koren-1996", "12AU7-koren-1996", "6DJ8-koren-1996", "textbook-triode",
)  # fmt: skip
PENTODES = ("EL84", "6V6GT", "EL34", "6L6GC", "EL34-koren-1996", "6L6GC-koren-1996")
# Plate load [ohm] and cathode resistor [ohm] to start from; and B+ [V], cathode resistor, bias [V], primary [ohm].
USUAL_TRIODE = {"12AX7": (100e3, 1500.0), "12AT7": (47e3, 1000.0), "12AU7": (47e3, 1500.0)}
USUAL_TRIODE |= {"12AY7": (100e3, 1500.0), "6DJ8": (22e3, 680.0), "text": (100e3, 1500.0)}
USUAL_PENTODE = {
    "EL84": (320.0, 270.0, -11.0, 8e3),
    "6V6G": (350.0, 500.0, -20.0, 8e3),
    "EL34": (420.0, 400.0, -34.0, 4e3),
    "6L6G": (420.0, 450.0, -38.0, 4e3),
}


class Lot:
    """Draws everything about one amp; the same number draws the same amp."""

    def __init__(self, number: int, stream: int = 20) -> None:
        self.number = number
        self.rng = np.random.default_rng([stream, number])

    def chance(self, share: float) -> bool:
        return bool(self.rng.random() < share)

    def one(self, choices: Iterable[Any]) -> Any:
        several = list(choices)
        return several[int(self.rng.integers(len(several)))]

    def spread(self, value: float) -> float:
        return float(value * 2.0 ** self.rng.uniform(-1.0, 1.0))

    def log(self, least: float, most: float) -> float:
        return float(np.exp(self.rng.uniform(np.log(least), np.log(most))))

    def rotation(self) -> float:
        return float(self.one((0.0, 1.0))) if self.chance(0.3) else float(self.rng.random())


class Kit:
    """Parts and stages of an amp under way."""

    def __init__(self, lot: Lot) -> None:
        self.lot, self.extra = lot, Lot(lot.number, 21)  # what `extra` draws changes nothing else
        self.parts: Tables = {}
        self.stages: list[Tables] = []
        self.jacks: list[Tables] = []
        self.rails: list[Tables] = []  # those beside the valves' own
        self.counts: Counter[str] = Counter()

    def new(self, letters: str, value: Any) -> str:
        self.counts[letters] += 1
        name = f"{letters}{self.counts[letters]}"
        self.parts[name] = value
        return name

    def section(self, kind: str) -> str:
        """A section of a package of its own."""
        self.counts["U"] += 1
        name = f"U{self.counts['U']}A"
        self.parts[name] = kind
        return name

    def low_rail(self, name: str, volts: float) -> str:
        """A rail for semiconductors, a source of its own; made once."""
        if not any(rail["name"] == name for rail in self.rails):
            filtered = {"through": self.r(100.0), "reservoir": self.c(100e-6)} if self.lot.chance(0.5) else {}
            self.rails.append({"name": name, "volts": volts * self.lot.rng.uniform(0.6, 1.1)} | filtered)
        return name

    def r(self, ohms: float) -> str:
        return self.new("R", self.lot.spread(ohms))

    def c(self, farads: float) -> str:
        return self.new("C", self.lot.spread(farads))

    def pot(self, ohms: float) -> str:
        track = self.lot.spread(ohms)
        name = f"P{self.counts['P'] + 1}"
        return self.new("P", {"track": track, "taper": self.lot.one(TAPERS), "control": f"knob {name}"})

    def maybe(self, share: float, **roles: tuple[str, float]) -> Tables:
        """Some of the roles, each drawn by lot: its letters and the value to start from."""
        make = {"R": self.r, "C": self.c, "P": self.pot}
        return {role: make[kind](value) for role, (kind, value) in roles.items() if self.lot.chance(share)}

    def stage(self, template: str, **roles: Any) -> str:
        name = f"{template} {len(self.stages) + 1}"
        self.stages.append({"name": name, "template": template} | {k.rstrip("_"): v for k, v in roles.items()})
        return name

    def triode(self) -> tuple[str, str]:
        kind = self.lot.one(PUBLISHED if self.lot.chance(0.25) else TRIODES)
        return self.new("V", kind), kind


def usual(kind: str) -> tuple[float, float]:
    return USUAL_TRIODE.get(kind[:5], USUAL_TRIODE["12AX7" if kind[0] == "1" else kind[:4]])


def source(kit: Kit) -> None:
    if kit.lot.chance(0.3):
        kit.stage("generator", **kit.maybe(0.7, resistance=("R", 10e3)))
        return
    roles = {"pickup_inductance": kit.new("L", kit.lot.spread(3.0)), "pickup_resistance": kit.r(7e3)}
    roles |= kit.maybe(0.7, pickup_capacitance=("C", 130e-12), volume=("P", 250e3), cable_capacitance=("C", 500e-12))
    if kit.lot.chance(0.4):
        roles |= {"tone": kit.pot(250e3), "tone_capacitor": kit.c(22e-9)}
    kit.stage("guitar", **roles)
