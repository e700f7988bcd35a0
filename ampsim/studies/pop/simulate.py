"""The pop of a switch: the amp in time while contacts move and nobody plays."""

from __future__ import annotations

import itertools
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import replace
from typing import Any, NamedTuple, cast

import numpy as np
import xarray as xr
from numpy.typing import NDArray

from ...base.errors import DescriptionError
from ...base.progress import Progress
from ...base.wording import join_words
from ...circuit.amp import Amp, Part
from ...circuit.build import SPEAKER, build_circuit
from ...circuit.positions import Position, switches_at
from ...circuit.stages import Kind, stages_of
from ...circuit.stages.template import Element
from ...circuit.switches.moving import ContactData, MovingCircuit, moving
from ...circuit.transformer import Transformer, tap_pin
from ...simulation.agreement import AGREEMENT
from ...simulation.analyses import Transient
from ...simulation.facts import Fact, put
from ...simulation.in_time import InTime
from ...simulation.netlist import node_vector
from ...simulation.ngspice import engine
from ...simulation.ngspice.engine import Arrays, Outcome
from ...simulation.request import Request, request
from ...simulation.response import provenance
from ...simulation.stimuli import Throw
from ...simulation.timed_run import TimedRun
from .causes import SIDE, causes
from .moves import MOVEMENTS, Movement, Transition, can_happen, transitions
from .remedies import BLEEDS, remedies
from .standby import PACE, standby_peaks, standby_run

STEP, TOLERANCE = 200e-6, 1e-5
STRAY = 20e-12
"""Capacitance [F] of an open contact and its wires, where there is no answer without it: assumed, no source."""
_CHECKED = 0.04  # s after contacts have moved that are checked
_EVERY, _CLOSE, _EDGES = 200e-6, 10e-6, 5e-3  # s, between samples; close together for the first 5 ms


CONTACTS = Fact("contacts", ContactData)
"""What was assumed of contacts."""
TURNED_DOWN = Fact("turned_down", list[str])
"""The remedies that are knobs turned down."""
NOMINAL_OHM = Fact("nominal_ohm", dict[str, float | None])
"""To each variant the loudspeaker [ohm] that its tap is made for."""


class _Run(NamedTuple):
    place: tuple[int, ...]  # of its variant, position, transition, movement and remedy
    wired: MovingCircuit
    timed: TimedRun


