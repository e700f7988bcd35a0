"""Plausible, healthy amps over all stage templates, the same for the same number: `amps(count, seed)`.

Unlike `tests.tools.random_amps`, whose values lie anywhere, these bias as an amp on the bench would: every valve at a
usual current within its ratings, feedback that is steady. What differs is everything a circuit may differ in while it
is still a good amp: kind and number of stages, valve types, bias, feedback, supply, designators, names of stages,
rails and controls, order of entries. `tests.tools.any_mods` fits mods to them by place in the circuit,
`tests.tools.equal_forms` writes the same circuit in other ways. Everything is tables as of a TOML file and goes
through the ordinary readers.
"""

from __future__ import annotations

import json
from collections import Counter
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass
from functools import cached_property
from typing import Any

import numpy as np
from hypothesis import strategies as st

from ampsim.circuit.amp import Amp
from ampsim.library.loader import parse_amp

Tables = dict[str, Any]
# Plate load and cathode resistor [ohm], and the bias and tail resistor of a long-tailed pair.
TRIODES = {
    "12AX7": (100e3, 1.5e3, 470.0, 10e3),
    "12AT7": (47e3, 820.0, 560.0, 15e3),
    "12AU7": (47e3, 1.8e3, 820.0, 15e3),
    "12AY7": (100e3, 1.8e3, 820.0, 15e3),
}
# B+ [V], its series resistor [ohm], cathode resistor of one valve [ohm], fixed bias [V], primary for two and one [ohm].
PENTODES = {
    "EL84": (300.0, 100.0, 270.0, -11.5, 8e3, 5e3),
    "6V6GT": (292.0, 120.0, 470.0, -18.0, 8e3, 5e3),
    "EL34": (400.0, 60.0, 560.0, -32.0, 4e3, 2.5e3),
    "6L6GC": (400.0, 60.0, 560.0, -36.0, 4.2e3, 2.5e3),
}
_E12 = (1.0, 1.2, 1.5, 1.8, 2.2, 2.7, 3.3, 3.9, 4.7, 5.6, 6.8, 8.2)
_WORDS: dict[str, tuple[str, ...]] = {
    "guitar": ("guitar", "instrument", "pickup and cable"),
    "generator": ("generator", "bench source", "signal source"),
    "triode stage": ("stage", "gain stage", "voltage amplifier", "preamp triode"),
    "cathode follower": ("follower", "buffer", "low impedance stage"),
    "coupling": ("attenuator", "interstage network", "pad"),
    "volume": ("volume", "gain control", "drive control"),
    "master volume": ("master", "post-phase level", "output level"),
    "tone stack": ("tone stack", "tone controls", "equaliser"),
    "split-load inverter": ("phase splitter", "concertina", "inverter"),
    "long-tailed pair": ("phase inverter", "differential pair", "driver"),
    "push-pull output": ("output stage", "power stage", "finals"),
    "single-ended output": ("output stage", "power valve", "final stage"),
    "feedback": ("feedback", "negative feedback", "return line"),
    "load": ("loudspeaker", "load", "what it plays into"),
    "free wiring": ("network", "extras", "odd bits"),
}
_KNOBS = {"volume": ("volume", "gain", "drive", "level 1"), "master volume": ("master", "output", "loudness")}
FAMILIES = ("long-tailed pair", "fed-back pair", "split load", "fed-back split load", "single", "fed-back single")
FAMILIES += ("preamp",)


@dataclass(frozen=True, eq=False)
class MadeAmp:
    """One amp as tables of a file; `kind` is its output's family, `seed` and `number` draw it again."""

    seed: int
    number: int
    kind: str
    tables: Tables

    @cached_property
    def amp(self) -> Amp:
        """Read by the ordinary reader."""
        return parse_amp(self.tables, self.file)

    @property
    def file(self) -> str:
        """What messages call it."""
        return f"made-{self.seed}-{self.number}.toml"

    @property
    def text(self) -> str:
        """The file."""
        return toml_text(self.tables)

    def stages(self, *templates: str) -> list[Tables]:
        """Its stages of these templates (all of them without), in signal order."""
        return [each for each in self.tables["stages"] if not templates or each["template"] in templates]

    def __repr__(self) -> str:
        return f"<{self.kind} amp {self.seed}/{self.number}>"


