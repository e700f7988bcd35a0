"""A circuit in many variants: at rest, and its response to small signals at any frequencies.

`SmallSignal` is made of the same `Parts` as the time-step solver (`still_parts` gives them). A variant has other values
of resistors, capacitors and inductors, or very valves and transistors in its sockets; its operating point is found
anew. A switch makes another circuit; a knob is the resistors of its track. What cannot be answered is not, and the
reason is said: ngspice is to be asked then.

    parts, emfs = still_parts(wired, setting)
    circuit = SmallSignal(parts, [wired.speaker], emfs=emfs)
    swept = circuit.sweep(circuit.variants([{}, {"r3": 120e3}]), FrequencySweep().grid())
    swept.volts[variant, source, net]  # complex, over frequency

A thousand variants cost about 0.2 ms each at rest and 5 us to each frequency; a circuit about 5 ms before the first.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field

import numpy as np

from ...base.errors import EngineError
from ...circuit.nets import INPUT
from ...circuit.semiconductors.description import Semiconductor
from ...circuit.valves.description import Valve
from ..port_currents import PortCurrents
from ..port_volts import raised, settled
from ..timestep.branches import Parts
from .elimination import TRUSTED, Drives
from .equations import Equations, Row
from .first_rest import first_volts
from .pivots import Array, Complex

Sockets = Mapping[str, Valve | Semiconductor]
RestRow = tuple[Array, Array, Array, Array, str]


@dataclass(frozen=True)
class Source:
    """What drives a circuit: volts of held nets [V], currents into nets [A], volts in wires by their number [V]."""

    volts: Mapping[str, float] = field(default_factory=dict)
    amps: Mapping[str, float] = field(default_factory=dict)
    wires: Mapping[int, float] = field(default_factory=dict)


SIGNAL = Source({INPUT: 1.0})
"""1 V at the input: answers are gains."""


@dataclass(frozen=True, eq=False)
class Variants:
    """Variants of a circuit.

    `values`: of each branch in the order of `SmallSignal.names` [ohm, F, H], shape (variants, branches). `sockets`: to
    each variant its very valves and transistors by designator in lower case; those of their types where none is named.
    """

    values: Array
    sockets: tuple[Sockets, ...]


@dataclass(frozen=True, eq=False)
class Rest:
    """Variants at rest.

    `volts` [V] of the nets heard, shape (variants, nets). `port_volts` [V] and `port_amps` [A] of the laws' ports, in
    the order of the seats (a control's port carries no current), shape (variants, ports). `amps` through the wires [A],
    shape (variants, wires). NaN where `faults` says why.
    """

    volts: Array
    port_volts: Array
    port_amps: Array
    amps: Array
    faults: tuple[str, ...]

    @property
    def rows(self) -> list[RestRow]:
        """What there is of each variant; `of_rows` puts it together again."""
        return list(zip(self.volts, self.port_volts, self.port_amps, self.amps, self.faults, strict=True))

    @classmethod
    def of_rows(cls, rows: Sequence[RestRow]) -> Rest:
        """Of variants, one after the other."""
        volts, port_volts, port_amps, amps, faults = zip(*rows, strict=True)
        return cls(np.array(volts), np.array(port_volts), np.array(port_amps), np.array(amps), faults)


@dataclass(frozen=True, eq=False)
class Swept:
    """Responses of variants.

    `volts` of the nets heard, shape (variants, sources, nets, frequencies) [V for the source as given]; `amps` through
    the wires [A], from their first to their second net, shape (variants, sources, wires, frequencies); NaN where
    `faults` says why, "" elsewhere. `rest` is the operating point that was taken, `slopes` [S] what the currents of the
    laws' ports do there with the volts at each, less `PATH` along each, shape (variants, ports, ports).
    """

    volts: Complex
    amps: Complex
    rest: Rest
    slopes: Array
    faults: tuple[str, ...]


class SmallSignal:
    """A circuit whose variants are asked for.

    Parameters
    ----------
    parts : Parts
        As drawn; of `parts_of(..., still=True)`.
    heard : sequence of str
        Nets to listen at.
    sources : sequence of Source
        What drives it, one after the other; all else is silent.
    wires : sequence of (str, str)
        Pairs of nets that are one piece of wire with a voltage in it, or nothing but an ammeter.
    emfs : mapping
        Coil to the direct volts [V] that lie in its way, from its first net to its second.

    Raises
    ------
    EngineError
        When the circuit has no equations that can be solved, or no operating point as drawn, or a net is not there.
    """

    def __init__(
        self,
        parts: Parts,
        heard: Sequence[str],
        sources: Sequence[Source] = (SIGNAL,),
        wires: Sequence[tuple[str, str]] = (),
        emfs: Mapping[str, float] | None = None,
    ) -> None:
        self._equations = Equations(parts, wires)
        self._layout = layout = self._equations.layout
        self._parts, self._sources, self._emfs = parts, tuple(sources), dict(emfs or {})
        self.names = tuple(each.name for each in parts.branches)
        self.drawn = np.array([each.value for each in parts.branches])
        self._currents = PortCurrents(parts.seats, parts.fluxes)
        self._heard = [layout.placed(net, "listen at") for net in heard]
        ends = [net for port in layout.ports for net in (port.first, port.second)]
        coils = [unknown for port in layout.ports for unknown, name, _ in port.terms if name]
        wired = [layout.wire(place) for place in range(len(wires))]
        looked = {each for each in (*ends, *self._heard, *coils, *wired) if 0 <= each < layout.size}
        self._looked = np.array(sorted(looked), dtype=np.int64)
        self._start: Array | None = None
        self._start = self._drawn_rest()

    # Variants

    def variants(self, values: Sequence[Mapping[str, float]], sockets: Sequence[Sockets] | None = None) -> Variants:
        """Variants by the names of what differs.

        Parameters
        ----------
        values : sequence of mapping
            Branch to its value [ohm, F, H].
        sockets : sequence of mapping, optional
            Designator in lower case to the very part there.
        """
        table = np.tile(self.drawn, (len(values), 1))
        place = {name: number for number, name in enumerate(self.names)}
        for row, each in zip(table, values, strict=True):
            for name, value in each.items():
                row[place[name]] = value
        return Variants(table, tuple(sockets) if sockets is not None else ({},) * len(values))

    # At rest

    def at_rest(self, variants: Variants) -> Rest:
        """The operating point of each variant."""
        layout, numbers = self._layout, self._equations.numbers(variants.values)
        answers = self._equations.solve(numbers, self._rest_drives(), self._looked, np.zeros(1, complex))
        found = np.moveaxis(answers.values[:, 0].real, 1, 2)  # variants, looked at, drives
        reading = [self._read(found, numbers, port.terms) for port in layout.ports]
        nothing = np.zeros((found.shape[0], found.shape[2]))
        whole = np.stack([nothing, *reading], axis=1)[:, 1:]
        still, ohms = whole[:, :, 0], whole[:, :, 1:]
        laws = self._currents.numbers(variants.sockets)
        bad = ~(answers.residual < TRUSTED)
        still[bad], ohms[bad] = 0.0, 0.0
        start = self._start
        if start is None:
            start = first_volts(self._parts.seats, still[0], ohms[0])
        if start is None:
            start = raised(self._currents, still[:1], ohms[:1], laws)[0][0]
        volts, good = settled(self._currents, still, ohms, laws, np.tile(start, (len(still), 1)))
        flow, _ = self._currents.at(volts, laws)
        wires = [layout.wire(place) for place in range(len(layout.wires))]
        heard = [self._read(found, numbers, ((each, "", 1.0),)) for each in (*self._heard, *wires)]
        seen = np.stack([nothing, *heard], axis=1)[:, 1:]
        nets = seen[:, :, 0] + np.einsum("vnp,vp->vn", seen[:, :, 1:], flow)
        good &= ~bad
        for each in (nets, volts, flow):
            each[~good] = np.nan
        faults = tuple("" if each else "no operating point was found" for each in good)
        count = len(self._heard)
        return Rest(nets[:, :count], volts, self._currents.alone(flow, volts), nets[:, count:], faults)

    def _drawn_rest(self) -> Array:
        try:
            rest = self.at_rest(self.variants([{}]))
        except np.linalg.LinAlgError as error:
            raise EngineError(f"the circuit's equations have no solution ({error})") from error
        if rest.faults[0]:
            raise EngineError(rest.faults[0])
        return np.asarray(rest.port_volts[0])

    def _rest_drives(self) -> Drives:
        layout, rows = self._layout, list[Row]()
        for net, volts in self._parts.held.items():
            if volts:
                rows += self._equations.held(0, net, volts)
        rows += [(0, layout.coil(name), -1, volts) for name, volts in self._emfs.items()]
        for drive, port in enumerate(layout.ports, 1):
            rows += [(drive, net, -1, sign) for net, sign in ((port.first, -1.0), (port.second, 1.0))]
        return self._equations.drives(rows, 1 + len(layout.ports))

    def _read(self, found: Array, numbers: Array, terms: Sequence[tuple[int, str, float]]) -> Array:
        """A sum of unknowns, of volts that are held and of fluxes, shape (variants, drives)."""
        total = np.zeros((found.shape[0], found.shape[2]))
        for unknown, inductance, scale in terms:
            if inductance:
                factor = scale * self._layout.inductance(inductance, numbers)[:, None]
            else:
                factor = np.full((1, 1), scale)
            if unknown >= self._layout.size:
                total[:, 0] += scale * list(self._parts.held.values())[unknown - self._layout.size]
            elif unknown >= 0:
                total += factor * found[:, int(np.searchsorted(self._looked, unknown))]
        return total

    # Swept

    def sweep(
        self,
        variants: Variants,
        frequency: Array,
        sources: Sequence[Source] | None = None,
        rest: Rest | None = None,
    ) -> Swept:
        """The response of each variant to each source.

        Parameters
        ----------
        variants : Variants
        frequency : ndarray
            [Hz].
        sources : sequence of Source, optional
            Others than the circuit was made with.
        rest : Rest, optional
            What `at_rest` gave for the same variants.
        """
        sources, rest = self._sources if sources is None else sources, rest or self.at_rest(variants)
        layout, numbers = self._layout, self._equations.numbers(variants.values)
        good = np.array([not fault for fault in rest.faults])
        laws = self._currents.numbers(variants.sockets)
        slopes = self._currents.slopes(np.where(good[:, None], rest.port_volts, 0.0), laws)
        for place, (one, other) in enumerate(layout.slopes, layout.slope):
            numbers[:, place] = slopes[:, one, other]
        for place, (which, name, scale) in enumerate(layout.fluxes, layout.slope + len(layout.slopes)):
            numbers[:, place] = scale * numbers[:, layout.slope + which] * layout.inductance(name, numbers)
        wires = [layout.wire(place) for place in range(len(layout.wires))]
        looked = np.array(sorted({each for each in (*self._heard, *wires) if 0 <= each < layout.size}), dtype=np.int64)
        rhythm = 2j * np.pi * np.asarray(frequency, dtype=float)
        answers = self._equations.solve(numbers, self._swept_drives(sources), looked, rhythm)
        found = np.moveaxis(answers.values, 1, 3)  # variants, sources, looked at, frequencies
        good &= answers.residual < TRUSTED
        volts = np.zeros((*found.shape[:2], len(self._heard), found.shape[3]), complex)
        for place, net in enumerate(self._heard):
            if 0 <= net < layout.size:
                volts[:, :, place] = found[:, :, int(np.searchsorted(looked, net))]
            elif net >= layout.size:
                volts[:, :, place] = np.array([each.volts.get(layout.held[net - layout.size], 0.0)
                                               for each in sources])[:, None]  # fmt: skip
        amps = found[:, :, np.searchsorted(looked, wires)]
        volts[~good], amps[~good] = np.nan, np.nan
        faults = tuple(fault or ("" if fine else "its equations are not solved to enough digits")
                       for fault, fine in zip(rest.faults, good, strict=True))  # fmt: skip
        return Swept(volts, amps, rest, slopes, faults)

    def _swept_drives(self, sources: Sequence[Source]) -> Drives:
        rows: list[Row] = []
        for drive, source in enumerate(sources):
            for net, volts in source.volts.items():
                rows += self._equations.held(drive, net, volts)
            rows += [(drive, self._layout.placed(net, "drive"), -1, amps) for net, amps in source.amps.items()]
            rows += [(drive, self._layout.wire(place), -1, volts) for place, volts in source.wires.items()]
        return self._equations.drives(rows, len(sources))
