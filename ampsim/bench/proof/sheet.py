"""The test sheet of a finished mod: simulated against measured, pass or fail for every reading."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
import pandas as pd
import xarray as xr

from ...base.errors import DescriptionError, EngineError, nearest, shown
from ...base.quantities import OHM, format_value
from ...base.tables import text_table
from ...circuit.amp import Amp
from ...circuit.build import Circuit, circuit_at
from ...circuit.positions import Position, position_label
from ...circuit.values import at_supply
from ...simulation.analyses import OperatingPoint
from ...simulation.monte_carlo import spread
from ...simulation.response import simulate
from ..diagnosis.metered_amp import MeteredAmp, State
from ..diagnosis.probes import Probe, standard_probes
from ..mains import LEAST_VOLTS, MOST_VOLTS, mains_factor, mains_fault
from .limits import MAINS_KNOWN_SHARE, MAINS_SHARE, ProofRow, Verdict, proof_rows, supply_factor
from .sweeps import COUNT, SEED, SweepProof, known_tolerances, sweep_proof

_MOST_READINGS = 200
_TINY = 1e-3  # V; of less a meter is not said to leave a share
_FURTHEST = 1.5 * MAINS_SHARE  # a supply that is further off than this is no matter of the mains


@dataclass(frozen=True)
class ProofSheet:
    """The test sheet of one amp at one position.

    `supply` is the factor on the drawn supply that the expected volts stand for; `notes` say how limits were got.
    """

    amp: str
    variant: str
    position: str
    rows: tuple[ProofRow, ...]
    sweeps: tuple[SweepProof, ...] = ()
    supply: float = 1.0
    notes: tuple[str, ...] = ()

    @property
    def passed(self) -> bool:
        """Whether something was measured, and nothing measured fails."""
        return {each for each in self._verdicts if each is not Verdict.NOT_MEASURED} == {Verdict.PASS}

    @property
    def verdict(self) -> str:
        """All of it in a few words."""
        counted = [verdict for verdict in self._verdicts if verdict is not Verdict.NOT_MEASURED]
        if not counted:
            return "nothing measured yet"
        passed = counted.count(Verdict.PASS)
        return (
            f"all {passed} pass" if passed == len(counted) else f"{len(counted) - passed} of {len(counted)} do not pass"
        )

    @property
    def _verdicts(self) -> list[Verdict]:
        return [row.verdict for row in self.rows] + [sweep.verdict for sweep in self.sweeps]

    @property
    def table(self) -> pd.DataFrame:
        """Place, expected, lowest, highest, measured, difference and margin [V], and the verdict; NaN: not measured."""
        rows = [
            (
                *(row.place, row.expected, row.low, row.high, _or_nan(row.measured)),
                *(_or_nan(row.measured) - row.expected, _or_nan(row.margin), row.verdict),
            )
            for row in self.rows
        ]
        columns = ["place", "expected [V]", "lowest [V]", "highest [V]", "measured [V]", "difference [V]", "margin [V]"]
        return pd.DataFrame(rows, columns=[*columns, "verdict"])

    def text(self) -> str:
        """The sheet as plain text."""
        head = f"Test sheet: {self.amp}, {self.variant}, {self.position}: {self.verdict}"
        told = [f"{each.name}: {each.verdict}. {each.finding.words}." for each in self.sweeps]
        return "\n\n".join([head, text_table(self.table), *told, *self.notes]) + "\n"


def proof_sheet(
    amp: Amp,
    volts: Mapping[str, float] | None = None,
    position: Position | None = None,
    *,
    supply: float | None = None,
    mains: float | None = None,
    mains_drawn: float | None = None,
    meter: float | None = None,
    share: float | None = None,
    sweeps: Mapping[str, tuple[Amp, Position, xr.Dataset]] | None = None,
    count: int = COUNT,
    seed: int = SEED,
) -> ProofSheet:
    """Hold what was measured against what the drawing, its tolerances and the valves' spread allow.

    Parameters
    ----------
    amp : Amp
        With the mods that were fitted.
    volts : mapping
        Place to volts against ground [V]; places that are not named stay in the sheet as not measured.
    position : mapping
        Where the controls stood; as drawn by default.
    supply : float
        Factor of the bench's supply over the drawn one. Default: as the mains tell, else from the first measured rail
        that has a source of its own; unknown without one.
    mains, mains_drawn : float
        Mains while measuring, and those that the drawing's volts hold for [V]; the first alone is stated and no more.
    meter : float
        Input resistance of the meter [ohm]; it loads each place by itself. Default: a meter that draws nothing.
    share : float
        Limits at so much either side, 0.1 for 10 %, instead of from the spread of parts and valves.
    sweeps : mapping
        Name to amp, position and measured sweep (of `measured_sweep.read_sweep`): "before" of the stock amp, "after"
        of the modded one.
    count, seed : int
        The run of amps the limits come from.

    Raises
    ------
    DescriptionError
        For unknown places, and readings that are no numbers.
    EngineError
        When ngspice gives no trustworthy answer.
    """
    at = dict(position or {})
    given = _checked_readings(amp, at, volts or {})
    places = tuple(dict.fromkeys([*_chart_places(circuit_at(amp, at)), *given]))
    by_mains = _supply_by_mains(mains, mains_drawn)
    if supply is None and by_mains is not None:
        factor, off, words = by_mains, MAINS_KNOWN_SHARE, "Expected volts scaled as the mains."
    else:
        factor, off, words = _supply(amp, at, given, supply)
    scaled = at_supply(amp, factor)
    run = spread(scaled, count, seed, [at], OperatingPoint(), known_tolerances(scaled), places)
    loaded = _meter_shares(scaled, at, places, meter) if meter is not None else {}
    rows = proof_rows(run, given, loaded, off, share)
    notes = [
        *_mains_words(mains, mains_drawn),
        words,
        _limits_words(run, share, off),
        *([f"Meter of {format_value(meter, OHM)}."] if meter else []),
    ]
    held = tuple(sweep_proof(name, *each, count=count, seed=seed) for name, each in (sweeps or {}).items())
    return ProofSheet(amp.name, amp.variant, position_label(at), rows, held, factor, tuple(notes))


def _or_nan(value: float | None) -> float:
    return math.nan if value is None else value


def _chart_places(wired: Circuit) -> list[str]:
    """Rails, and valve by valve all pins but the grid, each piece of wire once."""
    names = standard_probes(wired, ("plate", "cathode", "screen"))
    return sorted(names, key=lambda name: ("." in name, name.partition(".")[0]))


def _supply_by_mains(mains: float | None, drawn: float | None) -> float | None:
    for name, volts in (("mains", mains), ("mains_drawn", drawn)):
        if volts is not None and not LEAST_VOLTS <= volts <= MOST_VOLTS:
            raise DescriptionError(f"{name}: {shown(volts)}; expected {LEAST_VOLTS:g} to {MOST_VOLTS:g} V")
    far = mains_fault(mains, drawn)
    if far:
        raise DescriptionError(f"mains: {far}")
    return mains_factor(mains, drawn)


def _mains_words(mains: float | None, drawn: float | None) -> list[str]:
    if mains is None:
        return []
    more = f", {drawn:g} V in the drawing" if drawn is not None else "; those of the drawing are not told"
    return [f"Mains {mains:g} V{more}."]


def _checked_readings(amp: Amp, at: Position, volts: Mapping[str, float]) -> dict[str, float]:
    if len(volts) > _MOST_READINGS:
        raise DescriptionError(f"{len(volts)} readings are too many; at most {_MOST_READINGS}")
    known = circuit_at(amp, at).net_by_place
    for place, value in volts.items():
        if place not in known:
            raise DescriptionError(f"{amp.name}: {shown(place)} is not a place{nearest(place, known)}")
        if isinstance(value, bool) or not isinstance(value, (int, float)) or not abs(value) <= 5000.0:
            raise DescriptionError(f"{place}: {shown(value)} is no reading in volts, from -5000 to 5000")
    return {place: float(value) for place, value in volts.items()}


def _supply(amp: Amp, at: Position, given: Mapping[str, float], supply: float | None) -> tuple[float, float, str]:
    """The supply's factor, how far it may be off, and how it was got."""
    if supply is not None:
        if not 0.1 <= supply <= 3.0:
            raise DescriptionError(f"supply: {shown(supply)}; expected a factor from 0.1 to 3")
        return supply, 0.0, f"Expected volts are those at {supply:.3f} times the drawn supply."
    rail = next((each.name for each in amp.rails if each.volts is not None and each.name in given), None)
    if rail is None:
        return (
            1.0,
            MAINS_SHARE,
            "Supply not known, no rail with a source was measured: as drawn, limits wider.",
        )
    factor = 1.0
    for _ in range(3):  # valves draw less at less volts, so the rail follows its source almost in proportion
        found = float(simulate(at_supply(amp, factor), OperatingPoint(), [at], nodes=[rail])["voltage"].squeeze())
        factor *= supply_factor(given[rail], found)
        if not abs(factor - 1.0) <= _FURTHEST:
            return (
                1.0,
                MAINS_SHARE,
                f"{rail} reads {given[rail]:g} V, too far off to be the mains: as drawn, limits wider.",
            )
    return factor, 0.0, f"Supply scaled to {rail} as measured, {given[rail]:g} V: {factor:.3f} times the drawn one."


