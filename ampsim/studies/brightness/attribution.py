"""Whose doing is a change: the difference between two amps, shared out among the edits that make it."""

from __future__ import annotations

import itertools
import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
import xarray as xr
from numpy.typing import NDArray

from ...base.errors import DescriptionError, shown
from ...circuit.amp import Amp
from ...circuit.build import SPEAKER
from ...circuit.differences import Step, amp_with, plan
from ...circuit.positions import Position
from ...measures.sweep import gain_db
from ...simulation.analyses import FrequencySweep
from ...simulation.response import simulate

METHOD = "Shapley value: the mean over all orders of doing the edits"
SOURCE = (
    "L. S. Shapley, A value for n-person games, in: Contributions to the Theory of Games II, "
    "Annals of Mathematics Studies 28, 1953, pp. 307-317 (from memory)"
)


@dataclass(frozen=True, eq=False)
class Trials:
    """Every subset of some steps, simulated.

    `gain` [dB] has dims (trial, frequency); step k is done in the trials whose number has bit k set, so trial 0 is
    the first amp and the last trial the second.
    """

    steps: tuple[Step, ...]
    gain: xr.DataArray


def attribute(
    stock: Amp,
    modded: Amp,
    position: Position | None = None,
    node: str = SPEAKER,
    by: str | Mapping[str, str] = "part",
    base_position: Position | None = None,
    sweep: FrequencySweep | None = None,
) -> xr.DataArray:
    """Share out the difference in gain between two amps among the edits that lead from one to the other.

    Parameters
    ----------
    stock, modded : Amp
        Two amps of one drawing; they may be the same amp when its switches stand differently.
    position : mapping
        Where the controls stand; those not named stand as drawn.
    node : str
        Where to listen.
    by : {"part", "switch", "mod"} or mapping
        What counts as one edit: each part (default), all of a switch position, all of a mod; or a name for each
        designator to be counted under that name, other parts by themselves. Edits that cannot be done without
        each other count as one in any case.
    base_position : mapping
        Where the switches of `stock` stand; default as in `position`.
    sweep : FrequencySweep
        Default 20 Hz to 20 kHz.

    Returns
    -------
    xarray.DataArray
        dims (edit, frequency) [dB]; the coordinate `total` [dB] is the whole difference, to which the edits add up
        at every frequency, and `words` names each edit for a reader. ``attrs["circuits"]`` is how many circuits
        were simulated: 2 to the power of the number of edits.

    Raises
    ------
    DescriptionError
        For amps of different drawings, more than 6 edits, none at all, or a place without signal.

    References
    ----------
    L. S. Shapley, A value for n-person games, Annals of Mathematics Studies 28 (1953) 307-317. Taken in decibels.
    """
    found = try_all(stock, modded, position, node, by, base_position, sweep)
    gain = found.gain
    total = gain.values[-1] - gain.values[0]
    return xr.DataArray(
        share_out(gain.values),
        {
            "edit": [step.name for step in found.steps],
            "words": ("edit", [step.words for step in found.steps]),
            "frequency": gain["frequency"],
            "total": ("frequency", total, {"units": "dB"}),
        },
        ("edit", "frequency"),
        "share of the change",
        {"units": "dB", "node": node, "circuits": gain.sizes["trial"], "method": METHOD, "source": SOURCE},
    )


def share_out(values: NDArray[np.float64]) -> NDArray[np.float64]:
    """Shapley value of every step.

    Parameters
    ----------
    values : ndarray
        Shape (2**n, ...): the value of every subset of n steps, numbered as in `Trials`.

    Returns
    -------
    ndarray
        Shape (n, ...), in the unit of `values`; the sum over steps is ``values[-1] - values[0]``.

    Notes
    -----
    Step k gets the sum over all subsets S without k of |S|! (n - |S| - 1)! / n! times (v(S with k) - v(S)).
    """
    count = len(values).bit_length() - 1
    shares = np.zeros((count, *values.shape[1:]))
    for step, subset in itertools.product(range(count), range(len(values))):
        if not subset >> step & 1:
            size = subset.bit_count()
            weight = math.factorial(size) * math.factorial(count - size - 1) / math.factorial(count)
            shares[step] += weight * (values[subset | 1 << step] - values[subset])
    return shares


def try_all(
    stock: Amp,
    modded: Amp,
    position: Position | None = None,
    node: str = SPEAKER,
    by: str | Mapping[str, str] = "part",
    base_position: Position | None = None,
    sweep: FrequencySweep | None = None,
) -> Trials:
    """Simulate every subset of the edits that lead from one amp to another.

    Parameters
    ----------
    stock, modded, position, node, by, base_position, sweep
        As those of `attribute`.

    Raises
    ------
    DescriptionError
        As `attribute`.
    """
    steps, base = plan(stock, modded, position, by, base_position)
    amps = [_trial(base, steps, number) for number in range(2 ** len(steps))]
    knobs = {name: value for name, value in (position or {}).items() if name in amps[0].controls}
    gain = gain_db(simulate(amps, sweep or FrequencySweep(), [knobs], [node]), node).isel(position=0)
    if not np.isfinite(gain.values).all():
        silent = gain["variant"].values[~np.isfinite(gain.values).all(axis=1)][0]
        raise DescriptionError(f"no signal at {shown(node)} with {silent}; a difference in dB has no meaning there")
    gain = gain.rename(variant="trial")
    return Trials(steps, gain.drop_vars([name for name in gain.coords if name not in ("trial", "frequency")]))


def _trial(base: Amp, steps: Sequence[Step], number: int) -> Amp:
    done = [step for bit, step in enumerate(steps) if number >> bit & 1]
    return amp_with(
        base, [e for s in done for e in s.does], [e for s in done for e in s.undoes], [s.name for s in done]
    )
