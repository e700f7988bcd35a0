"""What every part and valve of an amp carries: at rest, at switch-on while the valves are cold, and driven hard."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import replace
from typing import Any, cast

import numpy as np
import xarray as xr

from ...base.progress import Progress
from ...circuit.amp import Amp, Part, Pot, Socket
from ...circuit.build import Circuit
from ...circuit.equal_places import equal_places, took_the_place
from ...circuit.neighbours import feeds_from_supply
from ...circuit.positions import Position, position_label
from ...circuit.pot_tracks import OPEN_OHMS, track_stretches
from ...circuit.stages.template import Element
from ...circuit.supply.averaged import supplied
from ...measures.loads import Array, Span, track_watts, two_pin_watts, valve_load
from ...simulation.agreement import AGREEMENT
from ...simulation.analyses import Analysis, OperatingPoint, Transient
from ...simulation.facts import Fact, put
from ...simulation.in_time import InTime
from ...simulation.netlist import Netlist, node_vector, valve_vectors
from ...simulation.ngspice.engine import Arrays
from ...simulation.request import Case, Request, request
from ...simulation.response import provenance
from ...simulation.stimuli import Sine
from ...simulation.timed_run import Told
from ...simulation.valve_facts import switched_valves
from .device_loads import DEVICES, LOAD, DeviceFacts, coil_readings, device_facts, device_readings
from .equal_valves import Readings, equal_valves
from .grid_leaks import grid_leaks
from .runs import MISS, Job, answers_of, drive, elements_of, netlist_of, pin_pairs
from .solvers_apart import worth_comparing
from .supply_loads import mains_resistors, rectifier_readings

HARD = (Sine(82.41, 0.5, 0.18, 2), Sine(1000.0, 0.2, 0.03, 10))
"""Low E for 0.21 s, in which supplies sag, and 1 kHz for 40 ms; both far above the level that guitar amps clip at."""
_CHECKED = 0.02  # s of a tone that are checked: two cycles of the low one
STATES = ("rest", "cold", "driven", "pulse")

_UNITS = {
    "part_value": ("part", "ohm or F"),
    "part_volts": ("part", "V"),
    "part_watts": ("part", "W"),
    "electrode_volts": ("electrode", "V"),
    "electrode_watts": ("electrode", "W"),
    "cathode_amps": ("valve", "A"),
    "grid_ohms": ("valve", "ohm"),
    LOAD: ("device_quantity", "V, A or W"),
}
TONES = Fact("tones", list[Sine])
"""What the amp was driven with."""
SUPPLY_POTS = Fact("supply_pots", list[str])
"""The pots that set volts of the supply in the last variant: direct volts are what they are for."""
EQUAL_VALVES = Fact("equal_valves", list[list[str]])
"""Output valves of one type in the last variant that idle alike at every position: each may stand in the other's
place, and which of them is driven harder is the tone's phase."""
EQUAL_PARTS = Fact("equal_parts", dict[str, list[list[str]]])
"""To each variant the parts that stand in one another's place in the output stage at some position."""
IN_PLACE_OF = Fact("in_place_of", dict[str, str])
"""To each part that the last variant fits at some position the one that it took the place of."""
_STATELESS = ("part_value", "grid_ohms")


class Known:
    """What was read of answers before, by analysis and netlist, how the solvers agreed, and the `Pace.miss` of it."""

    def __init__(self, miss: float = MISS) -> None:
        self.miss = miss
        self.readings: dict[tuple[Analysis, str], Readings] = {}
        self.remarks: list[Arrays] = []
        self.solver = InTime(1, None, _CHECKED)


