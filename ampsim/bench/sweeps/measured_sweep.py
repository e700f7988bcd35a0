"""Measured frequency responses: from a text of columns, or from the recording of a sweep played through the amp.

Both come as a Dataset with `gain_db` over `frequency`, as labelled as a simulation's, with what was guessed, left out
or doubtful in its attributes. The level is that of whoever measured; comparing takes it out.
"""

from __future__ import annotations

import hashlib
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import NDArray

from ...base.errors import DescriptionError
from ...base.files import read_bounded
from ...base.wav import Recording, read_wav, refuse_clipped
from ..text_files import MOST_BYTES
from . import curve_table, deconvolution
from .deconvolution import Clicks
from .tone import SweepTone

if TYPE_CHECKING:
    import xarray as xr

Array = NDArray[np.float64]
# A recording is refused below this ratio of sweep to noise [dB], both over the whole band.
LEAST_SNR_DB = 25.0
# A sweep that was found stands out of the filtered recording by at least this [dB]; music and wrong sweeps do not.
_LEAST_SHARPNESS = 40.0
_LONGEST = 120.0  # s
_SILENT_DB = -80.0
_LEAST_QUIET = 0.25  # s
_SLACK = 0.005  # s that may be missing at either end: the sweep is faded there
_MARGIN = 0.05  # s between the quiet part and the sweep
_DB = 20.0 / np.log(10.0)
# A harmonic is given where it stands this far above its noise (root mean square).
_ABOVE_NOISE = 2.0


def read_csv(path: str | Path) -> xr.Dataset:
    """Read a measured curve: frequency, level in dB, perhaps phase, in columns.

    Columns apart by tabulators, semicolons, commas, strokes or spaces; decimal point or comma; comment lines; with or
    without a header.

    Parameters
    ----------
    path : str or Path
        At most 10 MB and 200,000 lines.

    Returns
    -------
    xarray.Dataset
        `gain_db` [dB] and, if it was measured, `phase_deg` [degrees] with dim frequency [Hz, rising].
        ``attrs["guesses"]`` says how the file was understood, one guess a line; `source` and `sha256` name the file.

    Raises
    ------
    DescriptionError
        When it cannot be read; names file, line and offending value.
    """
    name = Path(path).name
    data = read_bounded(path, MOST_BYTES)
    curve = curve_table.read_curve(data, name)
    found: dict[str, Any] = {"gain_db": ("frequency", np.array(curve.level), {"units": "dB"})}
    if curve.phase:
        found["phase_deg"] = ("frequency", np.array(curve.phase), {"units": "degree"})
    facts = {"guesses": "\n".join(curve.guesses), "sha256": hashlib.sha256(data).hexdigest()}
    return _dataset(np.array(curve.frequency), found, name, "read from a text of columns", facts)


def read_recording(path: str | Path, tone: SweepTone | None = None, channel: int = 1) -> xr.Dataset:
    """Read the recording of a sweep that was played through the amp.

    The recording starts before the tone is played and ends after it: its quiet part says how much noise there is.

    Parameters
    ----------
    path : str or Path
        WAV file, at most 100 MB.
    tone : SweepTone
        The tone that was played; default the one that `tone.write_tone` writes by default.
    channel : int
        Which channel, from 1.

    Returns
    -------
    xarray.Dataset
        With dim frequency [Hz], 24 points to an octave: `gain_db` [dB] over the tone as played, `phase_deg` [degrees]
        against the arrival of the click, `uncertainty_db` [dB], one standard deviation by the noise of the quiet part.
        `harmonic_db` [dB] over the fundamental, dims (order, frequency of the fundamental); NaN where it does not
        stand out of the noise or the sweep does not reach. Neighbouring points share their noise in part; those a
        twelfth of an octave apart do not. ``attrs``: source, sha256, snr_db, how, notes.

    Raises
    ------
    DescriptionError
        When it is no WAV file or cut off, of another rate than the tone, too short, silent, clipped, noisy, or does
        not hold this tone; the message says which and how much.
    """
    tone = tone or SweepTone()
    recording = read_wav(path)
    samples = _channel(recording, tone, channel)
    samples = samples - samples.mean()
    clicks = deconvolution.find_clicks(samples, tone)
    _refuse_another(clicks, samples.size, recording, tone)
    quiet, notes = _quiet(samples, clicks.delay, recording, tone)
    snr = _snr_db(samples, quiet, clicks.delay, recording, tone)
    data = _responses(clicks, quiet, tone)
    how = f"deconvolved from a recording of a {tone.words()}; {recording.form}, channel {channel}"
    facts = {"sha256": recording.sha256, "snr_db": round(snr, 1), "notes": "\n".join(notes)}
    return _dataset(deconvolution.frequencies(tone), data, recording.name, how, facts)


