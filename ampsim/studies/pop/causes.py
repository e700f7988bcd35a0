"""What makes a pop: which valve's direct current moves, and which capacitor has to charge to other volts."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

import numpy as np

from ...base.errors import EngineError
from ...circuit.amp import Amp
from ...circuit.build import circuit_at
from ...circuit.positions import Position
from ...simulation.operating_points import Rest, at_rest
from .moves import Transition

LEAST_SHARE, LEAST_VOLTS = 0.02, 0.05
"""A valve is biased anew when its plate current moves by more than this share, a capacitor when its volts do [V]."""
_ALIKE = 0.95  # of the largest share: the other valve of a pair moves as much
_TEXT, _PAIR = ("valves", "capacitor"), ("plate_ma", "plate_volts", "capacitor_volts")
SIDE = ("before", "after")


def causes(variants: Sequence[Amp], positions: Sequence[Position], wanted: Sequence[Transition]) -> dict[str, Any]:
    """What moves at rest from each start to each end of a transition, as variables of a Dataset.

    Returns
    -------
    dict
        Dims (variant, position, transition): `valves`, biased anew, joined by "and", and `capacitor`, that of those in
        circuit at both ends whose volts move most; "" where nothing does. With a last dim `side`, before and after:
        `plate_ma` [mA] and `plate_volts` [V] of the first of these valves, `capacitor_volts` [V] across that capacitor.
    """
    shape = (len(variants), len(positions), len(wanted))
    text = {name: np.full(shape, "", dtype=object) for name in _TEXT}
    numbers = {name: np.full((*shape, len(SIDE)), np.nan) for name in _PAIR}
    for v, amp in enumerate(variants):
        for p, position in enumerate(positions):
            for t, move in enumerate(wanted):
                rests = _rests(amp, position, move)
                if rests:
                    _note((v, p, t), rests, text, numbers)
    dims = ("variant", "position", "transition")
    found: dict[str, Any] = {name: (dims, each.astype(str)) for name, each in text.items()}
    units = {"plate_ma": "mA", "plate_volts": "V", "capacitor_volts": "V"}
    return found | {name: ((*dims, "side"), each, {"units": units[name]}) for name, each in numbers.items()}


def _rests(amp: Amp, position: Position, move: Transition) -> list[Rest]:
    ends = [{**position, move.control: label} for label in (move.start, move.end)]
    inside = [{e.designator for e in circuit_at(amp, end).elements if e.kind == "capacitor"} for end in ends]
    try:
        return at_rest([(amp, end) for end in ends], sorted(set.intersection(*inside)))
    except EngineError:
        return []


def _note(
    place: tuple[int, int, int], rests: Sequence[Rest], text: Mapping[str, Any], numbers: Mapping[str, Any]
) -> None:
    """Write down what moves most between two states at rest."""
    first, second = rests
    shares = {
        valve: abs(ma - first.plate_ma[valve]) / max(abs(ma), abs(first.plate_ma[valve]), 1e-6)
        for valve, ma in second.plate_ma.items()
        if valve in first.plate_ma
    }
    most = max(shares.values(), default=0.0)
    moved = [valve for valve, share in shares.items() if share >= max(LEAST_SHARE, _ALIKE * most)]
    if moved:
        text["valves"][place] = " and ".join(moved)
        numbers["plate_ma"][place] = [rest.plate_ma[moved[0]] for rest in rests]
        numbers["plate_volts"][place] = [rest.plate_volts[moved[0]] for rest in rests]
    shifts = {name: abs(volts - first.across[name]) for name, volts in second.across.items()}
    name = max(shifts, key=lambda each: shifts[each], default="")
    if name and shifts[name] > LEAST_VOLTS:
        text["capacitor"][place] = name
        numbers["capacitor_volts"][place] = [rest.across[name] for rest in rests]
