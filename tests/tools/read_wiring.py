"""The printed from-to list read as a technician does: lug by lug, to the circuit that is soldered so.

Nothing of the planner is used: what stands before comes from the drawing, what is done from the text alone.
"""

from __future__ import annotations

import itertools
import re
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass, field, replace

from ampsim.base.quantities import FARAD, HENRY, OHM, parse_value
from ampsim.circuit.amp import Amp, Part, Pot
from ampsim.circuit.build import Circuit, build_circuit
from ampsim.circuit.nets import INPUT, Groups
from ampsim.circuit.positions import every_setting, setting_clause
from ampsim.circuit.stages.template import GROUND, Element
from ampsim.circuit.switches.same_circuit import without_idle
from ampsim.job.papers.wiring import wiring_text
from ampsim.work.wiring.readback import wiring

_UNITS = {"R": OHM, "P": OHM, "VR": OHM, "RV": OHM, "C": FARAD, "L": HENRY}


@dataclass
class PrintedList:
    """What the text says: leads off, parts out, wires, contacts of each switch, values of parts put in or exchanged."""

    off: list[str] = field(default_factory=list)
    out: list[str] = field(default_factory=list)
    wires: list[tuple[str, str]] = field(default_factory=list)
    contacts: dict[str, dict[str, list[tuple[str, str]]]] = field(default_factory=dict)
    values: dict[str, float] = field(default_factory=dict)
    stands_for: dict[str, str] = field(default_factory=dict)
    straps: list[tuple[str, str]] = field(default_factory=list)


def read_list(text: str) -> PrintedList:
    """Read the tables of `wiring_text`."""
    found = PrintedList()
    for block in re.split(r"\n\n(?=Wiring: )", text.strip()):
        title, _, rule, *rows = block.splitlines()
        starts = [match.start() for match in re.finditer(r"-+", rule)]
        cells = [[row[a:b].strip() for a, b in itertools.pairwise([*starts, len(row)])] for row in rows]
        _take(found, title.removeprefix("Wiring: "), _whole(cells))
    return found


def _whole(rows: Sequence[Sequence[str]]) -> list[list[str]]:
    """Rows of which a wide table broke cells over several lines; only the first of them says the first column."""
    found: list[list[str]] = []
    for row in rows:
        if row[0] or not found:
            found.append(list(row))
        else:
            found[-1] = [f"{one} {more}".strip() for one, more in zip(found[-1], row, strict=True)]
    return found


def _take(found: PrintedList, title: str, cells: list[list[str]]) -> None:
    if title == "what comes off":
        for lead, place in cells:
            (found.out if place == "comes out" else found.off).append(lead)
    elif title == "what is exchanged":
        for part, _, after in cells:
            found.values |= {part: _value(part, after)} if _letters(part) in _UNITS else {}
    elif title == "from-to list":
        for _, start, end, what in cells:
            found.wires.append((start, end))
            found.straps += [(start, end)] if what == "strap" else []
            _take_lead(found, what)
    else:
        match = re.match(r"contacts of (\S+) \((.*?)\), ", title)
        assert match, title
        table = found.contacts.setdefault(match[2], {})
        for label, _, closed in cells:
            pairs = [pair.split(" to ") for pair in closed.split(", ")] if closed != "none" else []
            table[label] = [(f"{match[1]}.{first}", f"{match[1]}.{second}") for first, second in pairs]


def _take_lead(found: PrintedList, what: str) -> None:
    match = re.match(r"lead of (\w+), (\S+?)(?: for (\w+))?$", what)
    if match:
        part, value, place = match.groups()
        found.values[part] = _value(part, value)
        if place:
            found.stands_for[part] = place


def _value(part: str, text: str) -> float:
    return parse_value(text.split()[0], _UNITS[_letters(part)])


def _letters(part: str) -> str:
    return re.match("[A-Z]+", part)[0]  # type: ignore[index]


