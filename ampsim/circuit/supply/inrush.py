"""A thermistor in the way of rectified current: what it is to the mean current, which comes in pulses."""

from __future__ import annotations

from dataclasses import replace
from functools import lru_cache

import numpy as np
from numpy.typing import NDArray

from ...base.errors import DescriptionError
from ..semiconductors.description import Semiconductor
from ..semiconductors.thermistors import ohms_at
from .paths import Rectified
from .steady import Filter, Period, Supply

MEAN_THERMISTOR = "mean thermistor"
"""The kind of what stands for it in what is simulated."""
# Where its factors are worked out: at a twentieth of what flows into a short circuit, a usual load.
_USUAL_LOAD = 0.05
# Its current hardly goes with its resistance, so few passes are enough.
_PASSES = 2
Array = NDArray[np.float64]


def thermistor_of(source: Rectified, file: str) -> tuple[str, Semiconductor] | None:
    """The thermistor that all ways pass, by name and data; None where there is none.

    Raises
    ------
    DescriptionError
        For several of them, and for one that not every way passes.
    """
    every = {way.thermistors for way in source.ways}
    if every == {()}:
        return None
    if len(every) > 1 or len(next(iter(every))) > 1:
        names = sorted({name for way in source.ways for name, _ in way.thermistors})
        raise DescriptionError(
            f"{file}: {' and '.join(names)}: ampsim works out one thermistor that all current of a rectifier passes, "
            "behind it or between the winding's middle and ground"
        )
    ((found,),) = every
    return found


def with_ohms(source: Rectified, ohms: float) -> Rectified:
    """The same with so much more resistance [ohm] in every way, in the place of thermistors."""
    ways = (replace(way, ohms=way.ohms + ohms, thermistors=()) for way in source.ways)
    return replace(source, ways=tuple(ways))


def rms_amps(period: Period) -> float:
    """What flows through all ways together [A rms], at the first load."""
    return float(np.sqrt(sum(n * period.way_amps(k)[1][0] ** 2 for k, n in enumerate(period.counts))))


@lru_cache(maxsize=64)
def to_the_mean(source: Rectified, given: Filter, device: Semiconductor, most: float, count: int = 1) -> Semiconductor:
    """The thermistor as the mean current meets it: pulses warm it more, and lose more in it.

    Parameters
    ----------
    source : Rectified
    given : Filter
    device : Semiconductor
    most : float
        The mean current into a short circuit [A].
    count : int
        How many such currents warm it, each in its own half period.
    """
    amps = _USUAL_LOAD * most
    bare = _at(with_ohms(source, 0.0), given, amps)
    form = rms_amps(bare) / amps
    ohms = ohms_at(device, form * amps)
    lost = abs(float((bare.mean(source.net) - _at(with_ohms(source, ohms), given, amps).mean(source.net))[0]))
    p = dict(device.parameters)
    scaled = p | {name: p[name] * lost / (ohms * amps) for name in ("cold_ohms", "warm_ohms")}
    scaled["warm_amps"] = p["warm_amps"] / (form * count**0.5)
    return replace(device, type=f"{device.type}_mean", parameters=tuple(scaled.items()))


def warmed(source: Rectified, given: Filter, loads: Array, file: str) -> tuple[Rectified, Period]:
    """A source with its thermistor as warm as its own current makes it, and the period that comes of it.

    Parameters
    ----------
    source : Rectified
    given : Filter
    loads : array, shape (nets, 1)
        As those of `Supply.settled` [A].
    file : str
        For messages.
    """
    found = thermistor_of(source, file)
    warm = with_ohms(source, 0.0) if found else source
    period = Supply(given, warm).settled(loads)
    for _ in range(_PASSES if found else 0):
        warm = with_ohms(source, ohms_at(found[1], rms_amps(period)) if found else 0.0)
        period = Supply(given, warm).settled(loads)
    return warm, period


def _at(source: Rectified, given: Filter, amps: float) -> Period:
    supply = Supply(given, source)
    return supply.settled(np.array([[amps if net == source.smooth else 0.0] for net in supply.nets]))
