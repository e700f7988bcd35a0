"""The lines of a SPICE netlist: joined where they go on, subcircuits and commands set apart, nothing carried out."""

from __future__ import annotations

import re
from collections.abc import Iterator
from dataclasses import dataclass

from ...base.errors import DescriptionError
from .drawing import Drawing

_MOST_LINES = 30_000
_LONGEST = 4_000
_REST = re.compile(r"\s*(?:;|//|\$\s).*$")


@dataclass(frozen=True)
class Line:
    """One statement: where it begins, its words, and whether it is a remark."""

    number: int
    text: str
    remark: bool = False

    @property
    def words(self) -> list[str]:
        """Its words; brackets, commas and the sign "=" stand apart or go."""
        return re.sub(r"[(),]", " ", re.sub(r"\s*=\s*", "=", self.text)).split()


@dataclass(frozen=True)
class Subcircuit:
    """A subcircuit that the netlist describes: its pins, and its lines as they stand."""

    name: str
    pins: tuple[str, ...]
    lines: tuple[str, ...]
    first: int
    last: int


def spice_lines(text: str, drawing: Drawing) -> tuple[list[Line], dict[str, Subcircuit]]:
    """The statements outside subcircuits, remarks included, and the subcircuits by name in small letters.

    The title, commands, and what comes after the end are noted as left out.

    Raises
    ------
    DescriptionError
        For too many lines, or one that is too long.
    """
    statements: list[Line] = []
    described: dict[str, Subcircuit] = {}
    open_name, first, command, ended = "", 0, False, False
    pins: tuple[str, ...] = ()
    inside: list[str] = []
    for line in _joined(text):
        head = line.words[0].lower() if line.words else ""
        if line.number == 1:
            drawing.leave(1, line.text, "the title of the netlist")
        elif not line.text or (ended and line.remark):
            continue
        elif command or head == ".control":
            drawing.leave(line.number, line.text, "a command, which is never carried out")
            command = head != ".endc"
        elif open_name:
            inside.append(line.text)
            if head == ".ends":
                described[open_name] = Subcircuit(open_name, pins, tuple(inside), first, line.number)
                open_name = ""
        elif head == ".subckt" and len(line.words) > 1:
            open_name, first, inside = line.words[1].lower(), line.number, [line.text]
            pins = tuple(each for each in line.words[2:] if "=" not in each)
        elif ended or head == ".end":
            if ended:
                drawing.leave(line.number, line.text, "stands after the end")
            ended = True
        else:
            statements.append(line)
    if open_name:
        drawing.leave(first, inside[0], "a subcircuit without an end; nothing after it was read")
    return statements, described


def _joined(text: str) -> Iterator[Line]:
    lines = text.replace("\r\n", "\n").replace("\r", "\n").split("\n")
    if len(lines) > _MOST_LINES:
        raise DescriptionError(f"{len(lines):,} lines; at most {_MOST_LINES:,} are read")
    begun: Line | None = None
    for number, raw in enumerate(lines, 1):
        if len(raw) > _LONGEST:
            raise DescriptionError(f"line {number}: {len(raw):,} signs; at most {_LONGEST:,} are read")
        body = raw.strip()
        if body.startswith("+") and begun and not begun.remark and number > 1:
            begun = Line(begun.number, f"{begun.text} {_REST.sub('', body[1:])}"[: 2 * _LONGEST])
            continue
        if begun:
            yield begun
        remark = body.startswith("*") and number > 1
        body = body if remark or number == 1 else _REST.sub("", body)
        begun = Line(number, body, remark) if body or number == 1 else None
    if begun:
        yield begun
