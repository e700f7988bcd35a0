"""The figures of diagnosis: amps with one fault put in at random, and healthy ones, under a meter that is 1 % off.

How faults are drawn: the kind by the chances of `faults.KINDS`, the part evenly among those it may befall, the size
evenly in its logarithm over the kind's range. Every amp has parts anywhere in their tolerances (5 % resistors),
valves from the spread of their types, mains 5 % up or down (read with 1 % error) and a supply 1.5 % beside that. Read
are all plates, cathodes, grids, screens and rails, by a meter of 10 Mohm, each with 1 % and 10 mV of error (one
standard deviation).

A fault counts when, without the meter's error, it brings a reading out of the limits that 99 % of the healthy
readings of that lot keep, which the same amp kept without the fault, all brought to the mains of the drawing in
proportion: of the others every single reading is one that healthy amps show, such as a resistor 10 % off or a leak
across a part without volts. How many these are, and the share with all of them, stands beside the figure. A fault
that is called healthy is a miss, and so is a part that the readings cannot tell from the one named first. Faults are
carried out by the same rules as the suspicions (an open resistor is 10 Gohm in both), on other amps: what is tried is
the inference, not how a leak behaves.

The first lot was looked at while the method was made. The second, of the same drawings, and the third, of drawings
that the method was not made on and with every kind of fault as likely as any other, were kept aside.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from functools import lru_cache

import numpy as np
from numpy.typing import NDArray

from ampsim.bench.diagnosis.fault_model import fault_model
from ampsim.bench.diagnosis.faults import KINDS, Suspect, faulty_state, suspects
from ampsim.bench.diagnosis.metered_amp import MeteredAmp, State
from ampsim.bench.diagnosis.probes import probe, standard_probes
from ampsim.bench.diagnosis.ranking import Meter, Ranked, Ranking
from ampsim.circuit.amp import Amp, Socket
from ampsim.circuit.build import Circuit, circuit_at
from ampsim.circuit.mods import apply_mods
from ampsim.library.loader import load_amp, load_mod
from ampsim.simulation.tolerances import Tolerances, part_factors, slots, sockets_of, valve_draws
from tests.figures.figure import Figure, Scale

Array = NDArray[np.float64]
Drawing = tuple[str, str]
# Amp and mod. Stock ones the method was made on; others.
STOCK: tuple[Drawing, ...] = (("workshop-a", ""), ("workshop-b", ""))
OTHERS: tuple[Drawing, ...] = (("rehearsal-room", ""), ("lesson-stage", ""), ("workshop-b", "larger-plate-load"))
DEVELOPED, BLIND, ELSEWHERE = 1, 40507, 71993
_INSIDE = (0.005, 0.995)
_REPEATS = 5


@dataclass
class Tally:
    """What came out over the amps of a lot.

    `unseen` faults move no reading beyond the meter's error, `within` more keep the limits of healthy amps.
    """

    healthy: int = 0
    alarms: int = 0
    drawn: int = 0
    unseen: int = 0
    within: int = 0
    counted: int = 0
    noticed: int = 0
    first: int = 0
    three: int = 0
    first_of_all: int = 0


def drawing(name: str, mod: str) -> Amp:
    """An amp, with a mod where one is named."""
    return apply_mods(load_amp(name), load_mod(mod)) if mod else load_amp(name)


@lru_cache(maxsize=4)
def ranking_of(name: str, mod: str) -> Ranking:
    """What weighs the usual readings of a drawing."""
    amp = drawing(name, mod)
    return Ranking(fault_model(amp, drops=False).only(standard_probes(circuit_at(amp, {}))), Meter())


def healthy_states(wired: Circuit, count: int, seed: int) -> tuple[list[State], Array]:
    """Healthy amps within tolerance, and the mains of each as a factor."""
    factors, draws = part_factors(wired, count, seed, Tolerances()), valve_draws(wired, count, seed, Tolerances())
    rng = np.random.default_rng([seed, 1])
    mains = rng.uniform(0.95, 1.05, count)
    beside = 1.0 + 0.015 * rng.standard_normal(count)
    own = {name: part for name, part in slots(wired).items() if part in factors}
    states = [
        State(
            factors=tuple((name, float(factors[part][number])) for name, part in own.items()),
            sockets=tuple(sockets_of(wired, draws, number).items()),
            supply=float(mains[number] * beside[number]),
        )
        for number in range(count)
    ]
    return states, mains


def drawn_faults(wired: Circuit, count: int, seed: int, evenly: bool) -> list[tuple[Suspect, float]]:
    """Faults and their sizes; kinds by their chances, or evenly."""
    rng, may = np.random.default_rng([seed, 2]), list(suspects(wired))
    kinds = [kind for kind in KINDS if any(each.kind == kind for each in may)]
    chances = np.array([1.0 if evenly else kind.chance for kind in kinds])
    found = []
    for _ in range(count):
        kind = kinds[int(rng.choice(len(kinds), p=chances / chances.sum()))]
        those = [each for each in may if each.kind == kind]
        one = those[int(rng.integers(len(those)))]
        sized = kind.low < kind.high
        found.append((one, float(np.exp(rng.uniform(np.log(kind.low), np.log(kind.high)))) if sized else kind.low))
    return found


def noisy(volts: Array, rng: np.random.Generator) -> Array:
    """Readings of a meter 1 % and 10 mV off."""
    return volts * (1.0 + 0.01 * rng.standard_normal(volts.shape)) + 0.01 * rng.standard_normal(volts.shape)


def tried(name: str, mod: str, count: int, seed: int, evenly: bool, tally: Tally) -> None:
    """Healthy and faulty amps of one drawing, added to a tally."""
    amp = drawing(name, mod)
    wired = circuit_at(amp, {})
    bench = MeteredAmp(amp, {}, tuple(probe(wired, each) for each in standard_probes(wired)))
    states, mains = healthy_states(wired, count, seed)
    faults, plates = drawn_faults(wired, count, seed, evenly), _plate_volts(bench, wired)
    sick = [
        state.with_fault(faulty_state(suspect, size, dict(state.sockets), plates))
        for state, (suspect, size) in zip(states, faults, strict=True)
    ]
    read = bench.read([*states, *sick])
    assert np.isfinite(read).all()
    rng = np.random.default_rng([seed, 3])
    _weigh(ranking_of(name, mod), read[:count], read[count:], mains, faults, rng, tally)


def _plate_volts(bench: MeteredAmp, wired: Circuit) -> dict[str, float]:
    """Plate against ground of each valve, in the amp as drawn: what the gas current's resistor is reckoned from."""
    names = [name for name, part in wired.parts.items() if isinstance(part, Socket)]
    plates = MeteredAmp(bench.amp, {}, tuple(probe(wired, f"{name}.plate") for name in names))
    return dict(zip(names, plates.unloaded([State()])[0].tolist(), strict=True))


