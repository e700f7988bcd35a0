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
from ..circuit.amp import Amp
from ..circuit.build import Circuit, circuit_at
from ..circuit.positions import Position
from .analyses import FrequencySweep, PortSweep
from .netlist import Netlist, node_vector, write
from .ngspice import engine
from .ports_algebra import Complex, bias_moves, branches, loop_gain_between, without_first
from .request import Case

Port = tuple[str, str]
_CHUNK = 32


class PortCase(NamedTuple):
    """What to reduce: an amp at a position, its ports as pairs of places, and where to listen."""

    amp: Amp
    position: Position
    ports: tuple[Port, ...]
    outputs: tuple[str, ...] = ()


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
        Voltage at each output for 1 V at the source, shape (o, f).
    Z : ndarray
        ``Z[i, j]``: voltage across port i for 1 A into port j [ohm], shape (k, k, f).
    H : ndarray
        ``H[i, j]``: voltage at output i for 1 A into port j [ohm], shape (o, k, f).
    volts : ndarray
        Voltage across each port at rest [V], shape (k,).
    runs : int
        How many simulations it took.
    """

    request: PortCase
    frequency: NDArray[np.float64]
    z0: Complex
    h0: Complex
    Z: Complex
    H: Complex
    volts: NDArray[np.float64]
    runs: int

    def table(self) -> Complex:
        """All of it as one table, shape (k + o, k + 1, f): ports before outputs, ports before the source."""
        above = np.concatenate([self.Z, self.z0[:, None]], axis=1)
        return np.concatenate([above, np.concatenate([self.H, self.h0[:, None]], axis=1)])


def reduce(
    amp: Amp,
    position: Position,
    ports: Sequence[Port],
    outputs: Sequence[str] = (),
    sweep: FrequencySweep | None = None,
) -> PortModel:
    """Reduce one amp at one position to its ports; see `reduce_all`."""
    return reduce_all([PortCase(amp, position, tuple(ports), tuple(outputs))], sweep)[0]


def reduce_all(requests: Sequence[PortCase], sweep: FrequencySweep | None = None) -> list[PortModel]:
    """Reduce amps at positions to their ports, all stock parts in place.

    Parameters
    ----------
    requests : sequence of Request
        A port's current enters at its first place and leaves at its second.
    sweep : FrequencySweep
        Frequencies; default 20 Hz to 20 kHz.

    Raises
    ------
    DescriptionError
        For unknown places or controls, for a port whose two places are one piece of wire, without ports and outputs.
    EngineError
        When ngspice gives no trustworthy answer.
    """
    sweep = sweep or FrequencySweep()
    wired = [circuit_at(request.amp, request.position) for request in requests]
    batches = [_netlists(request, each, sweep) for request, each in zip(requests, wired, strict=True)]
    outcomes = iter(engine.run([netlist for batch in batches for netlist in batch]))
    return [
        _model(request, each, sweep, [_answer(request, next(outcomes)) for _ in batch])
        for request, each, batch in zip(requests, wired, batches, strict=True)
    ]


def _netlists(request: PortCase, wired: Circuit, sweep: FrequencySweep) -> list[Netlist]:
    """The amp at rest, driven from the source, and driven at each port."""
    places = tuple(dict.fromkeys([place for port in request.ports for place in port] + list(request.outputs)))
    if not places:
        raise DescriptionError(f"{request.amp.name}: neither ports nor outputs; there is nothing to reduce it to")
    setting = request.amp.setting(request.position)
    base = PortSweep(sweep.start, sweep.stop, sweep.per_decade, request.ports)
    driven = [
        write(wired, setting, replace(base, driven=number), places) for number in range(-1, len(request.ports))
    ]  # fmt: skip
    return [replace(driven[0], form=driven[0].form._replace(command="op", points=1)), *driven]


def _answer(request: PortCase, outcome: engine.Outcome) -> engine.Arrays:
    return Case(request.amp, request.position).arrays(outcome, "seen from its ports")


def _model(request: PortCase, wired: Circuit, sweep: FrequencySweep, answers: list[engine.Arrays]) -> PortModel:
    rest, *driven = answers
    across = [[_across(wired, answer, port) for answer in driven] for port in request.ports]
    heard = [[_at(wired, answer, place) for answer in driven] for place in request.outputs]
    shape = (-1, len(driven), sweep.points)
    z, h = (np.array(rows, dtype=complex).reshape(shape) for rows in (across, heard))
    volts = np.array([_across(wired, rest, port)[0].real for port in request.ports], dtype=float)
    return PortModel(request, driven[0].scale, z[:, 0], h[:, 0], z[:, 1:], h[:, 1:], volts, len(answers))


def _across(wired: Circuit, answer: engine.Arrays, port: Port) -> NDArray[Any]:
    return np.asarray(_at(wired, answer, port[0]) - _at(wired, answer, port[1]))


def _at(wired: Circuit, answer: engine.Arrays, place: str) -> NDArray[Any]:
    vector = node_vector(wired, place)
    return answer.vectors[vector] if vector else np.zeros_like(next(iter(answer.vectors.values())))


def moves_bias(model: PortModel, siemens: NDArray[np.float64] | Sequence[float]) -> NDArray[np.bool_]:
    """Whether resistive changes [S], one to each port, would move the operating point (`bias_moves`); shape (k,).

    Changes of capacitors never do.
    """
    return bias_moves(model.volts, np.asarray(siemens, dtype=float))


def responses(model: PortModel, changes: NDArray[Any]) -> Complex:
    """Voltages at the outputs for 1 V at the source after the parts at the ports have changed.

    Parameters
    ----------
    model : PortModel
    changes : ndarray
        New less stock admittance [S] at each port, shape (sets, k, f) or (sets, k, 1).

    Returns
    -------
    ndarray
        complex [V], shape (sets, o, f).

    Notes
    -----
    out = h0 - H D (1 + Z D)^-1 z0 with the changes D on a diagonal (superposition), one port eliminated after the
    other (Sherman and Morrison's rule of rank one), many sets at a time.
    """
    found = np.empty((len(changes), *model.h0.shape), complex)
    for start in range(0, len(changes), _CHUNK):
        found[start : start + _CHUNK] = _tables(model, changes[start : start + _CHUNK], 0)[:, :, 0]
    return found


def every_response(model: PortModel, changes: Sequence[Complex], most: int = 4096) -> Iterator[Complex]:
    """Voltages at the outputs for every combination of changes, in the order of `itertools.product`.

    Parameters
    ----------
    model : PortModel
    changes : sequence of ndarray
        For each port all its changes [S], shape (n, f).
    most : int
        About how many sets to a block.

    Yields
    ------
    ndarray
        complex [V], shape (sets of this block, o, f).
    """
    for block in branches(model.table(), changes, most):
        yield block[:, :, 0]


def _tables(model: PortModel, changes: NDArray[Any], kept: int) -> Complex:
    """The table with all but the last `kept` ports eliminated; shape (sets, kept + o, kept + 1, f)."""
    table = model.table()[None]
    for port in range(changes.shape[1] - kept):
        table = without_first(table, changes[:, port])
    return table


def loop_gains(model: PortModel, changes: NDArray[Any], feedback: NDArray[Any]) -> Complex:
    """Loop gain after the parts at all but the last two ports have changed.

    Parameters
    ----------
    model : PortModel
        Its last two ports lie from the two ends of the feedback resistor to ground.
    changes : ndarray
        New less stock admittance [S] at the ports before those, shape (sets, k - 2, f).
    feedback : ndarray
        Admittance [S] of the feedback resistor after the changes, shape (sets, f) or one that broadcasts to it.

    Returns
    -------
    ndarray
        complex, shape (sets, f), with the sign of `loop_gain`.
    """
    blocks = []
    for start in range(0, max(len(changes), 1), _CHUNK):
        part = changes[start : start + _CHUNK]
        padded = np.concatenate([part, np.zeros((len(part), 2, part.shape[2]))], axis=1)
        blocks.append(_tables(model, padded, 2)[:, :2, :2])
    return loop_gain_between(np.concatenate(blocks), feedback)


def simulate_directly(requests: Sequence[PortCase], sweep: FrequencySweep | None = None) -> list[Complex]:
    """Voltages at the outputs for 1 V at the source, each by a fresh simulation of the whole amp; shape (o, f).

    The ports of a request are not needed.
    """
    sweep = sweep or FrequencySweep()
    wired = [circuit_at(request.amp, request.position) for request in requests]
    netlists = [
        _netlists(request._replace(ports=()), each, sweep)[1].with_fresh_load()
        for request, each in zip(requests, wired, strict=True)
    ]
    answers = [_answer(*each) for each in zip(requests, engine.run(netlists), strict=True)]
    return [
        np.array([_at(each, answer, place) for place in request.outputs])
        for request, each, answer in zip(requests, wired, answers, strict=True)
    ]


def checked_db(found: Complex, request: PortCase, sweep: FrequencySweep | None = None) -> float:
    """Largest difference [dB] of responses [V], shape (o, f), from one fresh direct simulation of the changed amp.

    `request` holds the amp with its new parts. Beyond 1e-6 dB something moved that should not.
    """
    (want,) = simulate_directly([request], sweep)
    return float(np.abs(20.0 * np.log10(np.abs(found / want))).max())
