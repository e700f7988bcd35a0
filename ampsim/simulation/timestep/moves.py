"""How an amp stands from the start on, and after each movement of a knob or a switch, as one and the same circuit."""

from __future__ import annotations

import itertools
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from ...base.errors import DescriptionError, shown
from ...circuit.amp import Amp
from ...circuit.build import Circuit, build_circuit
from ...circuit.positions import Position, setting_words, switches_at
from ...circuit.switches.moving import moving
from .branches import AFTER, BEFORE, Parts, parts_of

MOST_MOVES = 1000


@dataclass(frozen=True)
class Stand:
    """A circuit's parts from the time `at` [s] on."""

    at: float
    parts: Parts


def stands(
    amp: Amp, position: Position, moves: Sequence[tuple[float, Position]] = (), still: bool = False
) -> tuple[Circuit, list[Stand]]:
    """The circuit, and its parts at the start and after each of the `moves`, pairs of a time [s] and a position.

    A switch that moves becomes contacts (resistors, as `contacts.moving` has them): so capacitors stay where they are
    and keep their charge.

    Parameters
    ----------
    amp : Amp
    position : mapping
        Where its controls stand at the start (rotations 0 to 1 [ratio]).
    moves : sequence of (seconds, position)
    still : bool
        Whether oscillators that the amp is meant to have stand still.

    Raises
    ------
    DescriptionError
        Times that do not rise, more than one switch that moves, or one that stops at more than two positions.
    """
    times = [0.0, *(float(at) for at, _ in moves)]
    if len(moves) > MOST_MOVES or any(not early < late for early, late in itertools.pairwise(times)):
        raise DescriptionError(f"{amp.name}: at most {MOST_MOVES} moves, each later than the one before and than 0 s")
    settings = [amp.setting(position)]
    given = dict(position)
    for _, there in moves:
        given |= there
        settings.append(amp.setting(given))
    control, other = _moved_switch(amp, settings)
    switches = switches_at(amp, settings[0])
    wired = moving(amp, switches, control, other) if control else build_circuit(amp, switches)
    whole = [
        Stand(at, parts_of(wired, setting, AFTER if control and setting[control] == other else BEFORE, still))
        for at, setting in zip(times, settings, strict=True)
    ]
    return wired, whole


def _moved_switch(amp: Amp, settings: Sequence[Mapping[str, float | str]]) -> tuple[str, str]:
    """The switch that moves and where it moves to; two empty names when none does."""
    first = settings[0]
    moved = {(name, value) for each in settings for name, value in switches_at(amp, each) if value != first[name]}
    if len(moved) > 1:
        told = ", ".join(shown(setting_words(name, value)) for name, value in sorted(moved))
        raise DescriptionError(
            f"{amp.name}: one switch may move between two positions while a signal plays; asked for {told}"
        )
    return moved.pop() if moved else ("", "")
