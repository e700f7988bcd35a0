"""Which elements of a circuit follow a knob, or a part whose value is set, and what each is at a place of the dials."""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from typing import Any, cast

import numpy as np
from numpy.typing import NDArray

from ..circuit.amp import Amp, Part, Pot
from ..circuit.build import Circuit, circuit_at
from ..circuit.designators import element_name
from ..circuit.pot_tracks import track_stretches
from ..circuit.stages.template import Element
from ..circuit.tapers import track_law
from ..circuit.values import with_values
from .analyses import FrequencySweep
from .netlist import END_OHMS, Netlist, build, slot_value

Settings = Mapping[str, float]
"""Where dials stand: "knob gain" to a rotation [ratio], "part C101" to a value [ohm, F or H]."""
_KINDS = ("resistor", "capacitor", "inductor", "pot")


@dataclass(frozen=True)
class TurnedPart:
    """An element between two places, whose value follows dials.

    Attributes
    ----------
    port : (str, str)
        The two places.
    part : Part or Pot
        With the value at which a table is taken.
    stretch : str
        Of a pot which stretch of its track; else "".
    knob, value : str
        The dial that turns the pot, and the one that sets the value of the part or track; "" for none.
    rotation : float
        Of the pot where a table is taken, 0 where it turns [ratio].
    span : (float, float)
        The ends of the dial that sets its value [ohm, F or H].
    """

    port: tuple[str, str]
    part: Part | Pot
    stretch: str = ""
    knob: str = ""
    value: str = ""
    rotation: float = 0.0
    span: tuple[float, float] = (0.0, 0.0)

    @property
    def dials(self) -> tuple[str, ...]:
        """What it follows."""
        return tuple(each for each in (self.knob, self.value) if each)

    def places_of(self, dial: str) -> tuple[float, float, float]:
        """One of its dials at an end, in the middle and at the other end: rotation [ratio] or value [ohm, F or H]."""
        if dial == self.knob:
            return 0.0, 0.5, 1.0
        least, most = self.span
        return least, math.sqrt(least * most), most

    @property
    def at_table(self) -> float:
        """Its value where a table is taken, the knob at zero [ohm, F or H]."""
        return self.size({})

    @property
    def in_series(self) -> bool:
        """Whether it is counted as resistance in series with the little that a table is taken with.

        A short that opens and an opening that closes then both only add: what is left of a signal behind a pot at
        zero is no small difference of large numbers.
        """
        return self.part.kind == "pot" and self.at_table <= END_OHMS

    def size(self, at: Settings) -> float:
        """Its value [ohm, F or H]; a dial that is not named stands as where a table is taken."""
        value = at.get(self.value, self.part.value)
        if isinstance(self.part, Part):
            return value
        pot = Pot(self.part.designator, value, self.part.taper, "turned", 0.0, tap=self.part.tap)
        return slot_value(pot, self.stretch, {"turned": at.get(self.knob, self.rotation)})

    def admittance(self, size: float, frequency: NDArray[np.float64]) -> NDArray[np.complex128]:
        """Its admittance with a value [ohm, F or H] at frequencies [Hz], in siemens."""
        s = 2j * np.pi * frequency
        if self.part.kind == "capacitor":
            return np.asarray(s * size)
        coil = cast("Part", self.part).resistance if self.part.kind == "inductor" else 0.0
        return np.asarray(1.0 / (coil + s * size) if self.part.kind == "inductor" else 1.0 / size + 0.0 * s)

    def change(self, at: Settings, frequency: NDArray[np.float64]) -> NDArray[np.complex128]:
        """What it is beyond what it is where a table is taken: across it [S], or `in_series` [ohm]."""
        if self.in_series:
            return np.full(frequency.size, self.size(at) - self.at_table, complex)
        return self.admittance(self.size(at), frequency) - self.admittance(self.at_table, frequency)

    def direct_change(self, at: Settings) -> float:
        """How much more it conducts at rest than where a table is taken [S]."""
        if self.part.kind in ("capacitor", "inductor"):
            return 0.0
        return 1.0 / self.size(at) - 1.0 / self.at_table

    def facts(self) -> dict[str, Any]:
        """What `port_tables.js` needs to do the same."""
        found: dict[str, Any] = {"kind": self.part.kind, "value": self.value, "base": self.part.value}
        if isinstance(self.part, Part):
            return found | {"coil": self.part.resistance}
        base, reverse = track_law(self.part.taper)
        track = {"law": base, "reverse": reverse, "tap": self.part.tap, "least": END_OHMS}
        return (
            found
            | track
            | {"stretch": self.stretch, "knob": self.knob, "rotation": self.rotation, "series": self.in_series}
        )


