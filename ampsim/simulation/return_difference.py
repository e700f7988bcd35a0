"""What all valves of an amp together do to its stability: the return difference of their currents."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from ..base.progress import Progress
from ..circuit.amp import Amp, Socket
from ..circuit.build import Circuit
from ..circuit.semiconductors.device import Device
from ..circuit.semiconductors.laws import LAWS
from .analyses import FrequencySweep, PortSweep
from .loop_ports import Reduction, reduction, resting_volts
from .netlist import Netlist, device_vectors, node_vector, valve_vectors, write
from .ngspice import engine
from .port_sweeps import Bench, Seen, bench_of, between
from .ports import Port, driven_by
from .ports_algebra import Complex, bias_moves, with_changes
from .request import Case, answers

WIDE = FrequencySweep(1e-3, 1e9, 16)
# What stays beside every current that is taken away [S]: it damps what is left, so that only the amp's own resonances
# are sharp.
_DAMPING = 2e-4
_MILLI = 1e-3
# Positions at which more stretches of tracks differ are seen from one of their own.
_FAR = 4
_PORTS = {"plate": 0, "screen": 2}


@dataclass(frozen=True)
class _Current:
    """A current of a valve or of a channel: the place it comes from, that it goes to, the vector that holds it [mA].

    `law`: name of its seat in `timestep.branches` and which port of it.
    """

    source: str
    sink: str
    vector: str
    law: tuple[str, int]


def return_differences(
    cases: Sequence[Case], sweep: FrequencySweep = WIDE, progress: Progress | None = None, solved: bool = True
) -> Complex:
    """Return difference of the currents of all valves, of amps at positions of their controls.

    Unlike the loop gain of one loop it leaves nothing out: whatever makes an amp oscillate at rest, a feedback line,
    a resistor that two valves share, a supply, goes through the current of a valve.

    Parameters
    ----------
    cases : sequence of Case
    sweep : FrequencySweep
        Frequencies; default 1 mHz to 1 GHz, 16 a decade.
    progress : callable
        Called with (done, total).
    solved : bool
        Whether our own solver answers what it can; otherwise ngspice does it all.

    Returns
    -------
    ndarray
        complex, without unit, shape (cases, f); each time one goes clockwise around 0, positive and negative
        frequencies together, is a growing mode (`measures.growing_modes`).

    Raises
    ------
    DescriptionError
        As `simulate`.
    EngineError
        When ngspice gives no trustworthy answer.

    Notes
    -----
    Of many positions that differ in knobs which leave the bias alone ngspice reduces the amp once to the tracks of
    these and the currents; the rest is exact algebra (`loop_ports`, `ports_algebra.with_changes`).

    The determinant of the amp's equations over that of the same amp with the plate and screen currents of its valves
    replaced by resistors, which cannot oscillate: H. W. Bode, Network analysis and feedback amplifier design, 1945
    (from memory). It is measured in the amp as it is: with I + M, the total of each current for 1 A put in beside
    each in turn, it is 1 / det(I + M).
    """
    plans = _plans(cases)
    rows = np.ones((len(cases), sweep.points), complex)
    left = plans
    if solved:
        left = []
        for plan, table in _solved(plans, sweep):
            if table is None:
                left.append(plan)
                continue
            for place, row in zip(plan.own, _differences(plan, table), strict=True):
                rows[place] = row
    simulated = [place for plan in left for place in plan.own]
    rows[simulated] = _simulated(left, sweep, progress)
    return rows


def _simulated(plans: Sequence[_Plan], sweep: FrequencySweep, progress: Progress | None) -> Complex:
    """The return differences of the cases of plans, plan by plan, by ngspice."""
    netlists = [_netlists(plan, sweep) for plan in plans]
    flat = [netlist for own in netlists for netlist in own]
    each_case = [plan.case for plan, own in zip(plans, netlists, strict=True) for _ in own]

    rest = iter(answers(each_case, flat, "return difference", progress=progress))
    rows: list[Complex] = []
    for plan, own in zip(plans, netlists, strict=True):
        # Without a valve's current there is nothing to simulate, and the difference is 1.
        plain = np.ones(sweep.points, complex)
        table = _table(plan, [next(rest) for _ in own]) if own else None
        rows += [plain] * len(plan.own) if table is None else list(_differences(plan, table))
    return np.array(rows, complex).reshape(-1, sweep.points)


@dataclass(frozen=True, eq=False)
class _Plan:
    """A case that is simulated: by their number the cases that come of it, and what changes for each of them.

    `changes`: new less simulated conductance [S] of each of the `stretches`, shape (cases, stretches).
    """

    case: Case
    own: tuple[int, ...]
    stretches: tuple[Port, ...]
    changes: NDArray[np.float64]

    @cached_property
    def currents(self) -> list[_Current]:
        return _currents(self.case.wired)

    @property
    def ports(self) -> tuple[Port, ...]:
        # The current put in flows as the valve's own does: out of the plate's net, into the cathode's.
        return (*self.stretches, *((each.sink, each.source) for each in self.currents))


def _plans(cases: Sequence[Case]) -> list[_Plan]:
    """Cases that differ in knobs alone together where that takes fewer simulations, the others one by one."""
    alike: dict[tuple[Amp, tuple[tuple[str, float | str], ...]], list[int]] = {}
    for number, case in enumerate(cases):
        switches = tuple((name, value) for name, value in case.setting.items() if isinstance(value, str))
        alike.setdefault((case.amp, switches), []).append(number)
    found = [plan for own in alike.values() if len(own) > 2 for plan in _together(cases, own)]
    done = {number for plan in found for number in plan.own}
    left = [number for number in range(len(cases)) if number not in done]
    return [*found, *(_Plan(cases[number], (number,), (), np.zeros((1, 0))) for number in left)]


def _together(cases: Sequence[Case], numbers: Sequence[int]) -> Iterator[_Plan]:
    amp = cases[numbers[0]].amp
    knobs = [name for name, control in amp.controls.items() if control.kind == "knob"]
    groups: dict[Reduction, list[int]] = {}
    for number in numbers:
        groups.setdefault(reduction(cases[number], (), knobs), []).append(number)
    for base, own in groups.items():
        ports = tuple((each.first, each.second) for each in base.stretches)
        case, currents = Case(amp, dict(base.position)), len(_currents(base.wired))
        if len(ports) + currents < currents * len(own):
            changes = base.changes(cases[number] for number in own)
            free = ~bias_moves(_volts_at_rest(case, ports), changes).any(axis=-1)
            if not free.any():
                continue
            yield _Plan(case, tuple(np.array(own)[free].tolist()), ports, changes[free])


def _volts_at_rest(case: Case, ports: Sequence[Port]) -> NDArray[np.float64]:
    volts = resting_volts(case, tuple(dict.fromkeys(place for port in ports for place in port)))
    return np.array([volts[first] - volts[second] for first, second in ports])


def _currents(wired: Circuit) -> list[_Current]:
    found = []
    for each in wired.elements:
        socket = wired.parts.get(each.designator)
        if isinstance(socket, Socket):
            vectors = valve_vectors(each.designator, wired.amp.valve_by_type[socket.type].family)
            for pin in ("plate", "screen"):
                if pin in vectors and each.net(pin) != each.net("cathode"):
                    law = each.designator.lower(), _PORTS[pin]
                    found.append(_Current(f"{each.designator}.{pin}", f"{each.designator}.cathode", vectors[pin], law))
        elif isinstance(socket, Device) and socket.kind == "transistor" and each.net("drain") != each.net("source"):
            ends = f"{each.designator}.drain", f"{each.designator}.source"
            device = wired.amp.semiconductor_by_type[socket.type]
            (vector, unit), *_ = device_vectors(each.designator, device)["drain"]
            piece = next(iter(LAWS[device.law].into["drain"]))
            law = f"{each.designator.lower()}.{piece}", 0
            found.append(_Current(*(ends if unit > 0.0 else ends[::-1]), vector, law))
    return found


def _netlists(plan: _Plan, sweep: FrequencySweep) -> list[Netlist]:
    ports = plan.ports
    if not plan.currents:
        return []
    base = PortSweep(sweep.start, sweep.stop, sweep.per_decade, ports)
    places = tuple(dict.fromkeys(place for port in ports for place in port))
    written = write(plan.case.wired, plan.case.setting, base, places, True)
    return [driven_by(written, f"iport_{number} ac") for number in range(len(ports))]


def _table(plan: _Plan, outcomes: Sequence[engine.Arrays]) -> Complex:
    """What each source makes at every stretch [V] and of every current [A], shape (ports, ports, f)."""
    wired = plan.case.wired
    rows = [[_volts(wired, first, each) - _volts(wired, second, each) for each in outcomes]
            for first, second in plan.stretches]  # fmt: skip
    return np.array(rows + [[_more(wired, current, each) for each in outcomes] for current in plan.currents])


def _solved(plans: Sequence[_Plan], sweep: FrequencySweep) -> Iterator[tuple[_Plan, Complex | None]]:
    """Plans with what `_table` gives of each, without a simulator; None where there is no answer."""
    alike: dict[tuple[Bench, tuple[Port, ...]], list[_Plan]] = {}
    for plan in plans:
        own = bench_of(plan.case)
        if own is None or not plan.currents:
            yield plan, None
        else:
            alike.setdefault((own, plan.stretches), []).append(plan)
    for (own, stretches), some in alike.items():
        nets = own.wired.net
        tracks = [(nets(first), nets(second)) for first, second in stretches]
        ends = [(nets(current.source), nets(current.sink)) for current in some[0].currents]
        laws = _laws(own, [current.law for current in some[0].currents])
        sources = [between(*pair) for pair in (*tracks, *(pair[::-1] for pair in ends))]
        answers = own.seen([plan.case.setting for plan in some], sweep.grid(), sources)
        for plan, seen in zip(some, answers, strict=True):
            yield plan, None if seen is None else _seen_table(own, seen, tracks, ends, laws)


def _seen_table(
    own: Bench, seen: Seen, tracks: Sequence[tuple[str, str]], ends: Sequence[tuple[str, str]], laws: Sequence[int]
) -> Complex:
    at_laws, at_ends = (np.array([seen.across(*pair) for pair in pairs]) for pairs in (own.ports, ends))
    more = np.einsum("lp,psf->lsf", seen.slopes[laws], at_laws) - _DAMPING * at_ends
    return np.array([*(seen.across(*pair) for pair in tracks), *more])


def _laws(own: Bench, names: Sequence[tuple[str, int]]) -> list[int]:
    """Where currents stand among the ports of the laws: by the seat's name and the port's number there."""
    first: dict[str, int] = {}
    count = 0
    for seat in own.parts.seats:
        first[seat.name] = count
        count += len(seat.ports)
    return [first[name] + port for name, port in names]


def _differences(plan: _Plan, table: Complex) -> Iterator[Complex]:
    """The return difference of each of a plan's cases, from what `_table` gives."""
    stretches = len(plan.stretches)
    # Positions lie around a few: as drawn, all knobs up. Seen from the nearest of those few knobs are elsewhere.
    bases = [(np.zeros(stretches), table)]
    for change in plan.changes:
        known, near = min(bases, key=lambda base: np.count_nonzero(change - base[0]))
        at = np.flatnonzero(change - known)
        if len(at) > _FAR:
            near, known, at = with_changes(near, at.tolist(), (change - known)[at]), change, at[:0]
            bases.append((known, near))
        kept = [*at, *range(stretches, len(table))]
        own = with_changes(near[kept][:, kept], range(len(at)), (change - known)[at])[len(at) :, len(at) :]
        yield np.asarray(1.0 / np.linalg.det(np.eye(len(own)) + np.moveaxis(own, -1, 0)))


def _more(wired: Circuit, current: _Current, outcome: engine.Arrays) -> NDArray[np.complex128]:
    """A valve's current [A] beyond that of the resistor in its place."""
    across = _volts(wired, current.source, outcome) - _volts(wired, current.sink, outcome)
    return np.asarray(_MILLI * outcome.vectors[current.vector] - _DAMPING * across)


def _volts(wired: Circuit, place: str, outcome: engine.Arrays) -> NDArray[np.complex128]:
    vector = node_vector(wired, place)
    return np.asarray(outcome.vectors[vector] if vector else np.zeros(outcome.scale.size), complex)
