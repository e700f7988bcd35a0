"""The oscillators that an amp is meant to have: stages whose kind says so, each with the valve whose loop it is."""

from __future__ import annotations

from dataclasses import dataclass

from .active_parts import ACTIVE
from .build import Circuit
from .stages import Kind, stages_of
from .stages.template import GROUND, Element

_DIRECT = ("resistor", "inductor")


@dataclass(frozen=True)
class Oscillator:
    """A declared oscillator.

    Attributes
    ----------
    stage : str
        The name of its stage.
    active : str
        Designator of what keeps it going: the first valve, transistor or operational amplifier of its stage.
    control, output : str
        The nets that this one is driven at and that its signal leaves.
    capacitors : tuple of str
        Designators of the stage's capacitors: what they hold is where it stands in its swing.
    shared : tuple of str
        The nets that its stage shares with others, but for the supply of its plate: what it moves is among them.
    couplers : tuple of str
        Designators of the opto-couplers of its stage, which it lights.
    diodes : tuple of (str, str)
        The nets of the anode and the cathode of each.
    """

    stage: str
    active: str
    control: str
    output: str
    capacitors: tuple[str, ...]
    shared: tuple[str, ...]
    couplers: tuple[str, ...] = ()
    diodes: tuple[tuple[str, str], ...] = ()


def oscillators(wired: Circuit) -> tuple[Oscillator, ...]:
    """The declared oscillators of a circuit; one whose valve was taken out is none."""
    found = []
    for name in stages_of(wired.amp, Kind.OSCILLATOR):
        own = [each for each in wired.elements if each.stage == name]
        active = next((each for each in own if each.kind in ACTIVE), None)
        if active is not None:
            pins = ACTIVE[active.kind]
            control, output = active.net(pins.control), active.net(pins.output)
            held = tuple(each.designator for each in own if each.kind == "capacitor")
            nets = {net for each in own for _, net in each.pins} - {GROUND}
            others = {net for each in wired.elements if each.stage != name for _, net in each.pins}
            supply = {net for each in own if each.kind in _DIRECT for net in _far(each, output)}
            shared = tuple(sorted((nets & others) - supply))
            lit = [each for each in own if each.kind == "opto-coupler"]
            couplers = tuple(each.designator for each in lit)
            diodes = tuple((each.net("anode"), each.net("cathode")) for each in lit)
            found.append(Oscillator(name, active.designator, control, output, held, shared, couplers, diodes))
    return tuple(found)


def _far(part: Element, net: str) -> set[str]:
    """The other nets of a part that has an end on a net; none of one that has not."""
    nets = {other for _, other in part.pins}
    return nets - {net} if net in nets else set()
