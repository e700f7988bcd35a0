"""Resistance at direct current through the parts of a circuit, such as from a grid to ground."""

from __future__ import annotations

import math
from collections.abc import Iterable, Iterator, Mapping, Sequence
from itertools import pairwise
from typing import cast

import numpy as np

from .amp import Part
from .build import Circuit
from .conductances import Branch, nodal_matrix, voltage_row
from .designators import element_name
from .loudspeaker import Loudspeaker
from .nets import INPUT, Nets
from .plugs import plugged_stages
from .pot_tracks import OPEN_OHMS, track_stretches
from .reverb_tank import ReverbTank
from .stages.template import GROUND, Element
from .supply.averaged import MEAN_RECTIFIER
from .supply.transformer import MainsTransformer
from .transformer import Transformer

_SHORT = 1e-3  # ohm, what a supply or a coil counts


def grid_ohms(wired: Circuit, values: Mapping[str, float]) -> dict[str, float]:
    """DC resistance [ohm] of every grid's circuit, to ground and to the supplies: valves out, supplies shorted.

    Guitar or generator is unplugged; where the grid would then stand open, it counts as plugged in. What several grids
    share counts for each as many times: the current of every one of them flows there (from memory: makers divide the
    largest grid leak by the number of valves in parallel).

    Parameters
    ----------
    wired : Circuit
    values : mapping
        Name of each resistance in the netlist ("r4", "rp1_top") to its ohms, as a netlist has them.
    """
    guitars = plugged_stages(wired)
    amp = [branch for each in wired.elements if each.stage not in guitars for branch in _branches(wired, each, values)]
    guitar = [branch for each in wired.elements if each.stage in guitars for branch in _branches(wired, each, values)]
    plugged = [*amp, *guitar, (INPUT, GROUND, _SHORT)]
    nets = {each.designator: each.net("grid") for each in wired.elements if each.kind == "valve"}
    every = list(nets.values())
    return {
        valve: next(filter(math.isfinite, (dc_ohms(ways, net, every) for ways in (amp, plugged))), math.inf)
        for valve, net in nets.items()
    }


def unpowered_amp(wired: Circuit, values: Mapping[str, float]) -> list[tuple[str, Branch]]:
    """The DC paths [ohm] of an amp that is unplugged, with its parts: supplies open, valves cold, input empty.

    Parameters
    ----------
    wired, values
        As for `grid_ohms`.
    """
    guitars = plugged_stages(wired)
    return [
        (each.designator, branch)
        for each in wired.elements
        if each.kind != "rail" and each.stage not in guitars
        for branch in _branches(wired, each, values)
    ]


def ohms_between(branches: Sequence[Branch], first: str, second: str) -> float:
    """Resistance [ohm] between two nets, as a meter reads it once the capacitors are full; infinite without a way."""
    if first == second:
        return 0.0
    names = {GROUND: "chassis", second: GROUND}
    return dc_ohms([(names.get(one, one), names.get(other, other), ohms) for one, other, ohms in branches],
                   names.get(first, first))  # fmt: skip


def dc_ohms(branches: Sequence[Branch], net: str, every: Sequence[str] = ()) -> float:
    """Resistance [ohm] from a net to ground through resistances between nets; infinite without a way.

    Parameters
    ----------
    branches : sequence of (net, net, ohm)
    net : str
    every : sequence of str
        Nets, this one among them, into each of which the same current flows, a net that is there twice twice; if there
        are none, into this one alone.

    Notes
    -----
    One ampere is put in and the voltage found by nodal analysis (Kirchhoff's current law).
    """
    reached = nets_with(branches, net)
    if net == GROUND or GROUND not in reached:
        return 0.0 if net == GROUND else math.inf
    index = {name: row for row, name in enumerate(sorted(reached - {GROUND}))}
    matrix = nodal_matrix([each for each in branches if reached.issuperset(each[:2])], index)
    amperes = sum(voltage_row(each, GROUND, index) for each in every or (net,) if each in index)
    return float(np.linalg.solve(matrix, amperes)[index[net]])


def nets_with(branches: Iterable[Branch], net: str) -> set[str]:
    """Nets that hang together with one; ways do not go on through ground."""
    ways = [{first, second} for first, second, _ in branches]
    joined = Nets()
    for way in ways:
        if GROUND not in way:
            joined.join(min(way), max(way))
    group = joined.find(net)
    beside = [way for way in ways if group != GROUND and any(joined.find(end) == group for end in way)]
    return {net}.union(*beside)


def _branches(wired: Circuit, element: Element, values: Mapping[str, float]) -> Iterator[Branch]:
    """The DC paths through an element, as (net, net, ohm)."""
    pins, name = dict(element.pins), element.designator.lower()
    part = wired.parts.get(element.designator)
    if element.kind == "rail":
        yield pins["1"], GROUND, _SHORT
    elif element.kind == MEAN_RECTIFIER:
        yield pins["1"], pins["2"], _SHORT
    elif isinstance(part, MainsTransformer):
        for winding in part.windings:
            taps = [(pins[pin], volts) for pin, volts in winding.potentials.items() if pin in pins]
            for (first, high), (second, low) in pairwise(taps):
                yield first, second, max(winding.resistance * (high - low) / winding.volts, _SHORT)
    elif element.kind == "resistor" and element_name(element.designator) in values:
        yield pins["1"], pins["2"], values[element_name(element.designator)]
    elif element.kind == "inductor":
        yield pins["1"], pins["2"], max(cast("Part", part).resistance, _SHORT)
    elif element.kind == "pot":
        for half, first, second in track_stretches(element):
            if values.get(f"r{name}_{half}", OPEN_OHMS) < OPEN_OHMS:
                yield pins[first], pins[second], values[f"r{name}_{half}"]
    elif isinstance(part, Loudspeaker):
        yield pins["1"], pins["2"], part.resistance
    elif isinstance(part, Transformer):
        yield from _windings(part, pins)
    elif isinstance(part, ReverbTank):
        yield pins["in"], pins["in_ground"], part.input_resistance
        yield pins["out"], pins["out_ground"], part.output_resistance


def _windings(part: Transformer, pins: Mapping[str, str]) -> Iterator[Branch]:
    for section in part.sections("centre" in pins):
        ends = (part.net(section.outer, pins), part.net(section.inner, pins))
        yield (*ends, section.share * part.primary_resistance)
    yield from ((pins["common"], net, part.secondary_resistance) for pin, net in pins.items() if pin.startswith("tap"))
    for each in part.windings:
        if f"{each.name}_1" in pins:
            yield pins[f"{each.name}_1"], pins[f"{each.name}_2"], each.resistance
