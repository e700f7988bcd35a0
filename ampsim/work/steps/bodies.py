"""Pots and switches that a mod brings: wired on the bench as far as may be, then fitted, then wired lug by lug.

A pot with a switch on its shaft is one body: one part to buy, and one thing to fit.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from functools import cached_property

from ...base.errors import DescriptionError
from ...circuit.amp import Amp, AnyPart, Edit, Switch
from ...circuit.designators import body_of, part_of
from ...circuit.mods import describe_part
from ..new_parts import describe_bought, new_mods, part_name, part_put_in, work_mods
from ..parts_list.switch_need import name_in_wiring, needs_of, wiring_of
from ..wiring.from_to import Wire
from .checks import Check, diode_checks, loose_part_checks
from .cold_readings import distinct_checks
from .mounted import IRON, RELAY
from .polarity import plus_words
from .step import Phase, Step
from .switch_readings import switch_reading_steps
from .working_order import ModEdit, working_order


@dataclass(frozen=True)
class Body:
    """One thing with lugs that goes in: the tracks of a pot, and the switches on its shaft or alone."""

    name: str
    pots: tuple[Edit, ...]
    switches: tuple[Switch, ...]

    @property
    def members(self) -> tuple[str, ...]:
        """The designators whose lugs it has."""
        return (*(edit.part for edit in self.pots), *(switch.designator for switch in self.switches))


@dataclass(frozen=True)
class Bodies:
    """The bodies that the work brings, what is done, and the wires of the from-to list that are theirs."""

    bodies: tuple[Body, ...]
    doings: tuple[ModEdit, ...]
    listed: tuple[Wire, ...]

    @cached_property
    def pots(self) -> frozenset[str]:
        """The tracks among them."""
        return frozenset(edit.part for body in self.bodies for edit in body.pots)

    @cached_property
    def body_of(self) -> dict[str, Body]:
        """To each designator the body it belongs to."""
        return {name: body for body in self.bodies for name in body.members}

    @cached_property
    def inner(self) -> dict[str, tuple[Wire, ...]]:
        """To each body the leads and straps that stay on it: all ends of such a part are on its lugs."""
        leads: dict[str, list[Wire]] = {}
        found: dict[str, list[Wire]] = {body.name: [] for body in self.bodies}
        for wire in self.listed:
            if wire.what.startswith("lead of "):
                leads.setdefault(wire.start.partition(".")[0], []).append(wire)
            elif (body := self._home(wire.start)) and body == self._home(wire.end):
                found[body].append(wire)
        for wires in leads.values():
            homes = {self._home(wire.end) for wire in wires}
            if len(wires) > 1 and len(homes) == 1 and (body := homes.pop()):
                found[body] += wires
        return {name: tuple(wires) for name, wires in found.items()}

    def _home(self, place: str) -> str:
        body = self.body_of.get(part_of(place))
        return body.name if body else ""

    @cached_property
    def prepared(self) -> frozenset[str]:
        """Parts that are soldered to a body before it goes in."""
        wires = (wire for wires in self.inner.values() for wire in wires if wire.what.startswith("lead of "))
        return frozenset(wire.start.partition(".")[0] for wire in wires)

    @cached_property
    def wires(self) -> tuple[tuple[str, str], ...]:
        """Lugs of the bodies with the places that a wire leads to from them; what stays on a body left out."""
        inner = {wire for wires in self.inner.values() for wire in wires}
        return tuple((wire.start, wire.end) for wire in self.listed if wire.what == "wire" and wire not in inner)

    def on(self, part: str) -> list[str]:
        """The prepared parts on the body of a pot."""
        body = self.body_of.get(part)
        wires = self.inner[body.name] if body else ()
        names = (wire.start.partition(".")[0] for wire in wires if wire.what.startswith("lead of "))
        return list(dict.fromkeys(names))

    def holds(self, edit: Edit) -> bool:
        """Whether an edit is a body's, or leans on one, so that it comes once the body is in."""
        return edit.part in self.pots or bool(self._leans(edit) & (self.body_of.keys() | self.held))

    @cached_property
    def held(self) -> frozenset[str]:
        """Parts that come once a body is in, as they lean on it or on such a part."""
        found: set[str] = set()
        fitted = [doing.edit for doing in self.doings if doing.edit.action == "fit"]
        while more := {each.part for each in fitted if self._leans(each) & (self.body_of.keys() | found)} - found:
            found |= more
        return frozenset(found)

    def _leans(self, edit: Edit) -> set[str]:
        """The parts that an edit names, and the pots that the leads of what it fits go to by the list."""
        named = {part_of(place) for place in (edit.across, *edit.places)}
        leads = {part_of(end) for lug, end in self.joints if part_of(lug) == edit.part and part_of(end) in self.pots}
        return (named | leads) - {"", edit.part}

    @cached_property
    def joints(self) -> tuple[tuple[str, str], ...]:
        """Every joint of the list, from either end."""
        return tuple(pair for wire in self.listed for pair in ((wire.start, wire.end), (wire.end, wire.start)))

    def waiting(self, done: Sequence[ModEdit]) -> frozenset[str]:
        """What is not in yet, or not wired: parts that come later or with a switch, pots, and every switch."""
        brought = {doing.edit.part for doing in self.doings if doing.edit.action == "fit"}
        leads = {wire.what.removeprefix("lead of ") for wire in self.listed if wire.what.startswith("lead of ")}
        return frozenset((brought | leads | self.body_of.keys()) - {doing.edit.part for doing in done})

    def hanging(self, done: Sequence[ModEdit]) -> frozenset[str]:
        """Parts put in of which a lead goes to nothing but what still waits: no current in them."""
        return frozenset(part_of(lug) for lug in self._loose(done) if part_of(lug) not in self.pots)

    def loose_lugs(self, done: Sequence[ModEdit]) -> frozenset[str]:
        """Lugs of pots put in that go to nothing but what still waits: the rest of the track may carry current."""
        return frozenset(lug for lug in self._loose(done) if part_of(lug) in self.pots)

    def _loose(self, done: Sequence[ModEdit]) -> Iterator[str]:
        put_in = {doing.edit.part for doing in done if doing.edit.action == "fit"}
        ends: dict[str, set[str]] = {}
        for lug, end in self.joints:
            ends.setdefault(lug, set()).add(part_of(end))
        waiting = self.waiting(done)
        yield from (lug for lug, parts in ends.items() if part_of(lug) in put_in and parts <= waiting)


