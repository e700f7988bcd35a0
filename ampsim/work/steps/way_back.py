"""The way back, of all mods or of one: what the iron undoes, what was kept put back, lug by lug."""

from __future__ import annotations

from collections.abc import Collection, Iterable, Iterator, Sequence

from ...circuit.amp import Amp, AnyPart, Edit, Socket, Switch
from ...circuit.build import build_circuit
from ...circuit.designators import part_of
from ...circuit.mods import describe_part, where
from ..new_parts import body_name, in_one_body, new_mods, part_name, part_put_in, socket_words, switches_on, work_mods
from ..wiring.difference import rewired
from ..wiring.wanted_lugs import bridged_lugs
from .checks import loose_part_checks
from .mounted import at_words, is_plugged, out_words
from .polarity import plus_words
from .soldering import lift_step, lower_step, on_lifted_board
from .step import Phase, Step
from .working_order import working_order


def back_steps(stock: Amp, modded: Amp) -> Iterator[Step]:
    """What was brought comes out, then what was kept goes back, and what hung on lugs that have gone is soldered anew.

    `stock` is the amp that is wanted; mods that it has as well stay.
    """
    work = _WayBack(stock, modded)
    edits = [doing.edit for doing in reversed(working_order(work_mods(stock, modded)))]
    lifted = on_lifted_board(stock, modded, edits)
    if lifted:
        yield lift_step(lifted)
    for mod in reversed(new_mods(stock, modded)):
        yield from (work.switch_out(switch) for switch in reversed(mod.switches))
    for edit in edits:
        yield from work.out(edit)
    for edit in edits:
        yield from work.restored(edit, in_one_body(stock, edit, edits))
    yield from work.besides()
    if lifted:
        yield lower_step(Phase.WIRE)