def _weigh(
    ranking: Ranking, healthy: Array, sick: Array, mains: Array, faults: list[tuple[Suspect, float]],
    rng: np.random.Generator, tally: Tally,
) -> None:  # fmt: skip
    lot = np.concatenate([noisy(healthy, rng) / mains[:, None] for _ in range(_REPEATS)])
    low, high = np.quantile(lot, _INSIDE, axis=0)
    whole, faulty = healthy / mains[:, None], sick / mains[:, None]
    kept = (whole >= low) & (whole <= high)
    out = (((faulty < low) | (faulty > high)) & kept).any(axis=1)
    moved = (np.abs(sick - healthy) > 0.01 * np.abs(healthy) + 0.01).any(axis=1)
    told = mains * (1.0 + 0.01 * rng.standard_normal(mains.shape))
    found = ranking.rank_all(noisy(healthy, rng), told)
    tally.healthy += len(found)
    tally.alarms += sum(each.gain > ranking.threshold for each in found)
    tally.drawn += len(sick)
    tally.unseen += int(np.sum(~out & ~moved))
    tally.within += int(np.sum(~out & moved))
    ranks = ranking.rank_all(noisy(sick, rng), told)
    for ranked, (suspect, _), counts in zip(ranks, faults, out, strict=True):
        _count(tally, ranked.gain > ranking.threshold, _place(ranked, suspect.part), bool(counts))


def _count(tally: Tally, noticed: bool, place: int, counts: bool) -> None:
    tally.first_of_all += noticed and place == 1
    if counts:
        tally.counted += 1
        tally.noticed += noticed
        tally.first += noticed and place == 1
        tally.three += noticed and place <= 3


def _place(ranked: Ranked, part: str) -> int:
    shares: dict[str, float] = {}
    for suspect, chance in zip(ranked.suspects, ranked.chances, strict=True):
        shares[suspect.part] = shares.get(suspect.part, 0.0) + chance
    order = sorted(shares, key=lambda name: -shares[name])
    return order.index(part) + 1 if part in order else 999


def _figures(drawings: tuple[Drawing, ...], count: int, seed: int, lot: str, evenly: bool = False) -> Iterator[Figure]:
    tally = Tally()
    for each in drawings:
        tried(*each, count, seed, evenly, tally)
    shares = [100.0 * each / tally.counted for each in (tally.first, tally.three)]
    alarms = 100.0 * tally.alarms / tally.healthy
    about = (
        f"{tally.counted} faults, {tally.counted - tally.noticed} of them called healthy; not counted: {tally.unseen} "
        f"that move no reading beyond the meter's error, {tally.within} that stay within the limits of healthy amps; "
        f"with these {100.0 * tally.first_of_all / tally.drawn:.0f} % of {tally.drawn}"
    )
    yield Figure(f"diagnosis, {lot}: right part first", f"{shares[0]:.1f} % ({about})", ">= 80 %", shares[0] >= 80.0)
    yield Figure(f"diagnosis, {lot}: right part among three", f"{shares[1]:.1f} %", ">= 95 %", shares[1] >= 95.0)
    yield Figure(f"diagnosis, {lot}: false alarms", f"{alarms:.1f} % of {tally.healthy}", "<= 5 %", alarms <= 5.0)


def developed_on(scale: Scale) -> Iterator[Figure]:
    """Single faults, the lot that the method was made on."""
    yield from _figures(STOCK, max(60, scale.amps // 20), DEVELOPED, "lot it was made on")


def blind_trial(scale: Scale) -> Iterator[Figure]:
    """Single faults, a lot that was kept aside."""
    yield from _figures(STOCK, max(60, scale.amps // 12), BLIND, "lot kept aside")


def other_drawings(scale: Scale) -> Iterator[Figure]:
    """Single faults, drawings it was not made on and kinds of fault evenly."""
    yield from _figures(OTHERS, max(60, scale.amps // 30), ELSEWHERE, "other drawings, kinds evenly", True)


SECTIONS = (developed_on, blind_trial, other_drawings)
