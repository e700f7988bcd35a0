"""Simulate amps over positions and hand back one labelled Dataset; save and load it without loss."""

from __future__ import annotations

import hashlib
import math
from collections.abc import Iterable, Sequence
from dataclasses import asdict
from functools import lru_cache
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
from ..circuit.signal_path import listening_points
from .analyses import Analysis, FrequencySweep, OperatingPoint, Transient
from .facts import DRAWN, STIMULUS, VALVES, StimulusFacts, ValveFacts, put
from .netlist import Netlist, build, node_vector, valve_vectors
from .ngspice import engine
from .ngspice.engine import Arrays
from .request import Request, answers, request
from .stimuli import Burst, Sine, Throw, Waveform


def simulate(
    amps: Amp | Sequence[Amp],
    analysis: Analysis | None = None,
    positions: Iterable[Position] = ({},),
    nodes: Sequence[str] | None = None,
    workers: int | None = None,
    progress: Progress | None = None,
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
        Places to listen at. Default: the output of every stage; for an operating point also every valve pin and rail.
    workers : int
        How many processes; default all cores.
    progress : callable
        Called with (done, total).

    Returns
    -------
    xarray.Dataset
        `voltage` [V] with dims (variant, position, node, frequency or time); complex for a sweep with 1 V at the
        source. An operating point also has `current` [A] with dims (variant, position, branch).

    Raises
    ------
    DescriptionError
        For unknown controls, positions or places.
    EngineError
        When ngspice gives no trustworthy answer at one of the positions; the message names it.
    """
    asked = request(amps, positions)
    analysis = analysis or FrequencySweep()
    at_rest = isinstance(analysis, OperatingPoint)
    places = tuple(nodes) if nodes is not None else _default_nodes(asked.variants, at_rest)
    netlists = [build(case.amp, case.position, analysis, places, at_rest) for case in asked.cases]
    found = answers(asked.cases, netlists, workers=workers, progress=progress)
    facts = provenance(asked.variants, analysis, netlists, found)
    return _dataset(asked, analysis, places, found).assign_attrs(facts)


def _default_nodes(variants: list[Amp], at_rest: bool) -> tuple[str, ...]:
    places = dict.fromkeys(listening_points(variants[0]).values())
    if at_rest:
        for amp in variants:
            places |= dict.fromkeys(_valve_places(build_circuit(amp)))
        places |= dict.fromkeys(rail.name for rail in variants[0].rails)
    return tuple(places)


def _valve_places(wired: Circuit) -> Iterable[str]:
    return (f"{e.designator}.{pin}" for e in wired.elements if e.kind == "valve" for pin, _ in e.pins)


def _dataset(asked: Request, analysis: Analysis, places: tuple[str, ...], found: Sequence[Arrays]) -> xr.Dataset:
    axis = {} if isinstance(analysis, OperatingPoint) else {_axis(analysis): analysis.grid()}
    shape = (*asked.shape, len(places), *(grid.size for grid in axis.values()))
    voltage = np.zeros(shape, complex if isinstance(analysis, FrequencySweep) else float)
    for row, case, answer in zip(voltage.reshape(-1, *shape[2:]), asked.cases, found, strict=True):
        row[:] = _rows(case.wired, analysis, places, answer)
    data: dict[str, Any] = {"voltage": (("variant", "position", "node", *axis), voltage, {"units": "V"})}
    coords = asked.coords() | {"node": list(places)}
    for name, grid in axis.items():
        coords[name] = (name, grid, {"units": "Hz" if name == "frequency" else "s"})
    if isinstance(analysis, OperatingPoint):
        branches, current = _currents(asked, found, analysis.cold)
        data["current"] = (("variant", "position", "branch"), current, {"units": "A"})
        coords["branch"] = branches
    return xr.Dataset(data, coords)


def _axis(analysis: Analysis) -> str:
    return "frequency" if isinstance(analysis, FrequencySweep) else "time"


def _rows(wired: Circuit, analysis: Analysis, places: tuple[str, ...], answer: Arrays) -> NDArray[Any]:
    names = [node_vector(wired, place) for place in places]
    zero = np.zeros_like(next(iter(answer.vectors.values())))
    rows = np.stack([answer.vectors[name] if name else zero for name in names])
    if isinstance(analysis, Transient):
        rows = resample(answer.scale, rows, analysis.grid())
    return np.asarray(rows[:, 0] if isinstance(analysis, OperatingPoint) else rows)


def resample(time: NDArray[Any], rows: NDArray[Any], grid: NDArray[Any]) -> NDArray[Any]:
    """Rows of samples at ngspice's own times [s], taken at the times of a grid [s]; shape (rows, grid points)."""
    # ngspice steps unevenly; a cubic through its own points keeps harmonics below -75 dB where a line does not.
    from scipy.interpolate import CubicSpline

    keep = np.concatenate(([True], np.diff(time) > 0.0))
    return np.asarray(CubicSpline(time[keep], rows[:, keep], axis=1)(grid))


def _currents(asked: Request, found: Sequence[Arrays], cold: bool) -> tuple[list[str], NDArray[Any]]:
    rows: list[dict[str, float]] = []
    for case, answer in zip(asked.cases, found, strict=True):
        row = {}
        for designator, family in _families(case.wired):
            for electrode, vector in valve_vectors(designator, family).items():
                # Plate and screen currents come as millivolts-for-milliamperes, the grid's as a source current.
                # A cold valve's law still says what it would draw.
                scale = 1.0 if electrode == "grid" else 0.0 if cold else 1e-3
                row[f"{designator}.{electrode}"] = scale * float(answer.vectors[vector][0])
        rows.append(row)
    branches = list(dict.fromkeys(name for row in rows for name in row))
    table = np.array([[row.get(name, np.nan) for name in branches] for row in rows])
    return branches, table.reshape(*asked.shape, len(branches))


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
        **_valves(tuple(variants)),
        **put(DRAWN, {name: control.drawn for amp in variants for name, control in amp.controls.items()}),
    }
    attributes |= {f"{name}_version": version for name, version in engine.versions().items()}
    notes = sorted({note for outcome in outcomes for note in outcome.notes})
    if notes:
        attributes["engine_notes"] = "\n".join(notes[:20])
    if isinstance(analysis, Transient):
        attributes |= put(STIMULUS, _stimulus(analysis.stimulus))
    return attributes


