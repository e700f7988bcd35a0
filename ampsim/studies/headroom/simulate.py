"""A sine at a ladder of levels: how far every stage of an amp goes before it clips."""

from __future__ import annotations

import itertools
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import replace
from typing import Any

import numpy as np
import xarray as xr
from numpy.typing import NDArray

from ...base.errors import EngineError
from ...base.progress import Progress
from ...circuit.amp import Amp
from ...circuit.build import SPEAKER, Circuit, build_circuit, circuit_at
from ...circuit.load import load_ohm
from ...circuit.positions import Position, control_coords, position_label
from ...circuit.signal_path import active_stages, begins_at_guitar
from ...simulation.agreement import AGREEMENT
from ...simulation.analyses import FrequencySweep, OperatingPoint, Transient
from ...simulation.band_limit import band_limited
from ...simulation.facts import STAGES, Fact, put
from ...simulation.in_time import InTime
from ...simulation.netlist import node_vector
from ...simulation.ngspice.engine import Arrays, Outcome
from ...simulation.request import request
from ...simulation.response import provenance, simulate
from ...simulation.stimuli import Sine
from ...simulation.timed_run import TimedRun
from ...simulation.timestep.pace import Pace
from ...simulation.uneven_times import resample
from .measures import LOAD_OHM, POWER_ORDERS, levels_between
from .places import heard_branches, heard_places
from .purpose import OUTPUT_CHANGED, output_changed
from .still_springs import with_still_springs

LEVELS = tuple(0.5**step for step in range(11, -1, -1))
"""Peak volts of the generator: 0.5 mV to 1 V, a hard stroke on a strong pickup, in 12 levels of 6 dB."""

TONE = Sine(frequency=400.0, settle=0.025, cycles=2)
"""400 Hz, where a loudspeaker's impedance is near its lowest. Harmonics above -50 dB come out within 0.5 dB, down
to -62 dB within 1 dB. Beyond clipping bias goes on moving for 0.3 s and more, and harmonics by a dB or two with it."""

FAILED = Fact("failed", list[str])
"""Where ngspice gave no answer, in words."""
_PER_CYCLE = 50
# Steps of the solver to a cycle, of tones below some level [V] and from there on. Of 9 amps at 5 levels, against 7680
# steps: the wave is within 0.25 % rms below (most amps: 0.02 %) and within 0.5 % from there on, harmonics down to
# -50 dB within 0.1 dB, power within 0.1 %. With 800 steps at 1 V the wave of one amp is 2 % off.
_STEPS = {0.2: 800, np.inf: 2000}
# Until half a cycle before what is looked at: those 9 amps' harmonics are the same with as many as later.
_COARSE = 200
_TOLERANCE = 2e-4
_CHECKED = 0.0075  # s of a tone that are checked
_CELL = ("variant", "position")
Array = NDArray[np.float64]
_Key = tuple[int, int, float]
_Sources = tuple[tuple[str | None, float], ...]


def headroom(
    amps: Amp | Sequence[Amp],
    positions: Iterable[Position] = ({},),
    levels: Sequence[float] = LEVELS,
    tone: Sine = TONE,
    progress: Progress | None = None,
    checks: int = 2,
) -> xr.Dataset:
    """Play a sine at rising levels into one or more variants of an amp over positions of their controls.

    Where a stage clips, or distortion passes a mark, one level more is played in the middle of that step of the ladder
    (see `ampsim.measures.levels_between`).

    Parameters
    ----------
    amps : Amp or sequence of Amp
    positions : iterable of mapping
        As in `simulate`.
    levels : sequence of float
        Peak volts of the generator, rising. With a guitar in front it stands for what the string induces in the
        pickup's coil; without, it is the amp's input.
    tone : Sine
        Frequency and settling; its level does not matter.
    progress : callable
        Called with (done, total).
    checks : int
        How many runs ngspice does as well.

    Returns
    -------
    xarray.Dataset
        `voltage` [V], dims (variant, position, level, node, time): outputs of the stages, pins of the valves and the
        speaker, over the settled cycles alone; `current` [A], dims (variant, position, level, branch, time), into
        plates and grids. `small` [1], dims (variant, position, node, part): volts for 1 V at the source, small signal,
        at the tone's frequency, in phase and in quadrature; `rest` [V] and `rest_current` [A]: the same places and
        branches at rest. NaN where a variant has no such place, a level was not played at a position, or ngspice gave
        no answer (then named in ``attrs["failed"]``). ``attrs["stages"]``: JSON, to each variant its valve stages;
        ``attrs["load_ohm"]``: JSON, to each variant and position the resistances that take the same power as its load
        at the tone's frequency and each of its harmonics, or null; ``attrs["source"]``: what the level is measured at.

    Raises
    ------
    DescriptionError
        For unknown controls or positions.
    EngineError
        When ngspice gives no trustworthy answer at rest or for a small signal.
    """
    asked = request(amps, positions)
    variants, settings = asked.variants, asked.positions
    quiet = [_quiet(with_still_springs(amp), settings, tone.frequency) for amp in variants]
    wanted = {
        (place, setting): [float(level) for level in levels]
        for place, setting in itertools.product(range(len(variants)), range(len(settings)))
    }
    told: dict[_Key, Outcome] = {}
    waves = _Waves(tone)
    solver = InTime(checks, progress, _CHECKED)
    _play(variants, settings, wanted, tone, told, solver)
    found = _gather(variants, settings, waves, told, quiet)
    labels = list(itertools.product(found["variant"].values, found["position"].values))
    more = levels_between(found)
    between = {key: more[label] for key, label in zip(wanted, labels, strict=True)}
    _play(variants, settings, between, tone, told, solver)
    return _gather(variants, settings, waves, told, quiet).assign_attrs(put(AGREEMENT, solver.agreement))


