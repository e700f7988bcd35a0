"""What a switch must be: poles, throws, and in which order its contacts may move; derived from its edits."""

from __future__ import annotations

import contextlib
from collections.abc import Iterable, Iterator
from dataclasses import dataclass, replace

from ..amp import Amp, Edit, Part, Switch
from ..circuit import Circuit, circuit, conducting
from ..contacts import moving
from ..errors import DescriptionError
from ..mods import describe_part
from ..stages.wiring import GROUND, two_ends


@dataclass(frozen=True)
class Throw:
    """One contact: what it joins to its pole's common, and the positions it is closed in."""

    joins: str
    closed: tuple[str, ...]


@dataclass(frozen=True)
class Pole:
    """One pole: the place its common goes to, and its throws; a position that no throw names closes nothing."""

    common: str
    throws: tuple[Throw, ...]


@dataclass(frozen=True)
class SwitchNeed:
    """What to ask for at the counter.

    `sequence` is "make before break" where the amp would lose a DC path while every contact is open, else "either";
    `hanging` names the capacitors that an open contact leaves without a DC path, which pop unless they are bled.
    """

    designator: str
    control: str
    labels: tuple[str, ...]
    poles: tuple[Pole, ...]
    sequence: str
    shaft: str
    hanging: tuple[str, ...]

    @property
    def kind(self) -> str:
        """Poles and throws in words, and the usual build that has them."""
        return f"{len(self.poles)} pole{'s' * (len(self.poles) != 1)}, {len(self.labels)} positions: {self._build()}"

    @property
    def off(self) -> tuple[str, ...]:
        """Positions in which no contact is closed."""
        closed = {label for pole in self.poles for throw in pole.throws for label in throw.closed}
        return tuple(label for label in self.labels if label not in closed)

    def _build(self) -> str:
        if self.shaft:
            pulls = "" if len(self.labels) == 2 else "; a pull switch has two positions, this one needs its own shaft"
            return f"on the shaft of {self.shaft} (pull-pot with {max(len(self.poles), 1)} changeover contacts){pulls}"
        if len(self.labels) == 2:
            return "on-off toggle" if self.off else "on-on toggle (changeover)"
        tied = any(len(throw.closed) > 1 for pole in self.poles for throw in pole.throws)
        if len(self.labels) == 3 and len(self.off) == 1 and not tied:
            first, last = (label for label in self.labels if label not in self.off)
            return f"on-off-on toggle ({first} - {self.off[0]} - {last}), or rotary"
        return f"rotary{' with lugs tied' if tied else ''}"

    def contact_words(self) -> Iterator[str]:
        """Every pole in one line: common, and what is closed in which position."""
        for number, pole in enumerate(self.poles, 1):
            told = "; ".join(f"{' and '.join(each.closed)}: to {each.joins}" for each in pole.throws)
            open_in = [label for label in self.labels if not any(label in each.closed for each in pole.throws)]
            nothing = f"; {' and '.join(open_in)}: open" if open_in else ""
            yield f"pole {number}, common to {pole.common}: {told}{nothing}"


@dataclass(frozen=True)
class _Contact:
    """One contact before it has a pole: the two nets it stands between, words for either end, when it is closed."""

    nets: tuple[str, str]
    places: tuple[str, str]
    free: str
    closed: tuple[str, ...]


def switch_need(amp: Amp, switch: Switch) -> SwitchNeed:
    """Work out which switch an amp with its mods fitted needs.

    Notes
    -----
    A part fitted in some positions keeps one end soldered and has a contact at the other; a part in series is bypassed
    by a contact where it is not wanted; a lifted part has a contact in series; of a value replaced both parts are
    fitted, and a contact chooses. Contacts that share a net and are never closed together make one pole.
    """
    amp_open = circuit(amp)
    contacts = list(_merged(_contacts(amp, amp_open, switch)))
    poles = tuple(_poles(contacts))
    return SwitchNeed(switch.designator, switch.control, switch.labels, poles, _sequence(amp, switch), switch.shaft,
                      _hanging(amp, switch))  # fmt: skip


def _contacts(amp: Amp, wired: Circuit, switch: Switch) -> Iterator[_Contact]:
    edits: dict[Edit, list[str]] = {}
    for label, doings in switch.positions:
        for edit in doings:
            edits.setdefault(edit, []).append(label)
    lifted = {edit.part for edit in edits if edit.action in ("lift", "replace")}
    for edit, labels in edits.items():
        others = tuple(label for label in switch.labels if label not in labels)
        yield from _of_edit(amp, wired, edit, tuple(labels), others)
    for part in lifted:
        values = [labels for edit, labels in edits.items() if edit.part == part and edit.action in ("lift", "replace")]
        gone = {label for labels in values for label in labels}
        stays = tuple(label for label in switch.labels if label not in gone)
        ends = _ends(wired, part)
        if stays and ends:
            yield _Contact(_nets(wired, ends), ends, f"{part} ({describe_part(amp.part_by_designator[part])})", stays)


