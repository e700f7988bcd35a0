"""How an output transformer is written: coupled windings, each with its resistance, leakage, and the core's losses.

Every piece of the primary carries its share of winding resistance and leakage at the end towards its plate. All
windings are coupled by the same factor, next to one: leakage is in inductors of its own.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from typing import cast

from ..base.errors import DescriptionError, shown
from ..circuit.build import Circuit
from ..circuit.inner_nets import inner_net
from ..circuit.stages.template import Element
from ..circuit.transformer import Transformer, tap_pin
from ..circuit.transformer_core import COUPLING, Core
from .netlist_writer import Writer


@dataclass(frozen=True)
class Coil:
    """An ideal winding: the net at its dotted end, the other net, its inductance [H]."""

    name: str
    first: str
    second: str
    henries: float


def write_transformer(writer: Writer, element: Element, wired: Circuit) -> None:
    """Write a transformer with its pins on nets.

    Raises
    ------
    DescriptionError
        When a pin is wired that it does not have.
    """
    part = cast("Transformer", wired.parts[element.designator])
    name, nets = part.designator.lower(), dict(element.pins)
    for pin in nets:
        if not part.has_pin(pin):
            raise DescriptionError(f"{wired.amp.file}: {part.designator} has no {shown(pin)}, and something is on it")
    core = name if math.isfinite(part.saturation) else ""
    coils = []
    for coil in _primary(writer, part, nets):
        coils.append(coil)
        writer.coil(coil.name, coil.first, coil.second, coil.henries, core)
    _write_losses(writer, part, nets["primary_a"], nets["primary_b"])
    for coil in (*_secondary(writer, part, nets), *_further(writer, part, nets)):
        coils.append(coil)
        writer.coil(coil.name, coil.first, coil.second, coil.henries, core)
    for number, (first, second) in enumerate(_pairs([coil.name for coil in coils]), 1):
        writer.couple(f"k{name}_{number}", first, second, COUPLING)
    if core:
        _write_core(writer, part, nets, coils)


def _primary(writer: Writer, part: Transformer, nets: Mapping[str, str]) -> Iterator[Coil]:
    name = part.designator.lower()
    for section in part.sections("centre" in nets):
        inner, core = inner_net(name, f"{section.name}_1"), inner_net(name, f"{section.name}_2")
        outer, far = part.net(section.outer, nets), part.net(section.inner, nets)
        writer.element(f"r{name}_{section.name}", outer, inner, part.primary_resistance * section.share)
        writer.element(f"l{name}_leak_{section.name}", inner, core, section.leakage)
        ends = (far, core) if section.backwards else (core, far)
        yield Coil(f"l{name}_{section.name}", *ends, part.inductance * section.share**2)


def _write_losses(writer: Writer, part: Transformer, first: str, second: str) -> None:
    name, damp = part.designator.lower(), inner_net(part.designator, "damp")
    writer.element(f"r{name}_core", first, second, part.core_loss)
    writer.element(f"c{name}_winding", first, damp, part.capacitance)
    writer.element(f"r{name}_damp", damp, second, part.damping)


def _secondary(writer: Writer, part: Transformer, nets: Mapping[str, str]) -> Iterator[Coil]:
    name = part.designator.lower()
    below, turns, whole = nets["common"], 0.0, math.sqrt(part.taps[-1])
    for tap in part.taps:
        pin = tap_pin(tap)
        net, section = part.net(pin, nets), math.sqrt(tap) - turns
        inner = inner_net(name, f"{pin}_1")
        ends = (below, inner) if part.reversed else (inner, below)
        yield Coil(f"l{name}_{pin}", *ends, part.inductance * section**2 / part.primary)
        writer.element(f"r{name}_{pin}", inner, net, part.secondary_resistance * section / whole)
        below, turns = net, math.sqrt(tap)


def _further(writer: Writer, part: Transformer, nets: Mapping[str, str]) -> Iterator[Coil]:
    """The windings besides primary and secondary that anything is soldered to."""
    name = part.designator.lower()
    for each in part.windings:
        ends = [nets.get(f"{each.name}_{end}", "") for end in "12"]
        if all(ends):
            inner = inner_net(name, f"{each.name}_3")
            yield Coil(f"l{name}_{each.name}", inner, ends[1], part.inductance * each.turns**2)
            writer.element(f"r{name}_{each.name}", inner, ends[0], each.resistance)


def _write_core(writer: Writer, part: Transformer, nets: Mapping[str, str], coils: list[Coil]) -> None:
    """The saturating core, across the whole primary; it follows the flux of all windings' currents."""
    first, knee = coils[0], part.saturation
    # The flux of the first winding, counted up to the whole primary's and as a share of that at the knee.
    up = math.sqrt(part.inductance / first.henries) / knee
    ends = (nets["primary_a"], nets["primary_b"])
    writer.saturating(Core(part.designator.lower(), ends, first.name, first.henries, up, knee / part.inductance))


def _pairs(names: list[str]) -> Iterator[tuple[str, str]]:
    for number, first in enumerate(names):
        for second in names[number + 1 :]:
            yield first, second
