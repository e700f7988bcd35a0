"""Figures of the finder: ten thousand sets of values against ngspice on each, and how far the two differ."""

from __future__ import annotations

import itertools
import statistics
import time
from collections.abc import Iterator

import numpy as np

from ampsim.circuit.values import with_values
from ampsim.library.loader import load_amp, parse_wishes
from ampsim.simulation.netlist import build
from ampsim.simulation.ports import PortCase, reduce, simulate_directly
from ampsim.simulation.ports_algebra import branches
from ampsim.studies.search.result import SearchResult
from ampsim.studies.search.rooms import SWEEP, decibels, gain_spans, gain_view, room
from ampsim.studies.search.search import find_values
from ampsim.studies.search.wishes import WishList
from tests.figures.figure import Figure, Scale
from tests.tools.others import Other

AT: dict[str, float | str] = {"gain": 0.3}
WISHES = {
    "name": "ten thousand",
    "parts": [
        {"fit": "C301", "between": ["P1.top", "P1.wiper"], "values": "E12 from 47p to 270p"},
        {"replace": "C1", "values": "E12 from 220n to 1u2"},
        {"replace": "C5", "values": "E12 from 180p to 1n"},
        {"replace": "C11", "values": "E12 from 47n to 270n"},
    ],
    "wishes": [
        {"more": "3 to 5 dB", "between": ["2k", "4k"], "at": AT},
        {"change": "at most 1 dB", "below": "200", "at": AT},
    ],
}


def ten_thousand_sets(scale: Scale) -> Iterator[Figure]:
    """The finder, wishes in to checked answers out, against bare ngspice on a sample of the sets, one after the other.

    The time of ngspice over all sets is that of the sample times their number.
    """
    wanted = parse_wishes(WISHES, load_amp("workshop-a"))
    sample = np.random.default_rng(5).choice(wanted.circuits, scale.repetitions, replace=False)
    found = find_values(wanted)
    ours, bares, other = [], [], Other("bare")
    amps = [with_values(wanted.base, found.values(int(place))) for place in sample]
    netlists = [build(amp, AT, SWEEP, ("speaker",)) for amp in amps]
    try:
        for share in np.array_split(np.arange(len(sample)), 3):
            begin = time.perf_counter()
            found = find_values(wanted)
            ours.append(time.perf_counter() - begin)
            bares += [other.time(netlists[number]) for number in share]
    finally:
        other.close()
    mine, each = statistics.median(ours), statistics.median(bares)
    ratio = mine / (each * wanted.circuits)
    value = f"{ratio:.4f} ({mine:.2f} s against {each * wanted.circuits:.1f} s extrapolated from {len(sample)} sets"
    value += f" of {1e3 * each:.2f} ms)"
    name = f"finder over {wanted.circuits:,} sets of values that keep the bias, over bare ngspice on each"
    yield Figure(name, value, "<= 0.1", ratio <= 0.1)
    yield Figure("sets of values tried there", f"{found.circuits:,}", ">= 10,000", found.worked_out >= 10_000)
    wishes, curves = _differences(wanted, found, sample)
    value = f"{max(wishes, curves):.1g} dB (wishes {wishes:.1g}, all {SWEEP.points} frequencies {curves:.1g})"
    name = f"largest difference from direct simulation in {len(sample)} of those sets"
    yield Figure(name, value, "<= 0.01 dB", max(wishes, curves) <= 0.01)


def _differences(wanted: WishList, found: SearchResult, sample: np.ndarray) -> tuple[float, float]:
    """Largest differences [dB] in the rooms of the wishes and in the gains at all frequencies."""
    amps = [with_values(wanted.base, found.values(int(place))) for place in sample]
    stock, *heard = simulate_directly([PortCase(amp, AT, (), ("speaker",)) for amp in (wanted.stock, *amps)], SWEEP)
    gains = np.array([decibels(each[0]) for each in heard])
    changes = gains - decibels(stock[0])
    rooms = [room(wish, *gain_spans(changes, SWEEP.grid(), wish)) for wish in wanted.wishes]
    seen = gain_view(wanted.base, AT, wanted.choices, "speaker")
    (model,) = reduce([seen.case], SWEEP)
    by_ports = decibels(np.concatenate(list(branches(model.table(), seen.changes(model.frequency))))[:, 0, 0])
    wishes = np.abs(np.array(rooms).T - found.rooms[sample]).max()
    return float(wishes), float(np.abs(by_ports[sample] - gains).max())


def directly_for_the_best(_: Scale) -> Iterator[Figure]:
    """A problem small enough to simulate every circuit: is the first answer the true best?"""
    wanted = parse_wishes({**WISHES, "parts": [
        {"fit": "C301", "between": ["P1.top", "P1.wiper"], "values": "E6 from 33p to 220p", "none": True},
        {"replace": "R4", "values": "E12 from 1k to 2k2"},
        {"replace": "C5", "values": "E6 from 150p to 680p"},
    ]}, load_amp("workshop-a"))  # fmt: skip
    found = find_values(wanted)
    names = [choice.part for choice in wanted.choices]
    sets = [dict(zip(names, values, strict=True)) for values in itertools.product(*(c.values for c in wanted.choices))]
    amps = [wanted.stock, *(with_values(wanted.base, values) for values in sets)]
    stock, *heard = simulate_directly([PortCase(amp, AT, (), ("speaker",)) for amp in amps], SWEEP)
    changes = np.array([decibels(each[0]) for each in heard]) - decibels(stock[0])
    rooms = [room(wish, *gain_spans(changes, SWEEP.grid(), wish)) for wish in wanted.wishes]
    least = np.sort(np.array(rooms).T, axis=1).round(6)
    best = max(range(len(sets)), key=lambda place: tuple(least[place]))
    first = int(found.order[0])
    value = f"{'the same' if first == best else 'another'} of {len(sets)} circuits, {found.runs} simulations"
    yield Figure("best answer against every circuit simulated directly", value, "the same", first == best)


SECTIONS = (ten_thousand_sets, directly_for_the_best)
