"""The ways that mains current takes: from ground through a winding and rectifiers to a smooth net, and back."""

from __future__ import annotations

import math
from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from itertools import pairwise
from typing import cast

import numpy as np
from numpy.typing import NDArray

from ...base.errors import DescriptionError
from ..amp import Part
from ..semiconductors.description import Semiconductor
from ..semiconductors.device import Device
from ..soldered import Soldered
from ..stages.template import GROUND, Element
from ..valves.grid import THERMAL_VOLTS
from .transformer import MainsTransformer
from .vacuum_diode import drop_volts

Array = NDArray[np.float64]
SMOOTHING = 1e-6
"""From so much capacitance [F] on a net counts as smooth."""
_MOST_WAYS, _LONGEST = 64, 14
BRIDGE = (("ac1", "plus"), ("ac2", "plus"), ("minus", "ac1"), ("minus", "ac2"))
"""Anode and cathode of each diode of a bridge."""
DIODES = {"bridge rectifier": BRIDGE, "rectifier valve": (("plate_a", "cathode"), ("plate_b", "cathode"))}
"""Anode and cathode of each diode of the parts that hold several."""
_ENDS = {"diode": (("anode", "cathode"),), **DIODES}


@dataclass(frozen=True)
class Way:
    """One way of current from ground to a smooth net.

    `peak` [V] of the electromotive force in it, with its sign at the instant of the mains' peak; `ohms` of all
    resistances in it, the primary's as seen from here included; `types` of the diodes in it, `rectifiers` their names.
    `thermistors` in it, which `ohms` leaves out; `colder_ohms` more there are in the primary at switch-on.
    """

    peak: float
    ohms: float
    types: tuple[Semiconductor, ...]
    rectifiers: tuple[str, ...]
    thermistors: tuple[tuple[str, Semiconductor], ...] = ()
    colder_ohms: float = 0.0

    @property
    def cold_ohms(self) -> float:
        """All resistance in the way at switch-on [ohm]."""
        return self.ohms + self.colder_ohms + sum(dict(each.parameters)["cold_ohms"] for _, each in self.thermistors)

    def drop(self, amps: Array) -> Array:
        """What the way takes [V] at currents [A] above zero."""
        return np.asarray(self.ohms * amps + sum(diode_drop(each, amps) for each in self.types))


@dataclass(frozen=True)
class Rectified:
    """Where rectified current comes in.

    `net` that the ways lead to before any choke, `smooth` the smooth net behind it, `sign` 1.0 or -1.0 of its volts,
    `transformer` where the current is from, `contacts` of a switch on its way that all of its ways pass.
    """

    net: str
    smooth: str
    sign: float
    frequency: float
    ways: tuple[Way, ...]
    transformer: str
    contacts: tuple[str, ...] = ()

    @property
    def peak(self) -> float:
        """The highest electromotive force of its ways [V]: what the reservoir comes to without load."""
        return max(abs(each.peak) for each in self.ways)


# Net and smooth net that ways lead to, the sign of its volts, the contacts on the way.
_Group = tuple[str, str, float, tuple[str, ...]]


@dataclass(frozen=True)
class _Edge:
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


def diode_drop(device: Semiconductor, amps: Array) -> Array:
    """Volts [V] across a rectifying diode, of a valve across one plate and cathode, at currents [A] above zero."""
    p = dict(device.parameters)
    if device.family == "rectifier valve":
        return drop_volts(p, amps)
    slope = p["emission"] * THERMAL_VOLTS
    return np.asarray(slope * np.log1p(amps / p["saturation_amps"]) + amps * p["series_ohms"])


@dataclass(frozen=True)
class MainsSide:
    """What of a circuit belongs to the mains: designators of the parts that are, and where current comes in."""

    parts: frozenset[str]
    rectified: tuple[Rectified, ...]


def mains_side(wired: Soldered) -> MainsSide:
    """Find the mains side of a circuit; it is empty where there is no mains transformer.

    Raises
    ------
    DescriptionError
        For what cannot be worked out, with the reason.
    """
    sources = [each for each in wired.elements if each.kind == "mains transformer"]
    if not sources:
        return MainsSide(frozenset(), ())
    smooth = {GROUND, *_smooth_nets(wired)}
    edges = _parallels_joined(edge for element in wired.elements for edge in _edges(wired, element))
    inside = _island(edges, {net for each in sources for _, net in each.pins}, smooth, wired.amp.file)
    found = tuple(_rectified(wired, inside, smooth))
    parts = {name for edge in inside if not edge.choke for name in edge.designator.split("+")}
    return MainsSide(frozenset(parts | {each.designator for each in sources}), found)


def _smooth_nets(wired: Soldered) -> Iterator[str]:
    for element in wired.elements:
        part = wired.parts.get(element.designator)
        if element.kind == "capacitor" and cast("Part", part).value >= SMOOTHING:
            yield from (net for _, net in element.pins)


def _edges(wired: Soldered, element: Element) -> Iterator[_Edge]:
    part, pins = wired.parts.get(element.designator), dict(element.pins)
    if isinstance(part, MainsTransformer):
        for winding in part.windings:
            taps = [(pin, volts) for pin, volts in winding.potentials.items() if pin in pins]
            for (upper, high), (lower, low) in pairwise(taps):
                ohms = winding.resistance * (high - low) / winding.volts
                peak = math.sqrt(2.0) * part.scale * (high - low)
                yield _Edge(element.designator, pins[lower], pins[upper], ohms, peak, transformer=part)
    elif isinstance(part, Part) and element.kind == "resistor":
        yield _Edge(element.designator, pins["1"], pins["2"], part.value)
    elif isinstance(part, Part) and element.kind == "inductor":
        yield _Edge(element.designator, pins["1"], pins["2"], choke=True)
    elif isinstance(part, Device) and part.kind == "thermistor":
        device = wired.amp.semiconductor_by_type[part.type]
        yield _Edge(element.designator, pins["1"], pins["2"], thermistor=device)
    elif element.kind == "contact":
        yield _Edge(element.designator, pins["1"], pins["2"], contact=True)
    elif isinstance(part, Device) and part.kind in _ENDS:
        for anode, cathode in _ENDS[part.kind]:
            device = wired.amp.semiconductor_by_type[part.type]
            yield _Edge(element.designator, pins[anode], pins[cathode], diode=device)


