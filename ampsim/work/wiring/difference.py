"""From one wiring of a drawing to another, lug by lug: what comes off, what goes on, what goes back where it was."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Iterator
from dataclasses import dataclass

from ...base.errors import DescriptionError
from ...circuit.amp import Amp
from ...circuit.designators import part_of
from .from_to import Wire, Wiring
from .readback import wiring


@dataclass(frozen=True)
class Rewiring:
    """What leads from the joints of one amp to those of another of the same drawing.

    Attributes
    ----------
    off, on
        Wires and leads that are taken off, and that are soldered.
    back, loose
        Lugs that go back to where the drawing has them, and that come off there: each with a place there.
    out, into
        Parts that come out, and parts of the drawing that go in again.
    homes
        The lugs of what goes in again, each with a place that it is soldered to.
    """

    off: tuple[Wire, ...]
    on: tuple[Wire, ...]
    back: tuple[tuple[str, str], ...]
    loose: tuple[tuple[str, str], ...]
    out: tuple[str, ...]
    into: tuple[str, ...]
    homes: tuple[tuple[str, str], ...]

    def of(self, parts: Iterable[str]) -> tuple[Wire, ...]:
        """The wires and leads taken off that end at some parts."""
        names = set(parts)
        return tuple(wire for wire in self.off if {part_of(wire.start), part_of(wire.end)} & names)


def rewiring(now: Wiring, then: Wiring | None) -> Rewiring:
    """What leads from one wiring to another of the same drawing; to the drawing itself without another."""
    have, want = _ends(now.wires), _ends(then.wires if then else ())
    off_now, off_then = dict(now.unsoldered), dict(then.unsoldered if then else ())
    out_now, out_then = set(now.taken_out), set(then.taken_out if then else ())
    there, later = _parts(now), _parts(then) if then else set(_drawn(now))
    into = tuple(sorted(out_now - out_then))
    homes = [pair for name in into for pair in _drawn_lugs(now, name, later) if pair[0] not in off_then]
    return Rewiring(
        tuple(wire for ends, wire in have.items() if ends not in want),
        tuple(wire for ends, wire in want.items() if ends not in have),
        tuple((lug, at) for lug, at in off_now.items() if lug not in off_then),
        tuple((lug, at) for lug, at in off_then.items() if lug not in off_now and part_of(lug) not in into),
        tuple(sorted(there - later)),
        into,
        tuple(homes),
    )


def rewired(stock: Amp, modded: Amp) -> Rewiring | None:
    """What leads from the joints of one amp to those of the other; None where no wiring was found for one of them."""
    try:
        return rewiring(wiring(modded), wiring(stock) if stock.mods else None)
    except DescriptionError:
        return None


def _drawn_lugs(wired: Wiring, part: str, staying: Iterable[str]) -> list[tuple[str, str]]:
    """The lugs of a part of the drawing, each with a lug that it is soldered to there.

    Named are lugs of parts that stay, before others those of a part that it lies across, then those of its stage, then
    ground itself.
    """
    stage = {each.designator: each.stage for each in wired.pieces_before.elements}
    stays = set(staying)
    homes = [places for places in wired.before if any(part_of(place) == part for place in places if "." in place)]
    met = Counter(other for places in homes for other in {part_of(place) for place in places})
    found = []
    for places in homes:
        others = [place for place in places if part_of(place) != part and ("." not in place or part_of(place) in stays)]

        def near(place: str) -> tuple[int, bool, bool]:
            return met[part_of(place)], stage.get(part_of(place)) == stage.get(part), place == "ground"

        nearest = max(others, key=near, default="nothing")
        found += [(place, nearest) for place in places if part_of(place) == part]
    return found


def _ends(wires: Iterable[Wire]) -> dict[frozenset[str], Wire]:
    return {frozenset((wire.start, wire.end)): wire for wire in wires}


def _drawn(wired: Wiring) -> Iterator[str]:
    yield from (part_of(place) for places in wired.before for place in places if "." in place)


def _parts(wired: Wiring) -> set[str]:
    """The parts and switches that are in the amp."""
    return {*wired.kinds, *(each.designator for each in wired.switches)} - set(wired.taken_out)
