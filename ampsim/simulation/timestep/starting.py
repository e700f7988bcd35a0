"""Where a machine begins: at rest, or with its oscillators going."""

from __future__ import annotations

from .branches import Parts
from .machine import COARSE, Machine
from .setting import prepare
from .sockets import seats_of


def machine_going(parts: Parts, net: str, step: float) -> Machine:
    """As `machine_at_rest`, in steps of `step` [s], but that the amp's oscillators have been going for long."""
    if not parts.pushes:
        return machine_at_rest(parts, net, step)
    amp = machine_at_rest(parts, net, COARSE)
    amp.set_going()
    amp.move(prepare(parts, amp.seats, [net], step))
    return amp


def machine_at_rest(parts: Parts, net: str, step: float) -> Machine:
    """A circuit at rest, to be driven in steps of `step` [s] and listened to at a net."""
    seats = seats_of(parts.seats)
    return Machine(prepare(parts, seats, [net], step), seats)