def _dataset(grid: Array, data: dict[str, Any], name: str, how: str, facts: dict[str, Any]) -> xr.Dataset:
    import xarray as xr  # here alone: a check of a job without sweeps loads none of it

    coords: dict[str, Any] = {"frequency": ("frequency", grid, {"units": "Hz"})}
    if "harmonic_db" in data:
        coords["order"] = ("order", list(deconvolution.ORDERS))
    return xr.Dataset(data, coords, {"analysis": "measured sweep", "source": name, "how": how, **facts})


def _channel(recording: Recording, tone: SweepTone, channel: int) -> Array:
    name, count = recording.name, recording.samples.shape[1]
    if not 1 <= channel <= count:
        raise DescriptionError(f"{name}: no channel {channel}; it has {count}")
    if recording.rate != tone.rate:
        raise DescriptionError(
            f"{name}: {recording.rate} samples a second, but the tone has {tone.rate}: record at the rate of the tone"
        )
    samples = recording.samples[:, channel - 1]
    peak = float(np.abs(samples).max())
    if peak <= 10.0 ** (_SILENT_DB / 20.0):
        others = [
            str(n + 1) for n in range(count) if np.abs(recording.samples[:, n]).max() > 10.0 ** (_SILENT_DB / 20.0)
        ]
        hint = f"; there is sound on channel {', '.join(others)}" if others else ""
        raise DescriptionError(
            f"{name}: channel {channel} is silent, nothing above {_SILENT_DB:g} dB of full scale{hint}"
        )
    length = samples.size / tone.rate
    if length > _LONGEST:
        raise DescriptionError(f"{name}: {length:.0f} s long; at most {_LONGEST:g} s are read: cut it around the sweep")
    if length < tone.seconds:
        raise DescriptionError(f"{name}: too short: {length:.2f} s, the sweep alone takes {tone.seconds:g} s")
    refuse_clipped(samples, recording)
    return samples


def _refuse_another(clicks: Clicks, count: int, recording: Recording, tone: SweepTone) -> None:
    """Refuse a recording that holds no such tone, or only a part of it."""
    if clicks.sharpness < _LEAST_SHARPNESS:
        raise DescriptionError(
            f"{recording.name}: this sweep is not in the recording, or drowned in noise: filtered with its inverse, "
            f"the recording has a click only {clicks.sharpness:.0f} dB above the rest; {_LEAST_SHARPNESS:g} dB or "
            f"more are needed. The tone looked for: {tone.words()}"
        )
    missing = clicks.delay + round(tone.seconds * tone.rate) - count
    if max(-clicks.delay, missing) > _SLACK * tone.rate:
        where = (
            f"ends {missing / tone.rate:.2f} s before"
            if missing > 0
            else f"starts {-clicks.delay / tone.rate:.2f} s after"
        )
        edge = "the end" if missing > 0 else "the beginning"
        raise DescriptionError(f"{recording.name}: too short: it {where} {edge} of the sweep")


