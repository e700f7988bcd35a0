"""Simulate amps over positions and hand back one labelled Dataset; save and load it without loss."""

from __future__ import annotations

import hashlib
import math
from collections.abc import Iterable, Sequence
from typing import Any

import numpy as np
import xarray as xr
from numpy.typing import NDArray

from ..base.progress import Progress
from ..circuit.amp import Amp, Socket
from ..circuit.build import SPEAKER, Circuit, build_circuit
from ..circuit.nets import INPUT
from ..circuit.plugging import describe_source
from ..circuit.positions import Position
from ..circuit.semiconductors.description import LIGHT_PIN, PINS
from ..circuit.semiconductors.device import Device
from ..circuit.signal_path import listening_points
from ..circuit.supply.averaged import supplied
from ..circuit.valves_in_use import valves_in_use
from .analyses import Analysis, FrequencySweep, OperatingPoint, Transient
from .devices import package
from .facts import CONTROLS, DRAWN, STIMULUS, StimulusFacts, put
from .in_time import ALONE, InTime, solved_instead
from .netlist import Netlist, build, device_vectors, load_vectors, node_vector, valve_vectors
from .ngspice import engine
from .ngspice.engine import Arrays
from .request import Request, answers, request
from .stimuli import Burst, Sine, Throw, Waveform
from .timed_run import TimedRun
from .timestep.pace import Pace
from .uneven_times import resample
from .valve_facts import switched_valves, valves_of


def simulate(
    amps: Amp | Sequence[Amp],
    analysis: Analysis | None = None,
    positions: Iterable[Position] = ({},),
    nodes: Sequence[str] | None = None,
    workers: int | None = None,
    progress: Progress | None = None,
    currents: bool | None = None,
    timed: tuple[InTime, Pace] | None = None,
) -> xr.Dataset:
    """Simulate one or more variants of an amp over positions of their controls.

    Each amp at each position is one netlist that runs on a worker process.

    Parameters
    ----------
    amps : Amp or sequence of Amp
        Variants, such as the stock amp and the amp with a mod.
    analysis : OperatingPoint, FrequencySweep or Transient
        Default: a `FrequencySweep` from 20 Hz to 20 kHz.
    positions : iterable of mapping
        Each maps control names to a rotation (0 to 1) or a switch position; a variant without that control stands
        as it is. Default: as drawn.
    nodes : sequence of str
        Places to listen at. Default: the output of every stage; for an operating point also every rail and every
        pin of a valve or semiconductor.
    workers : int
        How many processes; default all cores.
    progress : callable
        Called with (done, total).
    currents : bool
        Whether the currents into plates, screens, grids and the load are kept. Default: of operating points and
        transients.
    timed : (InTime, Pace)
        Of a transient: who answers it, and how finely. By default ngspice does, and the time-step solver where ngspice
        has no answer.

    Returns
    -------
    xarray.Dataset
        `voltage` [V] with dims (variant, position, node, frequency or time); complex for a sweep with 1 V at the
        source. With `currents` also `current` [A] with dims (variant, position, branch, frequency or time), its branch
        "speaker" what flows into the load; NaN where a valve is not in the circuit. So is a place that a variant, or a
        position of its switches, does not have.

    Raises
    ------
    DescriptionError
        For unknown controls, positions or places.
    EngineError
        When there is no trustworthy answer at one of the positions; the message names it.
    """
    asked = request(amps, positions)
    analysis = analysis or FrequencySweep()
    at_rest = isinstance(analysis, OperatingPoint)
    places = tuple(nodes) if nodes is not None else _default_nodes(asked.variants, at_rest)
    kept = at_rest or isinstance(analysis, Transient) if currents is None else currents
    # Of the places that are looked at unasked, some may be those of a valve that only another variant has.
    heard = [places if nodes is not None else _there(case.wired, places) for case in asked.cases]
    if isinstance(analysis, Transient):
        solver, pace = timed or (None, Pace(ALONE, keep=analysis.step))
        runs = [
            TimedRun(case.wired, case.setting, analysis, own, pace, kept)
            for case, own in zip(asked.cases, heard, strict=True)
        ]
        netlists = [run.netlist for run in runs]
        outcomes = solver.run(runs) if solver else _in_time(runs, workers, progress)
        found = [case.arrays(each) for case, each in zip(asked.cases, outcomes, strict=True)]
    else:
        netlists = [
            build(case.amp, case.position, analysis, own, kept) for case, own in zip(asked.cases, heard, strict=True)
        ]
        found = answers(asked.cases, netlists, workers=workers, progress=progress)
    facts = provenance(asked.variants, analysis, netlists, found) | switched_valves(asked)
    return _dataset(asked, analysis, places, found, kept).assign_attrs(facts)


