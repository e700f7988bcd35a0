"""An amp under a meter: what it reads at every place, healthy or with something wrong, one loaded place at a time."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field, replace
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from ...base.errors import DescriptionError, shown
from ...base.progress import Progress
from ...circuit.amp import Amp, AnyPart, Part
from ...circuit.build import Circuit, circuit_at
from ...circuit.positions import Position
from ...circuit.stages.template import GROUND, Element
from ...circuit.supply.averaged import supplied
from ...circuit.values import at_supply
from ...circuit.valves.description import Valve
from ...simulation.analyses import OperatingPoint
from ...simulation.netlist import Netlist, write
from ...simulation.ngspice import engine
from ...simulation.ngspice.engine import Arrays
from .probes import Probe

Array = NDArray[np.float64]
# What a lead, leak or wire has when it is not there, and a wire when it is whole [ohm].
AWAY, WHOLE = 1e15, 1e-3
# Where the meter is put on: it takes more than a share in the amp as drawn, or the reading is another by a share.
_SOFT, _FAR, _TINY = 0.05, 0.3, 0.02
_TIMEOUT = 5.0  # s; an operating point takes a millisecond


@dataclass(frozen=True)
class State:
    """An amp that differs from the drawing.

    Attributes
    ----------
    values
        Netlist value (such as "r4" or "r_leak_c12") to its own value [SI].
    factors
        Netlist value to a factor on what is drawn.
    sockets
        Designator to the very valve in that socket.
    supply
        Factor on the volts of every rail's source.
    """

    values: tuple[tuple[str, float], ...] = ()
    factors: tuple[tuple[str, float], ...] = ()
    sockets: tuple[tuple[str, Valve], ...] = ()
    supply: float = 1.0

    def with_fault(self, fault: State) -> State:
        """Return this amp with a fault besides: the fault's own valves stand for those that were there."""
        sockets = dict(self.sockets) | dict(fault.sockets)
        return State(
            self.values + fault.values,
            self.factors + fault.factors,
            tuple(sockets.items()),
            self.supply * fault.supply,
        )


def meter_name(number: int) -> str:
    """The value that a meter held at a probe has."""
    return f"r_meter_{number}"


def leak_name(capacitor: str) -> str:
    """The value that leaks beside a capacitor."""
    return f"r_leak_{capacitor.lower()}"


def gas_name(valve: str) -> str:
    """The value that carries a gassy valve's grid current, from its plate."""
    return f"r_gas_{valve.lower()}"


def wire_name(transformer: str, pin: str) -> str:
    """The value of the wire to a transformer's pin."""
    return f"r_wire_{transformer.lower()}_{pin}"


