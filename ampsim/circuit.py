"""From an amp to its circuit: every part with each pin on a net, mods and switch positions carried out."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass, replace
from functools import cached_property, lru_cache

from .amp import Amp, AnyPart, Edit, Part, Pot, Socket
from .errors import DescriptionError, nearest, shown
from .stages import TEMPLATES
from .stages.wiring import GROUND, Bench, Element, rail_net, two_ends

INPUT, SPEAKER = "input", "speaker"


@dataclass(frozen=True, eq=False)
class Circuit:
    """An amp wired up with its switches in one position: elements, parts and the nets that places are on.

    `outputs` maps each stage's name to the net it hands on; `speaker` is the net of the load.
    """

    amp: Amp
    elements: tuple[Element, ...]
    removed: tuple[Element, ...]
    parts: Mapping[str, AnyPart]
    outputs: Mapping[str, str]
    speaker: str

    @cached_property
    def net_by_place(self) -> Mapping[str, str]:
        """The net of every place: part ends, pins, rails, ground, input and speaker."""
        places = {f"{element.designator}.{pin}": net for element in self._all() for pin, net in element.pins}
        places |= {rail.name: rail_net(rail.name) for rail in self.amp.rails}
        return places | {"ground": GROUND, INPUT: INPUT, SPEAKER: self.speaker}

    def _all(self) -> Iterator[Element]:
        yield from self.removed
        yield from self.elements

    def net(self, place: str) -> str:
        """The net a place is on; `DescriptionError` with the nearest places when there is none of that name."""
        for name in (place, self.outputs.get(place, "")):
            if name in self.net_by_place:
                return self.net_by_place[name]
        if place in self.outputs:
            return self.outputs[place]
        known = (*self.net_by_place, *self.outputs)
        raise DescriptionError(f"{self.amp.file}: {shown(place)} is not a place{nearest(place, known)}")

    @cached_property
    def places_by_net(self) -> Mapping[str, tuple[str, ...]]:
        """All places on each net, valve pins first."""
        nets: dict[str, list[str]] = {}
        rank = {"valve": 0, "transformer": 1, "pot": 2}
        kinds = {element.designator: rank.get(element.kind, 3) for element in self._all()}
        for place, net in self.net_by_place.items():
            nets.setdefault(net, []).append(place)
        return {net: tuple(sorted(places, key=lambda place: kinds.get(place.split(".")[0], -1)))
                for net, places in nets.items()}  # fmt: skip


@lru_cache(maxsize=256)
def circuit(amp: Amp, switches: tuple[tuple[str, str], ...] = ()) -> Circuit:
    """Wire an amp up with its switches in the given positions (those not given stand as drawn).

    Raises
    ------
    DescriptionError
        When a part is missing, a place does not exist, or a net has no DC path to ground.
    """
    drawn = _drawn(amp)
    work = _Work(drawn)
    work.carry_out(_edits(amp, dict(switches)))
    wired = Circuit(amp, tuple(work.elements.values()), tuple(work.removed.values()), work.parts,
                    work.outputs(drawn), work.joined(drawn.speaker))  # fmt: skip
    _check_paths(wired)
    return wired


@lru_cache(maxsize=64)
def _drawn(amp: Amp) -> Circuit:
    elements: list[Element] = []
    joins: list[tuple[str, str]] = []
    outputs: dict[str, str] = {}
    signal: tuple[str, ...] = ()
    for stage in amp.stages:
        template = TEMPLATES[stage.template]
        if template.inputs and not signal:
            signal = (INPUT,)
        if template.inputs > len(signal):
            raise DescriptionError(
                f"{amp.file}: stage '{stage.name}' ({stage.template}) needs {template.inputs} signal lines, "
                f"the stage before hands on {len(signal)}; a phase inverter hands on two"
            )
        bench = Bench(amp, stage, signal)
        signal = template.build(bench)
        outputs[stage.name] = signal[0]
        for number, extra in enumerate(signal[1:], 2):
            outputs[f"{stage.name} ({number})"] = extra
        elements += bench.elements
        joins += bench.joins
    elements += _rails(amp, joins)
    _check_once(amp, elements)
    speaker = next((outputs[stage.name] for stage in amp.stages if stage.template == "load"), signal[0])
    return _resolved(amp, elements, joins, outputs, speaker)


def _rails(amp: Amp, joins: list[tuple[str, str]]) -> Iterator[Element]:
    for rail in amp.rails:
        net = rail_net(rail.name)
        feed = rail_net(rail.fed_from) if rail.fed_from else f"{net}_source"
        if rail.volts is not None:
            yield Element(f"{rail.name}", "rail", (("1", feed if rail.series else net),), "supply")
        for position, designator in enumerate(rail.series):
            far = net if position == len(rail.series) - 1 else f"{net}_{position + 1}"
            yield _two_pin(amp, designator, feed, far)
            feed = far
        for designator in rail.reservoir:
            yield _two_pin(amp, designator, net, GROUND)
        if rail.volts is None and not rail.series:
            joins.append((feed, net))


def _two_pin(amp: Amp, designator: str, first: str, second: str) -> Element:
    known = amp.part_by_designator
    if designator not in known:
        raise DescriptionError(
            f"{amp.file}: [[rails]]: {shown(designator)} is not in [parts]{nearest(designator, known)}"
        )
    return Element(designator, known[designator].kind, (("1", first), ("2", second)), "supply")


def _check_once(amp: Amp, elements: Iterable[Element]) -> None:
    seen: dict[str, str] = {}
    for element in elements:
        if element.designator in seen:
            raise DescriptionError(
                f"{amp.file}: {element.designator} is wired twice, in '{seen[element.designator]}' "
                f"and in '{element.stage}'"
            )
        seen[element.designator] = element.stage


class _Nets:
    """Which nets are one net (union-find); ground, rails and short names win."""

    def __init__(self) -> None:
        self.parent: dict[str, str] = {}

    def find(self, net: str) -> str:
        while net in self.parent:
            net = self.parent[net]
        return net

    def join(self, first: str, second: str) -> None:
        first, second = self.find(first), self.find(second)
        if first != second:
            keep, drop = sorted((first, second), key=self._rank)
            self.parent[drop] = keep

    @staticmethod
    def _rank(net: str) -> tuple[bool, bool, bool, int, str]:
        return (net != GROUND, net != INPUT, not net.startswith("rail_"), len(net), net)


def _resolved(
    amp: Amp, elements: list[Element], joins: list[tuple[str, str]], outputs: dict[str, str], speaker: str
) -> Circuit:
    nets = _Nets()
    places = {f"{element.designator}.{pin}": net for element in elements for pin, net in element.pins}
    places |= {rail.name: rail_net(rail.name) for rail in amp.rails} | {"ground": GROUND, INPUT: INPUT}
    named = {net for element in elements for _, net in element.pins if net.startswith("@")}
    for net in named | {net for pair in joins for net in pair if net.startswith("@")}:
        place = net.removeprefix("@")
        if place not in places or places[place] == net:
            raise DescriptionError(f"{amp.file}: {shown(place)} is not a place{nearest(place, places)}")
        nets.join(places[place], net)
    for first, second in joins:
        nets.join(first, second)
    fitted = tuple(
        replace(element, pins=tuple((pin, nets.find(net)) for pin, net in element.pins)) for element in elements
    )
    found = {name: nets.find(net) for name, net in outputs.items()}
    return Circuit(amp, fitted, (), amp.part_by_designator, found, nets.find(speaker))


def _edits(amp: Amp, switches: Mapping[str, str]) -> list[Edit]:
    edits = [edit for mod in amp.mods for edit in mod.edits]
    for switch in amp.all_switches:
        position = switches.get(switch.control, switch.drawn)
        edits += dict(switch.positions)[position]
    return edits


_PHASES = {"replace": 0, "lift": 1, "bridge": 4}


def _phase(edit: Edit) -> int:
    if edit.action == "fit":
        return 2 if edit.in_series else 3
    return _PHASES[edit.action]


class _Work:
    """The circuit on the bench while edits are carried out.

    Edits are carried out by kind (values, lifted parts, opened wires, fitted parts, bridges), not in the order
    of the files, so the order of mods cannot matter: a part fitted at a lug stays on that lug when a wire to it
    is opened.
    """

    def __init__(self, drawn: Circuit) -> None:
        self.amp = drawn.amp
        self.elements = {element.designator: element for element in drawn.elements}
        self.removed: dict[str, Element] = {}
        self.parts = dict(drawn.parts)
        self.nets = _Nets()
        self.drawn = drawn

    def carry_out(self, edits: list[Edit]) -> None:
        waiting = sorted(edits, key=lambda edit: (_phase(edit), edit.part))
        while waiting:
            later = [edit for edit in waiting if not self._possible(edit)]
            for edit in waiting:
                if edit not in later:
                    getattr(self, f"_{edit.action}")(edit)
            if len(later) == len(waiting):
                self._refuse(later[0])
            waiting = later
        merged = {name: replace(element, pins=tuple((pin, self.joined(net)) for pin, net in element.pins))
                  for name, element in self.elements.items()}  # fmt: skip
        self.elements = merged

    def joined(self, net: str) -> str:
        return self.nets.find(net)

    def outputs(self, drawn: Circuit) -> Mapping[str, str]:
        return {name: self.joined(net) for name, net in drawn.outputs.items()}

    def _element(self, designator: str) -> Element | None:
        return self.elements.get(designator) or self.removed.get(designator)

    def _net(self, place: str) -> str | None:
        designator, _, pin = place.partition(".")
        if not pin:
            return self.drawn.net_by_place.get(place)
        element = self._element(designator)
        return dict(element.pins).get(pin) if element else None

    def _needs(self, edit: Edit) -> list[str]:
        places = [edit.in_series] if edit.in_series else []
        return places + list(edit.between or ()) + [place for _, place in edit.pins]

    def _possible(self, edit: Edit) -> bool:
        parts = [edit.across] if edit.across else []
        parts += [edit.part] if edit.action in ("replace", "lift", "bridge") and edit.part else []
        return all(self._element(part) for part in parts) and all(self._net(place) for place in self._needs(edit))

    def _refuse(self, edit: Edit) -> None:
        for place in self._needs(edit):
            if not self._net(place):
                known = (*self.drawn.net_by_place, *(f"{name}.1" for name in self.elements))
                raise DescriptionError(f"{self._mod(edit)}: {shown(place)} is not a place{nearest(place, known)}")
        part = edit.across or edit.part
        raise DescriptionError(f"{self._mod(edit)}: {shown(part)} is not in the amp{nearest(part, self.elements)}")

    def _mod(self, edit: Edit) -> str:
        names = [mod.file or mod.name for mod in self.amp.mods if edit in mod.every_edit()]
        return names[0] if names else self.amp.file

    def _replace(self, edit: Edit) -> None:
        part = self.parts[edit.part]
        if isinstance(part, Socket):
            self.parts[edit.part] = replace(part, type=str(edit.value))
        elif isinstance(part, (Part, Pot)) and isinstance(edit.value, float):
            self.parts[edit.part] = replace(part, value=edit.value)
        else:
            raise DescriptionError(f"{self._mod(edit)}: {edit.part} cannot be given another value")

    def _lift(self, edit: Edit) -> None:
        if edit.part in self.elements:
            self.removed[edit.part] = self.elements.pop(edit.part)

    def _bridge(self, edit: Edit) -> None:
        if edit.between:
            first, second = (self._net(place) for place in edit.between)
        else:
            element = self._element(edit.part)
            first, second = two_ends(element) if element else (None, None)
            self._lift(edit)
        if first and second:
            self.nets.join(first, second)

    def _fit(self, edit: Edit) -> None:
        if edit.in_series:
            designator, _, pin = edit.in_series.partition(".")
            old = self._element(designator)
            if old is None:
                return
            opened = f"{edit.part.lower()}_1"
            ends = (opened, old.net(pin))
            moved = replace(old, pins=tuple((name, opened if name == pin else net) for name, net in old.pins))
            (self.elements if designator in self.elements else self.removed)[designator] = moved
        elif edit.across:
            across = self._element(edit.across)
            ends = two_ends(across) if across else ("", "")
        elif edit.between:
            ends = (self._net(edit.between[0]) or "", self._net(edit.between[1]) or "")
        else:
            ends = ("", "")
        pins = tuple((pin, self._net(place) or "") for pin, place in edit.pins) or self._two(edit, *ends)
        kind = self.parts[edit.part].kind
        self.elements[edit.part] = Element(edit.part, kind, pins, self._mod(edit))

    def _two(self, edit: Edit, first: str, second: str) -> tuple[tuple[str, str], ...]:
        if self.parts[edit.part].kind != "pot":
            return (("1", first), ("2", second))
        live, free = ("top", "bottom") if edit.wired == "falling" else ("bottom", "top")
        pins = {live: first, "wiper": second, free: second}
        return tuple((pin, pins[pin]) for pin in ("top", "wiper", "bottom"))


_CONDUCTS = {
    "resistor": (("1", "2"),), "inductor": (("1", "2"),), "loudspeaker": (("1", "2"),),
    "pot": (("top", "wiper"), ("wiper", "bottom")), "valve": (("plate", "cathode"),),
}  # fmt: skip


def _check_paths(wired: Circuit) -> None:
    nets = _Nets()
    for element in wired.elements:
        pins = dict(element.pins)
        if element.kind == "rail":
            nets.join(pins["1"], GROUND)
        for first, second in _CONDUCTS.get(element.kind, ()):
            nets.join(pins[first], pins[second])
        if element.kind == "transformer":
            for pin in ("primary_b", "centre"):
                nets.join(pins["primary_a"], pins.get(pin, pins["primary_a"]))
            for pin in pins:
                if pin.startswith("tap"):
                    nets.join(pins[pin], pins["common"])
    nets.join(INPUT, GROUND)
    for net, places in wired.places_by_net.items():
        if nets.find(net) != GROUND and any(place.split(".")[0] in {e.designator for e in wired.elements}
                                            for place in places):  # fmt: skip
            raise DescriptionError(
                f"{wired.amp.file}: {' and '.join(places[:4])} have no DC path to ground; "
                "a grid leak, a load or a wire is missing"
            )
