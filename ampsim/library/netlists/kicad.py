"""A netlist of KiCad, as its schematic editor writes it, as parts on nets."""

from __future__ import annotations

import re
from collections.abc import Mapping
from dataclasses import dataclass, field
from itertools import pairwise
from pathlib import Path
from typing import Any

from ...base.errors import DescriptionError, shown
from ...base.quantities import OHM, Quantity, format_value, parse_value
from ...circuit.designators import KINDS, kind_of
from ..parts import PINS, QUANTITY
from .drawing import GROUND, Drawing
from .s_expressions import Expression, read_expression
from .spice_parts import FET_PINS
from .types import VALVE_PINS, load_type, near_type, pin_of, sections_of, type_of

_GROUNDS = ("gnd", "agnd", "gnda", "earth", "gndref", "chassis", "0")
_INPUTS = ("in", "input")
# As KiCad's own symbols number them: of a potentiometer 2 is the wiper, of a diode 1 the cathode.
_BY_NUMBER = {
    "pot": {"1": "bottom", "2": "wiper", "3": "top"},
    "diode": {"1": "cathode", "2": "anode"},
}
_WINDINGS = {
    "primary_a": ("aa", "pr1", "p1", "pria"), "primary_b": ("ab", "pr2", "p2", "prib"), "centre": ("pm", "ct", "pc"),
    "tap": ("sa", "s1", "sec"), "common": ("sb", "s2", "com"),
}  # fmt: skip
_VALUE_AND_REST = re.compile(r"\s*([^/\s]*(?:\s+[kMnupm]?(?:ohms?|F|H)\b)?)(.*)", re.DOTALL)
# Of a nominal impedance, what a voice coil usually measures.
_COIL_SHARE = 0.8


@dataclass
class _Component:
    """One component: where it stands, what is beside it, and its pins on nets, each with its name."""

    ref: str
    value: str
    symbol: str
    line: int
    nets: dict[str, str] = field(default_factory=dict)
    names: dict[str, str] = field(default_factory=dict)

    @property
    def words(self) -> str:
        """As a remark shows it."""
        return f"{self.ref} {self.value} {self.symbol}"


def read_kicad(text: str, drawing: Drawing, beside: Path | None) -> None:
    """Read a netlist of KiCad into a drawing.

    Parameters
    ----------
    text : str
    drawing : Drawing
    beside : Path or None
        Folder of types of one's own.

    Raises
    ------
    DescriptionError
        When the text is no such netlist.
    """
    top = read_expression(text)
    if top.name != "export" or not top.part("components"):
        raise DescriptionError("no netlist of a schematic: (export ... (components ...) (nets ...)) is expected")
    components = {each.ref: each for each in map(_component, top.part("components").all("comp"))}
    _connect(top, components, drawing)
    for each in components.values():
        _Fitter(each, drawing, beside).fit()


def _component(comp: Expression) -> _Component:
    return _Component(comp.word("ref"), comp.word("value"), comp.word("libsource", "part"), comp.line)


def _connect(top: Expression, components: Mapping[str, _Component], drawing: Drawing) -> None:
    symbols = {
        each.word("part"): {pin.word("num"): pin.word("name") for pin in each.part("pins").all("pin")}
        for each in top.part("libparts").all("libpart")
    }
    for net in top.part("nets").all("net"):
        raw = net.word("name") or f"net_{net.word('code')}"
        plain = raw.rpartition("/")[2]
        told = drawing.answers.ground
        grounded = raw == told or (not told and plain.lower() in _GROUNDS)
        if not drawing.answers.input and plain.lower() in _INPUTS:
            drawing.sources.append(raw)
        for node in net.all("node"):
            part = components.get(node.word("ref"))
            if part is None:
                drawing.leave(node.line, f"{node.word('ref')}.{node.word('pin')}", "a pin of no component")
                continue
            pin = node.word("pin")
            part.nets[pin] = GROUND if grounded else raw
            part.names[pin] = node.word("pinfunction") or symbols.get(part.symbol, {}).get(pin, "")