def _in_time(runs: Sequence[TimedRun], workers: int | None, progress: Progress | None) -> list[engine.Outcome]:
    netlists = [run.netlist for run in runs]
    return solved_instead(runs, engine.run_distinct(netlists, workers=workers, progress=progress))


def _there(wired: Circuit, places: tuple[str, ...]) -> tuple[str, ...]:
    return tuple(place for place in places if place in wired.net_by_place or place in wired.outputs)


def _default_nodes(variants: list[Amp], at_rest: bool) -> tuple[str, ...]:
    places = dict.fromkeys(listening_points(variants[0]).values())
    if at_rest:
        for amp in variants:
            places |= dict.fromkeys(_active_places(amp))
        places |= dict.fromkeys(rail.name for rail in variants[0].rails)
    return tuple(places)


def _active_places(amp: Amp) -> Iterable[str]:
    yield from (f"{name}.{pin}" for name, (element, _) in valves_in_use(amp).items() for pin, _ in element.pins)
    yield from (
        f"{e.designator}.{pin}"
        for e in supplied(build_circuit(amp)).elements
        if e.kind in PINS
        for pin, _ in e.pins
        if pin != LIGHT_PIN
    )


def _dataset(
    asked: Request, analysis: Analysis, places: tuple[str, ...], found: Sequence[Arrays], currents: bool
) -> xr.Dataset:
    axis = {} if isinstance(analysis, OperatingPoint) else {_axis(analysis): analysis.grid()}
    shape = (*asked.shape, len(places), *(grid.size for grid in axis.values()))
    voltage = np.zeros(shape, complex if isinstance(analysis, FrequencySweep) else float)
    for row, case, answer in zip(voltage.reshape(-1, *shape[2:]), asked.cases, found, strict=True):
        row[:] = _rows(case.wired, analysis, places, answer)
    data: dict[str, Any] = {"voltage": (("variant", "position", "node", *axis), voltage, {"units": "V"})}
    coords = asked.coords() | {"node": list(places)}
    for name, grid in axis.items():
        coords[name] = (name, grid, {"units": "Hz" if name == "frequency" else "s"})
    if currents:
        branches, current = _currents(asked, found, analysis)
        data["current"] = (("variant", "position", "branch", *axis), current, {"units": "A"})
        coords["branch"] = branches
    return xr.Dataset(data, coords)


def _axis(analysis: Analysis) -> str:
    return "frequency" if isinstance(analysis, FrequencySweep) else "time"


def _rows(wired: Circuit, analysis: Analysis, places: tuple[str, ...], answer: Arrays) -> NDArray[Any]:
    there = set(_there(wired, places))
    names = [node_vector(wired, place) if place in there else None for place in places]
    zero = np.zeros_like(next(iter(answer.vectors.values())))
    rows = [zero * np.nan if name is None else answer.vectors[name] if name else zero for name in names]
    return _on_grid(analysis, answer, np.stack(rows))


def _on_grid(analysis: Analysis, answer: Arrays, rows: NDArray[Any]) -> NDArray[Any]:
    """Rows as ngspice gave them, along the axis of the analysis; a single number each at rest."""
    if isinstance(analysis, Transient):
        rows = resample(answer.scale, rows, analysis.grid())
    return np.asarray(rows[:, 0] if isinstance(analysis, OperatingPoint) else rows)


