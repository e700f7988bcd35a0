"""Parts that share a package: the sections of a double operational amplifier have their supply pins in common."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import replace

from ..base.errors import DescriptionError
from .designators import body_of
from .stages.template import Element

AMPLIFIER = "operational amplifier"
SUPPLY_PINS = ("vplus", "vminus")
"""The pins that the sections of a package share."""


def with_supplies(elements: Iterable[Element], file: str) -> list[Element]:
    """Every operational amplifier with its supply pins, where only another section of its package has them wired.

    Raises
    ------
    DescriptionError
        When no section of a package has them; `file` is what the message calls the amp's file.
    """
    given = list(elements)
    wired = {body_of(each.designator): each for each in given if _has_supplies(each)}
    found = []
    for each in given:
        if each.kind == AMPLIFIER and not _has_supplies(each):
            other = wired.get(body_of(each.designator))
            if other is None:
                raise DescriptionError(
                    f"{file}: {each.designator} has no supply: name what vplus and vminus are wired to, there or at "
                    f"another section of {body_of(each.designator)}"
                )
            each = replace(each, pins=(*each.pins, *((pin, other.net(pin)) for pin in SUPPLY_PINS)))
        found.append(each)
    return found


def _has_supplies(element: Element) -> bool:
    return element.kind == AMPLIFIER and {*SUPPLY_PINS} <= dict(element.pins).keys()


def check_packages(elements: Iterable[Element], sections: Mapping[str, int], types: Mapping[str, str],
                   file: str) -> None:  # fmt: skip
    """Refuse sections of one package on different supplies or of different types, and more of them than there are.

    Parameters
    ----------
    elements : iterable of Element
    sections : mapping
        To a type how many are in a package.
    types : mapping
        To a designator its type.
    file : str
        What messages call the amp's file.

    Raises
    ------
    DescriptionError
        Naming the sections.
    """
    packages: dict[str, list[Element]] = {}
    for each in elements:
        if each.kind == AMPLIFIER:
            packages.setdefault(body_of(each.designator), []).append(each)
    for name, found in packages.items():
        names = " and ".join(each.designator for each in found)
        if len({types[each.designator] for each in found}) > 1:
            raise DescriptionError(f"{file}: {names} are in one package, {name}, and so of one type")
        if len(found) > (most := sections[types[found[0].designator]]):
            raise DescriptionError(f"{file}: {names}: a {types[found[0].designator]} has {most} in a package")
        for pin in SUPPLY_PINS:
            if len({each.net(pin) for each in found}) > 1:
                raise DescriptionError(f"{file}: {names} share the pin {pin} of {name}, yet it is on two wires")
