"""How few positions the search for the worst corner needs, and whether it finds what a dense grid finds."""

from __future__ import annotations

import itertools
import time
from collections.abc import Iterator
from typing import Any

from ampsim.circuit.amp import Amp
from ampsim.circuit.mods import apply_mods
from ampsim.library.loader import load_amp, load_mod, parse_mod
from ampsim.measures.margins import margins
from ampsim.simulation.loop_gain import loop_gain
from ampsim.studies.stability.loop_sweeps import SEARCH
from ampsim.studies.stability.worst_corner import worst_corners
from tests.figures.figure import Figure, Scale

# Three pots move; what else touches the loop a little stays, so that the dense grid can hold all of it.
POTS, STILL = ("presence", "depth", "master"), {"gain": 0.5, "treble": 0.5, "bass": 0.5, "middle": 0.5}
DENSE = (0.0, 0.01, 0.1, 0.3, 0.5, 0.7, 0.9, 0.99, 1.0)


def switched_amp() -> Amp:
    """Workshop amp A with a depth pot and two switches at the loop: how much feedback, and how much roll-off."""
    positions = {
        "feedback": {
            "as drawn": [],
            "more": [{"replace": "R20", "with": "33k"}],
            "less": [{"replace": "R20", "with": "150k"}],
        },
        "rolloff": {"as drawn": [], "deep": [{"replace": "C10", "with": "1n"}]},
    }
    switches = [
        {"designator": f"S30{number}", "control": control, "positions": edits}
        for number, (control, edits) in enumerate(positions.items(), 1)
    ]
    mod = parse_mod({"name": "two switches", "reason": "for the search", "switches": switches})
    return apply_mods(load_amp("workshop-a"), load_mod("depth"), mod)


def searching(_: Scale) -> Iterator[Figure]:
    """The worst corner of three pots and two switches, searched and by a dense grid."""
    amp = switched_amp()
    begin = time.perf_counter()
    found = worst_corners(amp, fixed=STILL)
    searched = time.perf_counter() - begin
    switches = [amp.controls[name].positions for name in ("feedback", "rolloff")]
    places = list(itertools.product(*[DENSE] * len(POTS), *switches))
    settings: list[dict[str, Any]] = [
        dict(zip((*POTS, "feedback", "rolloff"), place, strict=True)) | STILL for place in places
    ]
    begin = time.perf_counter()
    loops = loop_gain(amp, positions=settings, sweep=SEARCH)
    dense = [margins(loops["frequency"].values, loop) for loop in loops["loop_gain"].values[0]]
    whole = time.perf_counter() - begin
    for name, kind, ours, corner in (
        ("phase margin", "phase margin [deg]", [each.phase_margin for each in dense], found.worst),
        ("approach to -1", "closest to -1", [each.distance for each in dense], found.closest),
    ):
        place = min(range(len(ours)), key=ours.__getitem__)
        least = float(found.table[kind].min())
        fine = least <= ours[place] + 1e-9
        yield Figure(
            f"worst corner, least {name}, against a dense grid", f"{least:.3f} / {ours[place]:.3f}", "<=", fine
        )
        same = all(corner[each] == settings[place][each] for each in (*POTS, "feedback", "rolloff"))
        yield Figure(f"worst corner by {name} is that of the dense grid", "yes" if same else "no", "yes", same)
    share = found.evaluations / len(settings)
    yield Figure("worst corner: positions judged", f"{found.evaluations} of {len(settings)}", "<= 1/3", share <= 1 / 3)
    yield Figure(
        "worst corner: time of the search", f"{searched / whole:.2f} of the grid's", "<= 1/2", searched <= whole / 2
    )
    each = 1e3 * whole / len(settings)
    yield Figure("worst corner: one position", f"{each:.1f} ms", "<= 10 ms", each <= 10.0)


SECTIONS = (searching,)