def _of_edit(
    amp: Amp, wired: Circuit, edit: Edit, closed: tuple[str, ...], others: tuple[str, ...]
) -> Iterator[_Contact]:
    part = amp.part_by_designator.get(edit.part)
    name = f"{edit.part} ({describe_part(part)})" if part else ""
    if edit.action == "replace" and isinstance(part, Part) and isinstance(edit.value, float):
        ends = _ends(wired, edit.part)
        new = describe_part(replace(part, value=edit.value))
        yield _Contact(_nets(wired, ends), ends, f"the {new} beside {edit.part}", closed)
    elif edit.action == "bridge":
        ends = edit.between or _ends(wired, edit.part)
        yield _Contact(_nets(wired, ends), ends, ends[1], closed)
    elif edit.action == "fit" and edit.in_series:
        ends = (edit.in_series, f"the wire taken off {edit.in_series}")
        yield _Contact((f"{edit.part}.1", _net(wired, edit.in_series)), ends, ends[1], others)
    elif edit.action == "fit" and edit.pins:
        for pin, place in edit.pins[1:]:
            yield _Contact((f"{edit.part}.{pin}", _net(wired, place)), (f"{edit.part}.{pin}", place), name, closed)
    elif edit.action == "fit":
        ends = edit.between or _ends(wired, edit.across)
        yield _Contact(_nets(wired, ends), ends, name, closed)


def _ends(wired: Circuit, part: str) -> tuple[str, str]:
    """The two ends of a part as places; of a part that is not in circuit as drawn the same, by its designator."""
    for element in (*wired.elements, *wired.removed):
        if element.designator == part and element.kind == "pot":
            first, second = two_ends(element)
            by_net = {net: pin for pin, net in element.pins}
            return f"{part}.{by_net[first]}", f"{part}.{by_net[second]}"
    return f"{part}.1", f"{part}.2"


def _net(wired: Circuit, place: str) -> str:
    return wired.net_by_place.get(place, place)


def _nets(wired: Circuit, ends: tuple[str, str]) -> tuple[str, str]:
    return _net(wired, ends[0]), _net(wired, ends[1])


def _merged(contacts: Iterable[_Contact]) -> Iterator[_Contact]:
    """Parts that stand side by side in the same positions share one contact."""
    found: dict[tuple[frozenset[str], tuple[str, ...]], _Contact] = {}
    for each in contacts:
        key = (frozenset(each.nets), each.closed)
        if each.closed:
            known = found.get(key)
            found[key] = replace(known, free=f"{known.free} and {each.free}") if known else each
    yield from found.values()


def _poles(contacts: list[_Contact]) -> Iterator[Pole]:
    """Gather contacts that share a net and are never closed together, most shared net first."""
    left = list(contacts)
    while left:
        packs = [_pack(left, net) for net in dict.fromkeys(net for each in left for net in reversed(each.nets))]
        net, pack = max(packs, key=lambda each: len(each[1]))
        common = next(place for each in pack for n, place in zip(each.nets, each.places, strict=True) if n == net)
        yield Pole(common, tuple(Throw(_far(each, net), each.closed) for each in pack))
        left = [each for each in left if each not in pack]


def _pack(contacts: list[_Contact], net: str) -> tuple[str, list[_Contact]]:
    pack: list[_Contact] = []
    for each in contacts:
        if net in each.nets and not any(set(each.closed) & set(other.closed) for other in pack):
            pack.append(each)
    return net, pack


def _far(contact: _Contact, net: str) -> str:
    """What lies at the other end of a contact: the free end of a part, which goes on to a place, or a place."""
    place = contact.places[1 - contact.nets.index(net)]
    return place if contact.free in contact.places else f"{contact.free}, whose other end is on {place}"


def _sequence(amp: Amp, switch: Switch) -> str:
    """Whether something loses its DC path while every contact is open."""
    kept = [edit for _, edits in switch.positions for edit in edits if edit.action == "fit" and edit.in_series]
    gone = {edit.part for _, edits in switch.positions for edit in edits if edit.action in ("lift", "replace")}
    between = (*dict.fromkeys(kept), *(Edit("lift", part) for part in sorted(gone)))
    swapped = replace(switch, positions=(("between", between),), drawn="between")
    try:
        opened = circuit(_with_switch(amp, switch, swapped))
    except DescriptionError:
        return "make before break"
    return "make before break" if _floating(opened) - _floating(circuit(amp)) else "either"


def _floating(wired: Circuit) -> set[str]:
    """Valves whose cathode has no resistance to ground."""
    valves = [each for each in wired.elements if each.kind == "valve"]
    nets = conducting(each for each in wired.elements if each.kind != "valve")
    return {each.designator for each in valves if nets.find(each.net("cathode")) != GROUND}


def _with_switch(amp: Amp, old: Switch, new: Switch) -> Amp:
    def swapped(switches: tuple[Switch, ...]) -> tuple[Switch, ...]:
        return tuple(new if each == old else each for each in switches)

    mods = tuple(replace(mod, switches=swapped(mod.switches)) for mod in amp.mods)
    return replace(amp, switches=swapped(amp.switches), mods=mods)


def _hanging(amp: Amp, switch: Switch) -> tuple[str, ...]:
    found: dict[str, None] = {}
    for label in switch.labels:
        if label != switch.drawn:
            # A valve or a transformer that changes has no pop to work out.
            with contextlib.suppress(DescriptionError):
                held = moving(amp, (), switch.control, label).held
                found |= dict.fromkeys(name.removesuffix("_after") for name in held)
    return tuple(found)