def stress(
    amps: Amp | Sequence[Amp],
    positions: Iterable[Position] = ({},),
    tones: Sequence[Sine] = HARD,
    progress: Progress | None = None,
    known: Known | None = None,
    driven_at: Position = {},  # noqa: B006
) -> xr.Dataset:
    """Simulate what parts and valves carry.

    Parameters
    ----------
    amps, positions
        As in `simulate`.
    tones : sequence of Sine
        What the amp is driven with; the worst of them counts.
    progress : callable
        Called with (done, total).
    known : Known
        Of calls before: what was read for them is not simulated again.
    driven_at : mapping
        Where controls stand while driven that a position does not name, such as `loudest_knobs`; the others as drawn.

    Returns
    -------
    xarray.Dataset
        dims (variant, position, an item, state); state is "rest", "cold" (supplies up, no valve conducting), "driven"
        or "pulse". NaN where a part is not in circuit, or a state has no such reading.

        `part_volts` [V]: size of the voltage across each resistor, capacitor and pot (between any two lugs); driven:
        the highest of the whole run. `part_watts` [W]: in each resistor; driven: mean over the settled cycles;
        pulse: the highest instant. For a pot what its whole track must stand (see `loading.track_watts`).
        `part_value` [ohm or F], without state; `kind` along part. `electrode_volts` [V] of plate, screen and grid
        against the cathode and of the cathode against ground; driven: the highest of the run, of the grid the lowest.
        `electrode_watts` [W] and `cathode_amps` [A]; driven: mean over the settled cycles. `grid_ohms` [ohm], without
        state: DC resistance of the grid's circuit, valves out, supplies shorted and the guitar unplugged.

    Raises
    ------
    DescriptionError
        For unknown controls or positions.
    EngineError
        When ngspice gives no trustworthy answer; the message names amp, position and analysis.

    Notes
    -----
    Cold volts hold while the heaters take longer than the filters fill; a rectifier counts as hot. Rails of an amp with
    a mains transformer come up to the peak of its winding then; given ones stand at the volts of the description,
    without an unloaded transformer's rise. What rectifiers carry is that of `supplies_at_rest`. The mains' tolerance
    is in none of them.
    """
    asked = request(amps, positions)
    hard = request(asked.variants, [{**driven_at, **position} for position in asked.positions])
    still: list[Analysis] = [OperatingPoint(), OperatingPoint(cold=True)]
    runs = [*still, *map(drive, tones)]
    jobs: list[Job] = [
        (own, run, netlist_of(own, run))
        for case, driven in zip(asked.cases, hard.cases, strict=True)
        for run in runs
        for own in [case if run in still else driven]
    ]
    known = known or Known()
    found, remarks = known.readings, known.remarks
    left = [job for job in jobs if (job[1], job[2].digest) not in found]
    for case, run, netlist, answer in answers_of(left, known.solver, progress, _told, known.miss):
        found[run, netlist.digest] = _reduce(case, run, netlist, answer)
        remarks.append(replace(answer, vectors={}))
    read = [found[run, netlist.digest] for _, run, netlist in jobs]
    rows = [_worst(read[start : start + len(runs)]) for start in range(0, len(read), len(runs))]
    facts = provenance(asked.variants, runs[0], [netlist for *_, netlist in jobs], remarks) | switched_valves(asked)
    last = [(case, row) for case, row in zip(asked.cases, rows, strict=True) if case.amp is asked.variants[-1]]
    facts |= put(DEVICES, _devices_of(asked))
    facts |= put(TONES, list(tones)) | put(SUPPLY_POTS, _supply_pots(asked)) | {"analysis": "stress"}
    facts |= put(EQUAL_VALVES, equal_valves(last)) | put(EQUAL_PARTS, _equal_parts(asked))
    facts |= put(IN_PLACE_OF, {new: old for case, _ in last for new, old in took_the_place(case.wired).items()})
    facts |= put(AGREEMENT, known.solver.agreement)
    return _dataset(asked, rows, facts)


def _devices_of(asked: Request) -> dict[str, dict[str, dict[str, DeviceFacts]]]:
    found: dict[str, dict[str, dict[str, DeviceFacts]]] = {amp.variant: {} for amp in asked.variants}
    for case in asked.cases:
        found[case.amp.variant][position_label(case.position)] = device_facts(case.wired)
    return found


def _equal_parts(asked: Request) -> dict[str, list[list[str]]]:
    found: dict[str, list[list[str]]] = {amp.variant: [] for amp in asked.variants}
    for case in asked.cases:
        own = found[case.amp.variant]
        own += [group for group in equal_places(case.wired) if group not in own]
    return found


def _supply_pots(asked: Request) -> list[str]:
    last = [case.wired for case in asked.cases if case.amp is asked.variants[-1]]
    pots = {(each.designator, wired) for wired in last for each in elements_of(wired, "pot")}
    return sorted({name for name, wired in pots if feeds_from_supply(wired, name)})


def _worst(readings: list[Readings]) -> Readings:
    """One set of readings of several runs: the furthest from zero where runs differ."""
    found: Readings = {}
    for each in readings:
        for key, value in each.items():
            found[key] = max(found.get(key, value), value, key=abs)
    return found


def _reduce(case: Case, run: Analysis, netlist: Netlist, outcome: Arrays) -> Readings:
    reader = _Reader(case, run, netlist, outcome)
    found = reader.parts() | reader.valves() | reader.devices()
    if run == OperatingPoint():
        values = netlist.value_by_part
        found |= grid_leaks(case.wired, values, reader.volts, reader.amps)
        rectifiers = rectifier_readings(case.amp, case.position)
        found |= {(LOAD, quantity, "rest"): value for quantity, value in rectifiers.items()}
        for name, (volts, watts) in mains_resistors(case.amp, case.position).items():
            found["part_value", name, ""] = cast("Part", case.wired.parts[name]).value
            found |= {("part_volts", name, "rest"): volts, ("part_watts", name, "rest"): watts}
    return found


def _told(case: Case, netlist: Netlist) -> Told:
    return lambda run, answer: worth_comparing(_reduce(case, run, netlist, answer))


