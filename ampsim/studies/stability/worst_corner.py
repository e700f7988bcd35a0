"""The least margin of the feedback loop over every position of the controls."""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace

import numpy as np
import pandas as pd
import xarray as xr

from ...base.progress import Progress
from ...circuit.amp import Amp
from ...circuit.control import Control
from ...circuit.positions import Position, position_label
from ...measures.margins import Margins, margins
from ...simulation.agreement import SWEPT_LIMIT
from ...simulation.loop_gain import loop_gain
from .corner_search import Search, Setting, grid, rotation
from .line import Line
from .loop_place import closed_settings, held_settings
from .loop_sweeps import CLOSE

# A control that moves 1 + T by less than this share moves a margin of 45 degrees by less than half a degree.
_MATTERS = 0.01
_STARTS = 2
MOST = 800  # corners and grid together are at most as many positions
# A setting that moves the margins at the worst position by less is not named: [degrees], [dB], share of the distance.
_DEGREES, _DECIBELS, _SHARE = 2.0, 1.0, 0.1
_BASES = 3  # as drawn, all knobs down, all knobs up


@dataclass(frozen=True, eq=False)
class Corners:
    """What a search over every position of the controls found.

    Attributes
    ----------
    effects
        Control to the most it changes 1 + T from end to end, as a share of it.
    controls
        Those that matter, the most effective first.
    table
        One row per position judged, the least phase margin first: controls, phase margin [deg], gain margin [dB],
        closest to -1 (negative when it oscillates), turns around -1.
    probed
        How many positions it took to tell which controls matter.
    worst, closest
        The position with the least phase margin, and that with the closest approach to -1; rotations rounded as far
        as that makes next to no difference.
    telling
        Of the worst position the settings that make it: with the others as drawn the margins are the same within 2
        degrees, 1 dB and a tenth of the distance from -1.
    response
        Loop gain on a fine grid at three positions: the start, the worst, the closest; by ngspice.
    apart
        How far [ratio] our own solver's 1 + T is from that response at its worst; beyond `SWEPT_LIMIT` the whole
        search is ngspice's.
    """

    effects: dict[str, float]
    controls: tuple[str, ...]
    table: pd.DataFrame
    probed: int
    start: Setting
    worst: Setting
    closest: Setting
    telling: Setting
    response: xr.Dataset
    apart: float

    @property
    def evaluations(self) -> int:
        """How many positions were simulated."""
        return len(self.table) + self.probed

    def margins(self, position: Position) -> Margins:
        """Margins on the fine grid at one of the three positions of `response`."""
        loop = self.response["loop_gain"].sel(position=position_label(position)).values[0]
        return margins(self.response["frequency"].values, loop)


def worst_corners(
    amp: Amp,
    at: str | None = None,
    fixed: Position | None = None,
    most: int = MOST,
    points: int | None = None,
    controls: Sequence[str] | None = None,
    progress: Progress | None = None,
) -> Corners:
    """Search every position of the controls that matter to the loop for the least margin.

    All combinations of switch positions and pot ends come first, with a grid between them that is denser towards the
    ends; from the worst of these the search goes on in ever smaller steps. Controls that did not seem to matter are
    tried once more at the worst positions. Positions in which a switch opens the feedback line are left out.

    Parameters
    ----------
    amp : Amp
    at : str
        Where the whole feedback passes, such as ``R20.1``. Default: the global loop.
    fixed : mapping
        Settings of controls that stay; the others are free.
    most : int
        Corners and grid together are at most as many positions.
    points : int
        Rotations to a knob in the grid, whatever `most` says.
    controls : sequence of str
        The only ones to move, whether they matter or not; the search then goes on from fewer positions. Default: all
        that matter.
    progress : callable
        Called with (done, total) of each batch.

    Raises
    ------
    DescriptionError
        When there is no feedback, or a control or its position is unknown.
    EngineError
        When ngspice gives no trustworthy answer.
    """
    found = _searched(amp, at, fixed, most, points, controls, progress, True)
    if found.apart <= SWEPT_LIMIT:
        return found
    return replace(_searched(amp, at, fixed, most, points, controls, progress, False), apart=found.apart)


