"""From volts to clips: through a cabinet's response if there is one, to equal loudness, below a safe peak."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import xarray as xr
from numpy.typing import NDArray

from ..base.errors import DescriptionError, shown
from ..circuit.positions import position_label
from ..measures.labels import control_values
from .clips import Clip, Clips
from .loudness_standards import BS_1770, STANDARDS, Standard, find_standard, true_peak
from .phrases import RATE
from .wording import CABINET, EQUAL, HEARING, LEFT_OUT, NO_CABINET, OUTPUT, decibels

Array = NDArray[np.float64]
# Highest peak of any clip, between samples too [dB of full scale]: the maximum of EBU R 128.
CEILING_DB = -1.0
# Clips are as loud as they are asked to be to within this [dB or phon].
CLOSE = 0.02
_ROUNDS = 12
# The method of ISO 532-1 jumps by some tenths of a phon where its steps lie: where no gain hits closer, this will do.
_JUMP = 0.3
# Below this peak [V] nothing is turned up to be heard: it would be the last digits of the computation; our choice.
LEAST_VOLTS = 1e-4
# A position further below the loudest one is a knob at its silent end, not one to compare [dB]; our choice.
SILENT_DB = 60.0
_FADE = 0.05  # s at the end: a phrase may be cut while strings ring


def equal_gains(sounds: Array, standard: Standard) -> Array:
    """Gains that make sounds equally loud, all turned down together where one would pass the safe peak.

    Parameters
    ----------
    sounds : ndarray
        Shape (sounds, samples) at 48 kHz [V].
    standard : Standard

    Returns
    -------
    ndarray
        Shape (sounds,), positive [full scale per volt].

    Raises
    ------
    DescriptionError
        When one is silent, or they could not be brought to equal loudness.
    """
    peaks = true_peak(sounds)
    if not np.all(peaks > 0.0):
        at = int(np.argmin(peaks > 0.0)) + 1
        raise DescriptionError(f"sound {at} of {len(peaks)} is silent: silence has no loudness to match; leave it out")
    gains = 0.1 / peaks
    for _ in range(_ROUNDS):
        error = standard.target - standard.measure(sounds * gains[:, np.newaxis])
        if np.all(np.abs(error) <= CLOSE):
            break
        # The gate of BS.1770 knows an absolute threshold: what lies below all of it comes up 20 dB at a time.
        gains = gains * 10.0 ** (np.clip(error, -60.0, 20.0) / 20.0)
    error = standard.target - standard.measure(sounds * gains[:, np.newaxis])
    if not np.all(np.abs(error) <= (_JUMP if standard.unit == "phon" else CLOSE)):
        raise DescriptionError(f"the clips could not be brought to equal loudness by {standard.name}")
    ceiling = 10.0 ** (CEILING_DB / 20.0)
    return np.asarray(gains * min(1.0, ceiling / float((gains * peaks).max())))


def match_loudness(
    rendered: xr.Dataset, standard: str = BS_1770, response: Array | None = None, response_name: str = ""
) -> Clips:
    """Make clips of what was rendered, equally loud.

    Parameters
    ----------
    rendered : xarray.Dataset
        Of `render` or `render_linear`: `volts` (variant, position, time) [V]. Positions that sound alike are one clip.
    standard : str
        A name in `STANDARDS`.
    response : ndarray
        Impulse response of a cabinet at 48 kHz, from `read_response`; None: what the terminals carry.
    response_name : str
        What the words call it.

    Raises
    ------
    DescriptionError
        For another standard, or when one of the positions is silent.
    """
    chosen = find_standard(standard)
    cases, everywhere = _cases(rendered)
    sounds = prepare_sounds(np.stack([_volts(rendered, *place) for place in cases.values()]), response)
    _refuse_silent(list(cases), sounds)
    gains = equal_gains(sounds, chosen)
    loud = sounds * gains[:, np.newaxis]
    levels = chosen.measure(loud)
    others = disagreement(loud, chosen)
    made = tuple(
        replace(
            _clip(label, row, 20.0 * float(np.log10(gain)), float(level), chosen.unit, response is not None),
            variant=place[0],
            setting=_set_there(rendered, place[1]),
        )
        for (label, place), row, gain, level in zip(cases.items(), loud, gains, levels, strict=True)
    )
    words = [str(rendered.attrs["words"]), everywhere, _equal_words(chosen, float(levels[0]), others)]
    words.append(NO_CABINET if response is None else CABINET.format(name=shown(response_name or "a WAV file")))
    return Clips(made, f"{chosen.name}: {chosen.source}", chosen.unit, "\n".join(filter(None, words)), HEARING)


def leave_out_silent(rendered: xr.Dataset) -> xr.Dataset:
    """Leave out positions at which nothing is heard: one of the amps more than `SILENT_DB` [dB] below the loudest.

    The attribute "words" says what was left out.

    Parameters
    ----------
    rendered : xarray.Dataset
        Of `render` or `render_linear`: `volts` (variant, position, time) [V].

    Raises
    ------
    DescriptionError
        When nothing is heard at the first position, with which the others are compared.
    """
    volts = rendered["volts"].transpose("variant", "position", "time").values.astype(float)
    levels = np.sqrt(np.mean((volts - volts[..., :1]) ** 2, axis=2))
    stays = levels.min(axis=0) >= 10.0 ** (-SILENT_DB / 20.0) * levels.max()
    if stays.all():
        return rendered
    positions = rendered["position"].values.astype(str)
    if not stays[0]:
        raise DescriptionError(
            f"{shown(positions[0])}: nothing is heard there, more than {SILENT_DB:g} dB below the loudest position; "
            "compare where something is"
        )
    out = LEFT_OUT.format(positions=", ".join(positions[~stays]), limit=SILENT_DB)
    return rendered.isel(position=np.flatnonzero(stays)).assign_attrs(words=f"{rendered.attrs['words']}\n{out}")


def _refuse_silent(labels: list[str], sounds: Array) -> None:
    peaks = np.abs(sounds).max(axis=1)
    silent = [f"'{label}' ({peak:.1g} V)" for label, peak in zip(labels, peaks, strict=True) if peak < LEAST_VOLTS]
    if silent:
        raise DescriptionError(f"nothing to hear, so nothing to match in loudness: {', '.join(silent)} at most")


def disagreement(loud: Array, standard: Standard) -> dict[str, float]:
    """By how much sounds that are equally loud by one standard still differ by each of the others [dB or phon].

    The difference is that of the loudest and the softest; `loud` has shape (sounds, samples).
    """
    others = [other for other in STANDARDS.values() if other is not standard]
    return {other.name: float(np.ptp(other.measure(loud))) for other in others}


def prepare_sounds(volts: Array, response: Array | None = None) -> Array:
    """Volts [V] without their level at rest, through a cabinet's response, faded out; shape (sounds, samples).

    The rest is what the first sample has: nobody plays yet.
    """
    sounds = volts - volts[:, :1]
    if response is not None:
        from scipy.signal import oaconvolve

        sounds = oaconvolve(sounds, response[np.newaxis], axes=1)[:, : volts.shape[1]]
    fade = min(round(_FADE * RATE), sounds.shape[1])
    sounds[:, sounds.shape[1] - fade :] *= 0.5 + 0.5 * np.cos(np.pi * np.arange(1, fade + 1) / fade)
    return np.asarray(sounds)


def _clip(label: str, sound: Array, gain_db: float, level: float, unit: str, cabinet: bool) -> Clip:
    samples = sound.astype(np.float32)
    peak, where = 20.0 * float(np.log10(np.abs(samples).max())), "behind the impulse response" if cabinet else OUTPUT
    words = (
        f"{label}: {level:.1f} {unit}, peak {decibels(peak, sign=False)} of full scale; full scale is "
        f"{10.0 ** (-gain_db / 20.0):.3g} V {where} (gain {decibels(gain_db)} from volts)."
    ).replace(" -", " \u2212")
    return Clip(label, words, RATE, samples, level, gain_db)


def _equal_words(standard: Standard, level: float, others: dict[str, float]) -> str:
    told = "; ".join(
        f"by {STANDARDS[name].name} these clips still differ by up to {size:.1f} "
        f"{'phon' if STANDARDS[name].unit == 'phon' else 'dB'}"
        for name, size in others.items()
    )
    return EQUAL.format(source=standard.source, target=level, unit=standard.unit, others=told).replace(" -", " \u2212")


def clip_labels(rendered: xr.Dataset) -> dict[tuple[str, str], str]:
    """Label of the clip in which each (variant, position) is heard, in the order of the clips.

    Positions that a variant plays alike, because it has no such control, are one clip; what all positions have in
    common is left out.
    """
    settings, common = _settings(rendered)
    several = rendered.sizes["variant"] > 1
    positions = [str(each) for each in rendered["position"].values]
    found: dict[tuple[str, str], str] = {}
    for variant, rows in zip(rendered["variant"].values.astype(str), rendered["volts"].values, strict=True):
        groups = _alike(rows)
        for group in groups:
            whole = [[item for item in settings[n] if item not in common] for n in group]
            items = [item for item in whole[0] if all(item in each for each in whole)]
            if not items and len(groups) > 1:
                items = [" or ".join(filter(None, map(", ".join, whole)))]
            label = ", ".join(filter(None, ([variant] if several else []) + items)) or variant
            if label in found.values():
                label = f"{variant}, {positions[group[0]]}"
            found |= {(variant, positions[n]): label for n in group}
    return found


def _cases(rendered: xr.Dataset) -> tuple[dict[str, tuple[str, str]], str]:
    """Each clip by its label with its variant and first position, and what all positions have in common, in words."""
    found: dict[str, tuple[str, str]] = {}
    for place, label in clip_labels(rendered).items():
        found.setdefault(label, place)
    common = _settings(rendered)[1]
    return found, f"Everywhere: {', '.join(common)}." if common else ""


def _volts(rendered: xr.Dataset, variant: str, position: str) -> Array:
    return np.asarray(rendered["volts"].sel(variant=variant, position=position).values, dtype=float)


def _set_there(rendered: xr.Dataset, position: str) -> dict[str, float | str]:
    """The controls that a position sets."""
    at = list(rendered["position"].values.astype(str)).index(position)
    return {name: value for name, value in _values(rendered, at).items() if position_label({name: value}) in position}


def _values(rendered: xr.Dataset, at: int) -> dict[str, float | str]:
    return {name: values[at] for name, values in control_values(rendered).items()}


def _settings(rendered: xr.Dataset) -> tuple[list[list[str]], list[str]]:
    """What each position sets, one text to a control, and what all of them set alike."""
    settings = []
    for n, label in enumerate(rendered["position"].values.astype(str)):
        items = [position_label({name: value}) for name, value in _values(rendered, n).items()]
        # A control that is not set has a blank there, which the label of the position does not have.
        settings.append([item for item in items if item in label])
    return settings, [item for item in settings[0] if all(item in setting for setting in settings)]


def _alike(rows: NDArray[np.floating]) -> list[list[int]]:
    """Numbers of the rows, those that are equal together."""
    groups: list[list[int]] = []
    for n, row in enumerate(rows):
        same = next((group for group in groups if np.array_equal(rows[group[0]], row)), None)
        if same is None:
            groups.append([n])
        else:
            same.append(n)
    return groups