class _Reader:
    """Reads one answer of ngspice."""

    def __init__(self, case: Case, run: Analysis, netlist: Netlist, outcome: Arrays) -> None:
        self._wired: Circuit = supplied(case.wired)
        self._vectors = outcome.vectors
        self._values = netlist.value_by_part
        self._cold = run == OperatingPoint(cold=True)
        self._state, self._span = "cold" if self._cold else "rest", Span(np.zeros(1))
        if isinstance(run, Transient):
            tone = cast("Sine", run.stimulus)
            self._state = "driven"
            self._span = Span(outcome.scale, tone.duration - tone.cycles / tone.frequency)

    def parts(self) -> Readings:
        """Volts and watts of every resistor, capacitor and pot."""
        found: Readings = {}
        coils = {switch.designator for switch in self._wired.amp.all_switches if switch.coil is not None}
        for element in elements_of(self._wired, "resistor", "capacitor", "pot"):
            name = element.designator
            if name in coils:  # made for its own volts, whatever a resistor of its size stands
                continue
            volts = [self.volts(name, first) - self.volts(name, second) for first, second in pin_pairs(element)]
            watts = list(self._watts(element, volts))
            found["part_value", name, ""] = cast("Part | Pot", self._wired.parts[name]).value
            found["part_volts", name, self._state] = max(float(np.abs(each).max()) for each in volts)
            if element.kind != "capacitor" and not self._cold:
                found["part_watts", name, self._state] = max(map(self._span.mean, watts), default=0.0)
            if element.kind != "capacitor" and self._state == "driven":
                found["part_watts", name, "pulse"] = max((float(each.max()) for each in watts), default=0.0)
        return found

    def _watts(self, element: Element, volts: list[Array]) -> Iterator[Array]:
        name = element.designator.lower()
        if element.kind == "resistor" and name in self._values:
            yield two_pin_watts(volts[0], self._values[name])
        if element.kind == "pot":
            track = cast("Pot", self._wired.parts[element.designator]).value
            for (half, *_), across in zip(track_stretches(element), volts, strict=False):
                if self._values.get(f"r{name}_{half}", OPEN_OHMS) < OPEN_OHMS:
                    yield track_watts(across, self._values[f"r{name}_{half}"], track)

    def valves(self) -> Readings:
        """Volts, watts and amperes of every valve."""
        found: Readings = {}
        for element in elements_of(self._wired, "valve"):
            name, pins = element.designator, [pin for pin, _ in element.pins]
            load = valve_load({pin: self.volts(name, pin) for pin in pins}, self.amps(name))
            cathode = self.volts(name, "cathode")
            for pin, volts in (("plate", load.plate_volts), ("screen", load.screen_volts), ("cathode", cathode)):
                if pin in pins:
                    found["electrode_volts", f"{name}.{pin}", self._state] = float(volts.max())
            found["electrode_volts", f"{name}.grid", self._state] = float(load.grid_volts.min())
            for pin, watts in (("plate", load.plate_watts), ("screen", load.screen_watts)):
                if pin in pins:
                    found["electrode_watts", f"{name}.{pin}", self._state] = self._span.mean(watts)
            found["cathode_amps", name, self._state] = self._span.mean(load.cathode_amps)
        return found

    def devices(self) -> Readings:
        """What every semiconductor carries, and the coil of every relay: not cold, as it warms for longer than that."""
        found = device_readings(self._wired, self.volts, self._vectors, self._span)
        found |= {} if self._cold else coil_readings(self._wired, self.volts, self._span)
        return {(LOAD, quantity, self._state): value for quantity, value in found.items()}

    def volts(self, name: str, pin: str) -> Array:
        """At a pin of a valve or a part [V]."""
        vector = node_vector(self._wired, f"{name}.{pin}")
        return self._vectors[vector] if vector else np.zeros(self._span.time.size)

    def amps(self, name: str) -> dict[str, Array]:
        """Of a valve by pin [A]."""
        socket = cast("Socket", self._wired.parts[name])
        vectors = valve_vectors(name, self._wired.amp.valve_by_type[socket.type].family)
        # Plate and screen come as millivolts for milliamperes; a cold valve's law still says what it would draw.
        return {
            pin: self._vectors[vector] * (1.0 if pin == "grid" else 0.0 if self._cold else 1e-3)
            for pin, vector in vectors.items()
        }


def _dataset(asked: Request, rows: list[Readings], facts: dict[str, Any]) -> xr.Dataset:
    data = {}
    coords = asked.coords() | {"state": list(STATES)}
    for variable, (dim, unit) in _UNITS.items():
        keys = [key for row in rows for key in row]
        items = coords[dim] = list(dict.fromkeys(item for name, item, _ in keys if _UNITS[name][0] == dim))
        states = ("",) if variable in _STATELESS else STATES
        table = [[[row.get((variable, item, state), np.nan) for state in states] for item in items] for row in rows]
        values = np.array(table, dtype=float).reshape(*asked.shape, len(items), len(states))
        whole = xr.DataArray(values, dims=("variant", "position", dim, "state"), attrs={"units": unit})
        data[variable] = whole.isel(state=0) if variable in _STATELESS else whole
    known = {name: part.kind for amp in asked.variants for name, part in amp.part_by_designator.items()}
    coords["kind"] = ("part", [known[name] for name in coords["part"]])
    return xr.Dataset(data, coords, facts)
