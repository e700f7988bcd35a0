"""Whether an amp stays at rest at a position is worked out once: it is asked before anything is told of an amp."""

from __future__ import annotations

import json
from collections.abc import Callable, Sequence
from pathlib import Path

from ...base.kept_files import fetch_kept, keep_within
from ...circuit.amp import Amp
from ...measures.growing_modes import Growth
from ...simulation.kept_work import FAULTS, work_path
from ...simulation.ngspice.kept_answers import MOST_BYTES, MOST_OF_ONE

Stand = tuple[Amp, tuple[tuple[str, float | str], ...]]
"""An amp with every control set."""


def once_for_each(
    stands: Sequence[Stand], solved: bool, judge: Callable[[Sequence[Stand]], Sequence[Growth]]
) -> dict[Stand, Growth]:
    """What grows at each of some stands: what is kept of it, else it is judged, and kept; a file to each amp.

    Parameters
    ----------
    stands : sequence of Stand
    solved : bool
        Whether our own solver says which stay at rest.
    judge : callable
        Takes stands to what grows there.
    """
    paths = {amp: work_path(("growth", repr(amp), solved)) for amp in dict.fromkeys(amp for amp, _ in stands)}
    kept = {amp: _fetched(path) if path else {} for amp, path in paths.items()}
    known = {(amp, setting): kept[amp][repr(setting)] for amp, setting in stands if repr(setting) in kept[amp]}
    fresh = [stand for stand in stands if stand not in known]
    known |= zip(fresh, judge(fresh), strict=True)
    for amp in dict.fromkeys(amp for amp, _ in fresh):
        if path := paths[amp]:
            more = {repr(setting): known[one, setting] for one, setting in fresh if one == amp}
            packed = {name: (each.modes, each.hertz, each.clear) for name, each in (kept[amp] | more).items()}
            keep_within(path, json.dumps(packed).encode(), MOST_BYTES)
    return known


def _fetched(path: Path) -> dict[str, Growth]:
    content = fetch_kept(path, MOST_OF_ONE)
    if not content:
        return {}
    try:
        return {name: _growth(*figures) for name, figures in json.loads(bytes(content)).items()}
    except FAULTS:
        return {}


def _growth(*figures: object) -> Growth:
    modes, hertz, clear = figures
    if not (isinstance(modes, int) and isinstance(hertz, float) and isinstance(clear, bool)):
        raise TypeError(figures)
    return Growth(modes, hertz, clear)
