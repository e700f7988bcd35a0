"""The cubic spline in numpy against scipy's, over points as evenly and as unevenly as simulators take them."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.interpolate import CubicSpline

from ampsim.base.cubic import cubic


@pytest.mark.parametrize("points", [2, 3, 4, 5, 9, 64, 65, 3000])
@pytest.mark.parametrize("decades", [0.0, 1.0, 4.0])
def test_as_scipy_has_it(points: int, decades: float) -> None:
    lot = np.random.default_rng(points)
    x = np.concatenate([[0.0], np.cumsum(10.0 ** lot.uniform(-decades, 0.0, points - 1))])
    y = np.sin(x / x[-1] * np.array([1.0, 7.0, 40.0])[:, None])
    at = lot.uniform(x[0], x[-1], 400)
    theirs = CubicSpline(x, y, axis=1)(at)
    assert cubic(x, y, at) == pytest.approx(theirs, rel=1e-9, abs=1e-9 * np.abs(theirs).max())


def test_it_goes_through_its_points_and_keeps_a_cubic() -> None:
    x = np.array([0.0, 0.1, 0.5, 2.0, 2.1, 7.0])
    polynomial = np.polynomial.Polynomial([1.0, -2.0, 0.5, 0.25])
    at = np.array([[-0.5, 0.3], [1.9, 8.0]])
    assert cubic(x, polynomial(x), at) == pytest.approx(polynomial(at), rel=1e-12)
    assert cubic(x, np.cos(x), x) == pytest.approx(np.cos(x), rel=1e-13)
