"""Which single fault explains readings best; bare numbers in, bare numbers out, nothing is simulated."""

from __future__ import annotations

import math
from collections import Counter
from dataclasses import dataclass
from functools import cached_property

import numpy as np
from numpy.typing import NDArray
from scipy.special import logsumexp

from .faults import KINDS, Suspect
from .model import FaultModel

Array = NDArray[np.float64]
# The effect of a fault differs from amp to amp by about this share of it (own choice, from trials).
EFFECT_SHARE = 0.03
# Sizes between those simulated, and healthy amps drawn for the threshold.
_BETWEEN, _DRAWS = 3, 1000
# So many healthy amps of a hundred may be called faulty.
FALSE_ALARMS = 0.03
_STEP = 400


@dataclass(frozen=True)
class Meter:
    """How well readings are known: share of the reading, volts of the last digit, share by which the supply is."""

    accuracy: float = 0.01
    digit: float = 0.01
    supply: float = 0.02


@dataclass(frozen=True, eq=False)
class Ranked:
    """What readings say.

    Attributes
    ----------
    gain
        Logarithm of how much better all faults together explain the readings than tolerances do.
    suspects, chances
        Faults from the likeliest on, and the share of each among all faults.
    sizes
        The size of each that fits best.
    fits
        Its readings then [V], at the supply given, shape (suspects, n).
    healthy, deviations
        Healthy readings at the supply that fits best, and their standard deviations [V], shape (n,).
    covariance
        Of healthy readings [V**2], shape (n, n).
    supply
        The supply that fits best, as a factor of the drawing's.
    """

    gain: float
    suspects: tuple[Suspect, ...]
    chances: tuple[float, ...]
    sizes: tuple[float, ...]
    fits: Array
    healthy: Array
    deviations: Array
    covariance: Array
    supply: float


