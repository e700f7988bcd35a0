"""The trapezoidal rule, or next to it: from state equations to the matrices that the compiled loop multiplies with.

The state kept is s = x - Q w, so that a new sample needs the new input and the new currents only once (K-method:
G. Borin, G. De Poli, D. Rocchesso, Elimination of delay-free loops in discrete-time models of nonlinear acoustic
systems, IEEE Trans. Speech and Audio Processing 8(5), 2000).
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from .compiled import align, eights
from .kernel_arguments import Array, Integers, Levels, Step
from .sockets import Seats
from .state_space import PATH, Equations

# Share of the new sample in each step. The trapezoidal rule has a half; a little more, and what is quicker than the
# steps dies away instead of turning its sign from step to step, which hard clipping would hear. Chosen by trial.
NEW = 0.51


@dataclass(frozen=True, eq=False)
class Discrete:
    """One step of a circuit.

    `coupling` K, transposed. `keep` Q, shape (states, held + ports): x = s + Q w in scaled states. The loop keeps s as
    `turned` by an orthogonal matrix, in which a step is nearly triangular (real Schur form: G. H. Golub, C. F. Van
    Loan, Matrix Computations, section 7.4) and costs less, or as it is. `observe` takes what the loop knows after a
    step (states, currents, inputs, one) to the voltages of all nets of the equations and the currents through the
    ports: shape (known, nets + ports).
    """

    step: Step
    coupling: Array
    keep: Array
    turned: Array
    observe: Array


def discrete(
    equations: Equations,
    volts: Array,
    driven: Integers,
    places: int,
    step: float,
    *,
    smooth: bool = False,
    turn: bool = True,
    turned: Array | None = None,
) -> Discrete:
    """Make time discrete.

    Parameters
    ----------
    equations : Equations
    volts : ndarray
        What the held nets stand at [V].
    driven : ndarray of int
        Which of them are inputs.
    places : int
        How many of the nets of the equations the loop hears.
    step : float
        Its length [s].
    smooth : bool
        A step of half that length by the backward rule instead, which the same factors serve: after a switch has
        moved it damps what the trapezoidal rule would let ring.
    turn : bool
        Whether it goes so many steps that turning pays: some ten thousand.
    turned : ndarray
        The states to turn to instead, those of a step of another length.
    """
    scale = equations.scale
    energy = equations.energy / np.outer(scale, scale)
    slope = equations.slope / np.outer(scale, scale)
    left = energy - NEW * step * slope
    drive = equations.drive / scale[:, None]
    held = drive.shape[1] - equations.ports
    solved = np.linalg.solve(left, np.hstack([energy, NEW * step * drive]))
    states = len(scale)
    once, keep = solved[:, :states], solved[:, states:]
    forward = once if smooth else (once - (1.0 - NEW) * np.eye(states)) / NEW
    pushed = (once if smooth else once / NEW) @ keep
    read = equations.read / scale
    through = read @ keep + equations.through
    if not (turn and states):
        triangle, turned = np.asarray(forward), np.eye(states)
    elif turned is not None:
        triangle = turned.T @ forward @ turned
    else:
        triangle, turned = _turned(np.asarray(forward))
    # Columns: states, currents, inputs, and one for everything that stays. Rows: ports, what is heard, states.
    count = equations.ports
    heard = count + places
    more = np.hstack([pushed[:, held:], pushed[:, driven], pushed[:, :held] @ volts[:, None]])
    above, below = read[:heard] @ np.hstack([forward @ turned, more]), np.hstack([triangle, turned.T @ more])
    columns, heights = _lay_out(above, below)
    by_current = np.ascontiguousarray(through[count:heard, held:])
    by_input, constant = np.ascontiguousarray(through[:heard, driven].T), through[:, :held] @ volts
    observed = np.hstack([read @ turned, through[:, held:], through[:, driven], constant[:, None]]).T
    currents = PATH * observed[:, :count]
    currents[states : states + count] += np.eye(count)
    coupling = through[:count, held:].T
    made = Step(columns, heights, by_input, constant[:heard], by_current, states)
    return Discrete(made, coupling, np.asarray(keep), turned, np.hstack([observed[:, count:], currents]))


def levels_of(steps: Sequence[Discrete], volts: Array, driven: Integers, seats: Seats, ticks: int) -> Levels:
    """Steps of one circuit, each half as long as the one before and turned alike, for steps that adapt.

    Parameters
    ----------
    steps : sequence of Discrete
    volts, driven
        As in `discrete` [V].
    seats : Seats
        The valves behind the circuit.
    ticks : int
        As in `Levels`.
    """
    own = [each.step for each in steps]
    offsets = []
    for each in steps:
        turned = each.turned.T @ each.keep
        held = turned[:, : len(volts)]
        offsets.append(np.hstack([turned[:, len(volts) :], held[:, driven], held @ volts[:, None]]).T)
    return Levels(
        align(np.array([each.columns for each in own])),
        np.array([each.heights for each in own]),
        np.array([each.by_input for each in own]),
        np.array([each.constant for each in own]),
        np.array([each.by_current for each in own]),
        align(np.array([seats.spread(each.coupling) for each in steps])),
        np.ascontiguousarray(offsets),
        own[0].states,
        ticks,
    )


def _turned(forward: Array) -> tuple[Array, Array]:
    """The real Schur form of a step, and what turns states into it."""
    from scipy.linalg import schur

    triangle, turned = schur(forward)
    return np.asarray(triangle), np.asarray(turned)


def _lay_out(above: Array, below: Array) -> tuple[Array, Integers]:
    """Both matrices one under the other by columns, each from a row divisible by eight; how far eight columns reach."""
    first = eights(len(above))
    columns = np.zeros((eights(below.shape[1]), first + eights(len(below))))
    columns[: below.shape[1], : len(above)] = above.T
    columns[: below.shape[1], first : first + len(below)] = below.T
    there = np.asarray(columns.reshape(-1, 8, columns.shape[1]).any(axis=1))
    reach = np.where(there.any(axis=1), there.shape[1] - np.argmax(there[:, ::-1], axis=1), 0)
    return align(columns), -(-reach // 8) * 8
