"""Whether a circuit as it is wired, contact by contact, is the one described: same parts, same nets."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import replace

from ..amp import Amp
from ..build import Circuit
from ..nets import INPUT, tied_together
from ..stages.template import GROUND, Element


def switched_parts(amp: Amp) -> set[str]:
    """Parts that not every position of the switches has in circuit."""
    edits = [edit for switch in amp.all_switches for _, each in switch.positions for edit in each]
    return {edit.part for edit in edits if edit.part}


def without_idle(elements: Iterable[Element], switched: set[str]) -> tuple[Element, ...]:
    """The elements without those switched parts that hang on one net, or none: they carry no current."""
    every = list(elements)
    held = {net for each in every if each.designator not in switched for _, net in each.pins} | {GROUND, INPUT}
    nets_of = {each.designator: {net for _, net in each.pins} for each in every if each.designator in switched}
    idle: set[str] = set()
    for cluster in tied_together({name: nets - held for name, nets in nets_of.items()}):
        if len(set().union(*(nets_of[name] for name in cluster)) & held) < 2:
            idle |= set(cluster)
    return tuple(each for each in every if each.designator not in idle)


def compare_circuits(bought: Mapping[str, str], ours: Circuit, drawn: Circuit) -> str:
    """What differs between a circuit as it is wired and the drawing's; "" when nothing does.

    Compared are the parts in circuit with their values, and which of their ends are one net. Parts that hang on one
    net are left out on both sides; `bought` names those that a switch puts in place of others.
    """
    switched = switched_parts(drawn.amp)
    wanted = without_idle(drawn.elements, switched)
    mine = {_place_name(each, bought): each for each in ours.elements}
    theirs = {each.designator: each for each in wanted}
    if len(mine) != len(ours.elements):
        return "two parts in the place of one"
    odd = sorted(set(mine) ^ set(theirs))
    if odd:
        return f"{', '.join(odd)} in one of the two only"
    for name, element in mine.items():
        part, other = ours.parts.get(element.designator), drawn.parts.get(name)
        if part is not None and replace(part, designator=name) != other:
            return f"{name} has another value"
    pairs = {(net, theirs[name].net(pin)) for name, element in mine.items() for pin, net in element.pins} | {
        (GROUND, GROUND),
        (INPUT, INPUT),
    }
    if len({net for net, _ in pairs}) != len(pairs) or len({net for _, net in pairs}) != len(pairs):
        return "other ends are together"
    return ""


def _place_name(element: Element, bought: Mapping[str, str]) -> str:
    return bought.get(element.designator, element.designator)
