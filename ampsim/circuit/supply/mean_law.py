"""What an amp sees of its rectifier: the mean current into the reservoir over the mean volts there."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

import numpy as np
from numpy.typing import NDArray

from ..valves.spice_text import node, number

Array = NDArray[np.float64]
_COUNT = 18
# The conductance [S] across it, so that what nothing feeds still has a voltage.
_LEAK = 1e-8
KNOTS = tuple(f"{name}_{number}" for number in range(_COUNT) for name in ("knot", "bend"))
"""The numbers that `mean_current` takes: knots [V] from the lowest up, and the bend [A/V^2] that begins at each."""


def mean_current(p: Any, volts: Array) -> tuple[Array]:
    """Mean current [A] at the volts [V] by which the reservoir lies below the peak of the transformer's.

    A curve of pieces of parabolas, smooth to its slope: sum of bend max(volts - knot, 0)^2. Beyond the last knot it is
    a line, worked out as one: of squares that cancel nothing but their rounding is left where a solver tries volts far
    off, and currents of either sign from that hold a reservoir at billions of volts.
    """
    top = p[f"knot_{_COUNT - 1}"]
    beyond = np.maximum(0.0, volts - top)
    within = volts - beyond
    total: Any = _LEAK * volts
    slope: Any = 0.0
    for count in range(_COUNT - 1):
        knot, bend = p[f"knot_{count}"], p[f"bend_{count}"]
        above = np.maximum(0.0, within - knot)
        total = total + bend * (above * above)
        slope = slope + 2.0 * bend * (top - knot)
    return (total + slope * beyond,)


def mean_lines(name: str, p: Mapping[str, float], ports: Sequence[tuple[str, str]]) -> tuple[str, ...]:
    """Write `mean_current`; the node named after it and "_ma" holds its current [mA]."""
    ((first, second),) = ports
    knots, bends = ([p[f"{kind}_{count}"] for count in range(_COUNT)] for kind in ("knot", "bend"))
    top = knots[-1]
    slope = sum(2.0 * bend * (top - knot) for knot, bend in zip(knots, bends, strict=True))
    volts = f"V({first},{second})"
    within = f"min({volts},{number(top)})"
    terms = (
        f"{number(1e3 * bend)}*max({within}-{number(knot)},0)*max({within}-{number(knot)},0)"
        for knot, bend in zip(knots[:-1], bends[:-1], strict=True)
    )
    lines = [f"{number(1e3 * _LEAK)}*{volts}", f"{number(1e3 * slope)}*max({volts}-{number(top)},0)", *terms]
    return (
        *node(f"{name}_ma", "+".join(lines).replace("+-", "-")),
        f"G{name} {first} {second} {name}_ma 0 1e-3",
    )


def fitted_numbers(volts: Array, amps: Array) -> dict[str, float]:
    """The numbers of `mean_current` that go through a curve.

    Parameters
    ----------
    volts : array
        Below the peak [V], rising.
    amps : array
        Mean currents there [A], rising the faster the further.
    """
    from scipy.optimize import nnls

    knots = _knots(volts)
    widths = np.diff(knots)
    # Slopes that rise by a line from knot to knot and never fall: then the current never falls either.
    columns = [
        (np.maximum(volts - low, 0.0) ** 2 - np.maximum(volts - low - width, 0.0) ** 2) / (2.0 * width)
        for low, width in zip(knots[:-1], widths, strict=True)
    ]
    weight = 1.0 / (amps + 0.02 * amps.max())
    rises, _ = nnls(np.array(columns).T * weight[:, None], amps * weight)
    halves = rises / (2.0 * widths)
    bends = np.append(halves, 0.0) - np.append(0.0, halves)
    pairs = (((f"knot_{k}", float(knots[k])), (f"bend_{k}", float(bends[k]))) for k in range(_COUNT))
    return dict(pair for both in pairs for pair in both)


def _knots(volts: Array) -> Array:
    """Where the curve bends: 0, and from there spread as the curve's own points are."""
    places = np.linspace(0.0, len(volts) - 1.0, _COUNT - 1)
    return np.concatenate([[0.0], np.interp(places, np.arange(len(volts)), volts)])
