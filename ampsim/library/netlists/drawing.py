"""What a reader of a netlist has found: parts with their pins on nets, supplies, sources, what it could not read."""

from __future__ import annotations

import re
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from typing import Any

from ...base.errors import shown
from ...base.wording import one_line
from ...circuit.designators import kind_of
from ...circuit.nets import Groups

GROUND = "0"
MOST_PARTS = 4_000
_DESIGNATOR = re.compile(r"[A-Z]{1,4}[0-9]{1,4}[A-Z]?")
# Where numbers begin for parts whose own name is no designator.
_FIRST = 901


@dataclass(frozen=True)
class Answers:
    """What a person answers beforehand to what a netlist leaves open.

    Attributes
    ----------
    input, output, ground
        Names of nets.
    rails
        To nets the volts [V] that a supply holds them at.
    types
        To names in the netlist the type of valve or semiconductor that is meant.
    pins
        To names in the netlist the pins in their order, such as ("plate", "grid", "cathode").
    values
        To designators the value that is meant, as an amp file has it.
    sure
        Designators whose values are meant, however odd.
    """

    input: str = ""
    output: str = ""
    ground: str = ""
    rails: Mapping[str, float] = field(default_factory=dict)
    types: Mapping[str, str] = field(default_factory=dict)
    pins: Mapping[str, tuple[str, ...]] = field(default_factory=dict)
    values: Mapping[str, Any] = field(default_factory=dict)
    sure: tuple[str, ...] = ()


NO_ANSWERS = Answers()


@dataclass(frozen=True)
class Remark:
    """A line that was not read as it stands, or was read by a convention, and why."""

    line: int
    text: str
    why: str

    def __str__(self) -> str:
        quoted = f" {one_line(self.text)[:80]}:" if self.text else ""
        return f"line {self.line}:{quoted} {self.why}" if self.line else f"{self.text}: {self.why}"


class Drawing:
    """Collects parts, nets, supplies and sources while a netlist is read.

    Attributes
    ----------
    parts
        To a designator its entry of an amp file and its pins on nets.
    supplies
        To nets the volts [V] of their ideal sources.
    sources, printed
        Nets at which a signal enters, and those that the file itself has printed.
    mean_lines, still_lines
        Lines that an export puts in the place of a mains side, and such as hold an oscillator still.
    left_out, assumed, questions
        What was not read, what was read by a convention, and what must be answered first.
    """

    def __init__(self, answers: Answers = NO_ANSWERS) -> None:
        self.answers = answers
        self.parts: dict[str, tuple[Any, dict[str, str]]] = {}
        self.supplies: dict[str, float] = {}
        self.sources: list[str] = []
        self.printed: list[str] = []
        self.mean_lines: list[tuple[str, ...]] = []
        self.still_lines: list[tuple[str, ...]] = []
        self.left_out: list[Remark] = []
        self.assumed: list[Remark] = []
        self.questions: list[str] = []
        self.wires: Groups[str] = Groups(lambda net: (net != GROUND, net))

    def leave(self, line: int, text: str, why: str) -> None:
        """Note a line that was not read."""
        self.left_out.append(Remark(line, text, why))

    def assume(self, line: int, text: str, why: str) -> None:
        """Note a line that was read by a convention."""
        self.assumed.append(Remark(line, text, why))

    def ask(self, line: int, text: str) -> None:
        """Note a question that must be answered before there can be an amp."""
        self.questions.append(f"line {line}: {text}" if line else text)

    def fit(self, designator: str, entry: Any, pins: Mapping[str, str], line: int) -> None:
        """Add a part; two of one name are asked about.

        Parameters
        ----------
        designator : str
        entry : object
            As an amp file has it.
        pins : mapping
            To each pin its net.
        line : int
            Where the netlist has it.
        """
        if designator in self.parts:
            self.ask(line, f"{designator} is there twice; give one of them another name")
        elif len(self.parts) >= MOST_PARTS:
            self.ask(line, f"more than {MOST_PARTS:,} parts")
        self.parts.setdefault(designator, (entry, dict(pins)))

    def hold(self, net: str, volts: float, line: int) -> None:
        """Add an ideal supply [V] at a net."""
        if net == GROUND or self.supplies.setdefault(net, volts) != volts:
            self.ask(line, f"net {shown(net)} has two supplies that differ, or is ground")

    def designator(self, name: str, kind: str, letters: str, line: int) -> str:
        """The designator that a name in the netlist stands for: itself where its letters say the kind, else a new one.

        Parameters
        ----------
        name : str
            As the netlist has it.
        kind : str
            What the part is.
        letters : str
            Of a new designator.
        line : int
        """
        word = name.upper()
        for own in (word, word[1:], word[2:] if word[1:2] == "_" else ""):
            if _DESIGNATOR.fullmatch(own) and kind_of(own) == kind and own not in self.parts:
                return own
        number = next(each for each in range(_FIRST, 9999) if f"{letters}{each}" not in self.parts)
        self.assume(line, name, f"is {letters}{number} in the amp file; its own name is no designator of a {kind}")
        return f"{letters}{number}"

    def net_names(self, raw: Iterable[str], rails: Mapping[str, str]) -> dict[str, str]:
        """A name of an amp file for every net, each another one; rails have theirs already."""
        names = {GROUND: "ground", **rails}
        taken = {"ground", "input", "speaker", "in", "out", "in_b", "out_b", *(each.lower() for each in rails.values())}
        for net in raw:
            if net in names:
                continue
            word = re.sub(r"[^A-Za-z0-9_]+", "_", net).strip("_")[:24].lower() or "net"
            wanted = word if word[0].isalpha() else f"n{word}"
            name, number = wanted, 1
            while name in taken:
                number += 1
                name = f"{wanted}_{number}"
            names[net] = name
            taken.add(name)
        return names
