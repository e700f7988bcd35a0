"""The statements of a SPICE netlist as parts on nets."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path

from ...base.errors import shown
from ...base.quantities import FARAD, HENRY, OHM
from .coupled_inductors import Couplings
from .drawing import GROUND, Drawing
from .part_remarks import is_own_law, part_below
from .spice_lines import Line, spice_lines
from .spice_values import AskedAboutError, spice_number, spice_value
from .types import VALVE_PINS, load_type, near_type, pin_of, type_of

_TWO_PIN = {"r": ("resistor", "R", OHM), "c": ("capacitor", "C", FARAD), "l": ("inductor", "L", HENRY)}
_LONGEST_PART = 500  # lines
_GROUNDS = ("0", "gnd", "gnd!")
FET_PINS = ("drain", "gate", "source")
_ANALYSES = (".op", ".ac", ".dc", ".tran", ".noise", ".tf", ".sens", ".pz", ".disto", ".four", ".meas", ".measure",
             ".save", ".print", ".plot", ".probe", ".step", ".options", ".option", ".temp", ".ic")  # fmt: skip
_NOT_HERE = {
    "b": "a source after a formula", "e": "a controlled source", "f": "a controlled source", "g": "a controlled source",
    "h": "a controlled source", "i": "a current source", "k": "a coupling without its two inductors",
    "s": "a switch", "t": "a transmission line", "u": "a line", "w": "a switch",
    "o": "a transmission line", "a": "a code model", "y": "a line", "z": "a transistor of a kind there is not here",
    "q": "a bipolar transistor, which ampsim does not have", "n": "a model", "p": "a line",
}  # fmt: skip


class SpiceReader:
    """Reads the statements one after another into a drawing.

    Parameters
    ----------
    text : str
    drawing : Drawing
    beside : Path or None
        Folder of types of one's own.
    """

    def __init__(self, text: str, drawing: Drawing, beside: Path | None) -> None:
        self._drawing, self._beside = drawing, beside
        self._lines, self._described = spice_lines(text, drawing)
        self._used: set[str] = set()
        self._couplings = Couplings()

    def read(self) -> None:
        """Read everything; afterwards the drawing holds all that was found."""
        at = 0
        while at < len(self._lines):
            line = self._lines[at]
            at += 1
            if line.remark:
                part = self._lines[
                    at : at + part_below(line, self._lines[at : at + _LONGEST_PART], self._drawing, self._beside)
                ]
                self._used |= {each.words[-1].lower() for each in part if each.text.startswith("x")}
                at += len(part)
            else:
                self._read(line)
        self._couplings.into_transformers(self._drawing)
        for name, each in self._described.items():
            if name not in self._used or not is_own_law(each.lines, name, self._beside):
                why = "the law of ampsim is used instead" if name in self._used else "nothing that was read uses it"
                self._drawing.leave(each.first, each.lines[0], f"a subcircuit to line {each.last}: {why}")

    def _read(self, line: Line) -> None:
        words, letter = line.words, line.text[:1].lower()
        if letter == ".":
            self._directive(line)
        elif letter in _TWO_PIN and len(words) > 3:
            self._two_pin(line, letter)
        elif letter == "k" and len(words) > 3:
            self._couplings.lines.append(line)
        elif letter == "v" and len(words) > 2:
            self._source(line)
        elif letter == "x" and len(words) > 2:
            self._subcircuit(line)
        elif letter in "djm" and len(words) > 3:
            self._semiconductor(line, letter)
        else:
            self._drawing.leave(line.number, line.text, _NOT_HERE.get(letter, "not understood"))

    def _directive(self, line: Line) -> None:
        word = line.words[0].lower()
        if word in (".print", ".plot", ".save", ".probe"):
            nets = [each for before, each in zip(line.words, line.words[1:], strict=False) if before.lower() == "v"]
            self._drawing.printed += [self._net(each) for each in nets]
        if word in (".include", ".inc", ".lib"):
            why = "names another file, which is never opened"
        elif word == ".model":
            why = "a model; the laws of ampsim are used"
        else:
            why = "an analysis, which is never carried out" if word in _ANALYSES else "a directive, not read"
        self._drawing.leave(line.number, line.text, why)

    def _net(self, name: str) -> str:
        word = name.lower()
        return GROUND if word in _GROUNDS or word == self._drawing.answers.ground.lower() else word

    def _two_pin(self, line: Line, letter: str) -> None:
        kind, letters, quantity = _TWO_PIN[letter]
        name, first, second, *rest = line.words
        designator = self._drawing.designator(name, kind, letters, line.number)
        if letter == "l":
            self._couplings.coils[name.lower()] = designator
        values = [each.partition("=")[2] if each.lower().startswith(f"{letter}=") else each for each in rest]
        entry = self._drawing.answers.values.get(designator)
        if entry is None:
            try:
                entry = spice_value(values[0], quantity)
            except AskedAboutError as problem:
                self._drawing.ask(line.number, f"{name}: {problem}; say --value {designator}=VALUE")
        for other in values[1:]:
            if other.lower().startswith(("m=", "scale=")) and designator not in self._drawing.answers.values:
                self._drawing.ask(
                    line.number, f"{name}: {shown(other)} changes the value; say --value {designator}=VALUE"
                )
            elif not other.lower().startswith("noisy="):
                self._drawing.leave(line.number, line.text, f"of it {shown(other)} was not read")
        self._drawing.fit(designator, entry, {"1": self._net(first), "2": self._net(second)}, line.number)

    def _source(self, line: Line) -> None:
        name, *rest = line.words
        first, second = self._net(rest[0]), self._net(rest[1])
        shape = [each.lower() for each in rest[2:]]
        moving = any(each in ("ac", "sin", "sine", "pulse", "pwl", "exp", "sffm", "am") for each in shape)
        steady = [each for each in shape[: shape.index("ac") if "ac" in shape else None] if each != "dc"]
        try:
            number = steady[0].removeprefix("dc=") if steady else "0"
            volts = 0.0 if moving and number[0].isalpha() else spice_number(number)
        except AskedAboutError as problem:
            self._drawing.ask(line.number, f"{name}: {problem}; write its volts as a number")
            return
        live = [net for net in (first, second) if net != GROUND]
        if moving and volts:
            self._drawing.ask(line.number, f"{name} is a supply and a source of signals; make two of it")
        elif moving and len(live) == 1:
            self._drawing.sources += live
        elif volts == 0.0 and not moving:
            self._drawing.wires.join(first, second)
            self._drawing.assume(line.number, line.text, "0 V, so a wire")
        elif volts and len(live) == 1 and not moving:
            self._drawing.hold(live[0], volts if second == GROUND else -volts, line.number)
        else:
            self._drawing.leave(line.number, line.text, "a source that does not end on ground")

    def _subcircuit(self, line: Line) -> None:
        own = [each for each in line.words[1:] if "=" not in each and each.lower() != "params:"]
        name, nets = own[-1], own[:-1]
        valve = self._drawing.answers.types.get(name) or type_of(name, "valves", self._beside)
        if not valve:
            self._unknown(line, name, near_type(name, "valves"))
            return
        pins = self._pins(line, name, VALVE_PINS[load_type("valve", valve, self._beside).family], len(nets))
        if pins:
            self._used.add(name.lower())
            designator = self._drawing.designator(line.words[0], "valve", "V", line.number)
            at = {pin: self._net(net) for pin, net in zip(pins, nets, strict=False) if pin}
            self._drawing.fit(designator, valve, at, line.number)

    def _unknown(self, line: Line, name: str, near: str) -> None:
        if near:
            self._drawing.ask(line.number, f"{shown(name)}: probably {near}; say --as {name}={near}")
        else:
            self._drawing.leave(
                line.number, line.text, f"{shown(name)} is no valve known here; --as {name}=TYPE names one"
            )

    def _pins(self, line: Line, name: str, pins: tuple[str, ...], given: int) -> Sequence[str]:
        """The pin at each net of an instance, "" for one that is left out; none when that must be asked."""
        described = self._described.get(name.lower())
        told = self._drawing.answers.pins.get(name, described.pins if described else ())
        found = [pin_of(each, (*pins, "suppressor")) for each in told]
        if sorted(filter(None, found)) in (sorted(pins), sorted((*pins, "suppressor"))) and len(told) == given:
            return [pin if pin in pins else "" for pin in found]
        if not any(found) and len(pins) == 3 and given == 3:
            self._drawing.assume(line.number, line.text, f"its pins are {', '.join(pins)} in this order")
            return pins
        self._drawing.ask(
            line.number, f"{shown(name)}: which pin is which? Say --pins {name}={','.join(pins)} in its order"
        )
        return ()

    def _semiconductor(self, line: Line, letter: str) -> None:
        kind, letters = ("diode", "D") if letter == "d" else ("transistor", "Q")
        pins = ("anode", "cathode") if letter == "d" else FET_PINS
        names = line.words[1 + len(pins) + (letter == "m" and len(line.words) > 5) :]
        if not names:
            self._drawing.leave(line.number, line.text, "not understood")
            return
        model = names[0]
        known = self._drawing.answers.types.get(model) or type_of(model, "semiconductors", self._beside)
        if not known:
            self._drawing.leave(line.number, line.text, f"{shown(model)} is no semiconductor known here; "
                                f"--as {model}=TYPE names one")  # fmt: skip
            return
        designator = self._drawing.designator(line.words[0], kind, letters, line.number)
        at = {pin: self._net(net) for pin, net in zip(pins, line.words[1:], strict=False)}
        self._drawing.fit(designator, known, at, line.number)
