"""An amp at rest reduced to a few ports: from then on new values of the parts there cost arithmetic, not simulations.

The stock parts stay in: each port lies beside a part, and what counts is how much its admittance changes. So the
operating point is untouched by construction, and no node loses its path to ground.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from typing import Any, NamedTuple

import numpy as np
from numpy.typing import NDArray

from ..base.errors import DescriptionError
from ..base.progress import Progress
from ..circuit.amp import Amp
from ..circuit.build import Circuit, circuit_at
from ..circuit.loop_search import Cut
from ..circuit.positions import Position
from .analyses import FrequencySweep, PortSweep
from .drives import probe_vectors, with_probes
from .kept_sweeps import run_kept
from .netlist import Netlist, node_vector, write
from .ngspice import engine
from .ports_algebra import Complex, loop_gain_of_cut, without_first
from .request import Case

Port = tuple[str, str]
_CHUNK = 128
_GENERATOR = "vgenerator ac"


class PortCase(NamedTuple):
    """What to reduce: an amp at a position, its ports as pairs of places, and where to listen.

    With the `cut` of a loop, seen are its wires instead of the source and the outputs (`loop_gain_of_cut`).
    """

    amp: Amp
    position: Position
    ports: tuple[Port, ...]
    outputs: tuple[str, ...] = ()
    cut: Cut = ()


@dataclass(frozen=True, eq=False)
class PortModel:
    """An amp at one position, seen from k ports and o outputs at f frequencies.

    Attributes
    ----------
    frequency : ndarray
        [Hz], shape (f,), as ngspice stepped: up to 1e-7 beside the sweep's grid, which would show in the sixth figure
        of a decibel.
    z0 : ndarray
        Voltage across each port for 1 V at the source, shape (k, f).
    h0 : ndarray
        Voltage at each output for 1 V at the source, shape (o, f). With a cut of n wires the outputs are their
        voltages and currents, and in place of the one source stand the currents into the wires and the voltages in
        them: `z0` has shape (k, 2 n, f), `h0` (2 n, 2 n, f).
    Z : ndarray
        ``Z[i, j]``: voltage across port i for 1 A into port j [ohm], shape (k, k, f).
    H : ndarray
        ``H[i, j]``: voltage at output i for 1 A into port j [ohm], shape (o, k, f).
    volts : ndarray
        Voltage across each port at rest [V], shape (k,).
    runs : int
        How many simulations it took.
    """

    case: PortCase
    frequency: NDArray[np.float64]
    z0: Complex
    h0: Complex
    Z: Complex
    H: Complex
    volts: NDArray[np.float64]
    runs: int

    def table(self) -> Complex:
        """All of it as one table, shape (k + o, k + 1, f): ports before outputs, ports before the source."""
        z0, h0 = (self.z0, self.h0) if self.case.cut else (self.z0[:, None], self.h0[:, None])
        return np.concatenate([np.concatenate([self.Z, z0], axis=1), np.concatenate([self.H, h0], axis=1)])


def reduce(
    cases: Sequence[PortCase],
    sweep: FrequencySweep | None = None,
    workers: int | None = None,
    progress: Progress | None = None,
) -> list[PortModel]:
    """Reduce amps at positions to their ports, all stock parts in place.

    Parameters
    ----------
    cases : sequence of PortCase
        A port's current enters at its first place and leaves at its second.
    sweep : FrequencySweep
        Frequencies; default 20 Hz to 20 kHz.
    workers, progress
        As `engine.run`.

    Raises
    ------
    DescriptionError
        For unknown places or controls, for a port whose two places are one piece of wire, without ports and outputs.
    EngineError
        When ngspice gives no trustworthy answer.
    """
    sweep = sweep or FrequencySweep()
    wired = [circuit_at(case.amp, case.position) for case in cases]
    batches = [_netlists(case, each, sweep) for case, each in zip(cases, wired, strict=True)]
    wired = [with_probes(each, case.cut) for case, each in zip(cases, wired, strict=True)]
    outcomes = iter(run_kept([each for batch in batches for each in batch], progress, workers))
    return [
        _model(case, each, sweep, [_answer(case, next(outcomes)) for _ in batch])
        for case, each, batch in zip(cases, wired, batches, strict=True)
    ]


def _netlists(case: PortCase, wired: Circuit, sweep: FrequencySweep) -> list[Netlist]:
    """The amp at rest, driven from the source, and driven at each port."""
    places = tuple(dict.fromkeys([place for port in case.ports for place in port] + list(case.outputs)))
    if not places and not case.cut:
        raise DescriptionError(f"{case.amp.name}: neither ports nor outputs; there is nothing to reduce it to")
    setting = case.amp.setting(case.position)
    base = PortSweep(sweep.start, sweep.stop, sweep.per_decade, case.ports, cut=case.cut)
    from_source = write(wired, setting, base, places)
    ports = [f"iport_{number} ac" for number in range(len(case.ports))]
    wires = [f"{kind}probe_{number} ac" for kind in "iv" for number in range(len(case.cut))]
    # They differ in what drives alone: writing each anew would take longer than the simulations.
    driven = [driven_by(from_source, name) for name in (*(wires or [_GENERATOR]), *ports)]
    return [replace(driven[0], form=driven[0].form._replace(command="op", points=1)), *driven]


def driven_by(netlist: Netlist, name: str) -> Netlist:
    """A port sweep's netlist with 1 A or 1 V in the source of that name alone, such as "iport_0 ac"."""
    names = zip(netlist.form.parts, netlist.values, strict=True)
    return replace(netlist, values=tuple(float(each == name) if each in {name, _GENERATOR} else value
                                         for each, value in names))  # fmt: skip


