"""What published rows leave of the valve laws, by kind of figure, and how many unfitted rows the bands hold."""

from __future__ import annotations

import math
from collections import defaultdict
from collections.abc import Iterable, Mapping
from functools import lru_cache

import numpy as np

from ampsim.bench.valves.rest import RestingPoints, at_rest
from ampsim.circuit.valves.laws import LAWS
from ampsim.library.kinds import listing
from ampsim.library.loader import load_valve
from ampsim.measures.law_bands import BANDS, CUT_OFF, REST, SCREEN, current_kind
from tests.truth.claims import FITTED, PREDICTED, Check

_KINDS = {
    "plate current": REST,
    "cathode current": REST,
    "screen current": SCREEN,
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
    low = near_cut_off()
    for each in checks:
        if each.claim.kind in (FITTED, PREDICTED) and each.claim.quantity in _KINDS:
            found[CUT_OFF if each.claim.name in low else _KINDS[each.claim.quantity]].append(each)
    return found


@lru_cache(maxsize=1)
def near_cut_off() -> frozenset[str]:
    """Names of the rows whose plate current is that of a valve near cut-off, by our own law."""
    found = set()
    for valve in map(load_valve, listing()["valves"]):
        points = [each for each in valve.points if at_rest(each) and _KINDS.get(each.quantity) == REST]
        if not points or not valve.law.startswith("space-charge"):
            continue
        rest = RestingPoints(LAWS[valve.law], valve.family, points).electrodes(dict(valve.parameters))
        screens = rest.screen if valve.family == "pentode" else np.full(len(points), None)
        for point, *volts in zip(points, rest.plate, rest.grid, screens, strict=True):
            if current_kind(valve, *volts) == CUT_OFF:
                found.add(f"{point.id} {point.quantity}")
    return frozenset(found)


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