def toml_text(tables: Mapping[str, Any]) -> str:
    """Tables as the text of a TOML file."""
    lines = [f"{_key(key)} = {_inline(each)}" for key, each in tables.items() if not _is_table(each)]
    for key, each in tables.items():
        if isinstance(each, dict):
            lines += ["", f"[{_key(key)}]", *(f"{_key(name)} = {_inline(value)}" for name, value in each.items())]
        elif _is_table(each):
            for table in each:
                lines += [
                    "",
                    f"[[{_key(key)}]]",
                    *(f"{_key(name)} = {_inline(value)}" for name, value in table.items()),
                ]
    return "\n".join(lines) + "\n"


def _is_table(value: object) -> bool:
    return isinstance(value, dict) or (isinstance(value, list) and bool(value) and isinstance(value[0], dict))


def _key(name: str) -> str:
    return name if name.replace("_", "").isalnum() and name.isascii() else json.dumps(name)


def _inline(value: object) -> str:
    if isinstance(value, dict):
        return "{ " + ", ".join(f"{_key(name)} = {_inline(each)}" for name, each in value.items()) + " }"
    if isinstance(value, list):
        return "[" + ", ".join(map(_inline, value)) + "]"
    return json.dumps(value)


class Lot:
    """Draws everything about one amp; the same numbers draw the same."""

    def __init__(self, *numbers: int) -> None:
        self.rng = np.random.default_rng([13, *numbers])

    def chance(self, share: float) -> bool:
        """True in this share of the cases."""
        return bool(self.rng.random() < share)

    def one(self, choices: Iterable[Any]) -> Any:
        """One of several."""
        several = list(choices)
        return several[int(self.rng.integers(len(several)))]

    def near(self, value: float, steps: int = 1) -> float:
        """A value of E12 near one given, up to so many steps away."""
        decade = np.floor(np.log10(value) + 1e-9)
        at = int(np.argmin([abs(np.log(each * 10.0**decade / value)) for each in _E12]))
        at += int(self.rng.integers(-steps, steps + 1))
        return float(f"{_E12[at % 12]}e{int(decade) + at // 12}")

    def shuffled(self, entries: Iterable[Any]) -> list[Any]:
        """In another order."""
        several = list(entries)
        return [several[int(each)] for each in self.rng.permutation(len(several))]


def written(value: float) -> str:
    """A value as a drawing writes it, without rounding: 4.7k, 22n."""
    powers = {"M": 6, "k": 3, "": 0, "m": -3, "u": -6, "n": -9, "p": -12}
    fitting = (each for each in powers if abs(value) >= 10.0 ** powers[each] * (1.0 - 1e-12))
    letter = next(fitting, "p")
    power = powers[letter]
    return f"{float(f'{value / 10.0**power:.12g}'):.12g}{letter}"