def _answer(case: PortCase, outcome: engine.Outcome) -> engine.Arrays:
    return Case(case.amp, case.position).arrays(outcome, "seen from its ports")


def _model(case: PortCase, wired: Circuit, sweep: FrequencySweep, answers: list[engine.Arrays]) -> PortModel:
    rest, *driven = answers
    across = [[_across(wired, answer, port) for answer in driven] for port in case.ports]
    heard = [[_at(wired, answer, place) for answer in driven] for place in case.outputs]
    heard += [[answer.vectors[name] for answer in driven] for name in probe_vectors(len(case.cut))]
    shape = (-1, len(driven), sweep.points)
    z, h = (np.array(rows, dtype=complex).reshape(shape) for rows in (across, heard))
    volts = np.array([_across(wired, rest, port)[0].real for port in case.ports], dtype=float)
    own = 2 * len(case.cut)
    z0, h0 = (z[:, :own], h[:, :own]) if own else (z[:, 0], h[:, 0])
    return PortModel(case, driven[0].scale, z0, h0, z[:, own or 1 :], h[:, own or 1 :], volts, len(answers))


def _across(wired: Circuit, answer: engine.Arrays, port: Port) -> NDArray[Any]:
    return np.asarray(_at(wired, answer, port[0]) - _at(wired, answer, port[1]))


def _at(wired: Circuit, answer: engine.Arrays, place: str) -> NDArray[Any]:
    vector = node_vector(wired, place)
    return answer.vectors[vector] if vector else np.zeros_like(next(iter(answer.vectors.values())))


def loop_gains(model: PortModel, changes: NDArray[Any]) -> Complex:
    """Loop gain after the parts at the ports have changed.

    Parameters
    ----------
    model : PortModel
        Reduced with the cut of a loop.
    changes : ndarray
        New less stock admittance [S] at the ports, shape (sets, k, f), or (sets, k, 1) of conductances.

    Returns
    -------
    ndarray
        complex, shape (sets, f), with the sign of `loop_gain`.
    """
    ports = changes.shape[1]
    moving = [port for port in range(ports) if np.any(changes[:, port] != changes[:1, port])]
    still = [port for port in range(ports) if port not in moving]
    order = [*still, *moving]
    whole = model.table()
    whole = whole[[*order, *range(ports, len(whole))]][:, [*order, *range(ports, whole.shape[1])]]
    for port in still:  # what is the same in all sets is put in once
        whole = without_first(whole, changes[0, port]) if np.any(changes[:1, port]) else whole[1:, 1:]
    found = np.empty((len(changes), whole.shape[-1]), complex)
    for some, table, whose in _with_each(whole, changes[:, moving]):
        found[some] = loop_gain_of_cut(table)[whose]
    return found


def _with_each(whole: Complex, changes: NDArray[Any]) -> Iterator[tuple[NDArray[np.int64], Complex, NDArray[np.int64]]]:
    """Some sets at a time, with the tables left once their changes are put in, and which of them is each set's.

    Sets in order: those that are alike up to a port have one table up to there, and most of the work is at the first.
    """
    kinds = [np.unique(each, axis=0, return_inverse=True)[1].reshape(-1) for each in changes.swapaxes(0, 1)]
    order = np.lexsort(kinds[::-1]) if kinds else np.arange(len(changes))
    for start in range(0, len(changes), _CHUNK):
        some = order[start : start + _CHUNK]
        table, whose, other = whole[None], np.zeros(some.size, np.int64), np.arange(some.size) == 0
        for port, kind in enumerate(kinds):
            other[1:] |= kind[some[1:]] != kind[some[:-1]]
            table = without_first(table[whose[other]], changes[some[other], port])
            whose = np.cumsum(other) - 1
        yield some, table, whose


def simulate_directly(
    cases: Sequence[PortCase],
    sweep: FrequencySweep | None = None,
    workers: int | None = None,
    progress: Progress | None = None,
) -> list[Complex]:
    """Voltages at the outputs for 1 V at the source, each by a fresh simulation of the whole amp; shape (o, f).

    Parameters
    ----------
    cases : sequence of PortCase
        Their ports are not needed.
    sweep : FrequencySweep
        Frequencies; default 20 Hz to 20 kHz.
    workers, progress
        As `engine.run`.
    """
    sweep = sweep or FrequencySweep()
    wired = [circuit_at(case.amp, case.position) for case in cases]
    netlists = [
        _netlists(case._replace(ports=()), each, sweep)[1].with_fresh_load()
        for case, each in zip(cases, wired, strict=True)
    ]
    answers = [
        _answer(*each) for each in zip(cases, engine.run(netlists, workers=workers, progress=progress), strict=True)
    ]
    return [
        np.array([_at(each, answer, place) for place in case.outputs])
        for case, each, answer in zip(cases, wired, answers, strict=True)
    ]
