"""Hum at the output: ripple of the supply by the node it comes from, and leakage from the heaters."""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Any, cast

import numpy as np
import xarray as xr
from numpy.typing import NDArray

from ...base.errors import DescriptionError, EngineError, shown
from ...base.progress import Progress, part_of
from ...circuit.amp import Amp, Part, Rail, Socket
from ...circuit.build import SPEAKER, Circuit
from ...circuit.positions import Position
from ...circuit.stages.template import GROUND, Element
from ...circuit.supply.averaged import supplied
from ...circuit.valves.description import Valve
from ...circuit.valves.emission import stronger_valve
from ...simulation.analyses import Analysis, OperatingPoint, PortSweep, RippleSweep
from ...simulation.facts import Fact, put
from ...simulation.netlist import Netlist, node_vector, rail_vector, write
from ...simulation.ngspice.engine import Arrays
from ...simulation.ports import driven_by
from ...simulation.request import Case, answers, request
from ...simulation.response import provenance
from ...simulation.supplies import supplies_at_rest

Complex = NDArray[np.complex128]
HARMONICS = 10


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


def hum_spectrum(
    amps: Amp | Sequence[Amp],
    positions: Iterable[Position] = ({},),
    mains: Mains | None = None,
    output: str = SPEAKER,
    progress: Progress | None = None,
) -> xr.Dataset:
    """Hum at the output of one or more variants over positions of their controls, with the input silent.

    Ripple enters at every supply node by itself, heater leakage at every cathode.

    Parameters
    ----------
    amps : Amp or sequence of Amp
    positions : iterable of mapping
        As in `simulate`.
    mains : Mains
        What is assumed.
    output : str
        Where to listen; default the loudspeaker's terminals.
    progress : callable
        Called with (done, total).

    Returns
    -------
    xarray.Dataset
        `hum` [V rms], complex, dims (variant, position, frequency), at ten multiples of twice the mains frequency;
        `contribution`, the same by the supply node (`rail`) it comes from, and `ripple` at these nodes; contributions
        add up, with their phases. `heater` [V rms] dims (variant, position, valve), at the mains frequency. Of each
        `supply` with a reservoir: its current `drawn` [A] at rest and its `swing` [V peak to peak].

    Raises
    ------
    DescriptionError
        For unknown controls, positions or places.
    EngineError
        When ngspice gives no trustworthy answer, or the contributions do not add up to what comes straight from the
        ripple of the reservoirs.

    Notes
    -----
    The ripple of a supply from the mains is that of `supplies_at_rest`. Of a given rail it is an estimate: full-
    wave rectifier, capacitance C that feeds the current I at rest for a whole half period, so a sawtooth of I / (2
    f C) peak to peak (rectifier theory, from memory; it is a little too much); harmonic n of a sawtooth has 1/(pi
    n) of that as its peak. From the reservoir on the amp itself filters it. The contribution of a node is its
    ripple times the gain from there to the output with every supply node held by an ideal source (superposition). A
    rail drawn as a source without a reservoir is taken as smooth.
    """
    asked = request(amps, positions)
    plans = [_Plan(case, mains or Mains(), output) for case in asked.cases]
    rest = [plan.at_rest() for plan in plans]
    steps = sum(plan.runs for plan in plans)
    resting = answers(asked.cases, rest, progress=part_of(progress, 0, steps))
    runs = [plan.sweeps(answer) for plan, answer in zip(plans, resting, strict=True)]
    flat = [netlist for group in runs for netlist in group]
    whose = [plan.case for plan, group in zip(plans, runs, strict=True) for _ in group]
    swept = answers(whose, flat, progress=part_of(progress, len(plans), steps))
    left = iter(swept)
    found = [
        plan.hum(answer, [next(left) for _ in group]) for plan, answer, group in zip(plans, resting, runs, strict=True)
    ]
    facts = provenance(asked.variants, RippleSweep(), [*rest, *flat], [*resting, *swept])
    facts |= {"output": output, **put(ASSUMED, plans[0].mains), "pair": ", ".join(plans[0].apart)}
    return _dataset(found, asked.shape, plans[0].frequency).assign_coords(asked.coords()).assign_attrs(facts)