def _quiet(samples: Array, delay: int, recording: Recording, tone: SweepTone) -> tuple[Array, list[str]]:
    """The quiet part before the sweep; the one after it where the other is too short or digital silence."""
    margin, least = round(_MARGIN * tone.rate), round(_LEAST_QUIET * tone.rate)
    before = samples[: max(delay - margin, 0)]
    # The amp and its supply have come to rest a while after the sweep.
    after = samples[delay + round((tone.seconds + 0.3) * tone.rate) :]
    parts = [("before", before), ("after", after)]
    long = [(name, part) for name, part in parts if part.size >= least]
    if not long:
        raise DescriptionError(
            f"{recording.name}: no quiet part of {_LEAST_QUIET:g} s or more to tell the noise by: it has "
            f"{before.size / tone.rate:.2f} s before and {after.size / tone.rate:.2f} s after the sweep; start "
            "recording before playing"
        )
    for name, part in long:
        if np.ptp(part) > 0.0:
            return part, [f"noise from {part.size / tone.rate:.2f} s {name} the sweep"]
    return long[0][1], ["the quiet part is digital silence: how much noise there is is not known"]


def _snr_db(samples: Array, quiet: Array, delay: int, recording: Recording, tone: SweepTone) -> float:
    """Mean power of the sweep over that of the quiet part [dB]; at most 150."""
    sweep = samples[max(delay, 0) : delay + round(tone.seconds * tone.rate)]
    noise = float(np.var(quiet))
    power = max(float(np.mean(sweep**2)) - noise, 0.0)
    snr = 10.0 * np.log10(max(power, 1e-30) / max(noise, 1e-15 * power, 1e-30))
    if snr < LEAST_SNR_DB:
        raise DescriptionError(
            f"{recording.name}: noisy: the sweep is {snr:.1f} dB above the quiet part; {LEAST_SNR_DB:g} dB or more are "
            "needed. Turn the level up, or look for hum"
        )
    return float(snr)


def _responses(clicks: Clicks, quiet: Array, tone: SweepTone) -> dict[str, Any]:
    first = deconvolution.linear_response(clicks, tone)
    size = np.abs(first.ratio)
    noise = deconvolution.noise_share(first, _density(quiet, tone.rate, first.frequency), tone)
    phase = np.degrees(np.unwrap(np.angle(first.ratio)))
    return {
        "gain_db": ("frequency", 20.0 * np.log10(size), {"units": "dB"}),
        "phase_deg": ("frequency", phase, {"units": "degree"}),
        # Half of the noise's power is in step with the response and changes its size.
        "uncertainty_db": ("frequency", _DB * noise / size / np.sqrt(2.0), {"units": "dB"}),
        "harmonic_db": (("order", "frequency"), _harmonics(clicks, quiet, size, tone), {"units": "dB"}),
    }


def _harmonics(clicks: Clicks, quiet: Array, fundamental: Array, tone: SweepTone) -> Array:
    """Level of each harmonic over the fundamental [dB], shape (orders, points)."""
    rows = []
    for order in deconvolution.ORDERS:
        part = deconvolution.harmonic_response(clicks, tone, order)
        density = _density(quiet, tone.rate, order * part.frequency)
        noise = deconvolution.noise_share(part, density, tone, order)
        size = np.abs(part.ratio)
        out = np.isfinite(size) & (size > _ABOVE_NOISE * noise) & (size > 1e-9 * fundamental)
        level = np.full(size.shape, np.nan)
        level[out] = 20.0 * np.log10(size[out] / fundamental[out])
        rows.append(level)
    return np.array(rows)


def _density(quiet: Array, rate: int, wanted: Array) -> Array:
    """Power density of the noise [1/Hz] at frequencies [Hz] (P. D. Welch, IEEE Trans. AU-15, 1967, by scipy)."""
    from scipy.signal import welch

    lines, density = welch(quiet, rate, nperseg=min(quiet.size, rate // 4))
    return np.asarray(np.interp(wanted, lines[1:], density[1:]))


def read_sweep(path: str | Path) -> xr.Dataset:
    """Read a measured sweep: a WAV file is the recording of the tone, anything else a text of columns.

    Raises
    ------
    DescriptionError
        As `read_recording` and `read_csv`.
    """
    return read_recording(path) if Path(path).suffix.lower() in (".wav", ".flac") else read_csv(path)
