"""Parts that are several elements of a netlist, found again by the remark that an export puts above them.

A remark is believed where the lines below it are, to the letter, what such a part is written as.
"""

from __future__ import annotations

import math
import re
from collections.abc import Sequence
from functools import partial
from pathlib import Path
from types import SimpleNamespace
from typing import Any, cast

from ...base.entries import Entry
from ...base.errors import DescriptionError
from ...circuit.amp import Amp, AnyPart, Pot, Socket
from ...circuit.build import Circuit, build_circuit
from ...circuit.semiconductors.description import LIGHT_PIN
from ...circuit.semiconductors.device import Device
from ...circuit.semiconductors.spice import subcircuit as device_law
from ...circuit.stages.template import Element
from ...circuit.supply.averaged import MEAN_RECTIFIER, supplied
from ...circuit.valves.spice import subcircuit as valve_law
from ...simulation.devices import WRITERS
from ...simulation.netlist import slot_value
from ...simulation.netlist_writer import Writer
from ...simulation.spice_file import MAINS_SIDE, STANDS_FOR
from ..files import toml_tables
from ..parts import read_parts
from .drawing import Drawing
from .spice_lines import Line
from .types import load_type, type_of

_FORM = re.compile(
    r"\* ([A-Z]{1,4}[0-9]{1,4}[A-Z]?) = (.+) on ([a-z0-9_]+ [a-z0-9_]+(?:, [a-z0-9_]+ [a-z0-9_]+)*)"
    rf"({re.escape(MAINS_SIDE)})?"
)
_STANDS_FOR = re.compile(
    rf"{re.escape(STANDS_FOR)} (a mains side|an oscillator that stands still): ([0-9]{{1,4}}) lines"
)


def part_below(line: Line, below: Sequence[Line], drawing: Drawing, beside: Path | None) -> int:
    """Fit the part that a remark describes; how many of the lines below it are the part.

    Parameters
    ----------
    line : Line
        The remark; any other is passed over.
    below : sequence of Line
        What comes after it.
    drawing : Drawing
    beside : Path or None
        Folder of types of one's own.
    """
    found, stands = _FORM.fullmatch(line.text), _STANDS_FOR.fullmatch(line.text)
    if stands:
        held = drawing.mean_lines if stands[1] == "a mains side" else drawing.still_lines
        held.append(tuple(each.text for each in below[: int(stands[2])]))
        return len(held[-1])
    if not found:
        return 0
    designator, text, on, mains = found.groups()
    pins = dict(each.split() for each in on.split(", "))
    try:
        entry = toml_tables(f"x = {text}".encode(), "remark")["x"]
        (part,) = read_parts(Entry({designator: entry}, "netlist", "parts"), partial(_find, beside))
        forms = [[]] if mains else [_elements(part, pins, beside, in_time) for in_time in (False, True)]
    except (DescriptionError, LookupError, ArithmeticError):
        drawing.ask(line.number, f"the remark about {designator} is no part of an amp file; mend it or take it out")
        return 0
    expected = next((form for form in forms if _are(below, form)), None)
    if expected is None:
        drawing.ask(line.number, f"the lines below are not the {designator} of the remark; mend one of them, or take "
                    "the remark out")  # fmt: skip
        return 0
    soldered = {pin: net for pin, net in pins.items() if pin != LIGHT_PIN}
    drawing.fit(designator, entry, soldered, line.number)
    return len(expected)


def _are(below: Sequence[Line], expected: Sequence[str]) -> bool:
    """Whether the lines below are those expected."""
    given = [each.text for each in below[: len(expected)]]
    return len(given) == len(expected) and all(map(_alike, given, expected))


def _find(beside: Path | None, kind: str, name: str, _: str) -> Any:
    return load_type(kind, name, beside)


def mains_side_is(amp: Amp, found: Sequence[Sequence[str]]) -> bool:
    """Whether the lines that stand for the mains sides of a netlist are those of an amp's own, their nets aside."""
    wired = supplied(build_circuit(amp))
    own = []
    for element in wired.elements:
        if element.kind == MEAN_RECTIFIER:
            writer = Writer()
            WRITERS[element.kind](writer, element, wired)
            own.append(writer.skeleton()[0])
    # The source of a rail apart, and the thermistors, which have no numbers there.
    laws = ([line for line in lines if not line.startswith(("v", "x"))] for lines in found)
    given = ["\n".join(lines) for lines in laws if lines]
    pairs = list(zip(sorted(map(_numbers_in, own)), sorted(map(_numbers_in, given)), strict=False))
    return len(own) == len(given) and all(
        len(a) == len(b) and all(map(partial(math.isclose, rel_tol=1e-6), a, b)) for a, b in pairs
    )


def _numbers_in(text: str) -> list[float]:
    return [float(each) for each in re.findall(r"(?<![\w.])[0-9.]+(?:e[+-]?[0-9]+)?(?![\w.])", text)]


def _alike(one: str, other: str) -> bool:
    """Whether two lines have the same words, numbers among them the same but for rounding."""
    pairs = list(zip(one.split(), other.split(), strict=False))
    return len(one.split()) == len(other.split()) and all(a == b or _close(a, b) for a, b in pairs)


def _close(one: str, other: str) -> bool:
    try:
        return math.isclose(float(one), float(other), rel_tol=1e-12)
    except ValueError:
        return False


def _elements(part: AnyPart, pins: dict[str, str], beside: Path | None, in_time: bool) -> list[str]:
    """The lines of a part as an export writes them, for a transient or for rest and sweep."""
    types: dict[str, Any] = {}
    if isinstance(part, Device) and part.own is not None:
        types[part.type] = part.own
    elif isinstance(part, (Socket, Device)):
        types[part.type] = load_type("semiconductor" if isinstance(part, Device) else "valve", part.type, beside)
    amp = SimpleNamespace(valve_by_type=types, semiconductor_by_type=types, file="netlist")
    wired = cast("Circuit", SimpleNamespace(parts={part.designator: part}, amp=amp))
    writer = Writer(in_time=in_time)
    element = Element(part.designator, part.kind, tuple(pins.items()), "")
    WRITERS[element.kind](writer, element, wired)
    setting = {part.control: part.rotation} if isinstance(part, Pot) else {}
    values = (slot_value(source, half, setting) for source, half in writer.sources)
    first, *others = writer.skeleton()
    return (first + "".join(f"{value!r}{text}" for value, text in zip(values, others, strict=True))).splitlines()


def is_own_law(lines: Sequence[str], name: str, beside: Path | None) -> bool:
    """Whether a subcircuit is, to the letter, the law that ampsim has for the type that it is named after."""
    valve, device = type_of(name, "valves", beside), type_of(name, "semiconductors", beside)
    texts = [valve_law(load_type("valve", valve, beside))] if valve else []
    texts += [device_law(load_type("semiconductor", device, beside))] if device else []
    return any(text.splitlines() == list(lines) for text in texts)
