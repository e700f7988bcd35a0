"""How early an amp breaks up and how far it evens out playing: heard at one place of the knobs, told at any other.

A stage clips at a level of its own output, which stays as long as its bias does; what knobs change is how much of the
guitar reaches it. So the small-signal gain to each stage says at which level of the guitar it clips. Of 66 positions of
amps by lot, knobs anywhere, 57 are told so, half of them within 0.1 dB of playing them, 19 of 20 within 1 dB, 1.4 dB
off at worst; what comes out of soft and hard notes is within 0.2 dB at half of them, 2.5 dB off at worst.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
import xarray as xr

from ...circuit.signal_path import ValveStage
from ...simulation.facts import STAGES, get
from ..headroom.measures import WHOLE, clipping_table
from ..headroom.simulate import LEVELS

SOFT_V, HARD_V = 2.0**-6, 2.0**-2
"""A soft and a hard note [V peak from the pickup], 24 dB apart: our choice, no source."""
FARTHEST_DB = 9.0
"""How far from where it was played soft and hard notes are told [dB]."""
_NEVER_CLEAN_DB = -1e3
_CLIPPED_DB = 1.0  # a stage before it that clips so much earlier hands on a wave that says nothing of this one
HARDEST_DB, FAINTEST_DB = 0.0, 20.0 * math.log10(LEVELS[0])
"""The hardest and the faintest that is played [dB against 1 V peak]."""
_SILENT_V = 1e-9
_Point = tuple[float, float]


@dataclass(frozen=True)
class Drive:
    """What was found where the amp was played.

    Attributes
    ----------
    overload : mapping
        To each stage the level of its own output at which it clips [dB against 1 V peak].
    beyond : mapping
        To each stage of which that is not known the level up to which it did not clip: the hardest stroke did not reach
        it, or a stage before it clipped first [dB against 1 V peak].
    first : float
        The level from the pickup [dB against 1 V peak] at which the first stage clips; infinite where none does.
    curve : tuple of (float, float)
        Level from the pickup [dB against 1 V peak], and how much more comes out [dB]: level for level.
    """

    overload: Mapping[str, float]
    beyond: Mapping[str, float]
    first: float
    curve: tuple[_Point, ...]


def in_db(ratio: float) -> float:
    """A ratio of amplitudes [dB]."""
    return 20.0 * math.log10(max(ratio, 1e-30))


def drives_of(response: xr.Dataset) -> dict[str, Drive]:
    """What each position of one variant tells, by label; without those that have no answer or no stage.

    `response`: of `ampsim.studies.headroom.simulate.headroom`, of one variant.
    """
    (variant,) = map(str, response["variant"].values)
    stages = {stage.name: stage for stage in get(response, STAGES)[variant]}
    table = clipping_table(response)
    table = table[table["stage"] != WHOLE]
    found = {}
    for position, rows in table.groupby("position", sort=False):
        here = response.sel(variant=variant, position=position)
        levels = dict(zip(rows["stage"], map(float, rows["clips at [V]"]), strict=True))
        if curve := _curve(here):
            found[str(position)] = _drive(here, stages, levels, curve)
    return found


def _drive(
    here: xr.Dataset, stages: Mapping[str, ValveStage], levels: Mapping[str, float], curve: tuple[_Point, ...]
) -> Drive:
    """What one position tells; to each stage the level [V] it clips at."""
    lowest, highest = (in_db(float(each)) for each in here["level"].values[[0, -1]])
    overload, beyond = {}, {}
    clean = math.inf  # up to here what comes in is no clipped wave yet
    for name in (each for each in stages if each in levels):
        level, gain = levels[name], small_gain(here, stages[name])
        clips = in_db(level) if 0.0 < level < math.inf else lowest if not level else math.inf
        if lowest < clips <= min(clean + _CLIPPED_DB, highest):
            overload[name] = gain + clips
        else:
            # What is not clean at the faintest level says nothing of where it clips.
            beyond[name] = gain + min(clean, highest) if clips > lowest else _NEVER_CLEAN_DB
        clean = min(clean, clips)
    return Drive(overload, beyond, clean, curve)


def small_gain(here: xr.Dataset, stage: ValveStage) -> float:
    """Gain from the pickup to a stage's output for a small signal [dB]; of two outputs between them."""
    volts = [here["small"].sel(node=place).values for place in stage.outputs]
    return in_db(float(np.hypot(*(volts[0] - volts[1] if len(volts) == 2 else volts[0]))))


