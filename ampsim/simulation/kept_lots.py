"""What our own solver answered to a lot of variants is kept: the stock amp's are the same for every mod."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from typing import Any

import numpy as np
from numpy.typing import NDArray

from ..base.kept_files import fetch_kept, keep_within
from .kept_work import work_path
from .ngspice.kept_answers import MOST_BYTES, MOST_OF_ONE

Solved = tuple[NDArray[Any], Sequence[str], str]
"""Answers [V], why there is none to a variant ("" elsewhere), and the digest of what was asked."""
_HEAD = 64  # the digest


def once_solved(asked: object, shape: tuple[int, ...], kind: type, solve: Callable[[], Solved]) -> Solved:
    """What is kept of a lot, to the last bit; else it is solved, and kept where every variant has an answer.

    Parameters
    ----------
    asked : object
        All that its answers depend on besides the package, told apart by its `repr`.
    shape : tuple of int
        Of the answers, variants first.
    kind : type
        Of the answers, complex or float.
    solve : callable
    """
    path = work_path(("lot", asked))
    kept = path and fetch_kept(path, MOST_OF_ONE)
    if kept and kept.nbytes == _HEAD + int(np.prod(shape)) * np.dtype(kind).itemsize:
        return np.frombuffer(kept[_HEAD:], kind).reshape(shape), [""] * shape[0], str(kept[:_HEAD], "ascii", "replace")
    found = solve()
    values, faults, digest = found
    if path and not any(faults) and len(digest) == _HEAD and _HEAD + values.nbytes <= MOST_OF_ONE:
        keep_within(path, digest.encode() + np.ascontiguousarray(values, kind).tobytes(), MOST_BYTES)
    return found
