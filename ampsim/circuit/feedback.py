"""The feedback loops of an amp: the global one, the local ones, and the one that a part belongs to."""

from __future__ import annotations

from functools import lru_cache

from ..base.errors import DescriptionError, nearest, shown
from ..base.wording import join_words
from .amp import Amp
from .build import Circuit, build_circuit
from .loop_search import Loop, LoopSearch, Reach
from .oscillators import oscillators
from .signal_ways import SignalWays

__all__ = ["Loop", "Reach", "feedback_loop", "find_loop", "find_loops"]


def feedback_loop(amp: Amp, switches: tuple[tuple[str, str], ...] = (), at: str = "") -> Loop:
    """`find_loop`, where there must be one.

    Parameters
    ----------
    amp : Amp
    switches : tuple of (control, position)
        Switches that do not stand as drawn.
    at : str
        A part of the loop, or the end of one, such as ``R20`` or ``R20.1``. Default: the global loop.

    Raises
    ------
    DescriptionError
        When there is no such part, it is in no loop, or nothing leads back from the output stage.
    """
    found = find_loop(amp, switches, at)
    if found is not None:
        return found
    if not at:
        raise DescriptionError(
            f"{amp.name} has no feedback stage and no part that leads from the output stage back to a valve"
        )
    raise DescriptionError(f"{amp.name}: {_why_not(amp, switches, at)}")


def find_loop(amp: Amp, switches: tuple[tuple[str, str], ...] = (), at: str = "") -> Loop | None:
    """The global loop, or the loop that a part belongs to; None where there is none.

    Parameters
    ----------
    amp, switches, at
        As for `feedback_loop`.

    Raises
    ------
    DescriptionError
        When the part has no such end.
    """
    loops = find_loops(amp, switches)
    if not at:
        return next((loop for loop in loops if loop.reach is Reach.GLOBAL), None)
    part = at.partition(".")[0]
    _check_pin(build_circuit(amp, switches), at)
    carried = (loop for loop in loops if part in loop.carriers)
    return next(carried, next((loop for loop in loops if part in loop.parts), None))


@lru_cache(maxsize=1024)
def find_loops(amp: Amp, switches: tuple[tuple[str, str], ...] = ()) -> tuple[Loop, ...]:
    """Every loop that parts close, the global one first: followed through any number of parts, not through supplies.

    Global is what leads back from the output transformer, or from the last stage of an amp without one, to a valve
    before it. Local is what leads from a valve's plate (a follower's cathode) to its own grid or to a valve between.
    A resistor in a cathode is no loop of this kind: it has no way back of its own. Nor is what keeps an oscillator
    going that the amp is meant to have.
    """
    wired = build_circuit(amp, switches)
    meant = {each.stage for each in oscillators(wired)}
    own = {each.designator for each in wired.elements if each.stage in meant}
    return tuple(loop for loop in LoopSearch(wired).loops() if not own.issuperset(loop.parts))


def _check_pin(wired: Circuit, at: str) -> None:
    pins = next((each.pins for each in wired.elements if each.designator == at.partition(".")[0]), ())
    known = [f"{at.partition('.')[0]}.{pin}" for pin, _ in pins]
    if "." in at and known and at not in known:
        raise DescriptionError(f"{wired.amp.name}: {shown(at)} is not a part's end{nearest(at, known)}")


def _why_not(amp: Amp, switches: tuple[tuple[str, str], ...], at: str) -> str:
    wired, part = build_circuit(amp, switches), at.partition(".")[0]
    known = [each.designator for each in wired.elements]
    if part not in known:
        return f"{shown(at)} is not a part that stands here{nearest(part, known)}"
    loops = find_loops(amp, switches)
    others = [f"the {loop.reach} loop leads back through {join_words(loop.carriers[:6])}" for loop in loops]
    return "; ".join([f"{part} is in no feedback loop{_instead(wired, part)}", *others])


def _instead(wired: Circuit, part: str) -> str:
    """What a part does that leads to ground, as far as it may be taken for feedback."""
    nets = {net for each in wired.elements if each.designator == part for _, net in each.pins}
    valves = [each.designator for each in wired.elements if each.kind == "valve" and each.net("cathode") in nets]
    if not nets & SignalWays(wired).dead:
        return ""
    if valves:
        return f": in the cathode of {join_words(valves)} it lowers that valve's own gain and has no way back to open"
    return ": it leads to ground or to a supply, and carries nothing back"