def _searched(
    amp: Amp,
    at: str | None,
    fixed: Position | None,
    most: int,
    points: int | None,
    controls: Sequence[str] | None,
    progress: Progress | None,
    solved: bool,
) -> Corners:
    """As `worst_corners`, by our own solver as far as it has answers, or by ngspice alone."""
    fixed, start = held_settings(amp, fixed), closed_settings(amp, at, held_settings(amp, fixed))
    effects = _effects(amp, at, fixed, controls, solved)
    free = sorted((amp.controls[name] for name in effects), key=lambda control: -effects[control.name])
    judged: list[tuple[Setting, Margins]] = []
    line = Line(amp, at, tuple(each.name for each in free if each.kind == "knob"), solved, progress)

    def judge(positions: list[Setting]) -> list[tuple[float, float]]:
        found = line.margins(positions)
        judged.extend((position, each) for position, each in zip(positions, found, strict=True) if each)
        return [(_phase(each), each.distance) if each else (math.inf, math.inf) for each in found]

    search = Search(judge, [each for each in free if effects[each.name] > _MATTERS], fixed)
    search.look([start, *grid(search.controls, most, points)])
    search.descend(2, 1 if controls else _STARTS)
    doubtful = [] if controls else [search.worst(0)[0], search.worst(1)[0]]
    late = control_effects(amp, at, fixed, doubtful, solved) if doubtful else {}
    effects = {name: max(effect, late.get(name, 0.0)) for name, effect in effects.items()}
    if added := [each for each in free if effects[each.name] > _MATTERS and each not in search.controls]:
        search.controls = [*search.controls, *added]
        search.descend(2, _STARTS)
    worst, closest = search.plain(0), search.plain(1)
    names = tuple(control.name for control in search.controls)
    told = [start, worst, closest]
    response = line.closely(told)
    probed = 0 if controls else (_BASES + len(doubtful)) * (1 + sum(len(_ends(each)) for each in free))
    telling = _telling(line, worst, {**start, **fixed}, search.controls)
    apart = line.apart(response, told) if solved else 0.0
    return Corners(effects, names, _table(judged), probed, start, worst, closest, telling, response, apart)


def loop_on_travel(amp: Amp, position: Position, controls: Sequence[str], at: str | None = None) -> xr.Dataset:
    """Loop gain while one knob at a time is turned, the others staying at a position.

    Parameters
    ----------
    amp : Amp
    position : mapping
        Where the other controls stay; those not named stand as drawn.
    controls : sequence of str
        The knobs to turn.
    at : str
        Where the loop is opened; found by itself by default.

    Returns
    -------
    xarray.Dataset
        `loop_gain` complex, dims (control, rotation, frequency); every twentieth of the travel, denser at both ends.
    """
    turns = sorted({round(n / 20.0, 2) for n in range(21)} | {rotation(n / 16.0) for n in range(17)})
    held = dict(position)
    moved = [{**held, name: turn} for name in controls for turn in turns]
    response = loop_gain(amp, at, moved, CLOSE, turned=controls)
    table = response["loop_gain"].values[0].reshape(len(controls), len(turns), -1)
    data = {"loop_gain": (("control", "rotation", "frequency"), table, {"units": "1"})}
    coords = {"control": list(controls), "rotation": turns, "frequency": response["frequency"]}
    return xr.Dataset(data, coords, response.attrs | {"held": position_label(held), "variant": amp.variant})


