"""Printed sheets measured: pages of a PDF as dots, and what a ruler would read on them."""

from __future__ import annotations

from typing import Any

import numpy as np
from numpy.typing import NDArray

from ampsim.job.papers.sheets import Circle

DOT = 20
"""Dots to the millimetre at which sheets are measured."""
_POINTS = 72.0 / 25.4
Dots = NDArray[np.bool_]


def dots(pdf: Any, number: int, fine: int = DOT) -> Dots:
    """Where a page is dark, so many dots to the millimetre."""
    grey = pdf[number].render(scale=fine / _POINTS, grayscale=True).to_numpy().squeeze()
    return np.asarray(grey < 160)


def measured_centre(page: Dots, near: Circle) -> tuple[float, float]:
    """Where the arms of a cross meet [mm], from the dots right outside the hole on all four sides."""
    off, far = near.diameter / 2 + 2.0, 1.0
    found = []
    for x, y, turned in ((near.x, near.y, page), (near.y, near.x, page.T)):
        sides = [
            turned[round((y + side * off) * DOT), round((x - far) * DOT) : round((x + far) * DOT)]
            for side in (-1.0, 1.0)
        ]
        both = np.flatnonzero(sides[0] & sides[1])
        assert both.size
        found.append(round((x - far) * DOT) / DOT + float(both.mean() + 0.5) / DOT)
    return found[0], found[1]


def measured_diameter(page: Dots, x: float, y: float, near: float) -> float:
    """The diameter of a circle round a place [mm], the mean of four; NaN where a ray meets no line within 1 mm."""
    radii = []
    for angle in (0.6, 2.2, 3.9, 5.6):
        far = np.arange(near / 2 - 1.0, near / 2 + 1.0, 0.25 / DOT)
        rows = np.floor((y - far * np.sin(angle)) * DOT).astype(int)
        columns = np.floor((x + far * np.cos(angle)) * DOT).astype(int)
        seen = page[rows, columns]
        radii.append(float(far[seen].mean()) if seen.any() else float("nan"))
    return 2.0 * float(np.mean(radii))


def measured_rulers(page: Dots) -> tuple[float, float]:
    """The lengths of both rulers [mm], between the middles of their first and last marks: millimetres, inches."""
    low = page[-40 * DOT :, 13 * DOT : 119 * DOT]
    bases = np.flatnonzero(low.mean(axis=1) > 0.9)
    lines = (low[bases[0] - DOT], low[bases[-1] + DOT])  # across the marks, over the one base and under the other
    found = []
    for line in lines:
        dark = np.flatnonzero(line) / DOT
        ends = [dark[np.abs(dark - end) < 0.5].mean() for end in (dark[0], dark[-1])]
        found.append(float(ends[1] - ends[0]))
    return found[0], found[1]
