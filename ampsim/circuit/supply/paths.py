"""The ways that mains current takes: from ground through a winding and rectifiers to a smooth net, and back."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from typing import cast

import numpy as np
from numpy.typing import NDArray

from ...base.errors import DescriptionError
from ..semiconductors.description import Semiconductor
from ..soldered import Soldered
from ..stages.template import GROUND
from ..valves.grid import THERMAL_VOLTS
from .mains_edges import SMOOTHING, Edge, edges_of, parallels_joined, refuse_series_capacitors, smooth_nets
from .transformer import MainsTransformer
from .vacuum_diode import drop_volts

Array = NDArray[np.float64]
_MOST_WAYS, _LONGEST = 64, 14


@dataclass(frozen=True)
class Way:
    """One way of current from ground to a smooth net.

    `peak` [V] of the electromotive force in it, with its sign at the instant of the mains' peak; `ohms` of all
    resistances in it, the primary's as seen from here included; `types` of the diodes in it, `rectifiers` their names.
    `thermistors` in it, which `ohms` leaves out; `colder_ohms` more there are in the primary at switch-on. `start` is
    the net it begins at, other than ground in a voltage doubler, and `net` the one it leads to, "" for its source's.
    `resistors` and `windings` are the resistors in it ("R1+R2": in parallel) and the windings,
    `line_ohms` the primary's share of its resistance.
    """

    peak: float
    ohms: float
    types: tuple[Semiconductor, ...]
    rectifiers: tuple[str, ...]
    thermistors: tuple[tuple[str, Semiconductor], ...] = ()
    colder_ohms: float = 0.0
    start: str = GROUND
    net: str = ""
    resistors: tuple[str, ...] = ()
    windings: tuple[str, ...] = ()
    line_ohms: float = 0.0

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
    `transformer` where the current is from, `contacts` of a switch on its way that all of its ways pass. `start` is
    the net they begin at: of the upper half of a voltage doubler the one that the lower half feeds.
    """

    net: str
    smooth: str
    sign: float
    frequency: float
    ways: tuple[Way, ...]
    transformer: str
    contacts: tuple[str, ...] = ()
    start: str = GROUND

    @property
    def peak(self) -> float:
        """What the reservoir comes to without load [V]: the highest electromotive force of its ways, above `start`."""
        levels = {self.start: 0.0}
        for way in self.ways:
            net = way.net or self.net
            levels[net] = max(
                levels.get(way.start if way.net else self.start, 0.0) + abs(way.peak), levels.get(net, 0.0)
            )
        return max(levels.values())


# Where ways begin, net and smooth net that they lead to, the sign of its volts, the contacts on the way.
_Group = tuple[str, str, str, float, tuple[str, ...]]


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
    smooth = {GROUND, *smooth_nets(wired)}
    edges = parallels_joined(edge for element in wired.elements for edge in edges_of(wired, element))
    inside = _island(edges, {net for each in sources for _, net in each.pins}, smooth, wired.amp.file)
    found = tuple(_rectified(wired, inside, smooth))
    parts = {name for edge in inside if not edge.choke for name in edge.designator.split("+")}
    return MainsSide(frozenset(parts | {each.designator for each in sources}), found)


def _island(edges: list[Edge], starts: set[str], smooth: set[str], file: str) -> list[Edge]:
    """The parts that hang together with the transformer's windings on this side of the smooth nets."""
    reached, grows = set(starts), True
    found: dict[Edge, None] = {}
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


def _rectified(wired: Soldered, inside: list[Edge], smooth: set[str]) -> Iterator[Rectified]:
    groups: dict[_Group, list[tuple[Way, MainsTransformer]]] = {}
    for start in sorted(smooth & ({edge.first for edge in inside} | {edge.second for edge in inside})):
        for path in _paths(inside, start, smooth):
            built = _way(wired, path, start)
            if built:
                groups.setdefault(built[2], []).append(built[:2])
    refuse_series_capacitors(wired, inside, {net for group in groups for net in (group[0], group[2])})
    # From ground upwards: the halves of a voltage doubler stand on one another.
    fed = {GROUND}
    while now := [group for group in groups if group[0] in fed and group[2] not in fed]:
        for start, net, behind, sign, contacts in now:
            members = groups[start, net, behind, sign, contacts]
            ways, source = tuple(way for way, _ in members), members[0][1]
            yield Rectified(net, behind, sign, source.frequency, ways, source.designator, contacts, start)
        fed |= {group[2] for group in now}


def _paths(inside: list[Edge], start: str, smooth: set[str]) -> Iterator[list[tuple[Edge, float]]]:
    """Every way from a smooth net to another one that visits no net twice; edges with the sense they are passed in."""
    count = 0
    stack: list[tuple[str, list[tuple[Edge, float]], frozenset[str]]] = [(start, [], frozenset({start}))]
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


def _way(wired: Soldered, path: list[tuple[Edge, float]], start: str) -> tuple[Way, MainsTransformer, _Group] | None:
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
    resistors = tuple(edge.designator for edge, _ in path if edge.ohms and not edge.transformer)
    windings = tuple(f"{edge.designator} {edge.winding}" for edge, _ in path if edge.winding)
    way = Way(sign * peak, ohms, types, tuple(edge.designator for edge in diodes), warm, colder, resistors=resistors,
              windings=windings, line_ohms=sources[0].reflected_ohms(peak))  # fmt: skip
    return way, sources[0], (start, where, net, sign, contacts)
