"""Carrying out edits on a wired circuit: what the iron does, in an order that the files cannot change."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping
from dataclasses import replace

from ..base.errors import DescriptionError, nearest, shown
from ..base.wording import join_words
from .amp import Amp, AnyPart, Edit, Pot, Socket
from .cut_wires import staying_side
from .nets import Nets
from .one_wire import pins_on_one_wire, why_one_wire
from .replacing import put_in_place
from .stages.template import Element, end_names, net_word, tap_net, two_ends
from .transformer import Transformer, pins_with
from .valves.description import Valve

_PHASES = {"replace": 0, "supply": 0, "lift": 1, "cut": 2, "move": 2, "bridge": 4}


def phase(edit: Edit) -> int:
    """When an edit is carried out: values, lifted parts, opened wires, fitted parts, bridges."""
    if edit.action == "fit":
        return 2 if edit.in_series else 3
    return _PHASES[edit.action]


class Fitting:
    """The circuit on the bench while edits are carried out.

    Edits are carried out by kind (values, lifted parts, opened wires, fitted parts, bridges), not in the order
    of the files, so the order of mods cannot matter: a part fitted at a lug stays on that lug when a wire to it
    is opened.
    """

    def __init__(self, amp: Amp, elements: Iterable[Element], places: Mapping[str, str]) -> None:
        self.amp = amp
        self.elements = {element.designator: element for element in elements}
        self.removed: dict[str, Element] = {}
        self.parts: dict[str, AnyPart] = dict(amp.part_by_designator)
        self.nets = Nets()
        self.places = {**places, **{name: f"_net_{name}" for mod in amp.mods for name in mod.nets}}
        self.moved: list[tuple[str, Edit]] = []
        self.exchanged: list[tuple[Transformer, Edit]] = []

    def carry_out(self, edits: list[Edit]) -> None:
        """Carry out all edits; `DescriptionError` when one names a part or a place that does not exist."""
        waiting = sorted(edits, key=lambda edit: (phase(edit), edit.part))
        while waiting:
            later = [edit for edit in waiting if not self._possible(edit)]
            for edit in waiting:
                if edit not in later:
                    getattr(self, f"_{edit.action}")(edit)
            if len(later) == len(waiting):
                self._refuse(later[0])
            waiting = later
        for net, edit in self.moved:
            self._arrive(net, edit)
        self.elements = self._joined(self.elements)
        self.removed = self._joined(self.removed)
        for transformer, edit in self.exchanged:
            self._drop_pins(transformer, edit)

    def _change(self, designator: str, how: Callable[[Element], Element]) -> None:
        held = self.elements if designator in self.elements else self.removed
        held[designator] = how(held[designator])

    def _drop_pins(self, transformer: Transformer, edit: Edit) -> None:
        """Take away the pins that the transformer put in does not have, unless a wire is still on one of them."""
        others = [(name, pin, net) for name, each in self.elements.items() if name != edit.part
                  for pin, net in each.pins]  # fmt: skip
        for pin, net in dict(self._element(edit.part).pins).items():  # type: ignore[union-attr]
            wired = [f"{name}.{other}" for name, other, on in others if on == net]
            if not transformer.has_pin(pin) and wired and edit.part in self.elements:
                raise DescriptionError(
                    f"{self._mod(edit)}: {edit.part} was exchanged for one that has no {pin}, where "
                    f"{join_words(wired[:3])} is; it needs rewiring: move the wire to another of its pins"
                )
        self._change(edit.part, lambda old: replace(old, pins=tuple(p for p in old.pins if transformer.has_pin(p[0]))))

    def _joined(self, elements: Mapping[str, Element]) -> dict[str, Element]:
        return {
            name: replace(element, pins=tuple((pin, self.nets.find(net)) for pin, net in element.pins))
            for name, element in elements.items()
        }

    def _element(self, designator: str) -> Element | None:
        return self.elements.get(designator) or self.removed.get(designator)

    def _net(self, place: str) -> str | None:
        designator, _, pin = place.partition(".")
        if not pin:
            return self.places.get(place)
        element = self._element(designator)
        return dict(element.pins).get(pin) if element else None

    def _needs(self, edit: Edit) -> list[str]:
        """Places that must be there; where a moved lug goes to may be fitted after it."""
        return [place for place in edit.places if edit.action != "move" or place in edit.opened]

    def _possible(self, edit: Edit) -> bool:
        parts = [edit.across] if edit.across else []
        parts += [edit.part] if edit.action in ("replace", "lift", "bridge") and edit.part else []
        return all(self._element(part) for part in parts) and all(self._net(place) for place in self._needs(edit))

    def _refuse(self, edit: Edit) -> None:
        for place in self._needs(edit):
            if not self._net(place):
                known = (*self.places, *(f"{name}.1" for name in self.elements))
                raise DescriptionError(f"{self._mod(edit)}: {shown(place)} is not a place{nearest(place, known)}")
        part = edit.across or edit.part
        raise DescriptionError(f"{self._mod(edit)}: {shown(part)} is not in the amp{nearest(part, self.elements)}")

    def _mod(self, edit: Edit) -> str:
        names = [mod.file or mod.name for mod in self.amp.mods if edit in mod.every_edit()]
        return names[0] if names else self.amp.file

    def _replace(self, edit: Edit) -> None:
        put_in = put_in_place(self.parts[edit.part], edit)
        if put_in is None:
            raise DescriptionError(f"{self._mod(edit)}: {edit.part} cannot be given another value")
        element = self._element(edit.part)
        if isinstance(put_in, Socket) and element is not None:
            self._check_family(edit, self.amp.valve_by_type[put_in.type], element)
        self.parts[edit.part] = put_in
        if isinstance(put_in, Transformer):
            self._change(edit.part, lambda old: replace(old, pins=pins_with(put_in, old.pins)))
            self.exchanged.append((put_in, edit))

    def _check_family(self, edit: Edit, valve: Valve, element: Element) -> None:
        screen = any(pin == "screen" for pin, _ in element.pins)
        if (valve.family == "pentode") != screen:
            meant = (
                f"lift {edit.part} and fit the other by its pins"
                if edit.action == "replace"
                else "a pentode has a screen too"
            )
            raise DescriptionError(
                f"{self._mod(edit)}: {edit.part} is wired as a {'pentode' if screen else 'triode'}, "
                f"{valve.type} is a {valve.family}; {meant}"
            )

    def _supply(self, edit: Edit) -> None:
        """The volts are those of `Amp.fitted_rails`; here is only asked whether the rail has a source of its own."""
        rail = next((each for each in self.amp.rails if each.name == edit.part), None)
        if rail is None or rail.volts is None:
            fed = f"; it comes from {rail.fed_from}: change what stands there" if rail else ""
            raise DescriptionError(f"{self._mod(edit)}: {edit.part} is no rail with volts of its own{fed}")

    def _lift(self, edit: Edit) -> None:
        if self._element(edit.part).kind == "rail":  # type: ignore[union-attr]
            raise DescriptionError(f"{self._mod(edit)}: {edit.part} is a rail, no part; other volts are rail = ...")
        if edit.part in self.elements:
            self.removed[edit.part] = self.elements.pop(edit.part)

    def _bridge(self, edit: Edit) -> None:
        if edit.between:
            first, second = (self._net(place) for place in edit.between)
        else:
            first, second = self._two_ends(edit, edit.part)
            if set(dict(self._element(edit.part).pins).values()) <= {first, second}:  # type: ignore[union-attr]
                self._lift(edit)  # it stays where it is, and carries no current; a track still loads its wiper
        if edit.between and first == second:
            raise DescriptionError(
                f"{self._mod(edit)}: {' and '.join(edit.between)} are one wire already; a bridge joins two wires"
            )
        if first and second:
            self.nets.join(first, second)

    def _fit(self, edit: Edit) -> None:
        if edit.in_series:
            opened = f"_opened_{edit.part.lower()}"  # no net of a template, nor inside a part
            ends = (opened, self._open(edit.in_series, opened))
        elif edit.across:
            ends = self._two_ends(edit, edit.across)
        elif edit.between:
            ends = (self._net(edit.between[0]) or "", self._net(edit.between[1]) or "")
        else:
            ends = ("", "")
        pins = tuple((pin, self._net(place) or "") for pin, place in edit.pins) or self._two(edit, *ends)
        part = self.parts[edit.part]
        kind = part.kind
        if isinstance(part, Pot) and part.tap is not None and "tap" not in dict(pins):
            pins = (*pins, ("tap", tap_net(edit.part)))
        fitted = Element(edit.part, kind, pins, self._mod(edit))
        if isinstance(part, Socket):
            self._check_family(edit, self.amp.valve_by_type[part.type], fitted)
        if pins_on_one_wire(fitted):
            raise DescriptionError(f"{self._mod(edit)}: {why_one_wire(fitted, self._nets_of_places())}")
        self.elements[edit.part] = fitted

    def _two_ends(self, edit: Edit, part: str) -> tuple[str, str]:
        """The nets that a part with two ends lies between; a pot has the ends of its track."""
        element = self._element(part)
        if element is None or (len(element.pins) > 2 and element.kind != "pot"):
            pins = ", ".join(pin for pin, _ in element.pins) if element else "none"
            how = "bridge = [...]" if edit.action == "bridge" else "between = [...]"
            raise DescriptionError(f"{self._mod(edit)}: {part} has more than two ends ({pins}); name two places, {how}")
        return two_ends(element)

    def _open(self, lug: str, net: str) -> str:
        """Take a lug off its wire, onto a net of its own; the net it was on."""
        designator, _, pin = lug.partition(".")
        home = self.elements if designator in self.elements else self.removed
        was = home[designator].net(pin)
        pins = tuple((name, net if name == pin else other) for name, other in home[designator].pins)
        home[designator] = replace(home[designator], pins=pins)
        return was

    def _move(self, edit: Edit) -> None:
        net = f"_moved_{net_word(edit.opened[0])}"
        self._open(edit.opened[0], net)
        self.moved.append((net, edit))

    def _arrive(self, net: str, edit: Edit) -> None:
        """Join a moved lug to where it goes, which may be a lug that was moved or fitted itself."""
        lug, place = edit.between or ("", "")
        there = self._net(place)
        if there is None:
            known = (*self.places, *(f"{name}.{pin}" for name, each in self.elements.items() for pin, _ in each.pins))
            raise DescriptionError(f"{self._mod(edit)}: {shown(place)} is not a place{nearest(place, known)}")
        self.nets.join(net, there)
        element = self._element(lug.partition(".")[0])
        moved = self._joined({"": element})[""] if element else None
        if moved and pins_on_one_wire(moved):
            raise DescriptionError(f"{self._mod(edit)}: {why_one_wire(moved, self._nets_of_places())}")

    def _cut(self, edit: Edit) -> None:
        stays = staying_side(edit, self.amp, self._nets_of_places(), (*self.elements.values(), *self.removed.values()))
        for side in edit.sides:
            if side != stays:
                net = f"_cut_{net_word(side[0])}"
                for lug in side:
                    self._open(lug, net)

    def _nets_of_places(self) -> dict[str, str]:
        every = {**self.removed, **self.elements}
        pins = {f"{name}.{pin}": net for name, each in every.items() for pin, net in each.pins}
        return {**self.places, **pins}

    def _two(self, edit: Edit, first: str, second: str) -> tuple[tuple[str, str], ...]:
        live, other, strapped = fitted_pins(edit, self.parts[edit.part].kind)
        if not strapped:
            return ((live, first), (other, second))
        pins = {live: first, other: second, strapped: second}
        return tuple((pin, pins[pin]) for pin in ("top", "wiper", "bottom"))


def fitted_pins(edit: Edit, kind: str) -> tuple[str, str, str]:
    """The pins of a part fitted by two ends, in the order of the places, and the pin strapped to the second.

    A diode begins with its anode. A pot is wired as a variable resistor: its wiper strapped to the end that leaves
    the resistance rising or falling as it is turned up. Of other parts no pin is strapped: "".
    """
    if kind != "pot":
        return (*end_names(kind), "")
    return ("top", "wiper", "bottom") if edit.wired == "falling" else ("bottom", "wiper", "top")
