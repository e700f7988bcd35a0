"""What a stage does at the level where it clips, read off its volts and currents."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
import xarray as xr
from numpy.typing import NDArray

from ...circuit.active_parts import ACTIVE

# What a valve does at the level where its stage has clipped (our own marks): current down to 2 % of that at rest is
# cut off; plate down to a quarter of its volts at rest is at the bottom.
_CUT_OFF, _BOTTOM = 0.02, 0.25
# An output of an operational amplifier is at an end where this share of its supply or less is left (our own mark).
_END = 0.2
# A grid that draws less at its peak [A] takes no decibel off any stage before it (our own mark).
_GRID_AMPS = 5e-8
FALLEN = ("grid", "valve")
"""In which of its halves a stage's gain can fall."""
CELL = ("variant", "position")
Array = NDArray[np.float64]
_WORDS = {each.output: each for each in ACTIVE.values()}
_KINDS = {each.output: kind for kind, each in ACTIVE.items()}


def how_it_clips(cell: Cell, drop: Mapping[str, Array], valves: Sequence[str], level: float) -> str:
    """What a stage does at a level of the source: "plate at the bottom", ...; "" where it does not clip.

    Parameters
    ----------
    cell : Cell
        One variant at one position.
    drop : mapping
        How far the stage's gain has fallen, "grid" and "valve" [dB], over level.
    valves : sequence of str
        What amplifies in it.
    level : float
        Where it clips [V peak].
    """
    known = np.isfinite(drop["valve"])
    beyond = np.flatnonzero(known & (cell.waves.levels >= level * (1.0 - 1e-9)))
    if not np.isfinite(level) or not beyond.size:
        return ""
    there, at = _There(cell, int(beyond[0])), {name: float(drop[name][beyond[0]]) for name in FALLEN}
    outputs = {v: next(pin for pin in _WORDS if f"{v}.{pin}" in there.nodes) for v in valves}
    amplifiers = [valve for valve, pin in outputs.items() if pin == "out"]
    if amplifiers:
        return _how_amplifiers(there, amplifiers)
    if at["grid"] > at["valve"]:
        return _how_before(there, {valve: _WORDS[pin].control for valve, pin in outputs.items()})
    return _how_valves(there, outputs)


class Waves:
    """What was played, as plain arrays: labels would take most of the time of a table.

    The response is one of `ampsim.studies.headroom.simulate.headroom`.
    """

    def __init__(self, response: xr.Dataset) -> None:
        self.nodes = {str(name): row for row, name in enumerate(response["node"].values)}
        self.branches = {str(name): row for row, name in enumerate(response["branch"].values)}
        self.levels = response["level"].values
        self.volts = response["voltage"].transpose(*CELL, "level", "node", "time").values
        self.amps = response["current"].transpose(*CELL, "level", "branch", "time").values
        self.rest = response["rest"].transpose(*CELL, "node").values
        self.rest_amps = response["rest_current"].transpose(*CELL, "branch").values

    def at(self, variant: int, position: int) -> Cell:
        """One variant and position, by their numbers."""
        return Cell(self, (variant, position))


@dataclass(frozen=True)
class Cell:
    """One variant at one position."""

    waves: Waves
    place: tuple[int, int]


class _There:
    """Volts and amperes of a cell at one level."""

    def __init__(self, cell: Cell, level: int) -> None:
        waves = cell.waves
        self.nodes, self.branches = waves.nodes, waves.branches
        self._volts, self._amps = waves.volts[cell.place][level], waves.amps[cell.place][level]
        self._rest, self._rest_amps = waves.rest[cell.place], waves.rest_amps[cell.place]

    def volts(self, node: str) -> Array:
        """Volts over time."""
        return np.asarray(self._volts[self.nodes[node]])

    def amps(self, branch: str) -> Array:
        """Amperes over time."""
        return np.asarray(self._amps[self.branches[branch]])

    def rest(self, node: str) -> float:
        """Volts at rest."""
        return float(self._rest[self.nodes[node]])

    def rest_amps(self, branch: str) -> float:
        """Amperes at rest."""
        return float(self._rest_amps[self.branches[branch]])


def _how_before(there: _There, controls: Mapping[str, str]) -> str:
    """What lets less reach the grids: that they draw current themselves, or what lies before them."""
    own = [f"{valve}.{control}" for valve, control in controls.items() if f"{valve}.{control}" in there.branches]
    drawn = max((float(np.nanmax(there.amps(branch))) for branch in own), default=0.0)
    control = next(iter(controls.values()))
    return f"{control} draws current" if drawn > _GRID_AMPS else f"clipped on its way to the {control}"


def _how_amplifiers(there: _There, names: Sequence[str]) -> str:
    """What operational amplifiers do: an output within `_END` of the supply's span from its ends is at its end."""
    for name in names:
        out, high, low = (there.volts(f"{name}.{pin}") for pin in ("out", "vplus", "vminus"))
        room = min(float((high - out).min()), float((out - low).min()))
        if room < _END * float((high - low).mean()):
            return "output at the end of its swing"
    return "bends softly"


def _how_valves(there: _There, outputs: Mapping[str, str]) -> str:
    """What valves and transistors do, to each its output pin."""
    for valve, pin in outputs.items():
        top, foot = f"{valve}.{pin}", f"{valve}.{_WORDS[pin].foot}"
        rest = there.rest(top) - there.rest(foot)
        # Of p-channel types all volts are the other way round.
        volts = (there.volts(top) - there.volts(foot)) * np.sign(rest)
        if float(volts.min()) < _BOTTOM * abs(rest):
            return f"{pin} at the bottom"
    ((valve, pin), *others) = outputs.items()
    branch = f"{valve}.{pin}"
    lowest = float(there.amps(branch).min()) / there.rest_amps(branch)
    # One valve of a pair cuts off in every half cycle without any clipping.
    return f"{_KINDS[pin]} cuts off" if not others and lowest < _CUT_OFF else "bends softly"
