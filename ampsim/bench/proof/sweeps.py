"""A measured sweep over the simulated one, with the band that amps of the same drawing fill, and its verdict."""

from __future__ import annotations

from dataclasses import dataclass, field

import xarray as xr

from ...circuit.amp import Amp
from ...circuit.build import SPEAKER, build_circuit
from ...circuit.positions import Position, position_label
from ...measures.sweep import gain_db
from ...simulation.analyses import FrequencySweep
from ...simulation.monte_carlo import SWEEP, spread
from ...simulation.response import simulate
from ...simulation.tolerances import Tolerances, spreads
from ...studies.findings import Finding, Grade
from ...studies.spread.measures import sample_gain_db
from ..sweeps.compare import compare, sweep_findings, tolerance_band
from .limits import Verdict

COUNT, SEED = 100, 1


@dataclass(frozen=True)
class SweepProof:
    """A measured sweep held against the simulated one: `found` is what `sweeps.compare.compare` gives."""

    name: str
    found: xr.Dataset = field(hash=False, compare=False)
    finding: Finding

    @property
    def verdict(self) -> Verdict:
        """Passed, to be looked at again near the limit, or failed beyond it."""
        verdicts = {Grade.FINE: Verdict.PASS, Grade.BEYOND: Verdict.FAIL}
        return verdicts.get(self.finding.grade, Verdict.LOOK_AGAIN)


def compare_with_drawing(
    amp: Amp,
    position: Position,
    measured: xr.Dataset,
    node: str = SPEAKER,
    *,
    count: int = COUNT,
    seed: int = SEED,
) -> xr.Dataset:
    """A measured sweep over the simulated one, level-aligned, with the band of a run of amps of the same drawing.

    Parameters
    ----------
    amp : Amp
        As it stood on the bench.
    position : mapping
        Where the controls stood; those that the amp does not have are passed over.
    measured : Dataset
        With `gain_db` [dB] over frequency [Hz], of `ampsim.bench.sweeps.measured_sweep`.
    node : str
        The place that was recorded.
    count, seed : int
        The run of amps.

    Returns
    -------
    xarray.Dataset
        Of `sweeps.compare.compare`, with the tolerance band.

    Raises
    ------
    DescriptionError
        When both share too few frequencies, or the amp has no such place.
    EngineError
        When ngspice gives no trustworthy answer.
    """
    at = _known_controls(amp, position)
    drawn = gain_db(simulate(amp, FrequencySweep(), [at], [node]), node).isel(variant=0, position=0)
    compare(measured["gain_db"], drawn)  # refuses before a hundred amps are worked out
    run = spread(amp, count, seed, [at], SWEEP, known_tolerances(amp), [node])
    band = tolerance_band(sample_gain_db(run, node).isel(variant=0, position=0), drawn)
    return compare(measured["gain_db"], drawn, tolerance=band)


def sweep_proof(
    name: str, amp: Amp, position: Position, measured: xr.Dataset, *, count: int = COUNT, seed: int = SEED
) -> SweepProof:
    """A measured sweep over the simulated one, with its verdict.

    Parameters
    ----------
    name : str
        Its heading.
    amp, position, measured, count, seed
        As `compare_with_drawing`; errors are as there.
    """
    found = compare_with_drawing(amp, position, measured, count=count, seed=seed)
    return SweepProof(name, found, sweep_findings(found, amp.variant, describe_position(amp, position))[0])


def describe_position(amp: Amp, position: Position) -> str:
    """The controls that the amp has, in words."""
    return position_label(_known_controls(amp, position))


def _known_controls(amp: Amp, position: Position) -> dict[str, float | str]:
    return {control: value for control, value in position.items() if control in amp.controls}


def known_tolerances(amp: Amp) -> Tolerances:
    """Of parts and valves; of parts alone where no spread is known of a valve."""
    types = {getattr(part, "type", "") for part in build_circuit(amp).parts.values()}
    whole = all(spreads(amp.valve_by_type[name]) for name in types if name in amp.valve_by_type)
    return Tolerances() if whole else Tolerances(valves=0.0)