def soldered_circuit(stock: Amp, modded: Amp, found: PrintedList, setting: dict[str, str]) -> Circuit:
    """The circuit of a position: the stock amp's lugs, less what the text takes off, with its wires and contacts."""
    drawn = build_circuit(stock)
    joined: Groups[str] = Groups(lambda place: (place != "ground", place != INPUT, "." in place, len(place), place))
    for places in drawn.places_by_net.values():
        kept = [each for each in places if each not in found.off and each.partition(".")[0] not in found.out]
        for place in kept[1:]:
            joined.join(kept[0], place)
    for start, end in found.wires:
        joined.join(start, end)
    for control, table in found.contacts.items():
        for first, second in table[setting[control]]:
            joined.join(first, second)
    kinds = {each.designator: each for each in drawn.elements if each.designator not in found.out}
    lugs = {place for wire in found.wires for place in wire if "." in place and " " not in place}
    parts = {**drawn.parts, **modded.part_by_designator}
    for name in sorted({lug.partition(".")[0] for lug in lugs}):
        like = parts.get(found.stands_for.get(name, name))
        if name not in kinds and like is not None:
            pins = tuple(pin for pin in _pins(like.kind, lugs, name))
            kinds[name] = Element(name, like.kind, tuple((pin, "") for pin in pins), "put in")
            parts[name] = replace(like, designator=name)  # type: ignore[arg-type]
    for name, value in found.values.items():
        part = parts[name]
        assert isinstance(part, (Part, Pot)), name
        parts[name] = replace(part, value=value)

    def net(place: str) -> str:
        root = joined.find(place)
        return {"ground": GROUND, INPUT: INPUT}.get(root, root)

    elements = tuple(
        replace(each, pins=tuple((pin, net(f"{each.designator}.{pin}")) for pin, _ in each.pins))
        for each in kinds.values()
    )
    return Circuit(modded, elements, (), parts, {})


def _pins(kind: str, lugs: Iterable[str], name: str) -> tuple[str, ...]:
    if kind == "pot":
        return ("top", "wiper", "bottom")
    if kind in ("resistor", "capacitor", "inductor"):
        return ("1", "2")
    return tuple(sorted(lug.partition(".")[2] for lug in lugs if lug.startswith(f"{name}.")))


def faults(stock: Amp, modded: Amp, found: PrintedList, setting: dict[str, str]) -> list[str]:
    """What the soldered circuit of a position has otherwise than the description's, in words."""
    wanted = build_circuit(modded, tuple(setting.items()))
    ours = soldered_circuit(stock, modded, found, setting)
    switched = {edit.part for switch in modded.all_switches for _, edits in switch.positions for edit in edits}
    switched |= set(found.stands_for)
    mine = {
        found.stands_for.get(each.designator, each.designator): each for each in without_idle(ours.elements, switched)
    }
    theirs = {each.designator: each for each in without_idle(wanted.elements, switched)}
    told = [f"{name} in one only" for name in sorted(set(mine) ^ set(theirs))]
    if told:
        return told
    for name, element in mine.items():
        part, other = ours.parts.get(element.designator), wanted.parts.get(name)
        if isinstance(part, (Part, Pot)) and isinstance(other, (Part, Pot)) and part.value != other.value:
            told.append(f"{name} is {part.value}, wanted {other.value}")
    pairs = {(net, theirs[name].net(pin)) for name, each in mine.items() for pin, net in each.pins}
    pairs |= {(GROUND, GROUND), (INPUT, INPUT)}
    if len({net for net, _ in pairs}) != len(pairs) or len({net for _, net in pairs}) != len(pairs):
        told.append("other lugs are together")
    return told


def printed_list(modded: Amp) -> PrintedList:
    """The list of a modded amp, read from print."""
    text = wiring_text(wiring(modded))
    return read_list(text) if text else PrintedList()


def printed_faults(stock: Amp, modded: Amp) -> Iterator[str]:
    """What the printed list makes otherwise than the description, at every position of the switches."""
    found = printed_list(modded)
    for setting in every_setting(modded):
        stands = ", ".join(setting_clause(*each) for each in setting) or "as drawn"
        yield from (f"{stands}: {each}" for each in faults(stock, modded, found, dict(setting)))