def knob_dial(name: str) -> str:
    """The key of a knob among all dials: a part and a control may share a name."""
    return f"knob {name}"


def part_dial(designator: str) -> str:
    """The key of a part's value among all dials."""
    return f"part {designator}"


def base_value(amp: Amp, designator: str, span: tuple[float, float]) -> float:
    """The value [ohm, F or H] of a span with which a table is taken: the one that conducts least."""
    return span[0] if amp.part_by_designator[designator].kind == "capacitor" else span[1]


def turned_parts(
    amp: Amp,
    position: Mapping[str, float | str],
    knobs: frozenset[str],
    spans: Mapping[str, tuple[float, float]],
) -> list[TurnedPart]:
    """The elements that follow some knobs and some parts' values at a position of the switches.

    Parameters
    ----------
    amp : Amp
        With the values that the table is taken with.
    position : mapping
        Where everything stands.
    knobs : frozenset of str
        Controls that turn. One that a switch holds at its end turns nothing.
    spans : mapping
        Designator to the least and the most value [ohm, F or H], of parts that `follows` lets through.
    """
    wired, setting = circuit_at(amp, position), amp.setting(position)
    held = {name: at for name, at in setting.items()
            if name not in knobs or amp.setting({**position, name: 1.0})[name] != 1.0}  # fmt: skip
    return [each for element in wired.elements for each in _of_element(wired, element, held, spans)]


def _of_element(
    wired: Circuit,
    element: Element,
    held: Mapping[str, float | str],
    spans: Mapping[str, tuple[float, float]],
) -> Iterator[TurnedPart]:
    part, name = wired.parts.get(element.designator), element.designator
    value, span = part_dial(name) if name in spans else "", spans.get(name, (0.0, 0.0))
    if isinstance(part, Pot):
        knob, rotation = "" if part.control in held else knob_dial(part.control), held.get(part.control, 0.0)
        for stretch, *pins in track_stretches(element) if knob or value else ():
            if element.net(pins[0]) != element.net(pins[1]):
                yield TurnedPart(
                    (f"{name}.{pins[0]}", f"{name}.{pins[1]}"),
                    part,
                    stretch,
                    knob,
                    value,
                    cast("float", rotation),
                    span,
                )
    elif isinstance(part, Part) and value and element.net("1") != element.net("2"):
        yield TurnedPart((f"{name}.1", f"{name}.2"), part, value=value, span=span)


def follows(amp: Amp, position: Mapping[str, float | str], designator: str, span: tuple[float, float]) -> bool | None:
    """Whether a part's value changes nothing in the netlist but that part; None when it changes nothing at all.

    A switch may put another part in its place; a supply that is averaged, or a core that saturates, changes with it.

    Parameters
    ----------
    amp : Amp
    position : mapping
        Where everything stands.
    designator : str
        A part with a value.
    span : (float, float)
        Two values that it can have [ohm, F or H].
    """
    sweep = FrequencySweep()
    one, other = (build(with_values(amp, {designator: value}), position, sweep, ("speaker",)) for value in span)
    if one == other:
        return None
    part = amp.part_by_designator[designator]
    if one.form.skeleton != other.form.skeleton or part.kind not in _KINDS:
        return False
    if isinstance(part, Part) and part.saturation_amps:
        return False
    return _only(one, other, designator, part, span)


def _only(one: Netlist, other: Netlist, designator: str, part: object, span: tuple[float, float]) -> bool:
    before, after = one.value_by_part, other.value_by_part
    moved = {name for name, value in before.items() if after[name] != value}
    if isinstance(part, Pot):
        return all(name.startswith(f"r{designator.lower()}_") for name in moved)
    name = element_name(designator)
    return moved == {name} and math.isclose(before[name], span[0]) and math.isclose(after[name], span[1])
