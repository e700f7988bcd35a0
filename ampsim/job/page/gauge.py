"""A small scale beside each answer: stock in the middle, what nobody notices shaded, a mark where the amp stands."""

from __future__ import annotations

import math

from markupsafe import Markup

WIDTH, HEIGHT, MIDDLE, REACH, LINE = 150.0, 17.0, 75.0, 68.0, 8.5  # pt


def mark_at(size: float, full: float) -> float:
    """Where the mark of a change stands [pt]; size and full scale in changes that are just noticed.

    By the root, so that small changes can be told apart and large ones stay on the scale.
    """
    return MIDDLE + math.copysign(REACH * math.sqrt(min(abs(size) / full, 1.0)), size)


def gauge(size: float, full: float) -> Markup:
    """The scale with its mark.

    Parameters
    ----------
    size : float
        How far from stock [changes that are just noticed].
    full : float
        What reaches its ends [the same].
    """
    zone = mark_at(1.0, full) - MIDDLE
    colour = "#c8642a" if abs(size) >= 1.0 else "#77746f"
    return Markup(
        '<svg xmlns="http://www.w3.org/2000/svg" class="gauge" width="{w}pt" height="{h}pt" viewBox="0 0 {w} {h}" '
        'aria-hidden="true">'
        '<rect x="{zone_at:.1f}" y="3" width="{zone:.1f}" height="11" fill="#77746f" fill-opacity="0.2"/>'
        '<path d="M{left} {y}H{right}M{middle} 3V14" stroke="#77746f" stroke-width="1"/>'
        '<circle cx="{at:.1f}" cy="{y}" r="4.5" fill="{colour}"/></svg>'
    ).format(
        w=f"{WIDTH:g}", h=f"{HEIGHT:g}", zone_at=MIDDLE - zone, zone=2.0 * zone, left=MIDDLE - REACH,
        right=MIDDLE + REACH, middle=MIDDLE, y=LINE, at=mark_at(size, full), colour=colour,
    )  # fmt: skip