def _parallels_joined(given: Iterable[_Edge]) -> list[_Edge]:
    """Resistors between the same two nets as one."""
    found: dict[object, _Edge] = {}
    for edge in given:
        if edge.first == edge.second:
            continue
        plain = edge.ohms > 0.0 and edge.transformer is None
        key: object = frozenset((edge.first, edge.second)) if plain else len(found)
        if key in found:
            other = found[key]
            ohms = 1.0 / (1.0 / edge.ohms + 1.0 / other.ohms)
            edge = _Edge(f"{other.designator}+{edge.designator}", other.first, other.second, ohms)
        found[key] = edge
    return list(found.values())


def _island(edges: list[_Edge], starts: set[str], smooth: set[str], file: str) -> list[_Edge]:
    """The parts that hang together with the transformer's windings on this side of the smooth nets."""
    reached, grows = set(starts), True
    found: dict[_Edge, None] = {}
    while grows:
        grows = False
        for edge in edges:
            live = {edge.first, edge.second} & (reached - smooth)
            if edge not in found and (live or edge.transformer):
                found[edge] = None
                reached |= {edge.first, edge.second}
                grows = True
    if len(found) > 60:
        raise DescriptionError(
            f"{file}: no reservoir capacitor of {1e6 * SMOOTHING:g} uF or more stands between the rectifier and the amp"
        )
    return list(found)


def _rectified(wired: Soldered, inside: list[_Edge], smooth: set[str]) -> Iterator[Rectified]:
    groups: dict[_Group, list[tuple[Way, MainsTransformer]]] = {}
    stacked: dict[str, Way] = {}
    for start in sorted(smooth & ({edge.first for edge in inside} | {edge.second for edge in inside})):
        for path in _paths(inside, start, smooth):
            built = _way(wired, path, start)
            if built and start == GROUND:
                groups.setdefault(built[2], []).append(built[:2])
            elif built and built[2][1] != GROUND:
                stacked[built[2][1]] = built[0]
    for net, way in stacked.items():
        if all(net != behind for _, behind, *_ in groups):
            raise DescriptionError(
                f"{wired.amp.file}: {' and '.join(way.rectifiers)} rectify between two nets of which none is ground "
                "(as in a voltage doubler); ampsim works out rectifiers against ground alone"
            )
    for (net, behind, sign, contacts), members in groups.items():
        ways, source = tuple(way for way, _ in members), members[0][1]
        yield Rectified(net, behind, sign, source.frequency, ways, source.designator, contacts)


def _paths(inside: list[_Edge], start: str, smooth: set[str]) -> Iterator[list[tuple[_Edge, float]]]:
    """Every way from a smooth net to another one that visits no net twice; edges with the sense they are passed in."""
    count = 0
    stack: list[tuple[str, list[tuple[_Edge, float]], frozenset[str]]] = [(start, [], frozenset({start}))]
    while stack:
        net, path, seen = stack.pop()
        if path and net in smooth:
            count += 1
            if count > 4 * _MOST_WAYS:
                return
            yield path
            continue
        if len(path) >= _LONGEST:
            continue
        for edge in inside:
            for near, far, sense in ((edge.first, edge.second, 1.0), (edge.second, edge.first, -1.0)):
                if near == net and far not in seen:
                    stack.append((far, [*path, (edge, sense)], seen | {far}))


def _way(wired: Soldered, path: list[tuple[_Edge, float]], start: str) -> tuple[Way, MainsTransformer, _Group] | None:
    """The way that a path is, its transformer and where it leads; None where it rectifies nothing."""
    senses = {sense for edge, sense in path if edge.diode}
    sources = [edge.transformer for edge, _ in path if edge.transformer]
    peak = sum(sense * edge.peak for edge, sense in path)
    if len(senses) != 1 or not sources or not peak:
        return None
    ohms = sum(edge.ohms for edge, _ in path) + sources[0].reflected_ohms(peak)
    diodes = [edge for edge, _ in path if edge.diode]
    nets, net = [start], start
    for edge, sense in path:
        net = edge.second if sense > 0.0 else edge.first
        nets.append(net)
    chokes = [place for place, (edge, _) in enumerate(path) if edge.choke]
    last = max(place for place, (edge, _) in enumerate(path) if edge.diode)
    if start == GROUND and chokes and chokes[0] < last:
        raise DescriptionError(
            f"{wired.amp.file}: {path[chokes[0]][0].designator} is a choke before {diodes[-1].designator}; ampsim "
            "works out chokes behind the rectifier"
        )
    sign = senses.pop()
    where = nets[chokes[0]] if chokes else net
    types = tuple(cast("Semiconductor", edge.diode) for edge in diodes)
    contacts = tuple(sorted(edge.designator for edge, _ in path if edge.contact))
    warm = tuple((edge.designator, edge.thermistor) for edge, _ in path if edge.thermistor)
    colder = sources[0].reflected_ohms(peak, sources[0].colder_ohms)
    way = Way(sign * peak, ohms, types, tuple(edge.designator for edge in diodes), warm, colder)
    return way, sources[0], (where, net, sign, contacts)