class Kit:
    """Parts and stages of an amp under way, R1, C1, V1 in their order; `renamed` gives them the names of the file."""

    def __init__(self, lot: Lot) -> None:
        self.lot = lot
        self.parts: Tables = {}
        self.stages: list[Tables] = []
        self.rails: list[Tables] = []
        self.counts: Counter[str] = Counter()
        self.live = False  # whether the line carries a plate's volts

    def new(self, letters: str, value: Any) -> str:
        """A part more."""
        self.counts[letters] += 1
        name = f"{letters}{self.counts[letters]}"
        self.parts[name] = written(value) if isinstance(value, float) else value
        return name

    def r(self, ohms: float, steps: int = 1) -> str:
        """A resistor near a value."""
        return self.new("R", self.lot.near(ohms, steps))

    def c(self, farads: float, steps: int = 2) -> str:
        """A capacitor near a value."""
        return self.new("C", self.lot.near(farads, steps))

    def pot(self, ohms: float, control: str, tapers: tuple[str, ...] = ("audio 10 %", "audio 15 %", "linear")) -> str:
        """A pot whose control has this name, or another if that is taken."""
        taken = [each["control"] for name, each in self.parts.items() if name[0] == "P"]
        control = control if control not in taken else f"{control} {len(taken) + 1}"
        rotation = float(self.lot.one((0.3, 0.4, 0.5, 0.6, 0.7)))
        given = {"track": written(ohms), "taper": self.lot.one(tapers), "control": control, "rotation": rotation}
        return self.new("P", given)

    def maybe(self, share: float, **roles: tuple[str, float]) -> Tables:
        """Some of the roles, each drawn by lot: its letter and the value to start from."""
        make = {"R": self.r, "C": self.c}
        return {role: make[kind](value) for role, (kind, value) in roles.items() if self.lot.chance(share)}

    def stage(self, template: str, **roles: Any) -> str:
        """A stage more; its name."""
        word = self.lot.one(_WORDS[template])
        taken = [each["name"] for each in self.stages]
        name = next(each for each in (word, *(f"{word} {n}" for n in range(2, 99))) if each not in taken)
        self.stages.append(
            {"name": name, "template": template} | {key.rstrip("_"): each for key, each in roles.items()}
        )
        return str(name)

    def triode(self, kinds: Iterable[str] = tuple(TRIODES)) -> tuple[str, str]:
        """A triode's designator and type; mostly the usual one."""
        kind = "12AX7" if self.lot.chance(0.5) else self.lot.one(kinds)
        return self.new("V", kind), kind


def amps(count: int, seed: int = 0) -> Iterator[MadeAmp]:
    """So many amps."""
    return (made_amp(seed, number) for number in range(count))


def made_amp(seed: int, number: int) -> MadeAmp:
    """The amp of this number."""
    from tests.tools.any_stages import drawn

    lot = Lot(seed, number)
    kind = FAMILIES[number % len(FAMILIES)]
    kit = Kit(lot)
    drawn(kit, kind)
    tables = {"name": f"made amp {seed}-{number}", "parts": kit.parts, "rails": kit.rails, "stages": kit.stages}
    return MadeAmp(seed, number, kind, renamed(tables, names(lot, kit.parts), lot))


def names(lot: Lot, parts: Iterable[str]) -> dict[str, str]:
    """Other designators: counted from elsewhere, in another order, triodes two in a bottle, pots by other letters."""
    found: dict[str, str] = {}
    start, step = lot.one((1, 1, 11, 101, 201)), lot.one((1, 1, 2))
    pot = lot.one(("P", "P", "VR", "RV"))
    for letters in ("R", "C", "L", "P", "T", "LS"):
        mine = [each for each in parts if each.rstrip("0123456789") == letters]
        order = lot.shuffled(mine) if lot.chance(0.5) else mine
        word = pot if letters == "P" else letters
        found |= {each: f"{word}{start + step * number}" for number, each in enumerate(order)}
    valves = [each for each in parts if each[0] == "V"]
    found |= {each: f"V{1 + number}" for number, each in enumerate(valves)}
    return found


def renamed(value: Any, other: Mapping[str, str], lot: Lot | None = None) -> Any:
    """Tables with other designators; with a lot, entries in another order where the order means nothing."""
    if isinstance(value, dict):
        order = lot.shuffled(value.items()) if lot and "name" not in value and "fit" not in value else value.items()
        return {other.get(key, key): each if key in _TEXTS else renamed(each, other, lot) for key, each in order}
    if isinstance(value, list):
        return [renamed(each, other, lot) for each in value]
    if not isinstance(value, str):
        return value
    designator, dot, pin = value.partition(".")
    return other.get(designator, designator) + dot + pin


# Entries whose words are no designators (a stage may be called V1, a control R1).
_TEXTS = ("name", "reason", "control", "template", "into", "about", "taper", "with", "drawn", "wired")


def any_amp() -> st.SearchStrategy[MadeAmp]:
    """Amps for generated tests."""
    return st.builds(made_amp, st.integers(0, 2**16), st.integers(0, 2**16))