def _curve(here: xr.Dataset) -> tuple[_Point, ...]:
    """What comes out at the speaker over what goes in [dB], level by level."""
    waves = here["voltage"].sel(node="speaker").transpose("level", "time").values[:, :-1]
    out = np.asarray(waves.std(axis=-1))
    known = np.isfinite(out) & (out > _SILENT_V)
    level = 20.0 * np.log10(here["level"].values[known])
    return tuple(zip(level.tolist(), (20.0 * np.log10(out[known]) - level).tolist(), strict=True))


def breaks_up_at(drive: Drive, gains: Mapping[str, float]) -> float | None:
    """The level from the pickup at which the first stage clips [dB against 1 V peak].

    Parameters
    ----------
    drive : Drive
        Of a position with the same bias.
    gains : mapping
        Gain to each stage's output where the knobs stand [dB].

    Returns
    -------
    float
        Infinite where no stage clips up to `HARDEST_DB`; None where that is not known, since a stage that did not
        clip where the amp was played gets more here.
    """
    level = min((own - gains[name] for name, own in drive.overload.items()), default=math.inf)
    unknown = min((own - gains[name] for name, own in drive.beyond.items()), default=math.inf)
    if min(level, unknown) >= HARDEST_DB:
        return math.inf
    return max(level, FAINTEST_DB) if level <= unknown else None


def nearest_drive(drives: Sequence[Drive], level: float) -> Drive:
    """The one that broke up nearest to a level [dB against 1 V peak]."""
    return min(drives, key=lambda each: abs(min(each.first, HARDEST_DB) - min(level, HARDEST_DB)))


def evens_out(drive: Drive, level: float) -> float | None:
    """By how much less a hard note is louder than a soft one than it is played [dB]; 0 where nothing is evened out.

    None where the amp breaks up more than `FARTHEST_DB` from where it did when it was played.

    Parameters
    ----------
    drive : Drive
        Of a position that breaks up near the level.
    level : float
        Where the amp breaks up now [dB against 1 V peak].
    """
    moved = min(drive.first, HARDEST_DB) - min(level, HARDEST_DB)
    if abs(moved) > FARTHEST_DB:
        return None
    soft, hard = (_at(drive.curve, in_db(volts) + moved) for volts in (SOFT_V, HARD_V))
    return soft - hard


def _at(curve: Sequence[_Point], level: float) -> float:
    """A curve [dB] at a level [dB]; beyond its end on as it went, below its beginning as there."""
    x, y = map(np.array, zip(*curve, strict=True))
    if level <= x[-1] or len(x) == 1:
        return float(np.interp(level, x, y))
    slope = min(max((y[-1] - y[-2]) / (x[-1] - x[-2]), -1.0), 0.0)
    return float(y[-1] + slope * (level - x[-1]))


def combined(alone: Sequence[Drive], plain: Drive) -> Drive:
    """What several switches do together, from what each does alone: each moves what a stage stands by its own [dB].

    Parameters
    ----------
    alone : sequence of Drive
        Of each switch moved alone.
    plain : Drive
        With all of them as drawn.
    """
    # In the order of the amp, or the same page would be written in another order the next time.
    known = [name for name in plain.overload if all(name in each.overload for each in alone)]
    overload = {
        name: plain.overload[name] + sum(each.overload[name] - plain.overload[name] for each in alone) for name in known
    }
    beyond = {
        name: min(_bound(each, name) for each in (plain, *alone)) for name in (*plain.beyond, *plain.overload)
        if name not in known
    }  # fmt: skip
    nearest = min((plain, *alone), key=lambda each: each.first)
    return Drive(overload, beyond, nearest.first, nearest.curve)


def _bound(drive: Drive, name: str) -> float:
    return drive.overload.get(name, drive.beyond.get(name, math.inf))