@lru_cache(maxsize=32)
def _valves(variants: tuple[Amp, ...]) -> dict[str, str]:
    return put(VALVES, {amp.variant: _valve_facts(amp) for amp in variants})


def _valve_facts(amp: Amp) -> dict[str, ValveFacts]:
    facts = {}
    for element in build_circuit(amp).elements:
        part = build_circuit(amp).parts.get(element.designator)
        if isinstance(part, Socket):
            valve = amp.valve_by_type[part.type]
            limits = {name: value for name, value in asdict(valve.limits).items() if value is not None}
            basis, source = limits.pop("basis"), limits.pop("source")
            facts[part.designator] = ValveFacts(
                valve.type, valve.family, valve.law, valve.source, basis, source, limits
            )
    return facts


def _stimulus(given: Sine | Burst | Waveform | Throw) -> StimulusFacts:
    if isinstance(given, Sine):
        return StimulusFacts(
            given.shape, given.duration, given.frequency, given.level, settle=given.settle, cycles=given.cycles
        )
    if isinstance(given, Burst):
        figures = {"start": given.start, "stop": given.stop, "around": given.around}
        return StimulusFacts(given.shape, given.duration, given.frequency, given.level, **figures)
    return StimulusFacts(given.shape, given.duration, rate=given.rate if isinstance(given, Waveform) else math.nan)
