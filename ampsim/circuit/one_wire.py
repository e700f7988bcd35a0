"""Parts that do nothing because their ends are on one wire: a slip of the pen, refused with what is probably meant."""

from __future__ import annotations

from collections.abc import Iterable, Mapping

from ..base.errors import DescriptionError
from .stages.template import Element

# The pins of each kind that may not be on one wire; of a part with two ends it is those.
_APART = {"pot": ("top", "bottom"), "valve": ("plate", "cathode"), "transformer": ("primary_a", "primary_b"),
          "bridge rectifier": ("ac1", "ac2"), "transistor": ("drain", "source"),
          "effect": ("in", "ground"), "operational amplifier": ("vplus", "vminus"),
          "rectifier valve": ("plate_a", "cathode"), "reverb tank": ("in", "in_ground"),
          "opto-coupler": ("anode", "cathode")}  # fmt: skip
_MEANT = {
    "pot": "a pot has its top on the signal, its wiper on what follows and its bottom on ground; "
    "as a variable resistor it has one end on the one wire, its wiper and its other end on the other",
    "valve": "its plate belongs to its load, its cathode to its cathode resistor or to ground",
    "transformer": "each end of the primary goes to a plate, or one of them to the supply",
}
_MOST_PLACES = 4


def pins_on_one_wire(element: Element) -> tuple[str, ...]:
    """The pins of a part that are on one wire although the part then does nothing; none where it is well."""
    pins = _APART.get(element.kind, tuple(name for name, _ in element.pins) if len(element.pins) == 2 else ())
    return pins if pins and len({element.net(pin) for pin in pins}) == 1 else ()


def refuse_one_wire(elements: Iterable[Element], file: str, place_nets: Mapping[str, str]) -> None:
    """Refuse a drawn part whose ends are on one wire.

    Parameters
    ----------
    elements : iterable of Element
        The parts of the drawing.
    file : str
        What messages call the amp's file.
    place_nets : mapping
        Net of every place.

    Raises
    ------
    DescriptionError
        Naming stage, part, the wire and what is probably meant.
    """
    for element in elements:
        if pins_on_one_wire(element):
            where = f"{file}: {'rails' if element.stage == 'supply' else f'stage {element.stage!r}'}"
            raise DescriptionError(f"{where}: {why_one_wire(element, place_nets)}")


def why_one_wire(element: Element, place_nets: Mapping[str, str]) -> str:
    """Say which ends of a part are on one wire and what is probably meant; `place_nets` as in `refuse_one_wire`."""
    pins = pins_on_one_wire(element)
    ends = " and ".join(f"{element.designator}.{pin}" for pin in pins)
    net = element.net(pins[0])
    others = [place for place, on in place_nets.items() if on == net and not place.startswith(f"{element.designator}.")]
    wire = f" ({', '.join(others[:_MOST_PLACES])})" if others else ""
    meant = _MEANT.get(
        element.kind, "probably one of them belongs on another wire, or a part that it should lie across is missing"
    )
    return f"{ends} are on one wire{wire}, so {element.designator} does nothing; {meant}"
