"""How much each part matters: decibels for ten percent of every part, and for one standard deviation of every valve."""

from __future__ import annotations

import itertools
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Any

import numpy as np
import xarray as xr
from numpy.typing import NDArray

from ...base.errors import DescriptionError, shown
from ...base.progress import Progress
from ...circuit.amp import Amp, AnyPart, Socket
from ...circuit.build import SPEAKER, Circuit
from ...circuit.every_part import with_every_part
from ...circuit.loudspeaker import Loudspeaker
from ...circuit.positions import Position
from ...circuit.transformer import Transformer
from ...circuit.valves.deviation import ValveDraw
from ...simulation.analyses import FrequencySweep
from ...simulation.kept_sweeps import run_kept
from ...simulation.netlist import Netlist, node_vector, write
from ...simulation.ngspice import engine
from ...simulation.request import Case, request
from ...simulation.response import provenance
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
    """One netlist that differs from the drawing in one thing, and how its change in dB is scaled."""

    name: str
    per: str
    scale: float
    netlist: Netlist


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
    cases = [_trials(case, analysis, node) for case in asked.cases]
    netlists = [netlist for case in cases for netlist in case.netlists]
    outcomes = run_kept(netlists, progress, workers)
    parts = dict.fromkeys((trial.name, trial.per) for case in cases for trial in case.trials)
    slope = np.full((len(cases), len(parts), analysis.points), np.nan)
    rest = iter(outcomes)
    for row, case in zip(slope, cases, strict=True):
        for (name, per), change in case.changes(list(itertools.islice(rest, len(case.netlists)))):
            row[list(parts).index((name, per))] = change
    coords = asked.coords() | {
        "part": [name for name, _ in parts],
        "per": ("part", [per for _, per in parts]),
        "frequency": ("frequency", analysis.grid(), {"units": "Hz"}),
    }
    whole = slope.reshape(*asked.shape, *slope.shape[1:])
    data = {"slope": (("variant", "position", "part", "frequency"), whole, {"units": "dB"})}
    left_out = ", ".join(sorted({name for case in cases for name in case.left_out}))
    facts = provenance(asked.variants, analysis, netlists, outcomes) | {"node": node, "left_out": left_out}
    return xr.Dataset(data, coords, facts)


@dataclass(frozen=True)
class _Trials:
    """Of one case the drawing, and all that differ from it in one thing."""

    case: Case
    vector: str
    base: Netlist
    trials: tuple[_Trial, ...]
    left_out: tuple[str, ...]

    @property
    def netlists(self) -> list[Netlist]:
        """The drawing first: what follows is altered in its load where only a value differs."""
        return [self.base, *(trial.netlist for trial in self.trials)]

    def changes(self, outcomes: Sequence[engine.Outcome]) -> Iterator[tuple[tuple[str, str], Array]]:
        """For each trial its name, for how much, and the change [dB] over frequency."""
        levels = [_level(self.case.arrays(outcome), self.vector) for outcome in outcomes]
        for trial, level in zip(self.trials, levels[1:], strict=True):
            yield (trial.name, trial.per), trial.scale * (level - levels[0])


def _trials(case: Case, analysis: FrequencySweep, node: str) -> _Trials:
    wired = case.wired
    vector = node_vector(wired, node)
    if not vector:
        raise DescriptionError(f"{shown(node)} is ground and has no gain; listen elsewhere")
    base = _base(case, analysis, node)
    trials = (
        *_value_trials(wired, base),
        *_replaced_trials(case, analysis, node),
        *_valve_trials(wired, case.setting, analysis, node),
    )
    return _Trials(case, vector, base, trials, tuple(_left_out(wired)))


def _level(answer: engine.Arrays, vector: str) -> Array:
    with np.errstate(divide="ignore"):
        return np.asarray(20.0 * np.log10(np.abs(answer.vectors[vector])))


def _base(case: Case, analysis: FrequencySweep, node: str) -> Netlist:
    return write(case.wired, case.setting, analysis, (node,))


def _value_trials(wired: Circuit, base: Netlist) -> Iterator[_Trial]:
    owners = [slots(wired).get(name, "") for name in base.form.parts]
    for designator in dict.fromkeys(owner for owner in owners if owner):
        pairs = zip(owners, base.values, strict=True)
        moved = tuple(value * (1.0 + STEP) if owner == designator else value for owner, value in pairs)
        yield _Trial(designator, PER_PART, _PER / STEP, replace(base, values=moved))


def _replaced_trials(case: Case, analysis: FrequencySweep, node: str) -> Iterator[_Trial]:
    for part in _parts(case.wired, (Transformer, Loudspeaker)):
        for name in _FIELDS[part.kind]:
            other = replace(part, **{name: getattr(part, name) * (1.0 + STEP)})
            netlist = _base(replace(case, amp=_refit(case.amp, part, other)), analysis, node)
            yield _Trial(f"{part.designator} {name.replace('_', ' ')}", PER_PART, _PER / STEP, netlist)


def _valve_trials(
    wired: Circuit, setting: Mapping[str, float | str], analysis: FrequencySweep, node: str
) -> Iterator[_Trial]:
    for socket in _parts(wired, (Socket,)):
        if socket.designator in _left_out(wired):
            continue
        valve = wired.amp.valve_by_type[socket.type]
        for name, draw in _steps(spread_of(valve)).items():
            own = {socket.designator: deviating(valve, draw)}
            netlist = write(wired, setting, analysis, (node,), sockets=own)
            yield _Trial(f"{socket.designator} {name}", PER_VALVE, 1.0 / _VALVE_STEP, netlist)


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
