"""Which values must up to three named parts have for the simulated sweep to meet the measured one, and how surely.

Levenberg and Marquardt's method on the logarithms of the values, bounded, with lmfit (M. Newville et al., LMFIT:
non-linear least-square minimization and curve-fitting for Python, 2014). The level of the measurement is free.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, field, replace
from typing import Any

import numpy as np
import xarray as xr
from numpy.typing import NDArray

from ...base.errors import DescriptionError, nearest, shown
from ...circuit.amp import Amp, Part
from ...circuit.build import SPEAKER, Circuit
from ...circuit.positions import Position, position_label
from ...library.parts import QUANTITY
from ...simulation.analyses import FrequencySweep
from ...simulation.netlist import Netlist, node_vector, write
from ...simulation.ngspice import engine
from ...simulation.request import Case, request
from ...simulation.tolerances import slots
from .compare import resample
from .fit_result import FittedPart, PartFit, correlations, fit_remarks, variance_growth

Array = NDArray[np.float64]
MOST_PARTS = 3
BOUNDS = (0.2, 5.0)
FITTED_BAND = (40.0, 10e3)
# A twelfth of an octave: recordings closer than that share their noise.
_PER_DECADE = 40
_MARGIN = 0.1  # by which the sweep is wider than what was measured, for a curve through its points
_LEAST_POINTS = 8
_STEP = 1e-3  # of the logarithm of a value, for slopes
# What a recording and a simulation may be off by themselves [dB]: a recording of a known filter was off by 0.02.
_FLOOR_DB = 0.02
# A part that changes a sweep, its level aside, by less than this when it is doubled [dB] cannot be fitted.
_LEAST_CHANGE_DB = 0.05
_MOST_ROUNDS = 60
# Least share of a direction in which values move without changing the sweep, so that its variance is huge, not endless.
_SINGULAR = 1e-12


def fit_parts(
    amp: Amp,
    measured: xr.Dataset,
    parts: Sequence[str],
    position: Position | None = None,
    *,
    node: str = SPEAKER,
    bounds: tuple[float, float] = BOUNDS,
    band: tuple[float, float] = FITTED_BAND,
) -> PartFit:
    """Fit the values of named parts to a measured sweep.

    Parameters
    ----------
    amp : Amp
        As built, mods included.
    measured : xarray.Dataset
        Of `measured_sweep.read_csv` or `read_recording`: `gain_db`, and its `uncertainty_db` if known.
    parts : sequence of str
        One to three designators of resistors, capacitors or inductors.
    position : mapping
        How the controls stood; default as drawn.
    node : str
        Where was measured.
    bounds : tuple of float
        Least and greatest value as a multiple of the value as drawn.
    band : tuple of float
        Frequencies to fit over [Hz].

    Returns
    -------
    PartFit
        The ranges hold if every other part is as drawn. They come from the noise of the measurement, widened by what
        stays of the difference and by how much neighbouring differences hang together: the effective number of
        independent points is n (1 - r) / (1 + r) with r the correlation of neighbours (G. V. Bayley, J. M. Hammersley,
        1946, from memory).

    Raises
    ------
    DescriptionError
        For unknown or too many parts, parts that the sweep does not depend on, or too short a measurement.
    EngineError
        When ngspice gives no trustworthy answer.
    """
    setting = dict(position or {})
    request(amp, [setting])
    _check_bounds(bounds)
    work = _Work.prepare(amp, setting, measured, _part_names(parts), node, band)
    work.refuse_idle()
    return _Fit(work, bounds).result()


def _part_names(parts: Sequence[str]) -> tuple[str, ...]:
    names = (parts,) if isinstance(parts, str) else tuple(parts)
    if not 1 <= len(names) <= MOST_PARTS or len(set(names)) < len(names):
        raise DescriptionError(
            f"{shown(list(names))}: fit one to {MOST_PARTS} different parts; one sweep does not tell more apart"
        )
    return names


def _check_bounds(bounds: tuple[float, float]) -> None:
    if not 1e-3 <= bounds[0] < 1.0 < bounds[1] <= 1e3:
        raise DescriptionError(f"bounds of {shown(bounds)} times the value as drawn; expected such as (0.2, 5)")


@dataclass
class _Work:
    """The netlist with the values to try, what was measured, and every gain simulated so far."""

    case: Case
    base: Netlist
    vector: str
    owners: tuple[str, ...]
    parts: tuple[str, ...]
    drawn: tuple[Part, ...]
    grid: Array
    frequency: Array
    seen: Array
    sigma: Array
    known: dict[tuple[float, ...], Array] = field(default_factory=dict)

    @staticmethod
    def prepare(
        amp: Amp, setting: dict[str, float | str], measured: xr.Dataset, names: tuple[str, ...], node: str,
        band: tuple[float, float],
    ) -> _Work:  # fmt: skip
        case = Case(amp, setting)
        wired = case.wired
        drawn = tuple(_part(wired, name) for name in names)
        sweep, frequency = _frequencies(measured["gain_db"], band)
        seen, sigma = _points(measured, frequency)
        vector = node_vector(wired, node)
        if not vector:
            raise DescriptionError(f"{shown(node)} is ground and has no gain")
        base = write(wired, case.setting, sweep, (node,))
        owners = tuple(slots(wired).get(name, "") for name in base.form.parts)
        missing = [name for name in names if name not in owners]
        if missing:
            raise DescriptionError(f"{', '.join(missing)} is not in the circuit at {position_label(setting)}")
        return _Work(case, base, vector, owners, names, drawn, sweep.grid(), frequency, seen, sigma)

    def gains(self, points: Sequence[tuple[float, ...]]) -> list[Array]:
        """Gain [dB] at values whose logarithms differ by so much from those drawn."""
        wanted = [point for point in dict.fromkeys(points) if point not in self.known]
        outcomes = engine.run([self._netlist(point) for point in wanted])
        for point, outcome in zip(wanted, outcomes, strict=True):
            with np.errstate(divide="ignore"):
                gain = self.case.arrays(outcome).vectors[self.vector]
                self.known[point] = self._at_frequencies(20.0 * np.log10(np.abs(gain)))
        return [self.known[point] for point in points]

    def _at_frequencies(self, gain: Array) -> Array:
        from scipy.interpolate import CubicSpline

        return np.asarray(CubicSpline(np.log(self.grid), gain)(np.log(self.frequency)))

    def _netlist(self, point: tuple[float, ...]) -> Netlist:
        factors = {name: math.exp(log) for name, log in zip(self.parts, point, strict=True)}
        pairs = zip(self.owners, self.base.values, strict=True)
        return replace(self.base, values=tuple(value * factors.get(owner, 1.0) for owner, value in pairs))

    def slopes(self, point: tuple[float, ...]) -> Array:
        """Change of the gain with each logarithm [dB], shape (parts, frequencies)."""
        steps = [tuple(log + _STEP * (n == k) for n, log in enumerate(point)) for k in range(len(point))]
        base, *moved = self.gains([point, *steps])
        return np.array([(each - base) / _STEP for each in moved])

    def left(self, gain: Array) -> float:
        """Root mean square of the difference when the level is free [dB]."""
        return float(np.std(gain - self.seen))

    def curve(self, gain: Array) -> xr.DataArray:
        """A gain [dB], labelled."""
        grid = xr.DataArray(self.frequency, dims="frequency", attrs={"units": "Hz"})
        return xr.DataArray(gain, {"frequency": grid}, ("frequency",), "gain", {"units": "dB"})

    def refuse_idle(self) -> None:
        """Refuse parts that leave the sweep as it is, or change nothing but its level."""
        for name, slope in zip(self.parts, self.slopes((0.0,) * len(self.parts)), strict=True):
            change = math.log(2.0) * slope
            if np.ptp(change) < 2.0 * _LEAST_CHANGE_DB:
                whole = float(np.abs(change).max()) >= _LEAST_CHANGE_DB
                what = "changes only the level of this sweep, which is free" if whole else "does not change this sweep"
                raise DescriptionError(f"{name} {what}: it cannot be fitted")


def _part(wired: Circuit, name: str) -> Part:
    part = wired.parts.get(name)
    fitting = [each for each, other in wired.parts.items() if isinstance(other, Part)]
    if part is None:
        raise DescriptionError(f"{shown(name)} is no part of {wired.amp.name}{nearest(name, fitting)}")
    if not isinstance(part, Part):
        raise DescriptionError(f"{name} is a {part.kind}; resistors, capacitors and inductors can be fitted")
    return part


def _frequencies(gain: xr.DataArray, band: tuple[float, float]) -> tuple[FrequencySweep, Array]:
    """The sweep to simulate, a little wider than the band; where to compare: as measured, but not much finer."""
    known = gain["frequency"].values[np.isfinite(gain.values)]
    known = known[(known >= band[0]) & (known <= band[1])]
    if known.size < _LEAST_POINTS or known[-1] < 4.0 * known[0]:
        raise DescriptionError(
            f"{known.size} frequencies were measured from {band[0]:g} to {band[1]:g} Hz; {_LEAST_POINTS} or more over "
            "two octaves or more are needed"
        )
    sweep = FrequencySweep(float(known[0]) * (1.0 - _MARGIN), float(known[-1]) * (1.0 + _MARGIN), _PER_DECADE)
    grid = sweep.grid()
    grid = grid[(grid >= known[0]) & (grid <= known[-1])]
    return sweep, known if known.size < 1.5 * grid.size else grid


def _points(measured: xr.Dataset, frequency: Array) -> tuple[Array, Array]:
    """Measured gain [dB] and its standard deviation [dB], 1 where it is not known."""
    seen = resample(measured["gain_db"], frequency)
    if "uncertainty_db" not in measured:
        return seen, np.ones(frequency.size)
    return seen, np.hypot(resample(measured["uncertainty_db"], frequency), _FLOOR_DB)


class _Fit:
    """One run of lmfit over the work."""

    def __init__(self, work: _Work, bounds: tuple[float, float]) -> None:
        from lmfit import Minimizer, Parameters

        self.work, self.logs = work, (math.log(bounds[0]), math.log(bounds[1]))
        params = Parameters()
        for name in work.parts:
            params.add(name, value=0.0, min=self.logs[0], max=self.logs[1])
        (start,) = work.gains([(0.0,) * len(work.parts)])
        params.add("level", value=float(np.mean(work.seen - start)))
        minimizer = Minimizer(self._residual, params, scale_covar=False)
        self.found = minimizer.leastsq(
            max_nfev=_MOST_ROUNDS, Dfun=self._slopes, col_deriv=True, ftol=1e-9, xtol=1e-6, gtol=0.0
        )

    def _point(self, params: Any) -> tuple[float, ...]:
        return tuple(float(params[name].value) for name in self.work.parts)

    def _residual(self, params: Any) -> Array:
        (gain,) = self.work.gains([self._point(params)])
        return np.asarray((gain + params["level"].value - self.work.seen) / self.work.sigma)

    def _slopes(self, params: Any) -> Array:
        slopes = self.work.slopes(self._point(params))
        return np.vstack([slopes, np.ones(slopes.shape[1])]) / self.work.sigma

    def result(self) -> PartFit:
        """Values, ranges and remarks."""
        work, point = self.work, self._point(self.found.params)
        before, after = work.gains([(0.0,) * len(point), point])
        covariance = self._covariance(point)
        parts = tuple(map(self._fitted_part, work.drawn, point, np.sqrt(np.diag(covariance))))
        pairs = correlations(work.parts, covariance)
        remarks = fit_remarks(parts, pairs, work.left(after))
        if not self.found.success:
            remarks = (*remarks, f"The fit was stopped after {self.found.nfev} rounds.")
        return PartFit(
            parts, work.left(before), work.left(after), pairs, len(work.known), remarks, work.curve(after),
            work.curve(before),
        )  # fmt: skip

    def _covariance(self, point: tuple[float, ...]) -> Array:
        """Of the logarithms of the values, shape (parts, parts); huge where the sweep does not tell them apart."""
        residual = np.asarray(self.found.residual)
        scatter = float(residual @ residual) / max(residual.size - len(point) - 1, 1)
        if not np.all(self.work.sigma == 1.0):
            scatter = max(scatter, 1.0)  # noise that is known does not get less by a lucky fit
        slopes = self._slopes(self.found.params)
        scale = np.sqrt(np.sum(slopes**2, axis=1))
        sizes, ways = np.linalg.eigh(slopes @ slopes.T / np.outer(scale, scale))
        inverse = (ways / np.maximum(sizes, _SINGULAR)) @ ways.T / np.outer(scale, scale)
        return np.asarray(inverse[:-1, :-1] * scatter * variance_growth(residual))

    def _fitted_part(self, part: Part, log: float, deviation: float) -> FittedPart:
        value = part.value * math.exp(log)
        low, high = (value * math.exp(min(max(sign * deviation, -50.0), 50.0)) for sign in (-1.0, 1.0))
        at_bound = min(log - self.logs[0], self.logs[1] - log) < 1e-3
        return FittedPart(part.designator, part.value, value, low, high, QUANTITY[part.kind], at_bound)
