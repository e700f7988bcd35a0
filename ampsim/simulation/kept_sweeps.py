"""Sweeps and amps at rest that were done before: what one call asked is kept as one file, beside the answers in time.

A search for the worst corner of a loop asks for some thousand sweeps, in calls of some dozen; record and owner's
page ask for the same again. A call for one alone is kept too: to find it takes less than a simulator does to start.
"""

from __future__ import annotations

import hashlib
import io
from collections.abc import Sequence

import numpy as np

from ..base.kept_files import fetch_kept, keep_within
from ..base.progress import Progress
from .batch_store import UNREADABLE, Packed, pack, unpack
from .netlist import Netlist
from .ngspice import engine
from .ngspice.engine import Arrays, Outcome
from .ngspice.kept_answers import MOST_BYTES, MOST_OF_ONE, path_of


def run_kept(
    netlists: Sequence[Netlist], progress: Progress | None = None, workers: int | None = None
) -> list[Outcome]:
    """Simulate netlists as `engine.run_distinct`, or fetch what the same call was answered before.

    Parameters
    ----------
    netlists : sequence of Netlist
        Of sweeps or operating points; what is in time is kept one by one.
    progress, workers
        As those of `engine.run`.

    Raises
    ------
    EngineError
        When no simulator process can work at all.
    """
    size = sum(16 * each.form.points * (1 + len(each.form.vectors)) for each in netlists)
    in_time = any(not each.form.points for each in netlists)
    if in_time or not netlists or size > MOST_OF_ONE:
        return engine.run_distinct(netlists, workers=workers, progress=progress)
    path = path_of(_named(netlists))
    kept = path and fetch_kept(path, MOST_OF_ONE)
    if kept:
        try:
            with np.load(io.BytesIO(kept), allow_pickle=False) as stored:
                return unpack(tuple(netlists), Packed(*(stored[name] for name in Packed._fields)))
        except UNREADABLE:
            pass  # of another version of ampsim: as good as none
    found = engine.run_distinct(netlists, workers=workers, progress=progress)
    if path and all(isinstance(each, Arrays) for each in found):
        file = io.BytesIO()
        np.savez(file, **pack(found)._asdict())
        keep_within(path, file.getvalue(), MOST_BYTES)
    return found


def _named(netlists: Sequence[Netlist]) -> str:
    content = repr([(each.digest, each.form.vectors, each.form.fresh) for each in netlists])
    return hashlib.sha256(content.encode()).hexdigest()