def bodies_of(stock: Amp, modded: Amp) -> Bodies:
    """The pots and switches that the work brings, those on one shaft together."""
    doings = tuple(working_order(work_mods(stock, modded)))
    pots: dict[str, list[Edit]] = {}
    for doing in doings:
        part = modded.part_by_designator.get(doing.edit.part)
        if part is not None and part.kind == "pot" and doing.edit.action in ("fit", "replace"):
            pots.setdefault(body_of(doing.edit.part), []).append(doing.edit)
    switches = [switch for mod in new_mods(stock, modded) for switch in mod.switches]
    found = [
        Body(name, tuple(edits), tuple(each for each in switches if body_of(each.shaft or "-") == name))
        for name, edits in pots.items()
    ]
    taken = {switch for body in found for switch in body.switches}
    found += [Body(each.designator, (), (each,)) for each in switches if each not in taken]
    try:
        wires = wiring_of(modded).wires
    except DescriptionError:
        wires = ()
    return Bodies(tuple(found), doings, tuple(wires))


def prepare_bodies(modded: Amp, bodies: Bodies) -> Iterator[Step]:
    """On the bench: each body read and buzzed, and what stays on it soldered to it."""
    for body in bodies.bodies:
        checks: list[Check] = []
        for edit in body.pots:
            part = part_put_in(modded, edit)
            checks += loose_part_checks(part, part_name(modded, edit)) if part else []
        for name in bodies.on(body.members[0]):
            brought = modded.part_by_designator.get(name)
            known = [] if brought is None else [*loose_part_checks(brought, f"{name} ({describe_part(brought)})"),
                                                *diode_checks(modded, brought, name)]  # fmt: skip
            checks += known
        for switch in body.switches:
            checks += _loose_checks(modded, switch)
        words = f"{_first_words(modded, body)}{_on_it(modded, bodies, body)}"
        how = (
            "A lug is easier reached on the bench, and heat does no harm to its neighbours: solder what stays on it "
            "now, and leave lengths of wire on the lugs that lead away.",
        )
        yield Step(Phase.PREPARE, words, distinct_checks(checks), f"{IRON}, meter with buzzer", how, body.members)


def _first_words(modded: Amp, body: Body) -> str:
    needs = [need for switch in body.switches for need in needs_of(modded, switch)]
    if not body.pots:
        return " ".join(f"Buzz {need.designator} ({need.kind}) on the bench, contact by contact, before it goes in."
                        for need in needs)  # fmt: skip
    names = " and ".join(part_name(modded, edit) for edit in body.pots)
    buzz = "".join(f" Buzz {switch.designator} first, in and out." for switch in body.switches)
    return f"Read {names} on the bench: end to end, then the wiper while it turns, without jumps.{buzz}"


