"""What the amp works into: the loudspeaker of its file, or a resistor of the same rating, as a dummy load is."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import replace
from itertools import count

from ..base.errors import DescriptionError, nearest, shown
from ..circuit.amp import Amp, AnyPart, Edit, Part, Switch
from ..circuit.build import build_circuit
from ..circuit.load import joined_ohms, load_ohms
from ..circuit.loudspeaker import Loudspeaker
from ..circuit.stages import with_part
from ..studies.pop.simulate import nominal_ohms

LOUDSPEAKER, RESISTOR = "loudspeaker", "resistor"
LOADS = (LOUDSPEAKER, RESISTOR)


def with_load(amp: Amp, load: str) -> Amp:
    """The amp on one of `LOADS`; on "resistor" a loudspeaker becomes the resistor that its tap is made for.

    Raises
    ------
    DescriptionError
        For another load, or when the amp has no loudspeaker that a resistor could stand for.
    """
    if load not in LOADS:
        raise DescriptionError(f"no load {shown(load)}{nearest(load, LOADS)}")
    if load == LOUDSPEAKER:
        return amp
    parts, ohms = _load(amp), nominal_ohms(amp)
    if ohms is None or not parts or not all(isinstance(each, Loudspeaker) for each in parts):
        raise DescriptionError(f"{amp.name} drives no loudspeaker from a tap, so no resistor can stand for one")
    # As many alike as there are loudspeakers, joined as they are: together they are the one resistor.
    whole = joined_ohms(build_circuit(amp), lambda _: 1.0)
    taken = {each.designator for each in amp.parts}
    free = (f"R{n}" for n in count(991) if f"R{n}" not in taken)
    dummies = {each.designator: Part(next(free), "resistor", ohms / abs(whole or 1.0)) for each in parts}
    stages = amp.stages
    for name, dummy in dummies.items():
        stages = tuple(with_part(stage, name, dummy.designator) for stage in stages)
    names = {name: dummy.designator for name, dummy in dummies.items()}
    mods = tuple(
        replace(mod, edits=_renamed(mod.edits, names), switches=tuple(_switch(each, names) for each in mod.switches))
        for mod in amp.mods
    )
    drawn = tuple(dummies.get(each.designator, each) for each in amp.parts)
    return replace(
        amp, parts=drawn, stages=stages, mods=mods, switches=tuple(_switch(each, names) for each in amp.switches)
    )


def _switch(switch: Switch, names: Mapping[str, str]) -> Switch:
    return replace(switch, positions=tuple((label, _renamed(each, names)) for label, each in switch.positions))


def _renamed(edits: Iterable[Edit], names: Mapping[str, str]) -> tuple[Edit, ...]:
    """Edits with other designators; what exchanges one of these parts is left out."""

    def place(given: str) -> str:
        part, dot, pin = given.partition(".")
        return f"{names.get(part, part)}{dot}{pin}"

    return tuple(
        replace(
            each,
            part=place(each.part),
            across=place(each.across),
            between=each.between and (place(each.between[0]), place(each.between[1])),
            in_series=place(each.in_series),
            pins=tuple((pin, place(at)) for pin, at in each.pins),
            sides=tuple(tuple(map(place, side)) for side in each.sides),
        )
        for each in edits
        if each.action != "replace" or each.part not in names
    )


def load_words(amp: Amp, load: str) -> str:
    """What the amp works into, in words."""
    if load == RESISTOR:
        return f"The load is a resistor of {nominal_ohms(amp):g} ohm in place of the loudspeaker."
    words = [_words(part) for part in _load(amp)]
    if not words:
        return "No load is drawn; what is heard is what the last stage hands on."
    if len(words) == 1:
        return f"The load is the {words[0]}."
    ohms = load_ohms(build_circuit(amp), 400.0)
    whole = f", together {abs(ohms):.3g} ohm at 400 Hz" if ohms is not None else ""
    return f"The load is {len(words)} parts of the amp's file{whole}: {'; '.join(dict.fromkeys(words))}."


def _words(part: AnyPart) -> str:
    if isinstance(part, Loudspeaker):
        return (
            f"loudspeaker of the amp's file: {part.resistance:g} ohm, {part.peak:g} ohm more at its resonance of "
            f"{part.resonance:g} Hz"
        )
    return f"resistor of the amp's file, {part.value:g} ohm" if isinstance(part, Part) else part.designator


def _load(amp: Amp) -> list[AnyPart]:
    wired = build_circuit(amp)
    return [wired.parts[each.designator] for each in wired.load]