def _play(
    variants: list[Amp],
    settings: list[dict[str, float | str]],
    wanted: Mapping[tuple[int, int], Sequence[float]],
    tone: Sine,
    told: dict[_Key, Outcome],
    solver: InTime,
) -> None:
    """Simulate levels by variant and position, and add the outcomes."""
    keys = [(*cell, level) for cell, levels in wanted.items() for level in levels]
    still = [with_still_springs(amp) for amp in variants]
    runs = [
        _timed(still[amp], settings[setting], tone, level, heard_places(variants[amp])) for amp, setting, level in keys
    ]
    told.update(zip(keys, solver.run(runs), strict=True))


def _timed(amp: Amp, position: Position, tone: Sine, level: float, places: tuple[str, ...]) -> TimedRun:
    setting = amp.setting(position)
    return TimedRun(
        circuit_at(amp, setting), setting, _run(tone, level), places, _pace(replace(tone, level=level)), True
    )


def _pace(tone: Sine) -> Pace:
    """What is looked at in the steps of the grid; half a cycle before it the short steps begin."""
    cycle = 1.0 / tone.frequency
    last = tone.duration - tone.cycles * cycle
    steps = next(steps for level, steps in _STEPS.items() if tone.level < level)
    return Pace(cycle / steps, keep=cycle / _PER_CYCLE, since=last, coarse=cycle / _COARSE,
                settled=max(0.0, last - 0.5 * cycle), slow=tone.cycles)  # fmt: skip


def _run(tone: Sine, level: float) -> Transient:
    return Transient(replace(tone, level=level), 1.0 / (_PER_CYCLE * tone.frequency), _TOLERANCE)


def _gather(
    variants: list[Amp],
    settings: list[dict[str, float | str]],
    waves: _Waves,
    told: Mapping[_Key, Outcome],
    quiet: list[xr.Dataset],
) -> xr.Dataset:
    tone = waves.tone
    levels = sorted({level for _, _, level in told})
    parts = [
        _one_variant(amp, settings, waves, [[told.get((place, setting, level)) for level in levels]
                                            for setting in range(len(settings))])
        .assign_coords(variant=[amp.variant], level=("level", levels, {"units": "V"}))
        .merge(quiet[place])
        for place, amp in enumerate(variants)
    ]  # fmt: skip
    failed = [
        f"{variants[amp].variant}, {position_label(settings[setting])}, {level:.3g} V"
        for (amp, setting, level), outcome in told.items()
        if isinstance(outcome, EngineError)
    ]
    facts = provenance(
        variants, _run(tone, levels[-1]), [], [each for each in told.values() if isinstance(each, Arrays)]
    )
    facts |= {
        **put(FAILED, failed),
        **put(OUTPUT_CHANGED, output_changed(variants, settings)),
        **put(STAGES, {amp.variant: active_stages(build_circuit(amp)) for amp in variants}),
        **put(LOAD_OHM, {amp.variant: _loads(amp, settings, tone.frequency) for amp in variants}),
        "source": "from the pickup" if begins_at_guitar(variants[0]) else f"at {variants[0].source.at or 'the input'}",
    }
    whole = xr.concat(parts, "variant", join="outer").assign_coords(control_coords(settings))
    whole.attrs = facts
    return whole


def _loads(amp: Amp, settings: Sequence[Position], hertz: float) -> dict[str, list[float] | None]:
    """To each position its `_load_ohms`: a switch may take a loudspeaker away."""
    return {position_label(each): _load_ohms(circuit_at(amp, each), hertz) for each in settings}


