"""How much each part matters: decibels for ten percent of every part, and for one standard deviation of every valve."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass, field, replace
from functools import partial
from typing import Any

import numpy as np
import xarray as xr
from numpy.typing import NDArray

from ...base.errors import DescriptionError, shown
from ...base.progress import Progress, quiet
from ...circuit.amp import Amp, AnyPart, Socket
from ...circuit.build import SPEAKER, Circuit
from ...circuit.every_part import with_every_part
from ...circuit.loudspeaker import Loudspeaker
from ...circuit.positions import Position
from ...circuit.transformer import Transformer
from ...circuit.valves.deviation import ValveDraw
from ...simulation.agreement import AGREEMENT
from ...simulation.analyses import FrequencySweep
from ...simulation.facts import put
from ...simulation.netlist import Netlist, node_vector, write
from ...simulation.ngspice import engine
from ...simulation.request import Case, request
from ...simulation.response import provenance
from ...simulation.swept import Lot, Sockets, answer_lots
from ...simulation.tolerances import slots
from ...simulation.valve_spreads import ValveSpread, deviating, spread_of, spreads

Array = NDArray[np.float64]
SWEEP = FrequencySweep(per_decade=15)
# One-sided step of a part: against a central difference a worst error of 0.002 dB in 10 % on our amps (1 %: 0.02 dB).
STEP = 1e-3
_PER = 0.10
# Step of a valve, as a share of its standard deviation.
_VALVE_STEP = 0.1
PER_PART, PER_VALVE = "10 %", "1 standard deviation"
_FIELDS = {
    "transformer": (
        "primary", "inductance", "leakage", "primary_resistance", "secondary_resistance", "capacitance", "core_loss",
    ),
    "loudspeaker": ("resistance", "resonance", "peak", "q", "reactance"),
}  # fmt: skip


@dataclass(frozen=True)
class _Trial:
    """What differs from the drawing in one thing, and how its change in dB is scaled.

    It is all values of a part, one figure of a part (`wired` is the circuit with that), or the valve in a socket.
    """

    name: str
    per: str
    scale: float
    values: tuple[str, ...] = ()
    wired: Circuit | None = None
    sockets: Sockets = field(default_factory=dict)


def sensitivity(
    amps: Amp | Sequence[Amp],
    positions: Iterable[Position] = ({},),
    analysis: FrequencySweep | None = None,
    node: str = SPEAKER,
    workers: int | None = None,
    progress: Progress | None = None,
) -> xr.Dataset:
    """Move every part a little, one at a time, and tell what the gain does.

    Resistors, capacitors, inductors and pots are altered by 0.1 % in the loaded netlist; transformer and loudspeaker
    are replaced by ones that differ by 0.1 % in one figure; valves differ by a tenth of a standard deviation in bias,
    mu or gm (`scatter.spread_of`). All changes are one-sided and scaled up; a real
    10 % may differ by a tenth of a dB.

    Parameters
    ----------
    amps : Amp or sequence of Amp
        Variants.
    positions : iterable of mapping
        As `simulate`.
    analysis : FrequencySweep
        Default: 20 Hz to 20 kHz, 15 points a decade.
    node : str
        Where to listen.
    workers, progress
        As `simulate`.

    Returns
    -------
    xarray.Dataset
        `slope` [dB] with dims (variant, position, part, frequency); NaN where a variant lacks a part. The coordinate
        `per` along part says for how much: "10 %" or "1 standard deviation". Valves whose law cannot be spread are
        left out and named in ``attrs["left_out"]``.

    Raises
    ------
    DescriptionError
        For unknown controls, positions or places.
    EngineError
        When ngspice gives no trustworthy answer.
    """
    asked = request(amps, positions)
    analysis = SWEEP if analysis is None else analysis
    if not isinstance(analysis, FrequencySweep):
        raise DescriptionError(f"sensitivity of {shown(analysis)}; it takes a frequency sweep")
    cases = [_Trials.of(case, analysis, node) for case in asked.cases]
    found = answer_lots([case.lot for case in cases], partial(_ngspice, workers), progress=progress)
    parts = dict.fromkeys((trial.name, trial.per) for case in cases for trial in case.trials)
    slope = np.full((len(cases), len(parts), analysis.points), np.nan)
    for number, (row, case) in enumerate(zip(slope, cases, strict=True)):
        for fault in (error for (lot, _), error in found.failures.items() if lot == number):
            case.case.arrays(fault)
        for (name, per), change in case.changes(found.values[number][:, 0]):
            row[list(parts).index((name, per))] = change
    coords = asked.coords() | {
        "part": [name for name, _ in parts],
        "per": ("part", [per for _, per in parts]),
        "frequency": ("frequency", analysis.grid(), {"units": "Hz"}),
    }
    whole = slope.reshape(*asked.shape, *slope.shape[1:])
    data = {"slope": (("variant", "position", "part", "frequency"), whole, {"units": "dB"})}
    left_out = ", ".join(sorted({name for case in cases for name in _left_out(case.case.wired)}))
    facts = provenance(asked.variants, analysis, [], [found]) | {"netlists_sha256": found.digest}
    facts |= {"node": node, "left_out": left_out} | put(AGREEMENT, found.agreement)
    return xr.Dataset(data, coords, facts)


def _ngspice(workers: int | None, netlists: Iterator[Netlist], _: int) -> Sequence[engine.Outcome]:
    return engine.run_distinct(netlists, workers=workers, progress=quiet)


@dataclass(frozen=True)
class _Trials:
    """Of one case the drawing, and all that differ from it in one thing, as one lot."""

    case: Case
    trials: tuple[_Trial, ...]
    lot: Lot

    @classmethod
    def of(cls, case: Case, analysis: FrequencySweep, node: str) -> _Trials:
        """All trials of a case.

        Raises
        ------
        DescriptionError
            When one would listen at ground.
        """
        wired = case.wired
        if not node_vector(wired, node):
            raise DescriptionError(f"{shown(node)} is ground and has no gain; listen elsewhere")
        written = write(wired, case.setting, analysis, (node,)).form.parts
        trials = (*_value_trials(wired, written), *_replaced_trials(case), *_valve_trials(wired))
        factors = {name: np.ones(1 + len(trials)) for trial in trials for name in trial.values}
        for number, trial in enumerate(trials, 1):
            for name in trial.values:
                factors[name][number] += STEP
        others = {number: trial.wired for number, trial in enumerate(trials, 1) if trial.wired}
        sockets = ({}, *(trial.sockets for trial in trials))
        return cls(case, trials, Lot(wired, case.setting, analysis, (node,), sockets, factors, others=others))

    def changes(self, answers: NDArray[np.complex128]) -> Iterator[tuple[tuple[str, str], Array]]:
        """For each trial its name, for how much, and the change [dB] over frequency."""
        with np.errstate(divide="ignore"):
            levels = 20.0 * np.log10(np.abs(answers))
        for trial, level in zip(self.trials, levels[1:], strict=True):
            yield (trial.name, trial.per), trial.scale * (level - levels[0])


def _value_trials(wired: Circuit, written: Sequence[str]) -> Iterator[_Trial]:
    known = slots(wired)
    owners = {name: known[name] for name in written if name in known}
    for designator in dict.fromkeys(owners.values()):
        values = tuple(name for name, owner in owners.items() if owner == designator)
        yield _Trial(designator, PER_PART, _PER / STEP, values)


def _replaced_trials(case: Case) -> Iterator[_Trial]:
    for part in _parts(case.wired, (Transformer, Loudspeaker)):
        for name in _FIELDS[part.kind]:
            other = replace(part, **{name: getattr(part, name) * (1.0 + STEP)})
            wired = replace(case, amp=_refit(case.amp, part, other)).wired
            yield _Trial(f"{part.designator} {name.replace('_', ' ')}", PER_PART, _PER / STEP, wired=wired)


def _valve_trials(wired: Circuit) -> Iterator[_Trial]:
    for socket in _parts(wired, (Socket,)):
        if socket.designator in _left_out(wired):
            continue
        valve = wired.amp.valve_by_type[socket.type]
        for name, draw in _steps(spread_of(valve)).items():
            own = {socket.designator: deviating(valve, draw)}
            yield _Trial(f"{socket.designator} {name}", PER_VALVE, 1.0 / _VALVE_STEP, sockets=own)


def _steps(spread: ValveSpread) -> dict[str, ValveDraw]:
    slope = float(np.hypot(spread.slope_share, spread.worn_share))
    return {
        "bias": ValveDraw(bias_volts=_VALVE_STEP * spread.bias_volts),
        "mu": ValveDraw(mu=1.0 + _VALVE_STEP * spread.mu_share),
        "gm": ValveDraw(slope=1.0 + _VALVE_STEP * slope),
    }


def _parts(wired: Circuit, kinds: tuple[type, ...]) -> Iterator[Any]:
    for element in wired.elements:
        part = wired.parts.get(element.designator)
        if isinstance(part, kinds):
            yield part


def _refit(amp: Amp, part: AnyPart, other: AnyPart) -> Amp:
    """The amp with another part in place of one, wherever that is described."""
    return with_every_part(amp, lambda each: other if each == part else each)


def _left_out(wired: Circuit) -> list[str]:
    """Valves whose law cannot be spread."""
    return [s.designator for s in _parts(wired, (Socket,)) if not spreads(wired.amp.valve_by_type[s.type])]
