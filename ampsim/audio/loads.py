"""What the amp works into: the loudspeaker of its file, or a resistor of the same rating, as a dummy load is."""

from __future__ import annotations

from dataclasses import replace
from itertools import count

from ..base.errors import DescriptionError, nearest, shown
from ..circuit.amp import Amp, AnyPart, Loudspeaker, Part
from ..circuit.build import build_circuit
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
    part = _load(amp)
    ohms = nominal_ohms(amp)
    if not isinstance(part, Loudspeaker) or ohms is None:
        raise DescriptionError(f"{amp.name} drives no loudspeaker from a tap, so no resistor can stand for one")
    taken = {each.designator for each in amp.parts}
    dummy = Part(next(f"R{n}" for n in count(991) if f"R{n}" not in taken), "resistor", ohms)
    parts = tuple(dummy if each is part else each for each in amp.parts)
    stages = tuple(with_part(stage, part.designator, dummy.designator) for stage in amp.stages)
    return replace(amp, parts=parts, stages=stages)


def load_words(amp: Amp, load: str) -> str:
    """What the amp works into, in words."""
    if load == RESISTOR:
        return f"The load is a resistor of {nominal_ohms(amp):g} ohm in place of the loudspeaker."
    part = _load(amp)
    if isinstance(part, Loudspeaker):
        return (
            f"The load is the loudspeaker of the amp's file: {part.resistance:g} ohm, {part.peak:g} ohm more at its "
            f"resonance of {part.resonance:g} Hz."
        )
    if isinstance(part, Part) and part.kind == "resistor":
        return f"The load is the resistor of the amp's file, {part.value:g} ohm."
    return "No load is drawn; what is heard is what the last stage hands on."


def _load(amp: Amp) -> AnyPart | None:
    loads = {each.designator for each in build_circuit(amp).load}
    return next((part for part in amp.parts if part.designator in loads), None)
