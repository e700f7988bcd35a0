"""What is played: a phrase computed here, or somebody's own dry recording, at a stated level."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, field, replace
from fractions import Fraction
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from ..base.errors import DescriptionError, nearest, shown
from ..base.wav import Recording, read_wav, refuse_clipped
from .plucked_strings import Note, pluck

Array = NDArray[np.float64]
RATE = 48_000  # samples a second of everything that is heard
LEVEL = 0.15  # V peak; our choice for a guitar played firmly, no source: pickups differ by ten to one
LONGEST, SHORTEST = 60.0, 0.5  # s of a dry recording
LONGEST_RESPONSE = 3.0  # s of an impulse response
_SILENT_DB = -60.0
_LEAST_VOLTS, _MOST_VOLTS = 1e-4, 10.0
LEAD = 0.01  # s of silence first: what the amp gives then is its rest
_QUAVER, _STRUM = 0.25, 0.014  # s between notes, and between the strings of a chord


@dataclass(frozen=True, eq=False)
class Phrase:
    """What goes into the amp.

    Attributes
    ----------
    name, words
        "plucked strings"; what it is and where it comes from, with its level.
    volts
        Shape (samples,), at `RATE`: what the pickup would give without a load, before the stage "guitar".
    """

    name: str
    words: str
    volts: Array = field(repr=False)

    @property
    def seconds(self) -> float:
        """How long it is [s]."""
        return self.volts.size / RATE

    @property
    def level(self) -> float:
        """Peak [V]."""
        return float(np.abs(self.volts).max())


def _line() -> list[Note]:
    """Six single notes, up a scale of five tones."""
    pitches = (110.0, 130.81, 146.83, 164.81, 196.0, 220.0)
    lasts = [_QUAVER] * 5 + [0.55]
    return [Note(_QUAVER * n, hertz, 1.05 * lasts[n], 0.7 + 0.06 * n, ring=3.5) for n, hertz in enumerate(pitches)]


def _chords() -> list[Note]:
    """Two chords of five and four strings, strummed down, then up."""
    major = (110.0, 164.81, 220.0, 277.18, 329.63)
    fourth = (146.83, 220.0, 293.66, 369.99)[::-1]
    return [
        Note(start + _STRUM * n, hertz, 0.98 - _STRUM * n, 0.42)
        for start, chord in ((0.0, major), (1.0, fourth))
        for n, hertz in enumerate(chord)
    ]


def _palm_muted_run() -> list[Note]:
    """A run on the lowest strings, the heel of the hand on them, ending in an open chord of roots and fifths."""
    pitches = (82.41, 82.41, 98.0, 82.41, 110.0, 82.41, 98.0, 92.5)
    run = [
        Note(0.155 * n, hertz, 0.15, 0.9 + 0.1 * (n % 2 == 0), ring=0.35, losses=6, pick=1500.0)
        for n, hertz in enumerate(pitches)
    ]
    open_chord = [
        Note(1.24 + 0.008 * n, hertz, 1.1 - 0.008 * n, 0.6, ring=3.5) for n, hertz in enumerate((82.41, 123.47, 164.81))
    ]
    return run + open_chord


_SECTIONS = {
    "single notes": (_line, 1.75),
    "chords": (_chords, 2.0),
    "palm-muted run": (_palm_muted_run, 2.4),
}
WHOLE = "plucked strings"
PHRASES = (WHOLE, *_SECTIONS)


def phrase(name: str = WHOLE, level: float = LEVEL) -> Phrase:
    """A phrase of plucked strings, computed and always the same.

    Parameters
    ----------
    name : str
        One of `PHRASES`: all of it (6.2 s: single notes, chords, a palm-muted run), or one of the three.
    level : float
        Peak [V], 0.1 mV to 10 V.

    Raises
    ------
    DescriptionError
        For another name or level.
    """
    if name != WHOLE and name not in _SECTIONS:
        raise DescriptionError(f"no phrase {shown(name)}{nearest(name, PHRASES)}")
    parts = [_SECTIONS[each] for each in (tuple(_SECTIONS) if name == WHOLE else (name,))]
    # Each part comes to the same peak: none of them is the loud one by chance of its phases.
    sound = np.concatenate([_to_peak(_sum_notes(notes(), seconds), 1.0) for notes, seconds in parts])
    what = "single notes, two chords and a palm-muted run" if name == WHOLE else name
    sound = np.concatenate([np.zeros(round(LEAD * RATE)), sound])
    words = f"Plucked strings, computed (extended Karplus-Strong method): {what}, {sound.size / RATE:.1f} s"
    return at_level(Phrase(name, words, sound), level)


def at_level(given: Phrase, level: float) -> Phrase:
    """The phrase with another peak [V], which is added to its words.

    Raises
    ------
    DescriptionError
        For a level beyond 0.1 mV to 10 V.
    """
    if not _LEAST_VOLTS <= level <= _MOST_VOLTS:
        raise DescriptionError(f"an input level of {shown(level)} V peak; expected 0.0001 to 10 V")
    head = given.words.partition("; input")[0]
    words = f"{head}; input {_volts(level)} peak, as an unloaded pickup gives it."
    return replace(given, words=words, volts=_to_peak(given.volts, level))


def dry_phrase(path: str | Path, level: float = LEVEL) -> Phrase:
    """Somebody's own dry playing from a WAV file, at 48 kHz, one channel, without its direct voltage.

    Parameters
    ----------
    path : str or Path
        At most 100 MB, 0.5 to 60 s, 8 to 384 kHz. Of several channels the mean; silent ones are left out.
    level : float
        What its peak becomes [V].

    Raises
    ------
    DescriptionError
        When it is no WAV file, cut off, clipped, silent, too short or long, or its channels cancel one another.
    """
    recording = read_wav(path)
    seconds = recording.samples.shape[0] / recording.rate
    if not SHORTEST <= seconds <= LONGEST:
        raise DescriptionError(f"{recording.name}: {seconds:.2f} s long; {SHORTEST:g} to {LONGEST:g} s are played")
    sound, used = _one_channel(recording)
    words = f"Dry recording {shown(recording.name)}, {recording.form}, {recording.rate} Hz, {used}, {seconds:.1f} s"
    silence = np.zeros(round(LEAD * RATE))
    return at_level(Phrase(recording.name, words, np.append(silence, to_common_rate(sound, recording.rate))), level)


def read_response(path: str | Path) -> Array:
    """The impulse response of a cabinet from a WAV file, at 48 kHz; its greatest gain at any frequency is 1 [ratio].

    Raises
    ------
    DescriptionError
        As `dry_phrase`, and for one longer than 3 s.
    """
    recording = read_wav(path)
    seconds = recording.samples.shape[0] / recording.rate
    if seconds > LONGEST_RESPONSE:
        raise DescriptionError(
            f"{recording.name}: {seconds:.1f} s long; an impulse response of at most {LONGEST_RESPONSE:g} s is used: "
            "cut it where it has died away"
        )
    response = to_common_rate(_one_channel(recording, clipped_too=True)[0], recording.rate)
    size = 1 << (2 * response.size - 1).bit_length()
    return np.asarray(response / np.abs(np.fft.rfft(response, size)).max())


def to_common_rate(sound: Array, rate: int) -> Array:
    """A sound of another rate [1/s] at 48 kHz, by scipy's polyphase filter."""
    if rate == RATE:
        return sound
    from scipy.signal import resample_poly

    ratio = Fraction(RATE, rate)
    return np.asarray(resample_poly(sound, ratio.numerator, ratio.denominator))


