"""Where feedback passes from the output transformer back to a valve, found by following the wires."""

from __future__ import annotations

from functools import lru_cache

from ..base.errors import DescriptionError
from .amp import Amp
from .build import build_circuit
from .nets import PASSIVE, reachable_nets
from .stages.template import GROUND, Element, rail_net


def feedback_place(amp: Amp, switches: tuple[tuple[str, str], ...] = ()) -> str:
    """The part's end whose wire carries the whole feedback from the output transformer, such as ``R20.1``.

    Followed from the secondary through resistors, capacitors, inductors and pots, not through ground or a rail, to
    the nearest part without which no signal would come back to a valve; resistors first. A mod's line is found as
    the drawing's is.

    Parameters
    ----------
    amp : Amp
    switches : tuple of (control, position)
        Switches that do not stand as drawn.

    Raises
    ------
    DescriptionError
        When nothing leads back from the secondary to a valve, or no single part carries all of it.
    """
    found = find_feedback(amp, switches)
    if found is None:
        raise DescriptionError(
            f"{amp.name} has no feedback stage and no part that leads from the output transformer back to a valve; "
            "name the place where the feedback passes, such as R20.1"
        )
    return found


@lru_cache(maxsize=1024)
def find_feedback(amp: Amp, switches: tuple[tuple[str, str], ...] = ()) -> str | None:
    """`feedback_place`, or None when nothing leads back from the secondary to a valve.

    Raises
    ------
    DescriptionError
        When no single part carries all of it.
    """
    wired = build_circuit(amp, switches)
    starts = {
        net for each in wired.elements if each.kind == "transformer" for pin, net in each.pins if pin.startswith("tap")
    }
    ends = {net for each in wired.elements if each.kind == "valve" for _, net in each.pins}
    dead = {GROUND, *(rail_net(rail.name) for rail in amp.rails)}
    parts = [each for each in wired.elements if each.kind in PASSIVE and each not in wired.load]
    if not ends & set(reachable_nets(parts, starts, dead)):
        return None
    found = [place for place in _crossed(parts, starts, dead) if not ends & set(_without(parts, place, starts, dead))]
    if not found:
        raise DescriptionError(
            f"{amp.name}: the feedback passes through several parts side by side; name the place where all of it "
            "passes, such as R20.1"
        )
    kinds = {each.designator: each.kind for each in parts}
    return min(found, key=lambda place: kinds[place.partition(".")[0]] != "resistor")


def _crossed(parts: list[Element], starts: set[str], dead: set[str]) -> list[str]:
    """Ends, on the side of the start, of the two-ended parts that are crossed."""
    pots = {part.designator for part in parts if part.kind == "pot"}
    places = [place for place in reachable_nets(parts, starts, dead).values() if place]
    return [place for place in dict.fromkeys(places) if place.partition(".")[0] not in pots]


def _without(parts: list[Element], place: str, starts: set[str], dead: set[str]) -> dict[str, str]:
    kept = [part for part in parts if part.designator != place.partition(".")[0]]
    return reachable_nets(kept, starts, dead)
