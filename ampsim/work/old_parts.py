"""What comes out of an amp for good: each part with its value, where it was, and the charge that it may keep."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

from ..base.wording import join_words
from ..circuit.amp import Amp
from ..circuit.build import Circuit, build_circuit
from ..circuit.designators import body_of, part_of
from ..circuit.mods import describe_part
from ..circuit.stages.template import GROUND
from ..circuit.whole_parts import sections_of
from .cautions.stored_charges import SAFE_VOLTS, stored_charges
from .new_parts import work_mods


@dataclass(frozen=True)
class OldPart:
    """One part that came out: its designator (of a double valve or pot the body's), value, places, and volts.

    `places` are what its ends were soldered to; `volts` the most that it held in the amp [V], 0 for what holds none.
    """

    name: str
    value: str
    places: tuple[str, ...]
    volts: float = 0.0

    @property
    def words(self) -> str:
        """The part in one line: "R3 100k, from V1A.plate and B2"."""
        return f"{self.name} {self.value}" + (f", from {join_words(list(self.places))}" if self.places else "")

    @property
    def caution(self) -> str:
        """What to do about its charge; "" where it holds none that matters."""
        if self.volts <= SAFE_VOLTS:
            return ""
        return f"{self.name} held {self.volts:.0f} V: discharge, keep its leads shorted"


def old_parts(stock: Amp, modded: Amp) -> tuple[OldPart, ...]:
    """The parts of the stock amp that come out for good, in the order of its parts.

    Those that only a switch takes out of circuit stay in the amp. Charge is reckoned with controls as drawn, at rest
    and before the valves conduct; above 60 V it is told (see `SAFE_VOLTS`).

    Raises
    ------
    EngineError
        When ngspice gives no trustworthy answer.
    """
    out = set(_taken_out(stock, modded))
    if not out:
        return ()
    wired = build_circuit(stock)
    capacitors = any(stock.part_by_designator[name].kind == "capacitor" for name in out)
    held = {each.part: each.volts for each in stored_charges(stock, {})} if capacitors else {}
    found: dict[str, OldPart] = {}
    for part in stock.part_by_designator.values():
        if part.designator in out:
            sections = sections_of(stock.part_by_designator, part.designator)
            whole = set(sections) <= out
            name = body_of(part.designator) if whole and len(sections) > 1 else part.designator
            places = () if part.kind == "valve" else tuple(_places(wired, part.designator))
            before = found.get(name)
            joined = tuple(dict.fromkeys((*before.places, *places))) if before else places
            found[name] = OldPart(name, describe_part(part), joined, held.get(part.designator, 0.0))
    return tuple(found.values())


def _taken_out(stock: Amp, modded: Amp) -> Iterator[str]:
    for mod in work_mods(stock, modded):
        for edit in mod.edits:
            part = stock.part_by_designator.get(edit.part)
            if part is not None and edit.action in ("replace", "lift"):
                yield edit.part


def _places(wired: Circuit, part: str) -> Iterator[str]:
    """What each end was soldered to: a valve's pin, else a rail or ground, else another part."""
    element = next((each for each in wired.elements if each.designator == part), None)
    rails = {rail.name for rail in wired.amp.rails}
    valves = {each.designator for each in wired.elements if each.kind == "valve"}
    for _, net in element.pins if element else ():
        others = [each for each in wired.places_by_net[net] if body_of(part_of(each)) != body_of(part)]
        if net == GROUND:
            others = ["ground"]
        others.sort(key=lambda place: (part_of(place) not in valves, place not in rails))
        yield from others[:1]
