"""Mods for any amp of `tests.tools.any_amps`, found by place in its circuit: `mods_for(amp, seed)`.

Each kind is a function from a bench (the amp, what has been drawn by lot, fresh designators) that writes
down what the mod file says.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import dataclass
from functools import cached_property
from typing import Any

from ampsim.base.quantities import FARAD, OHM, parse_value
from ampsim.circuit.amp import Amp, Mod
from ampsim.circuit.mods import apply_mods
from ampsim.library.loader import parse_mod
from tests.tools.any_amps import Lot, MadeAmp, Tables, toml_text, written

Edits = list[Tables]
VOLUMES = ("volume", "master volume")
OUTPUTS = ("push-pull output", "single-ended output")


@dataclass(frozen=True, eq=False)
class MadeMod:
    """A mod of a kind for one amp, as tables of a file."""

    kind: str
    amp: MadeAmp
    tables: Tables

    @cached_property
    def mod(self) -> Mod:
        """Read by the ordinary reader."""
        return parse_mod(self.tables, f"{self.kind.replace(' ', '-')}.toml")

    @cached_property
    def modded(self) -> Amp:
        """The amp with the mod."""
        return apply_mods(self.amp.amp, self.mod)

    @property
    def text(self) -> str:
        """The file; switch positions as a table of their own."""
        return toml_text(self.tables)

    def __repr__(self) -> str:
        return f"<{self.kind} on {self.amp!r}>"


class NoPlaceError(Exception):
    """The amp has no place for a kind of mod."""


@dataclass(frozen=True)
class Line:
    """A feedback line: its resistor, the tap where it starts, whether a depth pot stands between the two."""

    resistor: str
    tap: str
    depth: bool

    @property
    def start(self) -> str:
        """The resistor's end towards the tap."""
        return f"{self.resistor}.1"

    @property
    def entry(self) -> str:
        """The resistor's end where the feedback comes in."""
        return f"{self.resistor}.2"


class Bench:
    """An amp on the bench: its stages and parts, and what a mod brings."""

    def __init__(self, made: MadeAmp, lot: Lot) -> None:
        self.made, self.lot = made, lot
        self.parts: Tables = {}
        self.edits: Edits = []
        self.switches: Edits = []
        self.nets: list[str] = []
        self._next = 501 + 100 * int(lot.rng.integers(4))

    def new(self, letters: str, value: Any) -> str:
        """A part that the mod brings."""
        name = f"{letters}{self._next}"
        self._next += 1
        self.parts[name] = written(value) if isinstance(value, float) else value
        return name

    def value(self, designator: str) -> float:
        """Value of a resistor, capacitor or track of the amp [SI]."""
        given = self.made.tables["parts"][designator]
        text = given["track"] if isinstance(given, dict) else given
        return parse_value(text, FARAD if designator[0] == "C" else OHM)

    def stage(self, *templates: str, having: tuple[str, ...] = (), without: tuple[str, ...] = ()) -> Tables | None:
        """One stage of these templates that has some roles and lacks others."""
        fitting = [
            each
            for each in self.made.stages(*templates)
            if all(isinstance(each.get(role), str) for role in having) and not any(role in each for role in without)
        ]
        return self.lot.one(fitting) if fitting else None

    def switch(self, control: str, drawn: str, shaft: str = "", **positions: Edits) -> None:
        """A switch; blanks of its labels are written as underscores."""
        labels = {label.replace("_", " "): edits for label, edits in positions.items()}
        given = {"designator": f"S{self._next}", "control": control, "drawn": drawn, "positions": labels}
        self._next += 1
        self.switches.append(given | ({"shaft": shaft} if shaft else {}))

    def feedback(self) -> Line | None:
        """The feedback line from a tap, in its template or in free wiring."""
        for stage in self.made.stages("feedback"):
            return Line(stage["resistor"], stage["from"], "depth" in stage)
        for stage in self.made.stages("free wiring"):
            for part, pins in stage["wires"].items():
                if isinstance(pins, list) and ".tap" in pins[0]:
                    return Line(part, pins[0], False)
        return None


KINDS: dict[str, Callable[[Bench], None]] = {}


def kind(name: str) -> Callable[[Callable[[Bench], None]], Callable[[Bench], None]]:
    """Enter a kind of mod; its function raises `NoPlaceError` where the amp has no place for it."""

    def enter(make: Callable[[Bench], None]) -> Callable[[Bench], None]:
        KINDS[name] = make
        return make

    return enter


def mods_for(made: MadeAmp, seed: int = 0) -> Iterator[MadeMod]:
    """One mod of every kind that the amp has a place for."""
    for number, name in enumerate(KINDS):
        found = mod_of(name, made, seed, number)
        if found is not None:
            yield found


def mod_of(name: str, made: MadeAmp, seed: int = 0, number: int = 0) -> MadeMod | None:
    """A mod of one kind; None where the amp has no place for it.

    Parameters
    ----------
    name : str
        Key of `KINDS`.
    made : MadeAmp
    seed, number : int
        Draw it again.
    """
    bench = Bench(made, Lot(made.seed, made.number, 1 + seed, number))
    try:
        KINDS[name](bench)
    except NoPlaceError:
        return None
    tables: Tables = {"name": name, "reason": f"Tried by lot: {name}.", "parts": bench.parts}
    tables |= {"nets": bench.nets} if bench.nets else {}
    tables |= {"edits": bench.edits} if bench.edits else {}
    tables |= {"switches": bench.switches} if bench.switches else {}
    return MadeMod(name, made, {key: each for key, each in tables.items() if each})


def single_mods(count: int, seed: int = 0, first: int = 0) -> Iterator[MadeMod]:
    """One mod for each of so many amps, the kinds in turn."""
    from tests.tools.any_amps import made_amp

    names = list(KINDS)
    for number in range(first, first + count):
        made = made_amp(seed, number)
        turn = number
        while (found := mod_of(names[turn % len(names)], made, seed, turn)) is None:
            turn += 1
        yield found


from tests.tools import any_mods_output, any_mods_preamp, any_mods_wires  # noqa: E402, F401  (they enter their kinds)