def _currents(asked: Request, found: Sequence[Arrays], analysis: Analysis) -> tuple[list[str], NDArray[Any]]:
    """Branches, and their currents [A] over variant, position, branch and the axis of the analysis."""
    rows: list[dict[str, NDArray[Any]]] = []
    for case, answer in zip(asked.cases, found, strict=True):
        # A cold valve's law still says what it would draw.
        cold = isinstance(analysis, OperatingPoint) and analysis.cold
        named = _branch_vectors(case.wired, cold)
        vectors = [answer.vectors[name] for parts in named.values() for name, _ in parts]
        values = iter(_on_grid(analysis, answer, np.stack(vectors)) if vectors else ())
        rows.append(
            {branch: np.sum([unit * next(values) for _, unit in parts], axis=0) for branch, parts in named.items()}
        )
    branches = list(dict.fromkeys(name for row in rows for name in row))
    sizes = () if isinstance(analysis, OperatingPoint) else (analysis.grid().size,)
    table = np.array([[row.get(name, np.full(sizes, np.nan)) for name in branches] for row in rows])
    return branches, table.reshape(*asked.shape, len(branches), *sizes)


def _branch_vectors(wired: Circuit, cold: bool) -> dict[str, list[tuple[str, float]]]:
    """Branch to the vectors whose sum is its current, each with how many amperes its unit is; cold: 0 for valves."""
    found: dict[str, list[tuple[str, float]]] = {}
    for designator, family in _families(wired):
        for electrode, vector in valve_vectors(designator, family).items():
            found[f"{designator}.{electrode}"] = [(vector, 1.0 if electrode == "grid" else 0.0 if cold else 1e-3)]
    for element in supplied(wired).elements:
        part = wired.parts.get(element.designator)
        if isinstance(part, Device):
            for name in package(part):
                vectors = device_vectors(name, wired.amp.semiconductor_by_type[part.type])
                found |= {f"{name}.{pin}": parts for pin, parts in vectors.items()}
    into_load = load_vectors(wired)
    return found | ({SPEAKER: into_load} if into_load else {})


def _families(wired: Circuit) -> Iterable[tuple[str, str]]:
    for element in wired.elements:
        part = wired.parts.get(element.designator)
        if isinstance(part, Socket):
            yield part.designator, wired.amp.valve_by_type[part.type].family


def provenance(
    variants: list[Amp], analysis: Analysis, netlists: list[Netlist], outcomes: Sequence[Any]
) -> dict[str, Any]:
    """Where a response comes from: analysis, amp, hash of the netlists, versions, valves, the engine's remarks.

    Parameters
    ----------
    variants : list of Amp
    analysis : Analysis
    netlists : list of Netlist
        Those that were simulated.
    outcomes : sequence of Arrays
        What they gave; their remarks are kept.
    """
    from .. import __version__

    digest = hashlib.sha256("".join(netlist.digest for netlist in netlists).encode()).hexdigest()
    attributes: dict[str, Any] = {
        "analysis": analysis.name,
        "amp": variants[0].name,
        "input": INPUT,
        "signal": describe_source(variants[0]),
        "output": SPEAKER,
        "netlists_sha256": digest,
        "ampsim_version": __version__,
        **valves_of(tuple(variants)),
        **put(DRAWN, {name: control.drawn for amp in variants for name, control in amp.controls.items()}),
        **put(CONTROLS, {amp.variant: list(amp.controls) for amp in variants}),
    }
    attributes |= {f"{name}_version": version for name, version in engine.versions().items()}
    notes = sorted({note for outcome in outcomes for note in outcome.notes})
    if notes:
        attributes["engine_notes"] = "\n".join(notes[:20])
    if isinstance(analysis, Transient):
        attributes |= put(STIMULUS, _stimulus(analysis.stimulus))
    return attributes


def _stimulus(given: Sine | Burst | Waveform | Throw) -> StimulusFacts:
    if isinstance(given, Sine):
        return StimulusFacts(
            given.shape, given.duration, given.frequency, given.level, settle=given.settle, cycles=given.cycles
        )
    if isinstance(given, Burst):
        figures = {"start": given.start, "stop": given.stop, "around": given.around}
        return StimulusFacts(given.shape, given.duration, given.frequency, given.level, **figures)
    return StimulusFacts(given.shape, given.duration, rate=given.rate if isinstance(given, Waveform) else math.nan)