class Ranking:
    """Weighs the faults of a model; made once, used for many sets of readings.

    Parameters
    ----------
    model : FaultModel
        Of exactly the places that were read.
    meter : Meter

    Notes
    -----
    Readings are taken as normally spread about those simulated, with the covariance that the tolerances' slopes give
    (linear propagation), the meter's errors on top, and for a faulty amp three hundredths of the fault's own effect. A
    fault weighs its likelihood averaged over the logarithm of its size, times the chance of its kind shared by the
    parts it may befall: so a fault that must be tuned to fit pays for it (marginal likelihood; D. J. C. MacKay,
    Information Theory, Inference, and Learning Algorithms, 2003, ch. 28).
    """

    def __init__(self, model: FaultModel, meter: Meter) -> None:
        self.model, self.meter = model, meter
        self._states, self._owner, self._sizes, self._prior = _states(model)

    def _covariance(self, volts: Array) -> Array:
        """Of healthy readings about these [V], shape (n, n)."""
        slopes = self.model.spread
        noise = (self.meter.accuracy * volts) ** 2 + self.meter.digit**2
        supply = self.meter.supply * self.model.per_supply
        return np.asarray(slopes.T @ slopes + np.outer(supply, supply) + np.diag(noise))

    def _at(self, supply: float) -> tuple[Array, Array]:
        """Healthy and faulty readings [V] at a supply: in proportion, and as the healthy amp departs from that."""
        healthy = self.model.healthy + self.model.per_supply * (supply - 1.0)
        return healthy, supply * self._states + (healthy - supply * self.model.healthy)

    @cached_property
    def _noisy(self) -> Array:
        return (EFFECT_SHARE * (self._states - self.model.healthy)) ** 2

    def _weights(self, readings: Array, supply: float, covariance: Array) -> tuple[Array, Array]:
        """Log likelihood of healthy (sets,) and log weight of every state (sets, states)."""
        healthy, faulty = self._at(supply)
        plain = _log_likelihood(readings - healthy, covariance)
        found = np.empty((len(readings), len(faulty)))
        for place, (state, extra) in enumerate(zip(faulty, self._noisy, strict=True)):
            found[:, place] = _log_likelihood(readings - state, covariance + np.diag(extra))
        return plain, found + self._prior

    @cached_property
    def threshold(self) -> float:
        """The gain that `FALSE_ALARMS` of the healthy amps of the linear model exceed, drawn with a fixed seed.

        Parts are drawn evenly inside their tolerances, valves, supply and meter normally.
        """
        rng, model = np.random.default_rng(20), self.model
        scores = rng.standard_normal((_DRAWS, len(model.spread)))
        even = rng.uniform(-math.sqrt(3.0), math.sqrt(3.0), scores.shape)
        readings = model.healthy + np.where(model.even, even, scores) @ model.spread
        readings += self.meter.supply * rng.standard_normal((_DRAWS, 1)) * model.per_supply
        readings *= 1.0 + self.meter.accuracy * rng.standard_normal(readings.shape)
        readings += self.meter.digit * rng.standard_normal(readings.shape)
        gains = [self._gains(readings[start : start + _STEP]) for start in range(0, _DRAWS, _STEP)]
        return float(np.quantile(np.concatenate(gains), 1.0 - FALSE_ALARMS))

    def _gains(self, readings: Array) -> Array:
        plain, weights = self._weights(readings, 1.0, self._covariance(self.model.healthy))
        return np.asarray(logsumexp(weights, axis=1) - plain)

    def rank(self, readings: Array, supply: float = 1.0) -> Ranked:
        """Weigh one set of readings [V], shape (n,), taken at a supply (as a factor of the drawing's)."""
        model = self.model
        covariance = self._covariance(readings)
        plain, weights = self._weights(readings[None], supply, covariance)
        healthy, faulty = self._at(supply)
        gain = float(logsumexp(weights[0]) - plain[0])
        each = np.array([logsumexp(weights[0][self._owner == number]) for number in range(len(model.suspects))])
        order = np.argsort(-each, kind="stable")
        best = [_best(weights[0], self._owner, number) for number in order]
        shares = np.exp(each[order] - logsumexp(each))
        told_by = faulty[best[0]] if gain > self.threshold else healthy
        moved = self._supply_moved(readings - told_by, covariance)
        return Ranked(
            gain,
            tuple(model.suspects[number] for number in order),
            tuple(float(share) for share in shares),
            tuple(float(self._sizes[state]) for state in best),
            faulty[best],
            healthy + moved * model.per_supply,
            np.sqrt(np.diag(covariance)),
            covariance,
            supply + moved,
        )

    def _supply_moved(self, differences: Array, covariance: Array) -> float:
        """What the readings say of the supply's factor beyond what was known of it (conditional mean)."""
        slope = self.meter.supply**2 * self.model.per_supply
        return float(slope @ np.linalg.solve(covariance, differences))


def _states(model: FaultModel) -> tuple[Array, NDArray[np.int_], Array, Array]:
    """Readings, suspect's number, size and log of prior chance of every fault at every size, those between included."""
    befall = Counter(each.kind for each in model.suspects)
    whole = sum(kind.chance for kind in KINDS if befall[kind])
    rows, owner, sizes, prior = [], [], [], []
    for number, (suspect, own, readings) in enumerate(zip(model.suspects, model.sizes, model.readings, strict=True)):
        at = np.linspace(0.0, own.size - 1.0, (own.size - 1) * _BETWEEN + 1)
        rows.append(np.stack([np.interp(at, np.arange(own.size), column) for column in readings.T], axis=1))
        logs = np.log(np.maximum(own, 1e-30))
        sizes.append(np.exp(np.interp(at, np.arange(own.size), logs)))
        owner += [number] * at.size
        chance = suspect.kind.chance / whole / befall[suspect.kind]
        prior += [math.log(chance / at.size)] * at.size
    return np.concatenate(rows), np.array(owner), np.concatenate(sizes), np.array(prior)


def _best(weights: Array, owner: NDArray[np.int_], number: int) -> int:
    places = np.flatnonzero(owner == number)
    return int(places[np.argmax(weights[places])])


def _log_likelihood(differences: Array, covariance: Array) -> Array:
    """Of a normal distribution, without the constant; differences (sets, n), shape (sets,)."""
    root = np.linalg.cholesky(covariance)
    white = np.linalg.solve(root, differences.T)
    return np.asarray(-0.5 * np.sum(white * white, axis=0) - np.sum(np.log(np.diag(root))))