def _load_ohms(wired: Circuit, hertz: float) -> list[float] | None:
    """`load_ohm` at a tone [Hz] and its harmonics."""
    found = [load_ohm(wired, order * hertz) for order in range(1, POWER_ORDERS + 1)]
    known = [ohm for ohm in found if ohm is not None]
    return known or None


class _Waves:
    """What outcomes are on the grid of a tone's settled cycles; each is worked out once."""

    def __init__(self, tone: Sine) -> None:
        self.tone = tone
        self.grid = _run(tone, 0.0).grid()[-tone.cycles * _PER_CYCLE - 1 :]
        self._known: dict[tuple[int, _Sources], tuple[Arrays, Array]] = {}

    def rows(self, outcome: Outcome | None, sources: _Sources, heard: int) -> Array:
        """The sources, each in its unit, one below the other; the one that is `heard` without what is too fast."""
        if not isinstance(outcome, Arrays):
            return np.full((len(sources), self.grid.size), np.nan)
        # The outcome is kept beside its waves: as long as it lives no other has its number.
        key = id(outcome), sources
        if key not in self._known:
            rows = _rows(outcome, sources, self.grid)
            # A switch may put the speaker on ground; what the solver gives on the grid is slow already.
            if (name := sources[heard][0]) and outcome.scale.size != self.grid.size:
                rows[heard] = band_limited(outcome.scale, outcome.vectors[name], self.grid, self.tone.cycles)
            self._known[key] = outcome, rows
        return self._known[key][1]


def _one_variant(
    amp: Amp, settings: list[dict[str, float | str]], waves: _Waves, outcomes: list[list[Outcome | None]]
) -> xr.Dataset:
    """Voltages and currents of a variant; outcomes by position and level."""
    places, branches = heard_places(amp), [branch for branch, _, _ in heard_branches(build_circuit(amp))]
    sources = [_sources(circuit_at(amp, _own(amp, setting)), places, branches) for setting in settings]
    heard = places.index(SPEAKER)
    rows = np.stack([
        [waves.rows(each, own, heard) for each in across] for across, own in zip(outcomes, sources, strict=True)
    ])[np.newaxis]  # fmt: skip
    data = {
        "voltage": ((*_CELL, "level", "node", "time"), rows[..., : len(places), :], {"units": "V"}),
        "current": ((*_CELL, "level", "branch", "time"), rows[..., len(places) :, :], {"units": "A"}),
    }
    coords = {
        "position": [position_label(setting) for setting in settings],
        "node": list(places),
        "branch": branches,
        "time": ("time", waves.grid, {"units": "s"}),
    }
    return xr.Dataset(data, coords)


def _sources(wired: Circuit, places: Sequence[str], branches: Sequence[str]) -> _Sources:
    """The vector of each place and branch in one position and its unit; None for a valve that is taken out there."""
    here = {branch: (vector, unit) for branch, vector, unit in heard_branches(wired)}
    volts: _Sources = tuple((node_vector(wired, place), 1.0) for place in places)
    return volts + tuple(here.get(branch, (None, 1.0)) for branch in branches)


def _own(amp: Amp, setting: Mapping[str, float | str]) -> dict[str, float | str]:
    return {name: value for name, value in setting.items() if name in amp.controls}


def _rows(outcome: Arrays, sources: _Sources, grid: Array) -> Array:
    silent = np.zeros_like(outcome.scale)
    found = [unit * outcome.vectors[name] if name else silent for name, unit in sources]
    rows = resample(outcome.scale, np.stack(found), grid)
    rows[[name is None for name, _ in sources]] = np.nan
    return rows


def _quiet(amp: Amp, settings: list[dict[str, float | str]], hertz: float) -> xr.Dataset:
    """The amp at rest, and for a small signal."""
    places = heard_places(amp)
    own = [_own(amp, setting) for setting in settings]
    rest = simulate(amp, OperatingPoint(), own, places)
    sweep = simulate(amp, FrequencySweep(hertz, 10.0 * hertz, 1), own, places)["voltage"].isel(frequency=0)
    parts = np.stack([sweep.values.real, sweep.values.imag], axis=-1)
    data: dict[str, Any] = {
        "small": ((*_CELL, "node", "part"), parts, {"units": "1"}),
        "rest": ((*_CELL, "node"), rest["voltage"].values, {"units": "V"}),
        "rest_current": ((*_CELL, "branch"), rest["current"].values, {"units": "A"}),
    }
    branches = [branch for branch, _, _ in heard_branches(build_circuit(amp))]
    whole = xr.Dataset(data, {name: rest[name].values for name in ("node", "branch")})
    # A valve that is out at every position asked has no current.
    return whole.reindex(branch=branches).assign_coords(part=["in phase", "in quadrature"])