@dataclass(frozen=True, eq=False)
class MeteredAmp:
    """An amp at a position with a meter of `meter_ohms` that is held at one probe after the other."""

    amp: Amp
    position: Position
    probes: tuple[Probe, ...]
    meter_ohms: float = 10e6
    _written: dict[object, Netlist] = field(default_factory=dict, repr=False)
    _circuits: dict[float, Circuit] = field(default_factory=dict, repr=False)

    @cached_property
    def wired(self) -> Circuit:
        """The amp's own circuit."""
        return circuit_at(self.amp, self.position)

    def read(self, states: Sequence[State], progress: Progress | None = None) -> Array:
        """What the meter shows [V], shape (states, probes): each reading simulated with the meter at that place alone.

        NaN where ngspice finds no trustworthy answer.
        """
        everywhere = np.ones((len(states), len(self.probes)), dtype=bool)
        return self._read_loaded(states, np.full(everywhere.shape, np.nan), everywhere, progress)

    def read_nearly(self, states: Sequence[State], progress: Progress | None = None) -> Array:
        """As `read` [V], in a fifth of the time: the meter is put on where it matters.

        Where it takes less than 5 % in the amp as drawn, and a state reads within 30 % of the amp as drawn, it is
        taken to load as it does there.
        """
        bare = self.unloaded([State(), *states])
        drawn, found = bare[0], bare[1:]
        load = self.read([State()])[0]
        share = np.where(np.abs(drawn) > _TINY, load / np.where(drawn == 0.0, 1.0, drawn), 1.0)
        soft = np.abs(share - 1.0) > _SOFT
        moved = np.abs(found - drawn) > _FAR * np.abs(drawn) + _TINY
        return self._read_loaded(states, found * share, moved | soft, progress)

    def unloaded(self, states: Sequence[State]) -> Array:
        """What a meter that draws nothing would show [V], shape (states, probes); NaN as in `read`."""
        outcomes = engine.run([self._netlist(state) for state in states], timeout=_TIMEOUT)
        return np.array([[self._volts_shown(outcome, each) for each in self.probes] for outcome in outcomes])

    def _read_loaded(
        self, states: Sequence[State], found: Array, where: NDArray[np.bool_], progress: Progress | None
    ) -> Array:
        """Put what a loaded meter shows into a table of readings, where it is asked for."""
        asked = [(int(row), int(column)) for row, column in np.argwhere(where)]
        plain = [self._netlist(state) for state in states]
        outcomes = engine.run(
            [self._with_meter(plain[row], column) for row, column in asked], timeout=_TIMEOUT, progress=progress
        )
        for (row, column), outcome in zip(asked, outcomes, strict=True):
            found[row, column] = self._volts_shown(outcome, self.probes[column])
        return found

    @staticmethod
    def _volts_shown(outcome: engine.Outcome, at: Probe) -> float:
        if not isinstance(outcome, Arrays):
            return float("nan")
        volts = [0.0 if net == GROUND else float(outcome.vectors[f"v({net})"][0]) for net in (at.first, at.second)]
        return volts[0] - volts[1]

    def _with_meter(self, netlist: Netlist, number: int) -> Netlist:
        values = list(netlist.values)
        values[netlist.form.parts.index(meter_name(number))] = self.meter_ohms
        return replace(netlist, values=tuple(values))

    def _netlist(self, state: State) -> Netlist:
        base = self._base(state.sockets, state.supply)
        values, place = list(base.values), {name: number for number, name in enumerate(base.form.parts)}
        for name, factor in state.factors:
            if name in place:
                values[place[name]] *= float(factor)
        for name, value in state.values:
            if name not in place:
                raise DescriptionError(f"{self.amp.name}: {name} is not in the circuit")
            values[place[name]] = float(value)
        return replace(base, values=tuple(values))

    def _base(self, sockets: tuple[tuple[str, Valve], ...], supply: float) -> Netlist:
        key = (tuple((name, valve.parameters, valve.grid_current) for name, valve in sockets), supply)
        if key not in self._written:
            if len(self._written) > 64:
                self._written.clear()
            wired = self.circuit(supply)
            self._check_probes(wired)
            nets = dict.fromkeys(net for each in self.probes for net in (each.first, each.second) if net != GROUND)
            places = tuple(wired.places_by_net[net][0] for net in nets)
            setting = self.amp.setting(self.position)
            self._written[key] = write(wired, setting, OperatingPoint(), places, sockets=dict(sockets))
        return self._written[key]

    def _check_probes(self, wired: Circuit) -> None:
        steady = {GROUND, *supplied(wired).live_nets}
        for each in self.probes:
            if not {each.first, each.second} <= steady:
                raise DescriptionError(f"{shown(each.name)}: before the rectifiers nothing is known of direct volts")

    def circuit(self, supply: float = 1.0) -> Circuit:
        """The amp with everything in it that may go wrong, at a supply (factor on the volts of every rail [ratio])."""
        if supply not in self._circuits:
            # Built anew: neither mods that put a rail at other volts nor a mains transformer are in the rails alone.
            wired = circuit_at(at_supply(self.amp, supply), self.position)
            elements, parts = self._elements_that_may_fail(wired)
            self._circuits[supply] = replace(wired, elements=elements, parts=parts)
        return self._circuits[supply]

    def _elements_that_may_fail(self, wired: Circuit) -> tuple[tuple[Element, ...], dict[str, AnyPart]]:
        """Elements and parts with leaks, wires and meter leads besides."""
        elements, parts = [], dict(wired.parts)

        def beside(name: str, first: str, second: str, ohms: float) -> None:
            parts[name] = Part(name, "resistor", ohms)
            elements.append(Element(name, "resistor", (("1", first), ("2", second)), "bench"))

        for each in wired.elements:
            pins = dict(each.pins)
            if each.kind == "transformer":
                for pin in _primary_ends(pins):
                    name = wire_name(each.designator, pin)
                    beside(name, pins[pin], f"{name}_far", WHOLE)
                    pins[pin] = f"{name}_far"
                each = replace(each, pins=tuple(pins.items()))
            elements.append(each)
            if each.kind == "capacitor":
                beside(leak_name(each.designator), pins["1"], pins["2"], AWAY)
            if each.kind == "valve":
                beside(gas_name(each.designator), pins["plate"], pins["grid"], AWAY)
        for number, each_probe in enumerate(self.probes):
            beside(meter_name(number), each_probe.first, each_probe.second, AWAY)
        return tuple(elements), parts


def _primary_ends(pins: dict[str, str]) -> tuple[str, ...]:
    return ("primary_a", "primary_b") if "centre" in pins else ("primary_a",)
