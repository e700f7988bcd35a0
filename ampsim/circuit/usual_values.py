"""Values that no such part has at its place: asked for, with what was probably meant."""

from __future__ import annotations

import math
from collections.abc import Iterable, Iterator
from dataclasses import dataclass

from ..base.errors import DescriptionError
from ..base.quantities import format_value
from .amp import Amp, AnyPart, Mod, Part, Pot
from .loudspeaker import Loudspeaker
from .stages import TEMPLATES
from .stages.usual_values import usual_span
from .transformer import Transformer
from .values import QUANTITY_OF_KIND

# What a part of a kind can be, wherever it stands [ohm, F or H]; own choice.
_OF_KIND = {
    "resistor": (1e-3, 20e9),
    "capacitor": (0.4e-12, 10e-3),
    "inductor": (1e-6, 1e3),
    "pot": (10.0, 22e6),
    "transformer": (100.0, 200e3),
    "loudspeaker": (0.5, 2e3),
}
_QUANTITY = QUANTITY_OF_KIND | dict.fromkeys(("transformer", "loudspeaker"), QUANTITY_OF_KIND["resistor"])
_POWERS = (-12, -9, -6, -3, 3, 6, 9, 12)


@dataclass(frozen=True)
class _Place:
    """What stands somewhere, in words, and what it can be [ohm, F or H]."""

    words: str
    least: float
    most: float


def check_amp_values(amp: Amp, sure: Iterable[str] = ()) -> None:
    """Refuse values of an amp that no such part has at its place.

    Parameters
    ----------
    amp : Amp
        As drawn.
    sure : iterable of str
        Designators whose values are meant, however odd.

    Raises
    ------
    DescriptionError
        Naming file, part and value, what was probably meant, and how to insist.
    """
    places = _places(amp)
    for part in amp.parts:
        if part.designator not in sure:
            _check(f"{amp.file}: parts.{part.designator}", part, places.get(part.designator))
    for switch in amp.switches:
        _check_replacements(amp, [edit for _, edits in switch.positions for edit in edits], amp.file, sure)


def check_mod_values(amp: Amp, mod: Mod) -> None:
    """Refuse values that a mod brings or puts in place of those of an amp, as `check_amp_values` does."""
    for part in mod.parts:
        if part.designator not in mod.sure:
            _check(f"{mod.file or mod.name}: parts.{part.designator}", part, None)
    _check_replacements(amp, mod.every_edit(), mod.file or mod.name, mod.sure)


def _check_replacements(amp: Amp, edits: Iterable[object], file: str, sure: Iterable[str]) -> None:
    places = _places(amp)
    for edit in edits:
        action, designator, value = (getattr(edit, name) for name in ("action", "part", "value"))
        part = amp.part_by_designator.get(designator)
        if action != "replace" or designator in sure or not isinstance(part, (Part, Pot)):
            continue
        if isinstance(value, float):
            place = places.get(designator)
            _check_value(f"{file}: replace {designator} with", designator, part.kind, value, place)


def _places(amp: Amp) -> dict[str, _Place]:
    """Where the drawing's stages have each part, in words, and what can stand there."""
    found = {}
    for designator, words, span in _roles(amp):
        if span is not None:
            found[designator] = _Place(words, *span)
    return found


def _roles(amp: Amp) -> Iterator[tuple[str, str, tuple[float, float] | None]]:
    kinds = {part.designator: part.kind for part in amp.parts}
    for stage in amp.stages:
        template = TEMPLATES[stage.template]
        for role, given in stage.roles:
            for designator in given if isinstance(given, tuple) else (given,):
                rule = template.roles[role]
                if isinstance(designator, str) and kinds.get(designator) == rule.kinds[0]:
                    yield designator, f"{role.replace('_', ' ')} of '{stage.name}'", usual_span(template, role)


def _check(where: str, part: AnyPart, place: _Place | None) -> None:
    value = getattr(part, "value", None)
    if isinstance(part, (Part, Pot)) and isinstance(value, float):
        _check_value(where, part.designator, part.kind, value, place)
    elif isinstance(part, Transformer):
        _check_value(f"{where}.primary", part.designator, part.kind, part.primary, None)
    elif isinstance(part, Loudspeaker):
        _check_value(f"{where}.resistance", part.designator, part.kind, part.resistance, None)


def _check_value(where: str, designator: str, kind: str, value: float, place: _Place | None) -> None:
    place = place or _Place(kind, *_OF_KIND[kind])
    if place.least * (1 - 1e-9) <= value <= place.most * (1 + 1e-9):
        return
    quantity = _QUANTITY[kind]
    least, most, now = (format_value(each, quantity) for each in (place.least, place.most, value))
    likely = _likely(value, place)
    meant = f", probably {format_value(likely, quantity)} was meant" if likely else ""
    raise DescriptionError(
        f"{where}: {now} {quantity.unit} is no value for {_article(place.words)} (from {least} to {most}){meant}; "
        f'if it is right, say sure = ["{designator}"] above [parts]'
    )


def _likely(value: float, place: _Place) -> float | None:
    """The same digits with another multiplier, where they lie nearest the middle of what can stand there."""
    digits = f"{value:.12e}".split("e")
    scaled = [float(f"{digits[0]}e{int(digits[1]) + power}") for power in _POWERS]
    inside = [each for each in scaled if place.least <= each <= place.most]
    return min(inside, key=lambda each: abs(math.log(each / math.sqrt(place.least * place.most))), default=None)


def _article(words: str) -> str:
    return f"{'an' if words[0] in 'aeiou' else 'a'} {words}"
