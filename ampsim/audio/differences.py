"""Heard alone: what one position adds to another, and the pop of a switch; both as loud as they truly are."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import xarray as xr
from numpy.typing import NDArray

from ..base.errors import DescriptionError, nearest, shown
from ..base.kept_files import kept_folder
from ..base.progress import Progress
from ..circuit.amp import Amp
from ..circuit.build import SPEAKER
from ..circuit.positions import Position, position_label
from ..studies.pop.moves import Transition
from .clips import Clip
from .loads import LOUDSPEAKER, with_load
from .loudness_standards import integrated_loudness, true_peak
from .matching import CEILING_DB, prepare_sounds
from .phrases import RATE
from .render import Play, RenderOptions, RenderTask, compute, repaired_words
from .wording import OUTPUT, decibels

Array = NDArray[np.float64]
# A pop: so long silence before and after the switch moves [s].
BEFORE, AFTER = 0.25, 1.25
# Up to this share of its power made of distortion, a difference is called that of a linear change; our choice.
LINEAR = 0.1
_SEGMENT = 8192  # samples in which a filter between two positions is looked for
_SILENT_DB = -120.0
_UNHEARD = 10.0 ** (-90.0 / 20.0)  # of full scale: below the last digit of 16 bits
_TOLD = 10.0 ** (-0.05 / 20.0)  # turned down by less is not worth telling


def difference(
    rendered: xr.Dataset,
    first: tuple[str, str],
    second: tuple[str, str],
    gain_db: float,
    response: Array | None = None,
) -> Clip:
    """What the second position adds to the first: their difference in volts, sample by sample.

    For a linear change in front of a clean amp this is what the changed parts let through. Where the amp clips it
    also holds what the one position distorts and the other does not; the words say how much of it that is.

    Parameters
    ----------
    rendered : xarray.Dataset
        Of `render` or `linear`.
    first, second : tuple of str
        Variant and position, as labelled.
    gain_db : float
        Of the clip that it is to be heard beside (`Clip.gain_db`), for its true relative level [dB].
    response : ndarray
        Impulse response of a cabinet.

    Raises
    ------
    DescriptionError
        When no such variant or position was rendered, or both sound the same.
    """
    pair = np.stack([_row(rendered, each) for each in (first, second)])
    before, after = prepare_sounds(pair, response)
    sound = after - before
    if _nothing(before, sound):
        raise DescriptionError(f"'{', '.join(first)}' and '{', '.join(second)}' are the same: there is no difference")
    share = distortion_share(before, after)
    kind = (
        f"A linear change here: {100.0 * share:.1f} % of its power is distortion that only one of them makes."
        if share <= LINEAR
        else f"Not a linear change here: {100.0 * share:.0f} % of its power is distortion that only one of them makes; "
        "a lower input level shows the linear part alone."
    )
    power = 10.0 * float(np.log10(np.mean(sound**2) / np.mean(before**2)))
    what, less = (second[1], first[1]) if first[1] != second[1] else (second[0], first[0])
    return _true_level(
        f"difference: {what} less {less}", f"{decibels(power)} against '{', '.join(first)}'. {kind}", sound, gain_db
    )


def sound_alike(
    rendered: xr.Dataset, first: tuple[str, str], second: tuple[str, str], response: Array | None = None
) -> bool:
    """Whether two positions differ by no more than -120 of the first one's peak [dB]: there is no `difference` of them.

    Parameters
    ----------
    rendered, first, second, response
        As in `difference`.

    Raises
    ------
    DescriptionError
        When no such variant or position was rendered.
    """
    before, after = prepare_sounds(np.stack([_row(rendered, each) for each in (first, second)]), response)
    return _nothing(before, after - before)


def _nothing(before: Array, sound: Array) -> bool:
    return not true_peak(sound[np.newaxis])[0] > 10.0 ** (_SILENT_DB / 20.0) * np.abs(before).max()


def distortion_share(before: Array, after: Array) -> float:
    """How much of the power of the difference of two sounds no linear filter makes of the first [ratio]: 0 to about 1.

    One less the coherence of both, over frequency, times the power of the second (J. S. Bendat and A. G. Piersol,
    Random Data, the coherent output spectrum, from memory), in segments of 0.17 s.
    """
    from scipy.signal import csd, welch

    size = min(_SEGMENT, before.size)
    first, second, whole = (welch(sound, RATE, nperseg=size)[1] for sound in (before, after, after - before))
    both = csd(before, after, RATE, nperseg=size)[1]
    made = np.divide(np.abs(both) ** 2, first, out=np.zeros_like(first), where=first > 0.0)
    return float(np.maximum(second - made, 0.0).sum() / whole.sum()) if whole.any() else 0.0


def pop_clip(
    amp: Amp,
    move: Transition,
    gain_db: float,
    position: Position | None = None,
    *,
    load: str = LOUDSPEAKER,
    response: Array | None = None,
    oversampling: int = 8,
    cache: Path | bool = True,
    progress: Progress | None = None,
    play: Play | None = None,
) -> Clip:
    """The pop of a switch while nobody plays, at its true level beside the phrase; both contacts move at once.

    It is played like any other clip, so it can be heard between the positions that the switch leads to.

    Parameters
    ----------
    amp : Amp
        With the switch.
    move : Transition
        Which switch, from where to where.
    gain_db : float
        Of the clip of the position it starts from [dB]: then the pop is as much louder or softer as it truly is.
    position : mapping
        Where everything else stands.
    load, response, oversampling, cache, progress, play
        As in `render` and `clips`.

    Raises
    ------
    DescriptionError, EngineError, Stopped
        As `render`.
    """
    switches = {switch.control for switch in amp.all_switches}
    if move.control not in switches:
        raise DescriptionError(f"{amp.name}: no switch {shown(move.control)}{nearest(move.control, switches)}")
    start = dict(position or {}) | {move.control: move.start}
    task = RenderTask(with_load(amp, load), start, ((BEFORE, {move.control: move.end}),))
    means = RenderOptions(SPEAKER, oversampling, kept_folder() if cache is True else cache or None, play)
    silence = np.zeros(round((BEFORE + AFTER) * RATE))
    kept, _ = compute([task], silence, means, progress)[0]
    volts = kept.volts.astype(float)[np.newaxis]
    sound = prepare_sounds(volts, response)[0]
    others = {name: value for name, value in start.items() if name != move.control}
    words = (
        f"The switch moves after {BEFORE:g} s while nobody plays ({position_label(others)}); "
        f"{np.abs(prepare_sounds(volts)).max():.2g} V at most {OUTPUT}. {repaired_words([kept])}"
    )
    return _true_level(f"pop, {move.label}", words, sound, gain_db)


def _row(rendered: xr.Dataset, place: tuple[str, str]) -> Array:
    variant, position = place
    for name, wanted in (("variant", variant), ("position", position)):
        known = [str(each) for each in rendered[name].values]
        if wanted not in known:
            raise DescriptionError(f"no {name} {shown(wanted)} was played{nearest(wanted, known)}")
    return np.asarray(rendered["volts"].sel(variant=variant, position=position).values, float)


def _true_level(label: str, words: str, sound: Array, gain_db: float) -> Clip:
    """A clip with the gain of the one beside it, turned down as a whole where it would pass the safe peak."""
    gain = 10.0 ** (gain_db / 20.0)
    peak = gain * float(true_peak(sound[np.newaxis])[0])
    down = min(1.0, 10.0 ** (CEILING_DB / 20.0) / max(peak, _UNHEARD))
    level = "At its true level beside the phrase."
    if peak < _UNHEARD:
        level = "Nothing to hear at this listening level."
    if down < _TOLD:
        lost = decibels(-20.0 * float(np.log10(down)), sign=False)
        level = f"For safety it is turned down: truly it is {lost} louder beside the phrase."
    loud = sound * gain * down
    told = float(integrated_loudness(loud[np.newaxis])[0])
    how_loud = f"{told:.1f} LUFS" if np.isfinite(told) else "below \u221270 LUFS"
    whole = f"{label}: {words} {level} {how_loud}.".replace(" -", " \u2212")
    return Clip(label, whole, RATE, loud.astype(np.float32), told, gain_db + 20.0 * float(np.log10(down)))
