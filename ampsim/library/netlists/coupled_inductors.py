"""Inductors that K lines of a SPICE netlist couple, as one transformer of an amp file.

Two windings L1 and L2 coupled by k are a leakage of (1 - k^2) L1 before an inductance of k^2 L1 with the turns
k sqrt(L1 / L2) to 1 (any textbook of coupled circuits): which is how ampsim writes a transformer. What else a
transformer of ampsim has, resistances and losses, is next to nothing then, for a netlist has those as parts.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any

from ...base.quantities import HENRY, parse_value
from ...circuit.nets import Groups
from .drawing import Drawing
from .spice_lines import Line
from .spice_values import AskedAboutError, spice_number

# The impedance that the secondary is described by [ohm]: any, only the turns matter.
_LOAD = 8.0
# What ampsim's own windings are coupled by, which leaves as much leakage besides.
_OWN_COUPLING = 0.99999
_NOTHING = {"primary_resistance": 1e-3, "secondary_resistance": 1e-3, "capacitance": 1e-14, "damping": 1e9,
            "core_loss": 1e9}  # fmt: skip
_ALIKE = 0.02
_MOST_MORE = 4


@dataclass
class _Coil:
    """An inductor: designator, inductance [H], the net at its dot and the other one."""

    name: str
    henries: float
    dot: str
    far: str


@dataclass
class Couplings:
    """The K lines of a netlist, and what its inductors are called in the drawing."""

    coils: dict[str, str] = field(default_factory=dict)
    lines: list[Line] = field(default_factory=list)

    def into_transformers(self, drawing: Drawing) -> None:
        """Put transformers in the place of coupled inductors; what cannot be one is left out with its reason."""
        factors: dict[frozenset[str], float] = {}
        groups: Groups[str] = Groups(lambda name: name)
        first: dict[str, Line] = {}
        for line in self.lines:
            names = [self.coils.get(word.lower(), "") for word in line.words[1:-1]]
            try:
                factor = spice_number(line.words[-1])
            except AskedAboutError as problem:
                drawing.ask(line.number, f"{line.words[0]}: {problem}; write its coupling as a number")
                continue
            if len(names) < 2 or "" in names or not 0.0 < factor <= 1.0:
                drawing.leave(line.number, line.text, "couples what is no inductor of the netlist, or by no share of 1")
                continue
            for number, one in enumerate(names):
                for other in names[number + 1 :]:
                    factors[frozenset((one, other))] = factor
                    groups.join(one, other)
            first.setdefault(groups.find(names[0]), line)
        members: dict[str, list[str]] = {}
        for name in dict.fromkeys(name for pair in factors for name in sorted(pair)):
            members.setdefault(groups.find(name), []).append(name)
        for names in members.values():
            line = next(each for key, each in first.items() if groups.find(key) == groups.find(names[0]))
            _fit(drawing, [_coil(drawing, name) for name in sorted(names)], factors, line)


def _coil(drawing: Drawing, name: str) -> _Coil:
    entry, pins = drawing.parts[name]
    return _Coil(name, parse_value(entry, HENRY), pins["1"], pins["2"])


def _fit(drawing: Drawing, coils: Sequence[_Coil], factors: Mapping[frozenset[str], float], line: Line) -> None:
    ordered = sorted(coils, key=lambda each: -each.henries)
    primary = _halves(ordered) or ordered[:1]
    others = [each for each in ordered if each not in primary]
    pairs = [frozenset((one.name, other.name)) for n, one in enumerate(coils) for other in coils[n + 1 :]]
    if not 1 <= len(others) <= 1 + _MOST_MORE or any(pair not in factors for pair in pairs):
        why = "more windings than a transformer has, or not each coupled to each" if others else "one winding alone"
        drawing.leave(line.number, line.text, f"{why}: describe the transformer as a part T.. of the amp file")
        return
    second, *more = others
    whole = _mutual(primary, primary, factors)
    seen = _mutual(primary, [second], factors)
    factor = min(seen / math.sqrt(whole * second.henries), 1.0)
    magnetising = factor * factor * whole
    leakage = max((1.0 - factor * factor) * whole - (1.0 - _OWN_COUPLING**2) * magnetising, 1e-9)
    ratio = factor * math.sqrt(whole / second.henries)
    entry: dict[str, Any] = {"ratio": ratio, "taps": [_LOAD], "inductance": magnetising, "leakage": leakage}
    entry |= _NOTHING
    pins = {"primary_a": primary[0].dot, "primary_b": primary[-1].far, "common": second.far, "tap8": second.dot}
    if len(primary) == 2:
        pins["centre"] = primary[0].far
    windings = []
    for number, coil in enumerate(more, 1):
        ratio = magnetising / _mutual(primary, [coil], factors)
        windings.append({"name": f"w{number}", "ratio": ratio, "resistance": 1e-3})
        pins |= {f"w{number}_1": coil.dot, f"w{number}_2": coil.far}
    if windings:
        entry["windings"] = windings
    for each in coils:
        del drawing.parts[each.name]
    name = drawing.designator(f"T{line.words[0][1:]}", "transformer", "T", line.number)
    drawing.fit(name, entry, pins, line.number)
    drawing.assume(line.number, line.text, f"{name}: {' and '.join(each.name for each in coils)} as one transformer, "
                   f"{factor:.4g} of the primary's flux in the secondary")  # fmt: skip


def _halves(ordered: Sequence[_Coil]) -> list[_Coil]:
    """The two largest in the order of a winding with a centre, where they are alike and go on from one another."""
    if len(ordered) < 3 or abs(ordered[0].henries / ordered[1].henries - 1.0) > _ALIKE:
        return []
    one, other = ordered[:2]
    return next(([first, then] for first, then in ((one, other), (other, one)) if first.far == then.dot), [])


def _mutual(some: Sequence[_Coil], others: Sequence[_Coil], factors: Mapping[frozenset[str], float]) -> float:
    """The inductance [H] between windings in series; of a winding with itself its own."""
    return sum(_between(one, other, factors) for one in some for other in others)


def _between(one: _Coil, other: _Coil, factors: Mapping[frozenset[str], float]) -> float:
    if one is other:
        return one.henries
    return factors[frozenset((one.name, other.name))] * math.sqrt(one.henries * other.henries)