def pop(
    amps: Amp | Sequence[Amp],
    moves: Sequence[Transition] | None = None,
    positions: Iterable[Position] = ({},),
    movements: Sequence[Movement] = MOVEMENTS,
    bleeds: Sequence[float | None] = BLEEDS,
    nodes: Sequence[str] | None = None,
    contacts: ContactData | None = None,
    turned_down: Sequence[str] | None = None,
    progress: Progress | None = None,
    checks: int = 2,
) -> xr.Dataset:
    """Move switches of one or more variants of an amp and listen, with a silent input, for 0.3 s.

    Before it moves the amp has stood at the old position for ever: a capacitor behind an open contact has discharged
    through its own leakage (see `ContactData`), or is kept charged by a bleed across the contact.

    Parameters
    ----------
    amps : Amp or sequence of Amp
        Variants; each has the switches that move.
    moves : sequence of Transition
        Default: `transitions` of the first amp.
    positions : iterable of mapping
        As in `simulate`; what one says of a switch that moves does not count.
    movements : sequence of Movement
    bleeds : sequence of float or None
        Remedies: ohms across every contact behind which a capacitor hangs; None: nothing.
    nodes : sequence of str
        Places or stages to listen at. Default: the speaker, and the master volume where there is one.
    contacts : ContactData
        Assumptions; its bleed does not count.
    turned_down : sequence of str
        Knobs; the last remedy is all of them at 0. Default: those of a master volume.
    progress : callable
        Called with (done, total).
    checks : int
        How many runs ngspice does as well.

    Returns
    -------
    xarray.Dataset
        `voltage` [V], dims (variant, position, transition, movement, remedy, node, time), time in s from the
        movement on (negative before), unevenly; `highest` and `lowest` [V], without time: over all points of the
        solution, which lie closer. `held` (variant, transition): capacitors that hang on an open contact, "" for none.
        `possible` (variant, transition, movement): whether the planned switch can move so. What moves at rest: see
        `causes.causes`. `standby` [V] (variant, position): the largest swing at the output when the high voltage is
        switched on with hot valves; NaN without a source of high voltage.
        NaN where ngspice gave no answer (then named in ``attrs["failed"]``). ``attrs["nominal_ohm"]``: JSON, to each
        variant the loudspeaker that its tap is made for, or null.

    Raises
    ------
    DescriptionError
        For no such switch, position or place, and for a switch that changes a valve or a transformer.
    EngineError
        When no simulator process can work at all.
    """
    asked = request(amps, positions)
    variants = asked.variants
    wanted = transitions(variants[0]) if moves is None else list(moves)
    if not (wanted and movements and bleeds):
        raise DescriptionError(f"{variants[0].name}: no switch to move; a pop needs a switch")
    places = tuple(nodes) if nodes is not None else _default_nodes(variants[0])
    data = contacts or ContactData()
    tried = remedies(variants[0], bleeds, turned_down)
    runs = list(_runs(asked, wanted, movements, [each.applied(data) for each in tried], places))
    standby = list(map(standby_run, asked.cases))
    solver = InTime(checks, progress, _CHECKED)
    outcomes = solver.run([run.timed for run in runs] + [run for run in standby if run])
    labels: dict[str, Any] = {
        "variant": [amp.variant for amp in variants],
        "position": asked.labels,
        "transition": [each.label for each in wanted],
        "movement": [each.name for each in movements],
        "remedy": [each.label for each in tried],
        "node": list(places),
    }
    moved = _tried_again(runs, outcomes)
    parts = _measure(runs, moved, places, labels) | causes(variants, asked.positions, wanted)
    parts |= _facts_of_moves(asked, wanted, movements, runs)
    peaks = standby_peaks(standby, outcomes[len(runs) :]).reshape(asked.shape)
    parts["standby"] = (("variant", "position"), peaks, {"units": "V"})
    coords = labels | asked.coords() | {
        "time": ("time", _grid(), {"units": "s"}),
        "control": ("transition", [each.control for each in wanted]),
        "gap": ("movement", [each.gap for each in movements], {"units": "s"}),
        "bleed": ("remedy", [each.bleed or np.inf for each in tried], {"units": "ohm"}),
        "side": list(SIDE),
    }  # fmt: skip
    analysis = Transient(_throw(movements[0], moved=True), STEP, TOLERANCE)
    found = [outcome for outcome in outcomes if isinstance(outcome, Arrays)]
    facts = provenance(variants, analysis, [run.timed.netlist for run in runs], found) | {
        "analysis": "pop",
        **put(AGREEMENT, solver.agreement),
        **put(CONTACTS, data),
        **put(TURNED_DOWN, [each.label for each in tried if each.turned_down]),
        **put(NOMINAL_OHM, {amp.variant: nominal_ohms(amp) for amp in variants}),
        "failed": "\n".join(_failures(runs, moved, labels)),
    }
    return xr.Dataset(parts, coords, facts)


def _facts_of_moves(
    asked: Request, wanted: Sequence[Transition], movements: Sequence[Movement], runs: Sequence[_Run]
) -> dict[str, Any]:
    """Which capacitors hang on open contacts, and which movements the planned switches can do."""
    held = np.array([[""] * len(wanted)] * len(asked.variants), dtype=object)
    for run in runs:
        held[run.place[0], run.place[2]] = join_words(run.wired.held) if run.wired.held else ""
    possible = [[[can_happen(amp, move, each) for each in movements] for move in wanted] for amp in asked.variants]
    return {
        "held": (("variant", "transition"), held.astype(str)),
        "possible": (("variant", "transition", "movement"), np.array(possible, dtype=bool)),
    }


def nominal_ohms(amp: Amp) -> float | None:
    """The load [ohm] that the tap at the loudspeaker is made for; None without an output transformer."""
    wired = build_circuit(amp)
    for element in wired.elements:
        if element.kind == "transformer":
            pins = dict(element.pins)
            for ohms in cast("Transformer", wired.parts[element.designator]).taps:
                if pins.get(tap_pin(ohms)) == wired.speaker:
                    return ohms
    return None


def _default_nodes(amp: Amp) -> tuple[str, ...]:
    return (SPEAKER, *stages_of(amp, Kind.MASTER)[:1])


def _throw(movement: Movement, moved: bool) -> Throw:
    """A movement; the gap makes no difference where contacts only open or only close."""
    return Throw(movement.gap if moved else 0.0, movement.bounces)