class _Fitter:
    """Makes one component a part of the drawing, or notes why not."""

    def __init__(self, part: _Component, drawing: Drawing, beside: Path | None) -> None:
        self._part, self._drawing, self._beside = part, drawing, beside
        self._ref = part.ref
        self._value = str(drawing.answers.values.get(part.ref, part.value))

    def fit(self) -> None:
        """Fit it by its kind."""
        kind = kind_of(self._ref)
        valve = self._type("valves")
        if valve and kind not in QUANTITY:
            self._valve(valve)
        elif re.fullmatch(r"F[0-9]+", self._ref):
            for one, other in pairwise(self._part.nets.values()):
                self._drawing.wires.join(one, other)
            self._assume("a fuse, so a wire")
        elif kind in QUANTITY:
            self._put(self._number(QUANTITY[kind]), {"1": "1", "2": "2"})
        elif kind == "pot":
            self._assume("pin 3 is the end that the wiper reaches turned up")
            self._put(self._written(), _BY_NUMBER["pot"])
        elif kind == "loudspeaker":
            ohms = self._number(OHM) or 0.0
            self._assume(f"a coil of {_COIL_SHARE * ohms:g} ohm, usual for it")
            self._put({"resistance": _COIL_SHARE * ohms}, {"1": "1", "2": "2"})
        elif kind == "transformer":
            self._transformer()
        elif kind in ("diode", "transistor"):
            self._semiconductor(kind)
        elif kind == "valve":
            near = near_type(self._part.value, "valves") or near_type(self._part.symbol, "valves")
            guess = f"probably {near}; " if near else ""
            self._ask(f"({self._part.value}) {guess}say --as {self._ref}={near or 'TYPE'}")
        else:
            nets = ", ".join(sorted(set(self._part.nets.values()) - {GROUND}))
            self._leave(f"no part of ampsim; it is on {nets or 'no net'}")

    def _ask(self, text: str) -> None:
        self._drawing.ask(self._part.line, f"{self._ref}: {text}")

    def _assume(self, text: str) -> None:
        self._drawing.assume(self._part.line, self._part.words, text)

    def _leave(self, text: str) -> None:
        self._drawing.leave(self._part.line, self._part.words, text)

    def _type(self, folder: str) -> str:
        answers = self._drawing.answers.types
        words = (self._ref, self._part.value, self._part.symbol)
        known = (answers.get(word) or type_of(word, folder, self._beside) for word in words)
        return next(filter(None, known), "")

    def _written(self) -> str:
        """Its value without the rating or tolerance behind it, which is noted."""
        value, rest = _VALUE_AND_REST.fullmatch(self._value).groups()  # type: ignore[union-attr]
        if rest.strip():
            self._assume(f"{shown(rest.strip(' /'))} is no part of its value")
        return str(value)

    def _number(self, quantity: Quantity) -> float | None:
        try:
            return parse_value(self._written(), quantity, self._ref)
        except DescriptionError as problem:
            self._drawing.ask(self._part.line, f"{problem}; say --value {self._ref}=VALUE")
            return None

    def _put(self, entry: Any, names: Mapping[str, str], optional: tuple[str, ...] = (), ref: str = "") -> None:
        """Fit the part where each of its pins is on a net."""
        found = {pin: self._part.nets[number] for number, pin in names.items() if number in self._part.nets}
        missing = [pin for pin in names.values() if pin not in found and pin not in optional]
        if missing:
            self._ask(f"{', '.join(missing)} of it are on no net")
        else:
            self._drawing.fit(ref or self._own(kind_of(self._ref)), entry, found, self._part.line)

    def _own(self, kind: str) -> str:
        letters = next(each for each, known in KINDS.items() if known == kind)
        return self._drawing.designator(self._ref, kind, letters, self._part.line)

    def _valve(self, valve: str) -> None:
        data = load_type("valve", valve, self._beside)
        pins = VALVE_PINS[data.family]
        by_name = {number: pin_of(name, pins) for number, name in self._part.names.items()}
        answers = self._drawing.answers.pins
        told = answers.get(self._ref) or answers.get(self._part.value) or ()
        units = sections_of(data)
        if told:
            units = ({str(number): pin for number, pin in enumerate(told, 1) if pin in pins},)
        elif not units and sorted(filter(None, by_name.values())) == sorted(pins):
            units = ({number: pin for number, pin in by_name.items() if pin},)
        wired = [unit for unit in units if set(unit) <= set(self._part.nets)]
        if not wired:
            self._ask(
                f"({valve}) which pin is which? Say --pins {self._ref}={','.join(pins)} in the order of its numbers"
            )
            return
        base = self._own("valve")
        double = len(units) > 1 and base[-1].isdigit()
        for unit in wired:
            self._put(valve, unit, ref=base + ("AB"[units.index(unit)] if double else ""))
            for number, pin in unit.items():
                if not told and by_name.get(number, "") not in ("", pin):
                    self._ask(f"pin {number} is called {by_name[number]}, and is the {pin} by its base; say --pins "
                              f"{self._ref}=...")  # fmt: skip

    def _transformer(self) -> None:
        loads = re.fullmatch(r"\s*([^\s:/]+)\s*[:/]\s*([^\s:/]+)\s*", self._value)
        plain = {number: re.sub("[^a-z0-9]", "", name.lower()) for number, name in self._part.names.items()}
        names = {number: pin for number, name in plain.items() for pin, words in _WINDINGS.items() if name in words}
        try:
            primary, tap = (parse_value(each, OHM, self._ref) for each in (loads.groups() if loads else ("", "")))
        except DescriptionError as problem:
            self._ask(f"{problem}; say its load and the loudspeaker's, such as --value {self._ref}=8k:8")
            return
        if not {"primary_a", "primary_b", "tap", "common"} <= set(names.values()):
            self._ask(
                "its pins are not called as KiCad's symbols of transformers call them, such as PR1, PM, PR2, S1, S2"
            )
            return
        named = {number: f"tap{format_value(tap, OHM)}" if pin == "tap" else pin for number, pin in names.items()}
        self._put({"primary": primary, "taps": [tap]}, named, optional=("centre",))

    def _semiconductor(self, kind: str) -> None:
        known = self._type("semiconductors")
        pins = PINS["diode"] if kind == "diode" else FET_PINS
        by_name = {number: pin_of(name, pins) for number, name in self._part.names.items()}
        if not known:
            self._leave(f"no semiconductor known here; say --as {self._ref}=TYPE")
        elif sorted(filter(None, by_name.values())) == sorted(pins):
            self._put(known, {number: pin for number, pin in by_name.items() if pin})
        elif kind == "diode":
            self._assume("pin 1 is the cathode, as KiCad's own symbols have it")
            self._put(known, _BY_NUMBER["diode"])
        else:
            self._ask("its pins have no names; which is which?")