def _on_it(modded: Amp, bodies: Bodies, body: Body) -> str:
    """The straps and parts that are soldered to it now."""
    straps = [wire for wire in bodies.inner[body.name] if not wire.what.startswith("lead of ")]
    told = [f"{wire.start} and {_other_end(wire)} strapped" for wire in straps]
    for name in bodies.on(body.members[0]):
        ends = [wire for wire in bodies.inner[body.name] if wire.start.partition(".")[0] == name]
        part = modded.part_by_designator.get(name)
        plus = plus_words(modded, name) if part else ""
        lugs = ", ".join(f"{wire.start} to {wire.end}" for wire in ends)
        ending = f".{plus.rstrip('.')}" if plus else ""
        told.append(f"{name}{f' ({describe_part(part)})' if part else ''}: {lugs}{ending}")
    return f" Solder on {body.members[0]}: {'; '.join(told)}." if told else ""


def _other_end(wire: Wire) -> str:
    """The end of a strap, by its lug alone where that is on the same part."""
    part, _, lug = wire.end.partition(".")
    return lug if part == wire.start.partition(".")[0] else wire.end


def fit_bodies(stock: Amp, modded: Amp, bodies: Bodies) -> Iterator[Step]:
    """Each body goes into its hole."""
    for body in bodies.bodies:
        there = any(edit.action == "replace" for edit in body.pots)
        names = " and ".join(part_name(modded, edit) for edit in body.pots)
        needs = [] if body.pots else needs_of(modded, body.switches[0])
        if needs and body.switches[0].coil:
            relay, *needs = needs
            words = f"Fit {relay.designator} ({relay.kind}) inside, where nothing pulls at its wires."
            yield Step(Phase.FIT, words, tool=IRON, how=(RELAY,))
        names = names or " and ".join(f"{need.designator} ({need.kind})" for need in needs)
        where_to = f"where {body.name} was" if there else "in its place"
        how = (
            "Locating pin or tab in its hole, star washer behind the panel, nut by hand first; turn or move it: the "
            "knob's mark and the lever's way agree with the panel. No lug touches the chassis or its neighbour.",
        )
        yield Step(Phase.FIT, f"Fit {names} {where_to}.", tool="spanner, cloth under it", how=how)


def _brought_names(modded: Amp, switch: Switch) -> dict[AnyPart, str]:
    """The parts that the positions of a switch put in, each with its name in the wiring."""
    edits = [edit for _, each in switch.positions for edit in each if edit.action in ("fit", "replace")]
    brought = dict.fromkeys(part for edit in edits if (part := part_put_in(modded, edit)) is not None)
    return {part: name_in_wiring(modded, part) for part in brought}


def _loose_checks(modded: Amp, switch: Switch) -> Iterator[Check]:
    for part, name in _brought_names(modded, switch).items():
        yield from loose_part_checks(part, f"{name} ({describe_bought(modded, part)})")
        yield from diode_checks(modded, part, name)


def wire_switches(stock: Amp, modded: Amp) -> Iterator[Step]:
    """Each new switch is wired pole by pole; once all are, each is read in each of its positions."""
    switches = [switch for mod in new_mods(stock, modded) for switch in mod.switches]
    yield from (_wiring_step(modded, switch) for switch in switches)
    for switch in switches:
        yield from switch_reading_steps(modded, switch)


def _far_leads(modded: Amp, switch: Switch, part: str) -> str:
    """Where the leads of a part go that are not soldered to the switch that brings it."""
    try:
        wires = wiring_of(modded).wires
    except DescriptionError:
        return ""
    far = [wire for wire in wires if wire.what == f"lead of {part}"
           and part_of(wire.end) not in (switch.designator, switch.shaft or "-")]  # fmt: skip
    return ", ".join(f"{wire.start} to {wire.end}" for wire in far)


def _wiring_step(modded: Amp, switch: Switch) -> Step:
    need, *drivers = needs_of(modded, switch)
    names = _brought_names(modded, switch)
    pluses = {
        name: plus_words(modded, each.designator).replace(f"{each.designator}.", f"{name}.")
        for each, name in names.items()
    }
    plus = "".join(f" {name}:{told}" for name, told in pluses.items() if told)
    fed = (f"{each.designator} ({each.kind}): {'; '.join(each.contacts)}" for each in drivers)
    wires = "; ".join([*need.contacts, *fed])
    leads = "".join(f" {told}." for name in names.values() if (told := _far_leads(modded, switch, name)))
    words = f"Wire {switch.designator}: {wires}.{leads}{plus} Buzz each wire."
    return Step(Phase.WIRE, words, tool=f"{IRON}, meter with buzzer", parts=tuple(names.values()))