class _WayBack:
    """The steps back from one amp to another, which note what of the lug by lug list they have said."""

    def __init__(self, stock: Amp, modded: Amp) -> None:
        self.stock, self.modded = stock, modded
        self.change = rewired(stock, modded)
        self.there = build_circuit(stock).parts
        self.said: set[str] = set()

    def switch_out(self, switch: Switch) -> Step:
        names = [switch.designator, *([switch.coil.driver] if switch.coil else [])]
        words = f"Take out switch {' and '.join(names)} with the parts on it and every wire to it."
        if switch.shaft:
            words = f"Take off every wire and part on the switch of {switch.shaft}; it comes out with its pot."
        edits = [edit for _, doings in switch.positions for edit in doings]
        gone = [*names, *(edit.part for edit in edits if edit.action == "fit")]
        opened = [lug for edit in edits for lug in edit.opened]
        how = [*self._off(gone), *self._back([*opened, *self._lugs_of({edit.part for edit in edits})])]
        tool = "soldering iron, spanner for the nut"
        return Step(Phase.REMOVE, f"{words}{_restoring_words(switch)}", tool=tool, how=how)

    def out(self, edit: Edit) -> Iterator[Step]:
        """What an edit brought comes out."""
        if edit.action == "bridge":
            ends = bridged_lugs(self.modded, edit)
            words = f"Take out the bridge at {' - '.join(ends)}{f'; {edit.part} stays' if edit.part else ''}."
            tool, how = at_words(self.stock, ends)
            self.said |= {_key(*ends)}
            yield Step(Phase.REMOVE, words, tool=tool, how=how)
        elif edit.action == "fit":
            stays = part_of(edit.in_series) in self.there
            back = f", and put the wire back on {edit.in_series}" if stays else ""
            words = f"Take out {part_name(self.modded, edit)} {where(edit)}{back}."
            tool, how = at_words(self.stock, edit.places)
            yield Step(Phase.REMOVE, words, tool=tool, how=[*self._off([edit.part]), *self._back(edit.opened), *how])

    def restored(self, edit: Edit, body: Sequence[str]) -> Iterator[Step]:
        """What an edit took away or changed goes back."""
        old = self.there.get(edit.part)
        tool, how = at_words(self.stock, edit.places)
        if edit.action == "cut":
            words = f"Join the wire between {where(edit)} again."
            yield Step(Phase.FIT, words, tool=tool, how=[*self._back(edit.opened), *how])
        elif edit.action == "move":
            words = f"Take the wire from {where(edit)} off, and put {edit.opened[0]} back where it was."
            self.said |= {_key(*edit.between)} if edit.between else set()
            yield Step(Phase.FIT, words, tool=tool, how=[*self._back(edit.opened), *how])
        elif edit.action == "supply":
            drawn = next((rail.volts for rail in self.stock.rails if rail.name == edit.part), None)
            yield Step(
                Phase.FIT, f"Set {edit.part} back{f' to {drawn:g} V' if drawn is not None else ''}.", tool="meter"
            )
        elif edit.action in ("replace", "lift") and old is not None and edit.part == body[0]:
            halves = [self.there[name] for name in body]
            was = f"{body_name(body)} ({' and '.join(dict.fromkeys(map(describe_part, halves)))})"
            first = f"Take out {part_name(self.modded, edit, body)}; fit" if edit.action == "replace" else "Fit"
            on = switches_on(self.stock, edit.part)
            kept = (
                f" with {on[0].designator} on its shaft: the one that was kept has no switch"
                if on
                else (" again, the one that was kept")
            )
            words = f"{first} {was}{kept}.{self._socket(edit, old)}{plus_words(self.stock, edit.part, kept=True)}"
            tool, out = out_words(self.stock, edit.part)
            way = [out] if edit.action == "replace" else at_words(self.stock, [edit.part])[1]
            checks = [check for half in halves for check in loose_part_checks(half, was)]
            yield Step(Phase.FIT, words, checks, tool, [*(each for name in body for each in self._home(name)), *way])

    def _socket(self, edit: Edit, old: AnyPart) -> str:
        """What the socket of a valve needs that goes back into the place of one of another type."""
        put_in = part_put_in(self.modded, edit)
        if not isinstance(old, Socket) or not isinstance(put_in, Socket):
            return ""
        words = socket_words(self.modded, put_in.type, old.type, back=True)
        return f" {words}." if words else ""

    def besides(self) -> Iterator[Step]:
        """What of the list no step has said: joints of mods that stay, made on lugs that have gone."""
        if self.change is None:
            return
        off = [
            f"{wire.start} off {wire.end}" for wire in self.change.off if _key(wire.start, wire.end) not in self.said
        ]
        off += [f"{lug} off {at}" for lug, at in self.change.loose]
        on = [f"{wire.start} to {wire.end}" for wire in self.change.on]
        on += [f"{lug} to {at}" for lug, at in self.change.back if lug not in self.said]
        if off:
            yield Step(Phase.WIRE, f"Take off what else hung there: {'; '.join(off)}.", tool="soldering iron")
        if on:
            words = f"Solder what has lost its lug, and stays: {'; '.join(on)}."
            tool, how = at_words(self.stock, [place for pair in on for place in pair.split(" to ")])
            yield Step(Phase.WIRE, words, tool=tool, how=how)

    def _off(self, parts: Sequence[str]) -> list[str]:
        """The joints of parts that come out, those of other steps left to them."""
        wires = self.change.of(parts) if self.change else ()
        new = [wire for wire in wires if _key(wire.start, wire.end) not in self.said]
        self.said |= {_key(wire.start, wire.end) for wire in new}
        return [f"Joints: {'; '.join(f'{wire.start} off {wire.end}' for wire in new)}."] if new else []

    def _lugs_of(self, parts: Collection[str]) -> list[str]:
        """The lugs of parts that go back to their places."""
        return [lug for lug, _ in (self.change.back if self.change else ()) if part_of(lug) in parts]

    def _back(self, lugs: Iterable[str]) -> list[str]:
        """Where lugs go back to."""
        asked = set(lugs)
        pairs = [(lug, at) for lug, at in (self.change.back if self.change else ()) if lug in asked - self.said]
        self.said |= {lug for lug, _ in pairs}
        return [f"Back to its place: {'; '.join(f'{lug} to {at}' for lug, at in pairs)}."] if pairs else []

    def _home(self, part: str) -> list[str]:
        """Where the lugs of a part of the drawing are soldered there."""
        if self.change is None or part not in self.change.into or is_plugged(self.stock, part):
            return []
        pairs = [(lug, at) for lug, at in self.change.homes if part_of(lug) == part]
        return [f"Its place: {'; '.join(f'{lug} at {at}' for lug, at in pairs)}."]


def _key(*ends: str) -> str:
    return " ".join(sorted(ends))


def _restoring_words(switch: Switch) -> str:
    """Parts and wires of the stock amp that the switch had taken hold of."""
    edits = [edit for _, doings in switch.positions for edit in doings]
    wires = [lug for edit in edits for lug in edit.opened]
    parts = [edit.part for edit in edits if edit.action in ("replace", "lift") and edit.part]
    told = [f" Put the wire back on {place}." for place in dict.fromkeys(wires)]
    return "".join([*told, *(f" Solder {part} back to both its places." for part in dict.fromkeys(parts))])
