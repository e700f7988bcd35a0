"""A measured sweep over the simulated one, with the band that amps of the same drawing fill, and its verdict."""

from __future__ import annotations

from dataclasses import dataclass, field, replace

import xarray as xr

from ...circuit.amp import Amp
from ...circuit.build import SPEAKER, build_circuit
from ...circuit.plugging import describe_source, plug_in
from ...circuit.positions import Position, position_label
from ...circuit.source import SourceKind
from ...measures.sweep import gain_db
from ...simulation.analyses import FrequencySweep
from ...simulation.monte_carlo import SWEEP, spread
from ...simulation.response import simulate
from ...simulation.tolerances import Tolerances
from ...simulation.valve_spreads import spreads
from ...studies.findings import Finding, Grade
from ...studies.spread.measures import sample_gain_db
from ..sweeps.compare import compare, sweep_findings, tolerance_band
from ..sweeps.likeliest_source import likeliest_source
from .limits import Verdict

COUNT, SEED = 100, 1


@dataclass(frozen=True)
class SweepTaken:
    """A sweep as it was measured.

    Attributes
    ----------
    name
        Its heading.
    amp
        As it stood on the bench, with the source that the sweep came from.
    position
        Where the controls stood; those that the amp does not have are passed over.
    measured
        Of `sweeps.measured_sweep.read_sweep`.
    heard
        The place that was recorded.
    source_known
        Whether somebody wrote down what it came from.
    """

    name: str
    amp: Amp
    position: Position = field(hash=False)
    measured: xr.Dataset = field(hash=False, compare=False)
    heard: str = SPEAKER
    source_known: bool = True

    @property
    def how(self) -> str:
        """What it came from, where it was heard and where the controls stood, in a sentence without its end."""
        guess = "" if self.source_known else " (nobody wrote it down; this fits best)"
        where = describe_position(self.amp, self.position)
        return f"From {describe_source(self.amp)}{guess}, heard at {self.heard}; controls: {where}"


@dataclass(frozen=True)
class SweepProof:
    """A measured sweep held against the simulated one: `found` is what `sweeps.compare.compare` gives.

    `how` says what it came from and where it was heard, `hint` from which source it would pass where it fails.
    """

    name: str
    found: xr.Dataset = field(hash=False, compare=False)
    finding: Finding
    how: str = ""
    hint: str = ""

    @property
    def words(self) -> str:
        """All of it in sentences."""
        return " ".join([*(f"{each}." for each in (self.how, self.finding.words) if each), self.hint]).strip()

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
        As it stood on the bench, with the source that the sweep came from.
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


def take_sweep(
    name: str, amp: Amp, position: Position, measured: xr.Dataset, heard: str = SPEAKER, source: str = ""
) -> SweepTaken:
    """A sweep with what it came from: as it is said, else what fits best of the usual sources.

    Parameters
    ----------
    name, amp, position, measured, heard
        As `SweepTaken` has them; whatever is plugged into the amp does not count.
    source : str
        As `circuit.source.parse_source` reads it; "" where nobody wrote it down.

    Raises
    ------
    DescriptionError
        For a source, controls or a place that the amp does not have; when too little was measured.
    EngineError
        When ngspice gives no trustworthy answer.
    """
    if source:
        return SweepTaken(name, plug_in(amp, source), position, measured, heard)
    found = likeliest_source(amp, position, measured, heard)
    return SweepTaken(name, plug_in(amp, found), position, measured, heard, found.kind is SourceKind.DRAWN)


def sweep_proof(taken: SweepTaken, *, count: int = COUNT, seed: int = SEED) -> SweepProof:
    """A measured sweep over the simulated one, with its verdict.

    Parameters
    ----------
    taken : SweepTaken
    count, seed
        As `compare_with_drawing`; errors are as there.
    """
    proved = _prove(taken, count, seed)
    if proved.verdict is not Verdict.FAIL or not taken.source_known:
        return proved
    other = take_sweep(taken.name, taken.amp, taken.position, taken.measured, taken.heard)
    if other.amp.source == taken.amp.source or _prove(other, count, seed).verdict is Verdict.FAIL:
        return proved
    return replace(proved, hint=f"As from {describe_source(other.amp)} it would not fail: was that what it came from?")


def _prove(taken: SweepTaken, count: int, seed: int) -> SweepProof:
    amp, position = taken.amp, taken.position
    found = compare_with_drawing(amp, position, taken.measured, taken.heard, count=count, seed=seed)
    finding = sweep_findings(found, amp.variant, describe_position(amp, position))[0]
    return SweepProof(taken.name, found, finding, taken.how)


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
