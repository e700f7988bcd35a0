"""How far a feedback loop is from oscillating: crossings, margins, turns of the loop gain around -1."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from enum import StrEnum
from typing import Any

import numpy as np
import pandas as pd
import xarray as xr
from numpy.typing import NDArray

from ..base.wording import in_hertz
from ..simulation.loop_gain import FADED

_MIDBAND = (200.0, 2000.0)

Frequencies = NDArray[np.float64]
Loop = NDArray[np.complex128]


class Passing(StrEnum):
    """What the loop gain does at a crossing: its size passes 1, or it turns negative real, in step with the input."""

    RISES = "rises to 1"
    FALLS = "falls to 1"
    IN_STEP = "in step"


@dataclass(frozen=True)
class Crossing:
    """Where the loop gain passes 1 or turns negative real.

    `margin` is the phase margin [degrees], or in step with the input the gain margin [dB]: by how much the loop gain
    may still grow; below 0 dB it is already larger than 1 there.
    """

    kind: Passing
    frequency: float
    margin: float


_NOWHERE = Crossing(Passing.FALLS, np.nan, np.nan)


@dataclass(frozen=True)
class Margins:
    """What one loop gain says of the loop.

    `turns` is the number of times the loop gain goes clockwise around -1 over all frequencies, negative ones
    included; None where the sweep ends before the loop gain has faded. `middle` is the mean of its real part in the
    middle of the band. The least margins are negative in a loop that oscillates, nan where nothing crosses;
    `closest` is the smallest ``|1 + T|``, at `closest_at` [Hz].
    """

    crossings: tuple[Crossing, ...]
    turns: int | None
    middle: float
    phase_margin: float
    gain_margin: float
    closest: float
    closest_at: float

    @property
    def oscillates(self) -> bool:
        """Whether the closed loop has growing modes."""
        return bool(self.turns)

    @property
    def absent(self) -> bool:
        """Whether there is no loop: nothing comes back at any frequency."""
        return self.closest == 1.0 and self.middle == 0.0

    @property
    def reversed(self) -> bool:
        """Whether the feedback is positive in the middle of the band."""
        return self.middle < 0.0

    @property
    def distance(self) -> float:
        """`closest` [ratio], negative in a loop that oscillates: one number that falls from sound to unsound."""
        return -self.closest if self.oscillates else self.closest

    @property
    def trouble_at(self) -> float:
        """The frequency [Hz] of the least phase margin, or of the closest approach where nothing crosses."""
        passing = [each for each in self.crossings if each.kind is not Passing.IN_STEP]
        return min(passing, key=lambda each: each.margin).frequency if passing else self.closest_at


def margins(frequency: Frequencies, loop: Loop) -> Margins:
    """Margins of one loop gain.

    Parameters
    ----------
    frequency : array, shape (n,)
        Rising [Hz].
    loop : complex array, shape (n,)
        Positive and real where the feedback is negative.

    Notes
    -----
    Phase margin: 180 degrees minus the angle between the loop gain and the positive real axis, where its magnitude
    is 1; gain margin: 1 / ``|T|`` where T is negative real (definitions). The loop is unstable when T goes around -1:
    H. Nyquist, Regeneration theory, Bell System Technical Journal 11(1), 1932 (from memory). That takes for granted
    that the amp is steady with the feedback line cut.
    """
    return margins_of(frequency, loop[None])[0]


def margins_of(frequency: Frequencies, loops: Loop) -> list[Margins]:
    """The margins of many loop gains, shape (loops, n), at the same frequencies [Hz]; each as `margins`."""
    log_f, level, far = np.log(frequency), _decibels(loops), 1.0 + loops
    turns = _turns(loops, far)
    closest, at = _closest(log_f, far)
    inside = (frequency >= _MIDBAND[0]) & (frequency <= _MIDBAND[1])
    middle = loops[:, inside].real.mean(axis=1) if inside.any() else np.full(len(loops), np.nan)
    found: list[list[Crossing]] = [[] for _ in loops]
    for row, each in (*_passing_one(log_f, level, loops), *_in_step(log_f, level, loops)):
        # In a steady loop every distance from -1 is a margin, however far the phase has gone.
        steady = turns[row] == 0 and each.kind is not Passing.IN_STEP
        found[row].append(Crossing(each.kind, each.frequency, abs(each.margin)) if steady else each)
    return [
        Margins(
            tuple(sorted(crossings, key=lambda each: each.frequency)),
            turns[row],
            float(middle[row]),
            _least([each.margin for each in crossings if each.kind is not Passing.IN_STEP], bool(turns[row])),
            _least([each.margin for each in crossings if each.kind is Passing.IN_STEP], bool(turns[row])),
            float(closest[row]),
            float(at[row]),
        )
        for row, crossings in enumerate(found)
    ]


def margin_table(response: xr.Dataset) -> pd.DataFrame:
    """Loop gain in the middle of the band, margins, turns around -1, and the closest approach to it.

    Parameters
    ----------
    response : xarray.Dataset
        Of `ampsim.loop_gain`.

    Returns
    -------
    pandas.DataFrame
        One row per variant and position: loop gain at 400 Hz [dB]; the lowest and highest frequency [Hz] where its
        magnitude passes 1, with the phase margin [degrees] there; the smallest of all phase margins; the smallest
        ``|1 + T|`` with its frequency; the smallest gain margin [dB]; turns around -1 (growing modes; nan where the
        sweep is too short to tell); a verdict in words. NaN where the loop gain never passes 1.

    Notes
    -----
    As in `margins`. Negative real loop gain in mid-band means that the line is connected the wrong way round. Less
    than 45 degrees rings audibly or on a changed load: common practice, no source.
    """
    gain = response["loop_gain"].transpose("variant", "position", "frequency")
    frequency = gain["frequency"].values
    rows = []
    for variant, name in enumerate(gain["variant"].values):
        for place, position in enumerate(gain["position"].values):
            found = _row(frequency, gain.values[variant, place])
            rows.append({"variant": str(name), "position": str(position), **found})
    return pd.DataFrame(rows)


def crossing_table(response: xr.Dataset) -> pd.DataFrame:
    """Every crossing of every loop gain: where it passes 1, and where it turns negative real.

    `response` is that of `ampsim.loop_gain`, as for `margin_table`.

    Returns
    -------
    pandas.DataFrame
        One row per crossing in order of frequency: variant, position, crossing ("rises to 1", "falls to 1", "in
        step"), frequency [Hz], phase margin [deg], gain margin [dB] (one of the two is nan).
    """
    gain = response["loop_gain"].transpose("variant", "position", "frequency")
    rows = []
    for variant, name in enumerate(gain["variant"].values):
        for place, position in enumerate(gain["position"].values):
            for each in margins(gain["frequency"].values, gain.values[variant, place]).crossings:
                phase, level = (np.nan, each.margin) if each.kind is Passing.IN_STEP else (each.margin, np.nan)
                rows.append((str(name), str(position), str(each.kind), each.frequency, phase, level))
    columns = ["variant", "position", "crossing", "frequency [Hz]", "phase margin [deg]", "gain margin [dB]"]
    return pd.DataFrame(rows, columns=columns)


def margin_verdict(found: Margins) -> str:
    """What the margins mean, in words."""
    if found.absent:
        return "no feedback here"
    if found.reversed:
        howls = ", and the amp oscillates" if found.oscillates else ""
        return f"the feedback is positive: the line or the transformer is connected the wrong way round{howls}"
    if found.oscillates:
        return f"oscillates near {in_hertz(found.trouble_at)}: the loop gain goes around -1"
    if found.turns is None:
        return "not known: the loop gain has not faded at the ends of the sweep"
    if np.isnan(found.phase_margin):
        return "the loop gain never passes 1"
    if found.phase_margin < 45.0:
        return f"only {found.phase_margin:.0f} degrees of phase margin: it may ring or oscillate on a changed load"
    return f"steady, {found.phase_margin:.0f} degrees of phase margin"


def _row(frequency: Frequencies, loop: Loop) -> dict[str, Any]:
    found = margins(frequency, loop)
    passing = [each for each in found.crossings if each.kind is not Passing.IN_STEP] or [_NOWHERE]
    middle = float(np.interp(np.log(400.0), np.log(frequency), _decibels(loop)))
    return {
        "loop gain at 400 Hz [dB]": np.nan if found.absent else middle,
        "lowest crossing [Hz]": passing[0].frequency,
        "margin there [deg]": passing[0].margin,
        "highest crossing [Hz]": passing[-1].frequency,
        "margin up there [deg]": passing[-1].margin,
        "least margin [deg]": found.phase_margin,
        "closest to -1": found.closest,
        "at [Hz]": found.closest_at,
        "gain margin [dB]": found.gain_margin,
        "turns around -1": np.nan if found.turns is None else found.turns,
        "verdict": margin_verdict(found),
    }


def _passing_one(log_f: Frequencies, level: Frequencies, loops: Loop) -> Iterator[tuple[int, Crossing]]:
    # Counted from the middle of the band, where T is positive: lag uses up the margin above, lead below.
    angle = np.unwrap(np.angle(loops))
    middle = int(np.argmin(np.abs(log_f - np.log(_MIDBAND[0] * _MIDBAND[1]) / 2.0)))
    angle = np.degrees(angle - 2.0 * np.pi * np.round(angle[:, middle, None] / (2.0 * np.pi)))
    row, place = np.nonzero(np.diff(np.sign(level)))
    here, there = (row, place), (row, place + 1)
    share = level[here] / (level[here] - level[there])
    phase = angle[here] + share * (angle[there] - angle[here])
    falls = level[there] < level[here]
    beyond = np.where(falls, (phase > -360.0) & (phase < -180.0), (phase > 180.0) & (phase < 360.0))
    size = 180.0 - np.abs((phase + 180.0) % 360.0 - 180.0)
    yield from _crossings(row, falls, _between(log_f, place, share), np.where(beyond, -size, size))


def _in_step(log_f: Frequencies, level: Frequencies, loops: Loop) -> Iterator[tuple[int, Crossing]]:
    angle = np.angle(-loops)
    row, place = np.nonzero((np.diff(np.sign(angle)) != 0) & (np.abs(angle[:, :-1]) + np.abs(angle[:, 1:]) < np.pi))
    here, there = (row, place), (row, place + 1)
    share = angle[here] / (angle[here] - angle[there])
    gain = level[here] + share * (level[there] - level[here])
    yield from _crossings(row, None, _between(log_f, place, share), -gain)


def _crossings(
    row: NDArray[np.int_], falls: NDArray[np.bool_] | None, frequency: Frequencies, margin: Frequencies
) -> Iterator[tuple[int, Crossing]]:
    ways = {True: Passing.FALLS, False: Passing.RISES}
    kinds = [Passing.IN_STEP] * row.size if falls is None else [ways[each] for each in falls.tolist()]
    yield from zip(row.tolist(), map(Crossing, kinds, frequency.tolist(), margin.tolist()), strict=True)


def _decibels(loop: Loop) -> Frequencies:
    return np.asarray(20.0 * np.log10(np.maximum(np.abs(loop), 1e-30)))


def _between(log_f: Frequencies, place: NDArray[np.int_], share: Frequencies) -> Frequencies:
    return np.asarray(np.exp(log_f[place] + share * (log_f[place + 1] - log_f[place])))


def _least(found: list[float], oscillates: bool) -> float:
    if not found:
        return float("nan")
    nearest = min(found, key=abs)
    return min(min(found), -abs(nearest)) if oscillates else nearest


def _turns(loops: Loop, far: Loop) -> list[int | None]:
    """Clockwise turns of T around -1 over positive and negative frequencies; None when that cannot be told."""
    turned = np.angle(far[:, 1:] / far[:, :-1]).sum(axis=1)
    told = np.ones(len(loops), dtype=bool)
    for end, way in ((0, 1.0), (-1, -1.0)):
        # From its end T fades to 0 or, in a loop without a capacitor, to a real number.
        size, angle = np.abs(loops[:, end]), np.angle(far[:, end])
        at_rest, large = np.abs(loops[:, end].imag) < 0.05 * size, size > FADED
        told &= at_rest | ~large
        turned += way * np.where(large, angle - np.pi * np.round(angle / np.pi), angle)
    return [-round(turn / np.pi) if known else None for turn, known in zip(turned.tolist(), told, strict=True)]


def _closest(log_f: Frequencies, far: Loop) -> tuple[Frequencies, Frequencies]:
    """The smallest size of 1 + T along straight lines between its points, and the frequency [Hz] there, of each."""
    step = np.diff(far)
    along = -(far[:, :-1] * step.conj()).real / np.maximum(np.abs(step) ** 2, 1e-300)
    share = np.clip(along, 0.0, 1.0)
    distance = np.abs(far[:, :-1] + share * step)
    place = np.argmin(distance, axis=1)
    here = np.arange(len(far)), place
    return distance[here], _between(log_f, place, share[here])
