"""The E series of preferred values."""

from __future__ import annotations

import math

from .errors import DescriptionError, nearest, shown


def preferred_values(series: str, least: float, most: float) -> list[float]:
    """Values of an E series from `least` to `most`, both included when they belong to it.

    Parameters
    ----------
    series : {"E6", "E12", "E24"}
        IEC 60063 series.
    least, most : float
        Limits [SI unit].

    Raises
    ------
    DescriptionError
        For another series.
    """
    steps = {
        "E6": (10, 15, 22, 33, 47, 68),
        "E12": (10, 12, 15, 18, 22, 27, 33, 39, 47, 56, 68, 82),
        "E24": (
            10,
            11,
            12,
            13,
            15,
            16,
            18,
            20,
            22,
            24,
            27,
            30,
            33,
            36,
            39,
            43,
            47,
            51,
            56,
            62,
            68,
            75,
            82,
            91,
        ),
    }
    if series not in steps:
        raise DescriptionError(f"series {shown(series)} is not known{nearest(series, steps)}")
    decades = range(math.floor(math.log10(least)) - 2, math.ceil(math.log10(most)) + 1)
    values = [float(f"{step}e{decade}") for decade in decades for step in steps[series]]
    return [value for value in values if least * (1 - 1e-9) <= value <= most * (1 + 1e-9)]