def _meter_shares(amp: Amp, at: Position, places: Sequence[str], meter: float) -> dict[str, float]:
    """What a meter leaves of the volts at each place, held there alone."""
    if not 1e3 <= meter <= 1e12:
        raise DescriptionError(f"meter: {shown(meter)}; expected 1k to 1T ohm")
    wired = circuit_at(amp, at)
    bench = MeteredAmp(amp, at, tuple(Probe(place, wired.net(place)) for place in places), meter)
    held, bare = bench.read([State()])[0], bench.unloaded([State()])[0]
    if not (np.isfinite(held).all() and np.isfinite(bare).all()):
        raise EngineError(f"{amp.name}: ngspice finds no trustworthy operating point under a meter")
    loaded = np.where(np.abs(bare) > _TINY, held / np.where(bare == 0.0, 1.0, bare), 1.0)
    return dict(zip(places, loaded.tolist(), strict=True))


def _limits_words(run: xr.Dataset, share: float | None, off: float) -> str:
    if share is not None:
        return f"Limits: {100.0 * share:g} % either side, as stated."
    mains = ""
    if off:
        why = (
            "mains that nobody measured (EN 50160)" if off == MAINS_SHARE else "what the mains leave open (our choice)"
        )
        mains = f", and {100.0 * off:g} % for {why}"
    return (
        f"Limits: three standard deviations of {run.attrs['count']} simulated amps with other parts and valves (seed "
        f"{run.attrs['seed']}), 1 % and 0.02 V for the meter (our choice){mains}."
    )
