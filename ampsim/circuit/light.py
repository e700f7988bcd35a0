"""What lights a light-dependent resistor: the lamp that its entry names, joined to it in what is simulated."""

from __future__ import annotations

from dataclasses import replace
from typing import TypeVar

from ..base.errors import DescriptionError, nearest, shown
from .inner_nets import inner_net
from .semiconductors.description import LIGHT_PIN
from .semiconductors.device import Device
from .soldered import Soldered
from .stages.template import GROUND, Element

C = TypeVar("C", bound=Soldered)


def lit(wired: C) -> C:
    """The circuit with the light of each lamp as a net that nobody solders; the same where there is no lamp.

    Raises
    ------
    DescriptionError
        When what should light a resistor is no lamp of the amp.
    """
    elements = tuple(_with_light(wired, each) for each in wired.elements)
    return wired if elements == wired.elements else replace(wired, elements=elements)


def _with_light(wired: Soldered, element: Element) -> Element:
    part = wired.parts.get(element.designator)
    if not isinstance(part, Device) or element.kind not in ("lamp", "light-dependent resistor"):
        return element
    return replace(element, pins=(*element.pins, (LIGHT_PIN, _light_net(wired, part))))


def _light_net(wired: Soldered, part: Device) -> str:
    if part.kind == "lamp":
        return inner_net(part.designator, LIGHT_PIN)
    lamps = [name for name, each in wired.parts.items() if each.kind == "lamp"]
    if part.lit_by and part.lit_by not in lamps:
        raise DescriptionError(
            f"{wired.amp.file}: {part.designator} is lit by {shown(part.lit_by)}, which is no lamp of the amp"
            f"{nearest(part.lit_by, lamps)}"
        )
    # A lamp that was lifted out is dark, and so is what it lit.
    fitted = any(each.designator == part.lit_by for each in wired.elements)
    return inner_net(part.lit_by, LIGHT_PIN) if fitted else GROUND
