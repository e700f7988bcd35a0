"""What a switch can do: the steps of its lever, and the orders in which its contacts may move."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from typing import NamedTuple

from ...base.errors import DescriptionError, nearest, shown
from ...circuit.amp import Amp
from ...circuit.switches.kinds import ContactOrder
from ...circuit.switches.planning import lever_steps, lever_way


class Transition(NamedTuple):
    """A switch moves from one of its positions to another."""

    control: str
    start: str
    end: str

    @property
    def label(self) -> str:
        """In words: ``bright: open to 120p``."""
        return f"{self.control}: {self.start} to {self.end}"


@dataclass(frozen=True)
class Movement:
    """How a switch moves: new contacts close `gap` [s] after the old ones opened, or before (negative); bounces."""

    name: str
    gap: float
    bounces: int = 0


MOVEMENTS = (
    Movement("break before make", 2e-3),
    Movement("both at once", 0.0),
    Movement("make before break", -2e-3),
)
"""Contacts open 2 ms before the others close, at the same time, and 2 ms after: assumed, switches differ."""


def transitions(amp: Amp, controls: Sequence[str] | None = None) -> list[Transition]:
    """Every step of the levers of some switches (default all) to the next position, both ways.

    What a lever passes on a longer way is made of these: a centre-off switch goes through its middle.

    Raises
    ------
    DescriptionError
        For a switch the amp does not have.
    """
    known = {switch.control: switch for switch in amp.all_switches}
    for name in controls or ():
        if name not in known:
            raise DescriptionError(f"{amp.name}: no switch {shown(name)}{nearest(name, known)}")
    return [each for name in (known if controls is None else controls) for each in _steps(amp, name)]


def _steps(amp: Amp, control: str) -> Iterator[Transition]:
    return (Transition(control, way.start, way.end) for way in lever_steps(amp, control))


def can_happen(amp: Amp, move: Transition, movement: Movement) -> bool:
    """Whether the switch as it is planned can move so: no position between, contacts in an order that is its own.

    Contacts that move at the same time are the limit of both orders.
    """
    way = lever_way(amp, *move)
    if way.passes:
        return False
    impossible = {ContactOrder.BREAK_FIRST: movement.gap < 0.0, ContactOrder.MAKE_FIRST: movement.gap > 0.0}
    return not impossible.get(way.order, False)