@dataclass(frozen=True)
class _Found:
    """The hum of one amp at one position: [V rms] by name of node, valve and supply."""

    hum: Complex
    ripple: Mapping[str, Complex]
    contribution: Mapping[str, Complex]
    heater: Mapping[str, float]
    drawn: Mapping[str, float]
    swing: Mapping[str, float]


class _Plan:
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

    def hum(self, rest: Arrays, answers: Sequence[Arrays]) -> _Found:
        """What the answers to `sweeps` mean."""
        vector = node_vector(self.wired, self.output)
        direct = dict(zip(self.sources, answers, strict=False))
        by_node = dict(zip(self.holders, answers[len(direct) :], strict=False))
        drawn = {name: -float(rest.vectors[rail_vector(name)][0]) for name in self.sources}
        swing = {name: drawn[name] / (2.0 * self.mains.frequency * farads) for name, farads in self.sources.items()}
        swing |= {name: float(np.ptp(volts)) for name, volts in self.periods.items() if name in swing}
        order = np.arange(1, HARMONICS + 1)
        total, ripple = np.zeros(HARMONICS, complex), {name: np.zeros(HARMONICS, complex) for name in self.holders}
        for name, answer in direct.items():
            # The source's own ripple is such that the reservoir has the ripple estimated.
            estimate = swing[name] / (math.sqrt(2.0) * math.pi * order)
            source = self.periods_of(name, estimate) / answer.vectors[node_vector(self.wired, name)]
            total += source * answer.vectors[vector]
            for node in self.nodes:
                ripple[node] += source * answer.vectors[node_vector(self.wired, node)]
            if f"{name} before its filter" in ripple:
                ripple[f"{name} before its filter"] += source
        shares = {node: ripple[node] * answer.vectors[vector] for node, answer in by_node.items()}
        self._check(total, list(shares.values()))
        leaks = answers[len(direct) + len(by_node) :]
        amps = self.mains.heater_volts / self.mains.leak_ohms
        heater = {name: amps * abs(one.vectors[vector][0]) for name, one in zip(self.cathodes, leaks, strict=True)}
        return _Found(total, ripple, shares, heater, drawn, swing)

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


def _dataset(found: Sequence[_Found], shape: tuple[int, int], frequency: NDArray[Any]) -> xr.Dataset:
    dims, volts = ("variant", "position"), {"units": "V"}

    def table(kind: str, dim: str, units: str) -> tuple[list[str], Any]:
        rows = [getattr(each, kind) for each in found]
        labels = list(dict.fromkeys(name for row in rows for name, value in row.items() if np.any(value)))
        blank: Any = np.zeros(HARMONICS, complex) if dim == "rail" else 0.0
        values = np.array([[row.get(name, blank) for name in labels] for row in rows])
        values = values.reshape(*shape, len(labels), *(() if dim != "rail" else (HARMONICS,)))
        return labels, ((*dims, dim, *(("frequency",) if dim == "rail" else ())), values, {"units": units})

    rails, shares = table("contribution", "rail", "V")
    valves, heater = table("heater", "valve", "V")
    supplies, drawn = table("drawn", "supply", "A")
    swing = np.array([[each.swing[name] for name in supplies] for each in found]).reshape(*shape, len(supplies))
    ripple = np.array([[each.ripple.get(name, np.zeros(HARMONICS)) for name in rails] for each in found])
    hum = np.array([each.hum for each in found]).reshape(*shape, HARMONICS)
    data = {
        "hum": ((*dims, "frequency"), hum, volts),
        "contribution": shares,
        "ripple": ((*dims, "rail", "frequency"), ripple.reshape(*shape, len(rails), HARMONICS), volts),
        "heater": heater,
        "drawn": drawn,
        "swing": ((*dims, "supply"), swing, volts),
    }
    axis = ("frequency", frequency, {"units": "Hz"})
    return xr.Dataset(data, {"rail": rails, "valve": valves, "supply": supplies, "frequency": axis})
