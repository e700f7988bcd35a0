"""The volts of one round: what is expected at every place, the limits, and how both were got."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
import xarray as xr

from ...base.errors import DescriptionError, EngineError, shown
from ...base.quantities import OHM, format_value
from ...circuit.amp import Amp
from ...circuit.build import Circuit, circuit_at
from ...circuit.positions import Position
from ...circuit.values import at_supply
from ...measures.law_bands import BANDS, REST
from ...simulation.analyses import OperatingPoint
from ...simulation.monte_carlo import spread
from ...simulation.response import simulate
from ..diagnosis.metered_amp import MeteredAmp, State
from ..diagnosis.probes import Probe, standard_probes
from ..mains import LEAST_VOLTS, MOST_VOLTS, mains_factor, mains_fault
from .law_error import law_volts
from .limits import MAINS_KNOWN_SHARE, MAINS_SHARE, ProofRow, proof_rows, supply_factor
from .rounds import Round
from .sweeps import known_tolerances

_TINY = 1e-3  # V; of less a meter is not said to leave a share
_FURTHEST = 1.5 * MAINS_SHARE  # a supply that is further off than this is no matter of the mains


@dataclass(frozen=True)
class Judged:
    """A round held against the simulation: rows, the supply's factor [ratio], what is known of it, and the limits."""

    rows: tuple[ProofRow, ...]
    supply: float
    about_supply: tuple[str, ...]
    about_limits: tuple[str, ...]


def judge_round(
    drawn: Amp,
    read: Round,
    counted: Mapping[str, float],
    *,
    supply: float | None,
    share: float | None,
    count: int,
    seed: int,
) -> Judged:
    """Rows for the places of the voltage chart and those read, and how they were got.

    Parameters
    ----------
    drawn : Amp
        With the mods that were fitted.
    read : Round
        The round, checked; all its readings may tell the supply.
    counted : mapping
        Of its readings [V] those that no later round replaces.
    supply, share, count, seed
        As `sheet.proof_sheet`.

    Raises
    ------
    DescriptionError, EngineError
        As `sheet.proof_sheet`.
    """
    amp, at = read.on(drawn), dict(read.position)
    places = tuple(dict.fromkeys([*chart_places(circuit_at(amp, at)), *counted]))
    by_mains = _supply_by_mains(read.mains, read.mains_drawn)
    if supply is None and by_mains is not None:
        factor, off, words = by_mains, MAINS_KNOWN_SHARE, "Expected volts scaled as the mains."
    else:
        factor, off, words = _supply(amp, at, read.volts, supply)
    scaled = at_supply(amp, factor)
    tolerances = known_tolerances(scaled)
    run = spread(scaled, count, seed, [at], OperatingPoint(), tolerances, places)
    # A spread of valves is wider than the error of their laws; without one that error is all that is known.
    law = {} if tolerances.valves else law_volts(scaled, at, places)
    loaded = _meter_shares(scaled, at, places, read.meter) if read.meter is not None else {}
    meter = [f"Meter of {format_value(read.meter, OHM)}."] if read.meter else []
    about = (*_mains_words(read.mains, read.mains_drawn), words)
    return Judged(
        proof_rows(run, counted, loaded, off, share, law),
        factor,
        about,
        (_limits_words(run, share, off, bool(law)), *meter),
    )


def chart_places(wired: Circuit) -> list[str]:
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


def _limits_words(run: xr.Dataset, share: float | None, off: float, law: bool) -> str:
    if share is not None:
        return f"Limits: {100.0 * share:g} % either side, as stated."
    mains = ""
    if off:
        why = (
            "mains that nobody measured (EN 50160)" if off == MAINS_SHARE else "what the mains leave open (our choice)"
        )
        mains = f", and {100.0 * off:g} % for {why}"
    others = "parts and valves"
    if law:
        others = f"parts, {100.0 * BANDS[REST]:.0f} % of current for valves whose spread is not known"
    return (
        f"Limits: three standard deviations of {run.attrs['count']} simulated amps with other {others} (seed "
        f"{run.attrs['seed']}), 1 % and 0.02 V for the meter (our choice){mains}."
    )
