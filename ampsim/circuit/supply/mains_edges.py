"""What lies between the nets of the mains side, as edges that current passes both ways or one."""

from __future__ import annotations

import math
from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from itertools import pairwise
from typing import cast

from ...base.errors import DescriptionError
from ..amp import Part
from ..semiconductors.description import Semiconductor
from ..semiconductors.device import Device
from ..soldered import Soldered
from ..stages.template import GROUND, Element
from .transformer import MainsTransformer

SMOOTHING = 1e-6
"""From so much capacitance [F] on a net counts as smooth."""
BRIDGE = (("ac1", "plus"), ("ac2", "plus"), ("minus", "ac1"), ("minus", "ac2"))
"""Anode and cathode of each diode of a bridge."""
DIODES = {"bridge rectifier": BRIDGE, "rectifier valve": (("plate_a", "cathode"), ("plate_b", "cathode"))}
"""Anode and cathode of each diode of the parts that hold several."""
ENDS = {"diode": (("anode", "cathode"),), **DIODES}


@dataclass(frozen=True)
class Edge:
    """What lies between two nets of the mains side; `way` 1 or -1 where current passes from `first` or to it alone."""

    designator: str
    first: str
    second: str
    ohms: float = 0.0
    peak: float = 0.0
    diode: Semiconductor | None = None
    choke: bool = False
    transformer: MainsTransformer | None = None
    contact: bool = False
    thermistor: Semiconductor | None = None
    winding: str = ""


def smooth_nets(wired: Soldered) -> Iterator[str]:
    """The nets that a capacitor of `SMOOTHING` or more is on."""
    for element in wired.elements:
        part = wired.parts.get(element.designator)
        if element.kind == "capacitor" and cast("Part", part).value >= SMOOTHING:
            yield from (net for _, net in element.pins)


def edges_of(wired: Soldered, element: Element) -> Iterator[Edge]:
    """What one element puts between nets of the mains side."""
    part, pins = wired.parts.get(element.designator), dict(element.pins)
    if isinstance(part, MainsTransformer):
        for winding in part.windings:
            taps = [(pin, volts) for pin, volts in winding.potentials.items() if pin in pins]
            for (upper, high), (lower, low) in pairwise(taps):
                ohms = winding.resistance * (high - low) / winding.volts
                peak = math.sqrt(2.0) * part.scale * (high - low)
                yield Edge(
                    element.designator,
                    pins[lower],
                    pins[upper],
                    ohms,
                    peak,
                    transformer=part,
                    winding=f"{winding.name} {upper.rpartition('_')[2]} to {lower.rpartition('_')[2]}",
                )
    elif isinstance(part, Part) and element.kind == "resistor":
        yield Edge(element.designator, pins["1"], pins["2"], part.value)
    elif isinstance(part, Part) and element.kind == "inductor":
        yield Edge(element.designator, pins["1"], pins["2"], choke=True)
    elif isinstance(part, Device) and part.kind == "thermistor":
        device = wired.amp.semiconductor_by_type[part.type]
        yield Edge(element.designator, pins["1"], pins["2"], thermistor=device)
    elif element.kind == "contact":
        yield Edge(element.designator, pins["1"], pins["2"], contact=True)
    elif isinstance(part, Device) and part.kind in ENDS:
        for anode, cathode in ENDS[part.kind]:
            device = wired.amp.semiconductor_by_type[part.type]
            yield Edge(element.designator, pins[anode], pins[cathode], diode=device)


def parallels_joined(given: Iterable[Edge]) -> list[Edge]:
    """Resistors between the same two nets as one."""
    found: dict[object, Edge] = {}
    for edge in given:
        if edge.first == edge.second:
            continue
        plain = edge.ohms > 0.0 and edge.transformer is None
        key: object = frozenset((edge.first, edge.second)) if plain else len(found)
        if key in found:
            other = found[key]
            ohms = 1.0 / (1.0 / edge.ohms + 1.0 / other.ohms)
            edge = Edge(f"{other.designator}+{edge.designator}", other.first, other.second, ohms)
        found[key] = edge
    return list(found.values())


def refuse_series_capacitors(wired: Soldered, inside: list[Edge], ends: set[str]) -> None:
    """Refuse a rectifier that gets its current through a capacitor: nothing here would see it.

    Parameters
    ----------
    wired : Soldered
    inside : list of Edge
        The mains side.
    ends : set of str
        Nets that ways begin at or lead to.

    Raises
    ------
    DescriptionError
        Naming rectifier and capacitor.
    """
    windings = {net for edge in inside if edge.transformer for net in (edge.first, edge.second)} - ends - {GROUND}
    diodes = {net: each.designator for each in wired.elements if each.kind in ENDS for _, net in each.pins}
    for element in wired.elements:
        nets = [net for _, net in element.pins]
        far = [net for net in nets if net not in windings]
        if (
            element.kind == "capacitor"
            and len(far) == 1
            and far[0] in diodes
            and far[0] not in _grounded(wired, element)
        ):
            raise DescriptionError(
                f"{wired.amp.file}: {diodes[far[0]]} gets its current through {element.designator}, a capacitor in "
                "series with the winding (a half-wave doubler, or bias by a capacitor); ampsim works out rectifiers "
                "that a winding feeds directly, a full-wave doubler too"
            )


def _grounded(wired: Soldered, but: Element) -> set[str]:
    """Ground, and the nets that other capacitors keep smooth."""
    others = (each for each in wired.elements if each.kind == "capacitor" and each is not but)
    held = (net for each in others for _, net in each.pins if GROUND in dict(each.pins).values())
    return {GROUND, *held}