def control_effects(
    amp: Amp,
    at: str | None = None,
    fixed: Position | None = None,
    bases: Sequence[Position] = (),
    solved: bool = True,
) -> dict[str, float]:
    """How much each control changes the loop: the most it moves 1 + T, as a share of it [ratio].

    Every control that is not fixed is moved to its ends (a switch to all positions), one at a time, from several
    positions of the others: as drawn, all knobs down, all knobs up; or from the bases given.

    Parameters
    ----------
    amp : Amp
    at : str
        Where the loop is opened; found by itself by default.
    fixed : mapping
        Controls that stay where they are.
    bases : sequence of mapping
        Positions to move each control from.
    solved : bool
        Whether our own solver answers what it can.

    Raises
    ------
    DescriptionError
        As `worst_corners`.
    """
    fixed = held_settings(amp, fixed)
    free = [control for control in amp.controls.values() if control.name not in fixed]
    start = closed_settings(amp, at, fixed)
    drawn: list[Position] = [start, start | _knobs(free, 0.0), start | _knobs(free, 1.0)]
    effects = dict.fromkeys((control.name for control in free), 0.0)
    moves = [
        [("", dict(base)), *((c.name, {**base, c.name: end}) for c in free for end in _ends(c))]
        for base in bases or drawn
    ]
    # All at once: what is reduced for one base serves the others.
    line = Line(amp, at, tuple(_knobs(free, 0.0)), solved)
    _, loops = line.loops([position for own in moves for _, position in own])
    rest = iter(loops)
    for own in moves:
        names, (first, *others) = [name for name, _ in own], [next(rest) for _ in own]
        for name, loop in zip(names[1:], others, strict=True):
            if loop is not None and first is not None:
                effects[name] = max(effects[name], float(np.max(np.abs(loop - first) / np.abs(1.0 + first))))
    return effects


def _effects(
    amp: Amp, at: str | None, fixed: Position, controls: Sequence[str] | None, solved: bool
) -> dict[str, float]:
    if controls is None:
        return control_effects(amp, at, fixed, solved=solved)
    return {name: math.inf for name in controls if name in amp.controls and name not in fixed}


def _telling(line: Line, worst: Setting, drawn: Setting, controls: Sequence[Control]) -> Setting:
    """The settings of the worst position without those that make no difference, tried from the least effective on."""
    found = [each for each in line.margins([worst]) if each]
    kept = dict(worst)
    for control in reversed(controls):
        fewer = {**kept, control.name: drawn.get(control.name, control.drawn)}
        judged = line.margins([fewer])[0]
        if found and judged is not None and _alike(found[0], judged):
            kept = fewer
    return {name: value for name, value in kept.items() if value != drawn.get(name, line.amp.controls[name].drawn)}


def _alike(one: Margins, other: Margins) -> bool:
    if (one.oscillates, one.reversed) != (other.oscillates, other.reversed):
        return False
    pairs = ((one.phase_margin, other.phase_margin, _DEGREES), (one.gain_margin, other.gain_margin, _DECIBELS))
    near = [math.isclose(first, second, rel_tol=0.0, abs_tol=most) or first != first for first, second, most in pairs]
    return one.reversed or (all(near) and abs(one.closest - other.closest) <= _SHARE * one.closest)


def _knobs(controls: Iterable[Control], turned: float) -> Setting:
    return {control.name: turned for control in controls if control.kind == "knob"}


def _ends(control: Control) -> Sequence[float | str]:
    return control.positions if control.kind == "switch" else (0.0, 1.0)


def _phase(found: Margins) -> float:
    """The phase margin to rank by [deg]; without a crossing there is no less than all of it."""
    return 180.0 if math.isnan(found.phase_margin) else found.phase_margin


def _table(judged: Sequence[tuple[Setting, Margins]]) -> pd.DataFrame:
    rows = [
        {
            **position,
            "phase margin [deg]": found.phase_margin,
            "gain margin [dB]": found.gain_margin,
            "closest to -1": found.distance,
            "turns around -1": np.nan if found.turns is None else found.turns,
        }
        for position, found in judged
    ]
    return pd.DataFrame(rows).sort_values("phase margin [deg]", ignore_index=True)
