"""The lug to solder to where nobody names one: of the parts named, of the same stage, of neighbours."""

from __future__ import annotations

from collections.abc import Collection, Iterable, Mapping, Sequence
from functools import cached_property

from ...circuit.amp import Amp
from ...circuit.build import build_circuit
from ...circuit.plugs import plugged_stages
from ...circuit.switches.wire_pieces import FIXED, Pieces
from .wanted_lugs import parts_near

_SOCKETS = ("valve", "transformer", "loudspeaker", "transistor", "bridge rectifier", "reverb tank", "rectifier valve",
            "mains transformer", "opto-coupler")  # fmt: skip


class Neighbourhood:
    """Where the parts of an amp stand, before and after the work: which are neighbours, which of one stage."""

    def __init__(self, amp: Amp, before: Pieces, after: Pieces, terminals: Collection[str]) -> None:
        self.amp, self.pieces, self.terminals = amp, (before, after), terminals
        self.elements = {each.designator: each for pieces in self.pieces for each in pieces.elements}
        self.order = {stage.name: number for number, stage in enumerate(amp.stages)}
        self.outside = plugged_stages(build_circuit(amp))

    @cached_property
    def known(self) -> set[str]:
        """Parts that are there before the work."""
        return {each.designator for each in self.pieces[0].elements}

    @cached_property
    def near(self) -> Mapping[str, tuple[str, ...]]:
        """To each part that is brought, and each switch, the parts it stands near."""
        return parts_near(self.amp)

    @cached_property
    def neighbours(self) -> Mapping[str, set[str]]:
        """To each part those it shares a piece of wire with that is neither ground nor a rail."""
        common = {*FIXED, *(rail.name for rail in self.amp.rails)}
        found: dict[str, set[str]] = {}
        for piece in (piece for pieces in self.pieces for piece in pieces.pieces):
            if not common & set(piece.places):
                parts = {place.partition(".")[0] for place in piece.places}
                for part in parts:
                    found.setdefault(part, set()).update(parts)
        return found

    @cached_property
    def speaker(self) -> tuple[str, ...]:
        """The lugs on the net of the load."""
        wired = build_circuit(self.amp)
        return tuple(place for place in wired.places_by_net[wired.speaker] if "." in place)

    def nearest(self, places: Sequence[str], near: Sequence[str]) -> str:
        """The place that lies nearest to some parts, those that come first counting more."""
        parts = [*near, *(other for part in near for other in self.near.get(part, ()))]
        return min(places, key=lambda place: (*self._distance(place, parts), places.index(place)))

    def _distance(self, place: str, near: Sequence[str]) -> tuple[bool, int, int, int]:
        part, _, pin = place.partition(".")
        own_stage = self._stages([part]) & self._stages(near)
        beside = any(part in self.neighbours.get(each, ()) for each in near)
        if part in near:
            rank, more = 0, near.index(part)
        elif own_stage:
            rank, more = 1, not beside
        elif part in self.elements and self.elements[part].stage in self.outside:
            rank, more = 5, 0  # inside a guitar or generator, which only its plug leads to
        elif beside:
            rank, more = 2, 0
        else:
            rank, more = (4, self._stages_between(part, near)) if pin else (3, 0)
        socket = part in self.elements and self.elements[part].kind in _SOCKETS
        return place in self.terminals, rank, more, socket

    def _stages(self, parts: Iterable[str]) -> set[str]:
        found = {self.elements[part].stage for part in parts if part in self.elements}
        return found & {*self.order, "supply"}

    def _stages_between(self, part: str, near: Sequence[str]) -> int:
        here, there = (
            [self.order[each] for each in self._stages(parts) if each in self.order] for parts in ([part], near)
        )
        return min((abs(one - other) for one in here for other in there), default=len(self.order))
