"""Which curves are the same to the ear and the eye: within a twentieth of a decibel everywhere."""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike

SAME_DB = 0.05
"""Curves that nowhere differ by more [dB] are the same; our choice, below what pictures and tables show."""


def equal_curves(curves: ArrayLike, within: float = SAME_DB) -> list[list[int]]:
    """Groups of curves that are the same, in the order of their first ones; whichever order they come in.

    Parameters
    ----------
    curves : array
        Shape (curves, points) [dB]; without signal minus infinity.
    within : float
        How far apart two of a group may be at most [dB]; a third between them joins what is further apart.

    Returns
    -------
    list of list of int
        Indices; each curve is in one group.
    """
    table = np.asarray(curves, dtype=float)
    with np.errstate(invalid="ignore"):
        apart = np.abs(table[:, np.newaxis] - table[np.newaxis])
    silent = (table[:, np.newaxis] == table[np.newaxis]) | (
        np.isnan(table[:, np.newaxis]) & np.isnan(table[np.newaxis])
    )
    near = np.where(silent, 0.0, np.nan_to_num(apart, nan=np.inf)).max(axis=-1, initial=0.0) <= within
    groups: list[list[int]] = []
    for index in range(len(table)):
        joined = [group for group in groups if any(near[index, other] for other in group)]
        groups = [group for group in groups if group not in joined]
        groups.append(sorted([index, *(other for group in joined for other in group)]))
    return sorted(groups)
