"""How much room each wish has, for many sets of values at once: from ports to decibels and degrees."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from ...circuit.amp import Amp
from ...circuit.build import Circuit, circuit_at
from ...circuit.feedback import find_loop
from ...circuit.loop_search import Cut, Loop
from ...circuit.positions import Position, switches_at
from ...measures.margins import Margins, margins_of
from ...simulation.analyses import FrequencySweep, LoopSweep
from ...simulation.ports import Port, PortCase, PortModel, loop_gains
from ...simulation.ports_algebra import Complex, admittance, branches
from .bias import base_value
from .wishes import Choice, Wish

Floats = NDArray[np.float64]
SWEEP = FrequencySweep()
LOOP_SWEEP = LoopSweep(stop=1e8)  # far enough for a loop whose feedback resistor has a capacitor beside it
_STEADY = 180.0


@dataclass(frozen=True)
class PortView:
    """An amp at a position with the choices that stand there, in order: `inside` counts them among all of them."""

    case: PortCase
    choices: tuple[Choice, ...]
    inside: tuple[int, ...]

    def changes(self, frequency: Floats) -> list[Complex]:
        """For each choice that stands there, all its changes of admittance [S], shape (n, f)."""
        found = []
        for choice in (self.choices[place] for place in self.inside):
            stock = admittance(choice.kind, base_value(choice, *self.case[:2]), frequency)
            found.append(np.array([admittance(choice.kind, value, frequency) - stock for value in choice.values]))
        return found

    def spread_out(self, rooms: Floats) -> Floats:
        """Rooms of the sets of values that stand there, shape (sets, ...), as rooms of the sets of all choices."""
        own = [len(each.values) if place in self.inside else 1 for place, each in enumerate(self.choices)]
        every = [len(each.values) for each in self.choices]
        more = rooms.shape[1:]
        return np.broadcast_to(rooms.reshape(*own, *more), (*every, *more)).reshape(-1, *more)


def gain_view(amp: Amp, position: Position, choices: Sequence[Choice], listen_at: str) -> PortView:
    """What to reduce for gain wishes at a position.

    Parameters
    ----------
    amp : Amp
    position : mapping
        Where the controls stand.
    choices : sequence of Choice
        All of the wish list; those whose parts do not stand there are passed over.
    listen_at : str
        The place whose voltage counts.
    """
    inside, ports = _ports(circuit_at(amp, position), choices)
    return PortView(PortCase(amp, position, ports, (listen_at,)), tuple(choices), inside)


def loop_view(amp: Amp, position: Position, choices: Sequence[Choice], cut: Cut) -> PortView:
    """What to reduce for the margin of a loop.

    Parameters
    ----------
    amp, position, choices
        As those of `gain_view`.
    cut : Cut
        Where the loop is opened.
    """
    inside, ports = _ports(circuit_at(amp, position), choices)
    return PortView(PortCase(amp, position, ports, cut=cut), tuple(choices), inside)


def _ports(wired: Circuit, choices: Sequence[Choice]) -> tuple[tuple[int, ...], tuple[Port, ...]]:
    nets = {each.designator: [net for _, net in each.pins] for each in wired.elements}
    # A part whose both ends are one piece of wire does nothing.
    inside = tuple(n for n, each in enumerate(choices) if len(set(nets.get(each.part, ()))) == 2)
    return inside, tuple((f"{choices[n].part}.1", f"{choices[n].part}.2") for n in inside)


def loop_of(wish: Wish, amp: Amp) -> Loop | None:
    """The loop whose margin is wished for, at the wish's position; None where a switch opens it."""
    return find_loop(amp, switches_at(amp, wish.position), wish.of[0] if wish.of else "")


def band_places(frequency: Floats, band: tuple[float, float]) -> NDArray[np.intp]:
    """Places of the frequencies from the one nearest to the lower edge [Hz] to the one nearest to the upper edge."""
    low, high = (int(np.argmin(np.abs(np.log(frequency / edge)))) for edge in band)
    return np.arange(low, high + 1)


def gain_spans(changes_db: Floats, frequency: Floats, wish: Wish) -> tuple[Floats, Floats]:
    """Lowest and highest change of gain [dB] in the wish's band, from changes of shape (..., f)."""
    inside = changes_db[..., band_places(frequency, wish.band)]
    return inside.min(axis=-1), inside.max(axis=-1)


def room(wish: Wish, low: Floats, high: Floats) -> Floats:
    """How far the lowest and highest lie inside the limits [unit of the wish]; negative: how far outside."""
    return np.minimum(low - wish.least, wish.most - high)


def gain_rooms(seen: PortView, model: PortModel, stock_db: Floats, wishes: Sequence[Wish]) -> Floats:
    """Room of every set of values in every gain wish at one position [dB], shape (sets, wishes).

    Parameters
    ----------
    seen, model : Seen, PortModel
        The amp at that position and its reduction.
    stock_db : ndarray
        Gain of the stock amp there [dB], shape (f,).
    wishes : sequence of Wish
    """
    places = [band_places(model.frequency, wish.band) for wish in wishes]
    used = np.unique(np.concatenate(places))
    table = model.table()[..., used]
    blocks = []
    for block in branches(table, [change[:, used] for change in seen.changes(model.frequency)]):
        change = decibels(block[:, 0, 0]) - stock_db[used]
        found = [gain_spans(change, model.frequency[used], wish) for wish in wishes]
        blocks.append(np.stack([room(wish, *span) for wish, span in zip(wishes, found, strict=True)], axis=-1))
    return seen.spread_out(np.concatenate(blocks))


def decibels(voltage: Complex) -> Floats:
    """20 log10 of the magnitude [dB]; silence is very low, not infinitely so."""
    return np.asarray(20.0 * np.log10(np.maximum(np.abs(voltage), 1e-30)))


def margin_rooms(seen: PortView, model: PortModel, wish: Wish, sets: NDArray[np.intp]) -> Floats:
    """Room of some sets of values in a margin wish [degrees], shape (sets,).

    Parameters
    ----------
    seen, model : PortView, PortModel
        The amp at the wish's position and its reduction with the cut of the loop.
    wish : Wish
    sets : ndarray
        Places of the sets, counted through all choices.
    """
    if not len(sets):
        return np.zeros(0)
    sizes = [len(each.values) for each in seen.choices]
    picked = np.unravel_index(sets, sizes) if sizes else ()
    columns = [change[picked[n]] for n, change in zip(seen.inside, seen.changes(model.frequency), strict=True)]
    changes = np.stack(columns, axis=1) if columns else np.zeros((len(sets), 0, model.frequency.size))
    least = np.array([phase_degrees(each) for each in margins_of(model.frequency, loop_gains(model, changes))])
    return room(wish, least, least)


def phase_degrees(found: Margins) -> float:
    """Phase margin as one number [degrees]: 180 where the loop gain never passes 1, -180 where feedback is positive."""
    if found.reversed:
        return -_STEADY
    if math.isnan(found.phase_margin):
        return -_STEADY if found.oscillates else _STEADY
    return found.phase_margin