def _one_channel(recording: Recording, clipped_too: bool = False) -> tuple[Array, str]:
    """The mean of the channels that sound, and which they were."""
    least = 10.0 ** (_SILENT_DB / 20.0)
    count = recording.samples.shape[1]
    # An impulse response lies where its pulse lies; a recording is heard against its own middle.
    middle = 0.0 if clipped_too else recording.samples.mean(axis=0)
    centred = recording.samples - middle
    sounding = [n for n in range(count) if np.abs(centred[:, n]).max() > least]
    if not sounding:
        raise DescriptionError(f"{recording.name}: silent, nothing above {_SILENT_DB:g} dB of full scale")
    if not clipped_too:
        for n in sounding:
            refuse_clipped(recording.samples[:, n], recording)
    mixed = centred[:, sounding].mean(axis=1)
    if np.sum(mixed**2) < 0.01 * np.mean(np.sum(centred[:, sounding] ** 2, axis=0)):
        raise DescriptionError(
            f"{recording.name}: its channels cancel one another (one is turned over); give one channel only"
        )
    used = "one channel" if len(sounding) == 1 else f"mean of {len(sounding)} channels"
    return mixed, used


def _sum_notes(notes: Iterable[Note], seconds: float) -> Array:
    sound = np.zeros(round(seconds * RATE))
    for note in notes:
        start = round(note.at * RATE)
        string = pluck(note, RATE)[: sound.size - start]
        sound[start : start + string.size] += string
    return sound


def _to_peak(sound: Array, level: float) -> Array:
    return np.asarray(sound * (level / np.abs(sound).max()))


def _volts(level: float) -> str:
    return f"{level:g} V" if level >= 1.0 else f"{1e3 * level:g} mV"
