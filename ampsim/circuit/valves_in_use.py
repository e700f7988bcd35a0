"""The valves of an amp: those in circuit at any position of its switches, also where another position lacks them."""

from __future__ import annotations

from collections.abc import Mapping
from functools import lru_cache

from .amp import Amp, Socket
from .build import build_circuit
from .stages.template import Element


@lru_cache(maxsize=64)
def valves_in_use(amp: Amp) -> Mapping[str, tuple[Element, Socket]]:
    """Designator to a valve's element and socket: those as drawn first, then what one switch alone puts in."""
    found: dict[str, tuple[Element, Socket]] = {}
    stand = [((switch.control, label),) for switch in amp.all_switches for label in switch.labels]
    for switches in ((), *(stand if switches_valves(amp) else ())):
        wired = build_circuit(amp, switches)
        for element in wired.elements:
            part = wired.parts.get(element.designator)
            if isinstance(part, Socket):
                found.setdefault(part.designator, (element, part))
    return found


@lru_cache(maxsize=64)
def switches_valves(amp: Amp) -> bool:
    """Whether a switch does anything to a valve."""
    edited = {edit.part for switch in amp.all_switches for _, edits in switch.positions for edit in edits if edit.part}
    return any(isinstance(amp.part_by_designator.get(name), Socket) for name in edited)
