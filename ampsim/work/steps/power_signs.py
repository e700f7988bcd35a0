"""What the volts show when something is wrong: faults of the parts that were worked on, each simulated."""

from __future__ import annotations

import math
from collections.abc import Collection, Iterator, Sequence

from ...bench.diagnosis.faults import Defect, Suspect, describe_fault, faulty_state, suspects
from ...bench.diagnosis.metered_amp import MeteredAmp, State
from ...bench.diagnosis.probes import probe
from ...circuit.amp import Amp, Part, Socket
from ...circuit.build import Circuit
from ...circuit.positions import Position
from .polarity import POLARISED

_SHOWN = {
    "resistor": (Defect.OPEN, Defect.SHORTED),
    "capacitor": (Defect.SHORTED, Defect.LEAKING),
    "valve": (Defect.DEAD,),
    "transformer": (Defect.OPEN,),
}
_LEAK = 1e6  # ohm, a leak that matters at a grid
_MOVED = 0.15  # beyond the limits of a good reading
_LEAST = 0.5  # V
_NOUGHT = 0.05  # V
_MOST = 8  # sentences


def fault_signs(amp: Amp, position: Position, places: Sequence[str], parts: Collection[str]) -> list[str]:
    """What places read with each fault of some parts, where that is outside what a good amp reads.

    Parameters
    ----------
    amp : Amp
    position : mapping
    places : sequence of str
        Where the meter is held, as `probes.probe` takes them.
    parts : collection of str
        Designators of what may be wrong.
    """
    known = {name: each for name, each in position.items() if name in amp.controls}
    wired = MeteredAmp(amp, known, ()).wired
    probes = tuple(probe(wired, place) for place in places)
    asked = [(suspect, size) for suspect, size in _faults(wired) if suspect.part in parts]
    if not asked or not probes:
        return []
    typical = {name: amp.valve_by_type[part.type] for name, part in wired.parts.items()
               if isinstance(part, Socket) and part.type in amp.valve_by_type}  # fmt: skip
    states = [State(), *(faulty_state(suspect, size, typical, {}) for suspect, size in asked)]
    read = MeteredAmp(amp, known, probes).read_nearly(states)
    wires = {place: (each.first, each.second) for place, each in zip(places, probes, strict=True)}
    told = []
    for (suspect, size), row in zip(asked, read[1:], strict=True):
        shown = [(abs(now - well) / max(abs(well), 1.0), place, now, well)
                 for place, now, well in zip(places, row, read[0], strict=True)
                 if math.isfinite(now) and abs(now - well) > max(_MOVED * abs(well), _LEAST)]  # fmt: skip
        if shown:
            best = sorted(shown, reverse=True)
            best = [each for number, each in enumerate(best) if number == 0 or wires[each[1]] != wires[best[0][1]]][:2]
            volts = ", ".join(f"{place} {_figure(now)} V instead of {_figure(well)} V" for _, place, now, well in best)
            told.append((best[0][0], f"{_words(wired, suspect, size)}: {volts}."))
    return [sentence for _, sentence in sorted(told, reverse=True)[:_MOST]]


def _figure(volts: float) -> str:
    return f"{volts:.3g}" if abs(volts) >= _NOUGHT else "0"


def _faults(wired: Circuit) -> Iterator[tuple[Suspect, float]]:
    for suspect in suspects(wired):
        if suspect.kind.defect in _SHOWN.get(suspect.kind.part, ()):
            yield suspect, _LEAK if suspect.kind.defect is Defect.LEAKING else suspect.kind.low


def _words(wired: Circuit, suspect: Suspect, size: float) -> str:
    part = wired.parts.get(suspect.part)
    electrolytic = isinstance(part, Part) and part.kind == "capacitor" and part.value >= POLARISED
    if suspect.kind.defect is Defect.SHORTED and electrolytic:
        return f"{suspect.part} shorted, as one the wrong way round soon is"
    if suspect.kind.defect is Defect.DEAD:
        return f"{suspect.part} does not conduct (cold, dead, or its cathode open)"
    if suspect.kind.defect is Defect.OPEN and suspect.kind.part == "resistor":
        return f"{suspect.part} open or its joint dry"
    return describe_fault(wired.parts, suspect, size)
