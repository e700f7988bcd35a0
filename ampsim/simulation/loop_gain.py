"""Loop gain of a feedback amp, measured with the loop closed."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Any

import numpy as np
import xarray as xr
from numpy.typing import NDArray

from ..base.progress import Progress
from ..circuit.amp import Amp
from ..circuit.feedback import feedback_loop, find_loop
from ..circuit.loop_search import Loop
from ..circuit.positions import Position, switches_at
from .analyses import LoopSweep
from .loop_ports import gains_by_ports
from .netlist import Netlist, build
from .ngspice import engine
from .ports_algebra import Complex, loop_gain_of_cut
from .request import Case, Request, answers, request
from .response import provenance

FADED = 0.7
"""Below this loop gain at an end of a sweep, what lies beyond cannot turn around -1."""
_BEYOND = 100.0


def loop_gain(
    amps: Amp | Sequence[Amp],
    at: str | None = None,
    positions: Iterable[Position] = ({},),
    sweep: LoopSweep | None = None,
    progress: Progress | None = None,
    turned: Sequence[str] = (),
) -> xr.Dataset:
    """Loop gain of one or more variants over positions of their controls.

    It is measured with the loop closed, so the amp stays at its operating point, and at all places at once that carry
    the feedback: how many parts the way back is made of, side by side or in a row, makes no difference.

    Parameters
    ----------
    amps : Amp or sequence of Amp
    at : str
        A part that the loop passes through, or its end, such as ``R20.1``; the loop is measured as a whole. Default:
        the global loop, see `ampsim.circuit.feedback.find_loops`.
    positions : iterable of mapping
        As in `simulate`.
    sweep : LoopSweep
        Frequencies; default 1 Hz to 1 MHz, 25 a decade, and on to 10 mHz or 100 MHz where the loop gain of any of them
        is larger than `FADED` there.
    progress : callable
        Called with (done, total).
    turned : sequence of str
        Knobs that are turned in many positions: these are worked out without ngspice where our own solver has an
        answer, else by a reduction of the amp to their tracks where that takes fewer simulations (`loop_ports`), exact
        but for rounding. Default: ngspice simulates each position.

    Returns
    -------
    xarray.Dataset
        `loop_gain` complex, without unit, dims (variant, position, frequency): positive and real where the feedback
        is negative, 0 where a variant at a position has no such loop. The loop becomes unstable when it encircles -1.

    Raises
    ------
    DescriptionError
        When no feedback is found in any of them, or the part named is in no loop.
    EngineError
        When ngspice gives no trustworthy answer.

    References
    ----------
    R. D. Middlebrook, Measurement of loop gain in feedback systems, Int. J. Electronics 38(4), 1975; double injection
    with both directions of the loop as in M. Tian et al., Striving for small-signal stability, IEEE Circuits and
    Devices Magazine 17(1), 2001; of several wires as the ratio of two determinants, H. W. Bode, Network analysis and
    feedback amplifier design, 1945 (all from memory).
    """
    asked = request(amps, positions)
    base = sweep or LoopSweep(whole=True)
    loops = [find_loop(case.amp, switches_at(case.amp, case.position), at or "") for case in asked.cases]
    label = next((loop.label for loop in loops if loop), "") or _refuse(asked.cases[0], at)
    found = loop_rows(asked.cases, loops, base, progress, turned)
    facts = provenance(asked.variants, base, found.netlists, found.answers) | {"at": label}
    return as_response(asked, found.hertz, found.gains, facts)


def as_response(
    asked: Request, hertz: NDArray[np.float64], gains: NDArray[np.complex128], facts: Mapping[str, Any]
) -> xr.Dataset:
    """Loop gains of what was asked, labelled.

    Parameters
    ----------
    asked : Request
    hertz : ndarray
        Frequencies [Hz].
    gains : ndarray
        To each case a row, without unit.
    facts : mapping
        The attributes.
    """
    table = gains.reshape(*asked.shape, hertz.size)
    data = {"loop_gain": (("variant", "position", "frequency"), table, {"units": "1"})}
    coords = asked.coords() | {"frequency": ("frequency", hertz, {"units": "Hz"})}
    return xr.Dataset(data, coords, dict(facts))


@dataclass(frozen=True, eq=False)
class LoopRows:
    """Loop gains of cases, shape (cases, f), the frequencies [Hz], and what was simulated for them."""

    hertz: NDArray[np.float64]
    gains: Complex
    netlists: list[Netlist]
    answers: list[engine.Arrays]


def loop_rows(
    cases: Sequence[Case],
    loops: Sequence[Loop | None],
    sweep: LoopSweep,
    progress: Progress | None = None,
    turned: Sequence[str] = (),
    solved: bool = True,
) -> LoopRows:
    """As `loop_gain`, of cases whose loops are known, as bare numbers.

    Parameters
    ----------
    cases : sequence of Case
    loops : sequence of Loop or None
        The loop of each; without one its loop gain is 0.
    sweep, progress, turned
        As those of `loop_gain`; the frequencies of the sweep [Hz].
    solved : bool
        Of what is turned: whether our own solver answers what it can.

    Raises
    ------
    EngineError
        When ngspice gives no trustworthy answer.
    """
    label = next((loop.label for loop in loops if loop), "")
    netlists: list[Netlist] = []
    found: list[engine.Arrays] = []

    def swept(sweep: LoopSweep) -> Complex:
        by_ports = gains_by_ports(cases, loops, sweep, turned, solved) if turned else [None] * len(loops)
        direct = [loop if row is None else None for loop, row in zip(loops, by_ports, strict=True)]
        runs = [list(_runs(case, loop, sweep)) for case, loop in zip(cases, direct, strict=True)]
        whose = [case for case, own in zip(cases, runs, strict=True) for _ in own]
        own = [netlist for each in runs for netlist in each]
        told = answers(whose, own, f"loop gain at {label}", progress=progress, kept=True)
        netlists.extend(own)
        found.extend(told)
        rest = iter(told)
        tables = [np.array([list(next(rest).vectors.values()) for _ in each]) for each in runs]
        rows = [loop_gain_of_cut(table.swapaxes(0, 1)) if len(table) else np.zeros(sweep.points) for table in tables]
        return np.array([row if known is None else known for row, known in zip(rows, by_ports, strict=True)], complex)

    hertz, table = _to_its_ends(sweep, swept)
    return LoopRows(hertz, table, netlists, found)


def _to_its_ends(base: LoopSweep, swept: Callable[[LoopSweep], Complex]) -> tuple[NDArray[np.float64], Complex]:
    """Frequencies [Hz] and loop gains of a sweep, with what lies beyond its ends where it is whole."""
    hertz, table = base.grid(), swept(base)
    step = 10.0 ** (1.0 / base.per_decade)
    if base.whole and np.abs(table[..., -1]).max() > FADED:
        above = replace(base, start=float(hertz[-1]) * step, stop=min(float(hertz[-1]) * _BEYOND, 1e9))
        hertz, table = np.append(hertz, above.grid()), np.concatenate([table, swept(above)], axis=-1)
    if base.whole and np.abs(table[..., 0]).max() > FADED:
        below = replace(base, start=max(float(hertz[0]) / _BEYOND, 1e-3), stop=float(hertz[0]) / step)
        hertz, table = np.append(below.grid(), hertz), np.concatenate([swept(below), table], axis=-1)
    return hertz, table


def _refuse(case: Case, at: str | None) -> str:
    return feedback_loop(case.amp, switches_at(case.amp, case.position), at or "").label


def _runs(case: Case, loop: Loop | None, sweep: LoopSweep) -> Iterator[Netlist]:
    """A current into each wire of the cut, then a voltage in each."""
    for injection in ("current", "voltage"):
        for driven in range(len(loop.cut) if loop else 0):
            assert loop is not None
            run = replace(sweep, cut=loop.cut, driven=driven, injection=injection)
            yield build(case.amp, case.position, run, ())
