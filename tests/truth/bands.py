"""What published rows leave of the valve laws, by kind of figure, and how many unfitted rows the bands hold."""

from __future__ import annotations

import math
from collections import defaultdict
from collections.abc import Iterable, Mapping

from ampsim.measures.law_bands import BANDS
from tests.truth.claims import FITTED, PREDICTED, Check

_KINDS = {
    "plate current": "current at rest",
    "cathode current": "current at rest",
    "gm": "slope",
    "rp": "slope",
    "mu": "slope",
    "screen mu": "slope",
    "gain": "gain",
    "output power": "watts",
    "distortion": "distortion",
    "second harmonic": "distortion",
    "third harmonic": "distortion",
}


def by_kind(checks: Iterable[Check]) -> Mapping[str, list[Check]]:
    """The rows about valves of our own laws, fitted or not, by the kind of their figure."""
    found: dict[str, list[Check]] = defaultdict(list)
    for each in checks:
        if each.claim.kind in (FITTED, PREDICTED) and each.claim.quantity in _KINDS:
            found[_KINDS[each.claim.quantity]].append(each)
    return found


def worked_out(checks: Iterable[Check]) -> dict[str, float]:
    """Twice what nine in ten of the fitted rows of each kind keep within, to the next hundredth."""
    found = {}
    for kind, rows in by_kind(checks).items():
        off = sorted(abs(each.error) for each in rows if each.claim.kind == FITTED)
        found[kind] = math.ceil(200.0 * off[math.ceil(0.9 * len(off)) - 1] - 1e-9) / 100.0
    return found


def coverage(checks: Iterable[Check]) -> dict[str, tuple[int, int]]:
    """Of the rows that no fit used: how many lie inside their kind's band, and how many there are."""
    found = {}
    for kind, rows in by_kind(checks).items():
        unused = [each for each in rows if each.claim.kind == PREDICTED]
        found[kind] = (sum(abs(each.error) <= BANDS[kind] for each in unused), len(unused))
    return found


def lines(checks: Iterable[Check]) -> list[str]:
    """Each kind with its band and what it holds."""
    rows = list(checks)
    held = coverage(rows)
    return [f"  {kind}: {100.0 * BANDS[kind]:.0f} %, holds {held[kind][0]} of {held[kind][1]}" for kind in BANDS]
