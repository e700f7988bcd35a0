"""Which single fault explains readings best; bare numbers in, bare numbers out, nothing is simulated."""

from __future__ import annotations

import math
from collections import Counter
from dataclasses import dataclass
from functools import cached_property

import numpy as np
from numpy.typing import NDArray
from scipy.special import gammaincc, logsumexp

from .fault_model import FaultModel
from .faults import KINDS, Suspect

Array = NDArray[np.float64]
# The effect of a fault differs from amp to amp by about this share of it (own choice, from trials).
EFFECT_SHARE = 0.03
# Sizes between those simulated, and healthy amps drawn for the threshold: of so many the share of false alarms is found
# to a third of one in a hundred (a standard deviation).
_BETWEEN, _DRAWS = 3, 3000
_CHUNK = 32
# So many healthy amps of a hundred may be called faulty.
FALSE_ALARMS = 0.03


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
        Its readings then [V], at the supply that fits best, shape (suspects, n).
    healthy, deviations
        Healthy readings at the supply that fits best, and their standard deviations about these [V], shape (n,).
    covariance
        Of readings about the likelier of the two, healthy or the first fault [V**2], shape (n, n).
    misfit
        Chance that readings of such an amp lie further from what is foretold (chi-squared).
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
    misfit: float
    supply: float

    def favour(self, readings: Array, one: int, other: int) -> float:
        """How many times better one suspect, at its best size, explains readings [V] than another (likelihoods)."""
        first, second = (distance(readings - self.fits[each], self.covariance) for each in (one, other))
        return math.exp(min(0.5 * (second**2 - first**2), 100.0))


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
        supply = meter.supply * model.per_supply
        self._shared = model.spread.T @ model.spread + np.outer(supply, supply)
        self.healthy_covariance = self._shared + np.diag(self._meter_variance(model.healthy))

    def _meter_variance(self, volts: Array) -> Array:
        return np.asarray((self.meter.accuracy * volts) ** 2 + self.meter.digit**2)

    def _covariance(self, states: Array) -> Array:
        """Of readings about faulty states [V], shape (..., n) to (..., n, n)."""
        effect = (EFFECT_SHARE * (states - self.model.healthy)) ** 2
        return np.asarray(self._shared + (self._meter_variance(states) + effect)[..., None] * np.eye(states.shape[-1]))

    def _healthy_at(self, supplies: Array) -> Array:
        """Healthy readings at supplies [V], shape (sets, n)."""
        return np.asarray(self.model.healthy + np.outer(supplies - 1.0, self.model.per_supply))

    def _faulty_at(self, states: Array, supplies: Array) -> Array:
        """Faulty readings at supplies: in proportion, and as the healthy amp departs from that; (states, sets, n)."""
        departing = self._healthy_at(supplies) - np.outer(supplies, self.model.healthy)
        return np.asarray(supplies[:, None] * states[:, None] + departing)

    def _weights(self, readings: Array, supplies: Array) -> tuple[Array, Array]:
        """Log likelihood of healthy (sets,) and log weight of every state (sets, states)."""
        plain = _log_likelihood(readings - self._healthy_at(supplies), self.healthy_covariance)
        found = np.empty((len(readings), len(self._states)))
        for start in range(0, len(self._states), _CHUNK):
            states = self._states[start : start + _CHUNK]
            apart = readings - self._faulty_at(states, supplies)
            found[:, start : start + _CHUNK] = _log_likelihood(apart, self._covariance(states)).T
        return plain, found + self._prior

    @cached_property
    def threshold(self) -> float:
        """The gain [log ratio] that `FALSE_ALARMS` of the healthy amps exceed, drawn from the linear model.

        The seed is fixed. Parts are drawn evenly inside their tolerances, valves, supply and meter normally.
        """
        rng, model = np.random.default_rng(20), self.model
        scores = rng.standard_normal((_DRAWS, len(model.spread)))
        even = rng.uniform(-math.sqrt(3.0), math.sqrt(3.0), scores.shape)
        readings = model.healthy + np.where(model.even, even, scores) @ model.spread
        readings += self.meter.supply * rng.standard_normal((_DRAWS, 1)) * model.per_supply
        readings *= 1.0 + self.meter.accuracy * rng.standard_normal(readings.shape)
        readings += self.meter.digit * rng.standard_normal(readings.shape)
        return float(np.quantile(self._gains_as_drawn(readings), 1.0 - FALSE_ALARMS))

    def _gains_as_drawn(self, readings: Array) -> Array:
        """The gain of many readings [V] at the drawing's supply, shape (sets, n) to (sets,).

        As of `_weights`, with squares of all readings taken once: few states have as many sets to be weighed.
        """
        away = readings - self.model.healthy
        first, second = np.triu_indices(away.shape[1])
        squares = away[:, first] * away[:, second] * np.where(first == second, 1.0, 2.0)
        plain = _log_likelihood(away, self.healthy_covariance)
        total = np.full(len(readings), -np.inf)
        for start in range(0, len(self._states), _CHUNK):
            states = self._states[start : start + _CHUNK]
            covariance, effect = self._covariance(states), states - self.model.healthy
            precision = np.linalg.inv(covariance)
            drawn = (precision @ effect[:, :, None])[:, :, 0]
            apart = squares @ precision[:, first, second].T - 2.0 * away @ drawn.T + np.sum(drawn * effect, axis=1)
            logs = -0.5 * (apart + np.linalg.slogdet(covariance)[1])
            total = np.logaddexp(total, logsumexp(logs + self._prior[start : start + _CHUNK], axis=1))
        return np.asarray(total - plain)

    def rank(self, readings: Array, supply: float = 1.0) -> Ranked:
        """Weigh one set of readings [V], shape (n,), taken at a supply (as a factor of the drawing's)."""
        return self.rank_all(readings[None], np.array([supply]))[0]

    def rank_all(self, readings: Array, supplies: Array) -> list[Ranked]:
        """Weigh many sets of readings [V], shape (sets, n), each by itself, taken at supplies (sets,)."""
        plain, weights = self._weights(readings, supplies)
        return [self._rank_one(*each) for each in zip(readings, supplies, plain, weights, strict=True)]

    def _rank_one(self, readings: Array, supply: float, plain: float, weights: Array) -> Ranked:
        model, supplies = self.model, np.array([supply])
        starts = np.flatnonzero(np.diff(self._owner, prepend=-1))
        whole = np.logaddexp.reduceat(weights, starts)
        order = np.argsort(-whole, kind="stable")
        best = np.array(
            [start + np.argmax(own) for start, own in zip(starts, np.split(weights, starts[1:]), strict=True)]
        )
        best, gain = best[order], float(logsumexp(weights) - plain)
        healthy, first = self._healthy_at(supplies)[0], self._faulty_at(self._states[best[:1]], supplies)[0, 0]
        told_by = first if gain > self.threshold else healthy
        covariance = self._covariance(self._states[best[0]]) if gain > self.threshold else self.healthy_covariance
        moved = self._supply_change(readings - told_by, covariance)
        return Ranked(
            gain,
            tuple(model.suspects[number] for number in order),
            tuple(float(share) for share in np.exp(whole[order] - logsumexp(weights))),
            tuple(float(self._sizes[state]) for state in best),
            self._faulty_at(self._states[best], supplies + moved)[:, 0],
            healthy + moved * model.per_supply,
            self._deviations(covariance),
            covariance,
            _chance_beyond(distance(readings - told_by, covariance), readings.size),
            float(supply + moved),
        )

    def _deviations(self, covariance: Array) -> Array:
        """Standard deviations of healthy readings, the supply known as well as readings tell (conditional variance)."""
        known, slope = self.meter.supply**2, self.model.per_supply
        left = known - known**2 * float(slope @ np.linalg.solve(covariance, slope))
        return np.asarray(np.sqrt(np.diag(self.healthy_covariance) - (known - left) * slope**2))

    def _supply_change(self, differences: Array, covariance: Array) -> float:
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


def distance(differences: Array, covariance: Array) -> float:
    """Of readings from what was expected [ratio to a standard deviation], all places together (Mahalanobis)."""
    return float(np.sqrt(differences @ np.linalg.solve(covariance, differences)))


def _chance_beyond(away: float, count: int) -> float:
    """The chance that so many normal numbers lie further from what is expected (chi-squared); without its module."""
    return float(gammaincc(0.5 * count, 0.5 * away**2))


def _log_likelihood(differences: Array, covariance: Array) -> Array:
    """Of a normal distribution, without the constant; differences (..., sets, n), shape (..., sets)."""
    root = np.linalg.cholesky(covariance)
    # One inverse for all sets of readings: solving anew for each takes most of the time of a diagnosis.
    white = np.linalg.inv(root) @ np.swapaxes(differences, -1, -2)
    logs = np.log(np.diagonal(root, axis1=-2, axis2=-1)).sum(axis=-1)
    return np.asarray(-0.5 * np.sum(white * white, axis=-2) - logs[..., None])
