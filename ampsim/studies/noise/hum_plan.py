"""Hum of one amp at one position: where ripple and leakage enter, what is run, what the answers mean."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Any, cast

import numpy as np
from numpy.typing import NDArray

from ...base.errors import DescriptionError, EngineError, shown
from ...circuit.amp import Part, Rail, Socket
from ...circuit.build import Circuit
from ...circuit.stages.template import GROUND, Element
from ...circuit.supply.averaged import supplied
from ...circuit.valves.description import Valve
from ...circuit.valves.emission import stronger_valve
from ...simulation.analyses import Analysis, OperatingPoint, PortSweep, RippleSweep
from ...simulation.facts import Fact
from ...simulation.netlist import Netlist, node_vector, rail_vector, write
from ...simulation.ngspice.engine import Arrays
from ...simulation.ports import driven_by
from ...simulation.request import Case
from ...simulation.supplies import supplies_at_rest

Complex = NDArray[np.complex128]
HARMONICS = 10
_NOTHING = 1e-10  # of the loudest contribution: what is fainter is rounding


@dataclass(frozen=True)
class Mains:
    """What is assumed of mains, heaters and output valves; all of it common practice without a source.

    `frequency` of the mains [Hz]. `heater_volts` [V rms] between a heater's live side and ground, half of 6.3 V;
    `leak_ohms` from there to each cathode [ohm]. `mismatch`: by this fraction the second valve of an output pair draws
    more plate current than the first; a perfectly matched pair would cancel the ripple at the transformer's centre tap,
    which real ones do not.
    """

    frequency: float = 50.0
    heater_volts: float = 3.15
    leak_ohms: float = 10e6
    mismatch: float = 0.05

    def __post_init__(self) -> None:
        limits = {"frequency": (10.0, 1000.0), "heater_volts": (0.0, 100.0), "leak_ohms": (1e3, 1e12),
                  "mismatch": (0.0, 0.5)}  # fmt: skip
        for name, (low, high) in limits.items():
            if not low <= getattr(self, name) <= high:
                raise DescriptionError(f"hum: {name} of {shown(getattr(self, name))}; expected {low:g} to {high:g}")


ASSUMED = Fact("assumed", Mains)
"""What was assumed of mains, heaters and output valves."""


@dataclass(frozen=True)
class Found:
    """The hum of one amp at one position: [V rms] by name of node, valve and supply."""

    hum: Complex
    ripple: Mapping[str, Complex]
    contribution: Mapping[str, Complex]
    heater: Mapping[str, float]
    drawn: Mapping[str, float]
    swing: Mapping[str, float]


@dataclass(frozen=True, eq=False)
class Heard:
    """What is heard of one amp at one position.

    `drawn` from each reservoir's source at rest [A]. `direct`: volts at places for 1 V in a reservoir's source, `held`:
    at the output for 1 V at a node while an ideal source holds every node; both at the harmonics. `leaks`: volts at the
    output for 1 A into a valve's cathode [ohm], at the mains frequency.
    """

    drawn: Mapping[str, float]
    direct: Mapping[str, Mapping[str, Complex]]
    held: Mapping[str, Complex]
    leaks: Mapping[str, float]


class Plan:
    """One amp at one position: what to run, and what the answers mean."""

    def __init__(self, case: Case, mains: Mains, output: str) -> None:
        self.case, self.output = case, output
        # A supply from the mains has its own frequency and its own ripple; of a half wave the estimate stands.
        found = supplies_at_rest(case.amp, case.position)
        self.periods = {each.rail: each.period.volts[each.source.smooth][:-1, 0] for each in found
                        if each.period.seconds * each.source.frequency < 0.75}  # fmt: skip
        self.mains = replace(mains, frequency=found[0].source.frequency) if found else mains
        self.setting = case.setting
        self.wired: Circuit = supplied(case.wired)
        self.apart = _mismatch(self.wired, mains.mismatch)
        self.sources = {rail.name: farads for rail in self.wired.amp.rails if (farads := self._reservoir(rail)) > 0.0}
        self.nodes = _nodes(self.wired)
        self.holders = self._holders()
        self.frequency = 2.0 * mains.frequency * np.arange(1, HARMONICS + 1)
        self.cathodes = {
            element.designator: f"{element.designator}.cathode"
            for element in self.wired.elements
            if element.kind == "valve" and element.net("cathode") != GROUND
        }

    def _reservoir(self, rail: Rail) -> float:
        """Capacitance [F] from a rail with a source straight to ground; 0 for other rails."""
        ends = {self.wired.net(rail.name), GROUND}
        return sum(
            cast("Part", self.wired.parts[element.designator]).value
            for element in self.wired.elements
            if rail.volts is not None and element.kind == "capacitor" and {net for _, net in element.pins} == ends
        )

    def _write(self, analysis: Analysis, nodes: tuple[str, ...], wired: Circuit | None = None) -> Netlist:
        at_rest = isinstance(analysis, OperatingPoint)
        return write(wired or self.wired, self.setting, analysis, nodes, at_rest, self.apart)

    @property
    def runs(self) -> int:
        """How many netlists it takes."""
        return 1 + len(self.sources) + len(self.holders) + len(self.cathodes)

    def at_rest(self) -> Netlist:
        """The netlist of the operating point."""
        return self._write(OperatingPoint(), (*self.nodes, self.output))

    def sweeps(self, rest: Arrays) -> list[Netlist]:
        """Ripple from each reservoir's source; from each node with all of them held; a current into each cathode."""
        sweep = RippleSweep(start=2.0 * self.mains.frequency, harmonics=HARMONICS)
        held, listen = self._held(rest), (*self.nodes, self.output)
        netlists = [self._write(replace(sweep, rail=name), listen) for name in self.sources]
        netlists += [self._write(replace(sweep, rail=holder), (self.output,), held) for holder in self.holders.values()]
        ports = tuple((cathode, "ground") for cathode in self.cathodes.values())
        leak = PortSweep(self.mains.frequency, 10.0 * self.mains.frequency, 1, ports)
        silent = self._write(leak, (self.output,)) if ports else None
        return netlists + [driven_by(silent, f"iport_{n} ac") for n in range(len(ports)) if silent]

    def _holders(self) -> dict[str, str]:
        """Every supply node to the source that holds it; also the far side of what stands before a reservoir."""
        held = {element.net("1"): element.designator for element in self.wired.elements if element.kind == "rail"}
        found = {f"{name} before its filter": name for name in self.sources if self.wired.net(name) not in held}
        return found | {name: held.get(self.wired.net(name), f"{name}_held") for name in self.nodes}

    def _held(self, rest: Arrays) -> Circuit:
        """The circuit with an ideal source on every supply node, at its volts at rest."""
        amp, wired = self.wired.amp, self.wired
        new = [name for name in self.nodes if self.holders[name] == f"{name}_held"]
        volts = [float(rest.vectors[node_vector(wired, name)][0]) for name in new]
        rails = [Rail(self.holders[name], each, "", (), ()) for name, each in zip(new, volts, strict=True)]
        elements = [Element(self.holders[name], "rail", (("1", wired.net(name)),), "supply") for name in new]
        whole = replace(amp, rails=(*amp.rails, *rails))
        return replace(wired, amp=whole, elements=(*wired.elements, *elements))

    def heard(self, rest: Arrays, answers: Sequence[Arrays]) -> Heard:
        """What ngspice's answers to `at_rest` and `sweeps` say."""
        vector = node_vector(self.wired, self.output)
        drawn = {name: -float(rest.vectors[rail_vector(name)][0]) for name in self.sources}
        straight = dict(zip(self.sources, answers, strict=False))
        held = dict(zip(self.holders, answers[len(straight) :], strict=False))
        leaks = zip(self.cathodes, answers[len(straight) + len(held) :], strict=True)
        places = {place: node_vector(self.wired, place) for place in (*self.nodes, *self.sources, self.output)}
        direct = {name: {place: each.vectors[own] for place, own in places.items() if own in each.vectors}
                  for name, each in straight.items()}  # fmt: skip
        ohms = {name: abs(each.vectors[vector][0]) for name, each in leaks}
        return Heard(drawn, direct, {name: each.vectors[vector] for name, each in held.items()}, ohms)

    def hum(self, heard: Heard) -> Found:
        """The hum that follows from what was heard."""
        drawn = heard.drawn
        swing = {name: drawn[name] / (2.0 * self.mains.frequency * farads) for name, farads in self.sources.items()}
        swing |= {name: float(np.ptp(volts)) for name, volts in self.periods.items() if name in swing}
        order = np.arange(1, HARMONICS + 1)
        total, ripple = np.zeros(HARMONICS, complex), {name: np.zeros(HARMONICS, complex) for name in self.holders}
        for name, volts in heard.direct.items():
            # The source's own ripple is such that the reservoir has the ripple estimated.
            estimate = swing[name] / (math.sqrt(2.0) * math.pi * order)
            source = self.periods_of(name, estimate) / volts[name]
            total += source * volts[self.output]
            for node in self.nodes:
                ripple[node] += source * volts[node]
            if f"{name} before its filter" in ripple:
                ripple[f"{name} before its filter"] += source
        shares = {node: ripple[node] * gain for node, gain in heard.held.items()}
        self._check(total, list(shares.values()))
        loudest = max((np.abs(share).max() for share in shares.values()), default=0.0)
        shares = {node: share * (np.abs(share).max() > _NOTHING * loudest) for node, share in shares.items()}
        amps = self.mains.heater_volts / self.mains.leak_ohms
        heater = {name: amps * ohms for name, ohms in heard.leaks.items()}
        return Found(total, ripple, shares, heater, drawn, swing)

    def periods_of(self, name: str, estimate: NDArray[Any]) -> NDArray[Any]:
        """The harmonics [V rms] of a reservoir's ripple: of its period where it is known, else as estimated."""
        volts = self.periods.get(name)
        if volts is None:
            return estimate
        return np.asarray(np.fft.rfft(volts)[1 : HARMONICS + 1] * math.sqrt(2.0) / len(volts))

    def _check(self, total: Complex, shares: list[Complex]) -> None:
        scale = np.sum(np.abs(shares), axis=0).max() if shares else 0.0
        if shares and np.abs(np.sum(shares, axis=0) - total).max() > 1e-3 * scale:
            raise EngineError(f"{self.case.name}: the supply nodes' hum does not add up")


def _nodes(wired: Circuit) -> tuple[str, ...]:
    """The rails, one of those that are one piece of wire, as far as something hangs on them."""
    used = {net for element in wired.elements for _, net in element.pins}
    names = {wired.net(rail.name): rail.name for rail in reversed(wired.amp.rails) if wired.net(rail.name) in used}
    return tuple(reversed(names.values()))


def _mismatch(wired: Circuit, fraction: float) -> dict[str, Valve]:
    """The valves at the second plate end of every transformer with a centre tap, drawing more current by a fraction."""
    found = {}
    far = {
        each.net("primary_b") for each in wired.elements if each.kind == "transformer" and "centre" in dict(each.pins)
    }
    for element in wired.elements:
        if element.kind == "valve" and element.net("plate") in far:
            socket = cast("Socket", wired.parts[element.designator])
            found[socket.designator] = stronger_valve(wired.amp.valve_by_type[socket.type], 1.0 + fraction)
    return found