def _runs(
    asked: Request,
    wanted: Sequence[Transition],
    movements: Sequence[Movement],
    remedies: Sequence[tuple[ContactData, dict[str, float]]],
    places: tuple[str, ...],
) -> Iterator[_Run]:
    axes = (asked.variants, asked.positions, wanted, movements, remedies)
    known: dict[tuple[int, MovingCircuit, Throw], TimedRun] = {}
    for place in itertools.product(*(range(len(axis)) for axis in axes)):
        variant, position, transition, movement, remedy = place
        amp, move = asked.variants[variant], wanted[transition]
        data, turned = remedies[remedy]
        whole = amp.setting(asked.positions[position] | {move.control: move.start} | turned)
        wired = moving(amp, switches_at(amp, whole), move.control, move.end, data)
        both = len({contact.closed for contact in wired.contacts.values()}) == 2
        throw = _throw(movements[movement], both)
        # Knobs stand where the position and the remedy say; contacts that only open make all movements one.
        key = len(asked.positions) * remedy + position, wired, throw
        if key not in known:
            analysis = Transient(throw, STEP, TOLERANCE)
            known[key] = TimedRun(wired, whole, analysis, places, PACE, instead=_with_stray(wired))
        yield _Run(place, wired, known[key])


def _tried_again(runs: Sequence[_Run], outcomes: Sequence[Outcome]) -> list[Outcome]:
    """Outcomes of the runs; those without an answer get `STRAY` across every contact, and another try."""
    found = list(outcomes[: len(runs)])
    failed = [number for number, outcome in enumerate(found) if not isinstance(outcome, Arrays)]
    again = [replace(runs[n].timed, wired=_with_stray(runs[n].wired)).netlist for n in failed]
    for number, outcome in zip(failed, engine.run_distinct(again) if again else (), strict=True):
        found[number] = outcome
    return found


def _with_stray(wired: MovingCircuit) -> MovingCircuit:
    added = [
        Element(f"CS_{each.designator}", "capacitor", each.pins, "switch")
        for each in wired.elements
        if each.kind == "contact"
    ]
    parts = {each.designator: Part(each.designator, "capacitor", STRAY) for each in added}
    return replace(wired, elements=(*wired.elements, *added), parts={**wired.parts, **parts})


def _grid() -> NDArray[np.float64]:
    """Times [s] from the movement on: close together while contacts move, where a pop has its edges."""
    throw = Throw()
    before = np.arange(-round(throw.at / _EVERY), 0) * _EVERY
    close = np.arange(round(_EDGES / _CLOSE)) * _CLOSE
    after = np.arange(round(_EDGES / _EVERY), round((throw.duration - throw.at) / _EVERY) + 1) * _EVERY
    return np.concatenate([before, close, after])


def _measure(
    runs: Sequence[_Run], outcomes: Sequence[Outcome], places: tuple[str, ...], labels: dict[str, Any]
) -> dict[str, Any]:
    grid = _grid()
    shape = tuple(len(labels[dim]) for dim in labels)
    voltage = np.full((*shape, grid.size), np.nan)
    highest, lowest = np.full(shape, np.nan), np.full(shape, np.nan)
    for run, outcome in zip(runs, outcomes, strict=True):
        if isinstance(outcome, Arrays):
            names = [node_vector(run.wired, place) for place in places]
            zero = np.zeros(outcome.scale.size)
            rows = np.stack([outcome.vectors[name] if name else zero for name in names])
            # A pop has corners: straight lines between ngspice's points, where a spline would swing past them.
            voltage[run.place] = [np.interp(grid, outcome.scale - Throw().at, row) for row in rows]
            highest[run.place], lowest[run.place] = rows.max(axis=-1), rows.min(axis=-1)
    dims = tuple(labels)
    return {
        "voltage": ((*dims, "time"), voltage, {"units": "V"}),
        "highest": (dims, highest, {"units": "V"}),
        "lowest": (dims, lowest, {"units": "V"}),
    }


def _failures(runs: Sequence[_Run], outcomes: Sequence[Outcome], labels: dict[str, Any]) -> Iterator[str]:
    names = list(labels)[:5]
    for run, outcome in zip(runs, outcomes, strict=True):
        if not isinstance(outcome, Arrays):
            where = ", ".join(str(labels[name][index]) for name, index in zip(names, run.place, strict=True))
            yield f"{where}: {str(outcome).splitlines()[0]}"
