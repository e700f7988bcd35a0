"""WAV files in and out, FLAC files in: whole numbers of 16, 24 and 32 bit, and floats.

FLAC is read and WAV is written through libsndfile. WAV is read here: libsndfile mends a header that lies about its
file (cut off, samples before their format), and such a recording is refused.

The form is that of "Multimedia Programming Interface and Data Specifications 1.0" (1991) with the extensible format
tag of 2001, both from memory; tests read our files with other readers, and files that other writers wrote.
"""

from __future__ import annotations

import hashlib
import io
import struct
from collections.abc import Iterator
from dataclasses import dataclass, field
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from .errors import DescriptionError, shown
from .files import read_bounded, write_whole

Array = NDArray[np.float64]
MOST_BYTES = 100_000_000
RATES = (44_100, 48_000, 96_000)
BITS = (16, 24, 32)
# A recording is clipped with so many samples at full scale in a row.
CLIPPED_RUN = 3
_MOST_CHANNELS, _MOST_CHUNKS = 8, 1000
_PCM, _FLOAT, _EXTENSIBLE = 1, 3, 0xFFFE


@dataclass(frozen=True)
class Recording:
    """What a WAV file holds.

    Attributes
    ----------
    name, sha256
        File name and hash of the whole file.
    rate
        Samples a second.
    samples
        Shape (samples, channels); 1 is full scale.
    top
        The largest value that a sample can have: a little below 1 for whole numbers.
    form
        "24 bit", "32 bit float".
    """

    name: str
    sha256: str
    rate: int
    samples: Array = field(repr=False, compare=False)
    top: float
    form: str


def read_wav(path: str | Path) -> Recording:
    """Read a WAV or a FLAC file.

    Raises
    ------
    DescriptionError
        When it is missing, too large, no WAV file, of a kind that is not read here, cut off, or holds samples that
        are no numbers; the message names the file and what is wrong.
    """
    name = Path(path).name
    data = read_bounded(path, MOST_BYTES)
    if data[:4] == b"fLaC":
        return _flac(data, name)
    if data[:4] != b"RIFF" or data[8:12] != b"WAVE":
        begins = "an RF64 file, which is not read here" if data[:4] == b"RF64" else f"it begins with {shown(data[:12])}"
        raise DescriptionError(f"{name}: not a WAV file: {begins}")
    form, body = _chunks(data, name)
    rate, channels, bits, floating = _format(form, name)
    samples = _floats(body, channels, bits, floating, name)
    top = 1.0 if floating else 1.0 - 2.0 ** (1 - bits)
    kind = f"{bits} bit{' float' if floating else ''}"
    return Recording(name, hashlib.sha256(data).hexdigest(), rate, samples, top, kind)


def _flac(data: bytes, name: str) -> Recording:
    import soundfile

    try:
        with soundfile.SoundFile(io.BytesIO(data)) as file:
            bits = int(file.subtype.removeprefix("PCM_").replace("S8", "8"))
            _check_kind(file.channels, file.samplerate, name)
            size = file.frames * file.channels * bits // 8
            if not 0 < size <= MOST_BYTES:
                raise DescriptionError(f"{name}: {size:,} bytes of samples; 1 to {MOST_BYTES:,} are read")
            samples, rate, said = file.read(dtype="int32", always_2d=True) / 2.0**31, file.samplerate, file.frames
    except soundfile.SoundFileError as problem:
        raise DescriptionError(f"{name}: not a FLAC file that can be read: {shown(str(problem))}") from None
    if len(samples) != said:
        raise DescriptionError(f"{name}: cut off: it says {said:,} samples, {len(samples):,} are there")
    return Recording(name, hashlib.sha256(data).hexdigest(), rate, samples, 1.0 - 2.0 ** (1 - bits), f"{bits} bit")


def _check_kind(channels: int, rate: int, name: str) -> None:
    if not 1 <= channels <= _MOST_CHANNELS:
        raise DescriptionError(f"{name}: {channels} channels; 1 to {_MOST_CHANNELS} channels are read")
    if not 8000 <= rate <= 384_000:
        raise DescriptionError(f"{name}: {rate:,} samples a second; expected 8,000 to 384,000")


def _chunks(data: bytes, name: str) -> tuple[bytes, memoryview]:
    """The format chunk and the samples."""
    form, whole = b"", memoryview(data)
    for kind, start, size in _walk(data, name):
        if kind == b"fmt ":
            form = data[start : start + min(size, 64)]
        elif kind == b"data":
            there = len(data) - start
            if not form:
                raise DescriptionError(f"{name}: samples come before it is said what they are")
            if size > there:
                raise DescriptionError(
                    f"{name}: cut off, or its header is wrong: it says {size:,} bytes of samples, {there:,} are there"
                )
            return form, whole[start : start + size]
    raise DescriptionError(f"{name}: a WAV file without samples")


def _walk(data: bytes, name: str) -> Iterator[tuple[bytes, int, int]]:
    """Kind, first byte and size of each chunk."""
    at = 12
    for _ in range(_MOST_CHUNKS):
        if at + 8 > len(data):
            return
        kind, size = struct.unpack_from("<4sI", data, at)
        yield kind, at + 8, size
        at += 8 + size + size % 2
    raise DescriptionError(f"{name}: more than {_MOST_CHUNKS} chunks")


def _format(form: bytes, name: str) -> tuple[int, int, int, bool]:
    """Rate, channels, bits and whether the samples are floats."""
    if len(form) < 16:
        raise DescriptionError(f"{name}: the format entry has {len(form)} bytes instead of 16 or more")
    tag, channels, rate, _, block, bits = struct.unpack_from("<HHIIHH", form)
    if tag == _EXTENSIBLE and len(form) >= 26:
        (tag,) = struct.unpack_from("<H", form, 24)
    floating = tag == _FLOAT
    if (tag, bits) not in {(_PCM, 16), (_PCM, 24), (_PCM, 32), (_FLOAT, 32), (_FLOAT, 64)}:
        kind = {_PCM: "whole numbers", _FLOAT: "floats"}.get(tag, f"compressed or of another kind ({tag}),")
        raise DescriptionError(
            f"{name}: its samples are {kind} of {bits} bits; read are whole numbers of 16, 24 and 32 bits and floats: "
            "save it anew as one of them"
        )
    if not 1 <= channels <= _MOST_CHANNELS or block != channels * bits // 8:
        raise DescriptionError(
            f"{name}: {channels} channels of {bits} bits in blocks of {block} bytes; 1 to {_MOST_CHANNELS} channels "
            "are read"
        )
    _check_kind(channels, rate, name)
    return rate, channels, bits, floating


def _floats(body: memoryview, channels: int, bits: int, floating: bool, name: str) -> Array:
    block = channels * bits // 8
    count = len(body) // block
    if not count:
        raise DescriptionError(f"{name}: a WAV file without samples")
    body = body[: count * block]
    if floating:
        samples = np.frombuffer(body, "<f4" if bits == 32 else "<f8").astype(float)
        bad = ~np.isfinite(samples)
        if bad.any():
            place = int(np.argmax(bad))
            raise DescriptionError(f"{name}: sample {place // channels + 1} is {samples[place]}, which is not a number")
    elif bits == 24:
        wide = np.zeros((count * channels, 4), np.uint8)
        wide[:, 1:] = np.frombuffer(body, np.uint8).reshape(-1, 3)
        samples = wide.view("<i4")[:, 0] / 2.0**31
    else:
        samples = np.frombuffer(body, f"<i{bits // 8}") / 2.0 ** (bits - 1)
    return samples.reshape(count, channels)


def refuse_clipped(samples: Array, recording: Recording) -> None:
    """Refuse runs of samples of one channel at full scale [1]; whole numbers reach one step further down.

    Raises
    ------
    DescriptionError
        Saying how often and where first.
    """
    slack = 0.0 if recording.top == 1.0 else 1.0 - recording.top
    full = np.abs(samples) >= recording.top - 0.5 * slack
    edges = np.flatnonzero(np.diff(np.concatenate(([False], full, [False])).astype(np.int8)))
    starts, lengths = edges[::2], edges[1::2] - edges[::2]
    runs = starts[lengths >= CLIPPED_RUN]
    if runs.size:
        raise DescriptionError(
            f"{recording.name}: clipped: {runs.size} times {CLIPPED_RUN} or more samples in a row at full scale, first "
            f"at {runs[0] / recording.rate:.3f} s; turn the recording level down"
        )


def write_wav(path: str | Path, samples: NDArray[np.floating], rate: int, bits: int = 24) -> Path:
    """Write samples as a WAV file.

    Parameters
    ----------
    path : str or Path
        Missing folders are made.
    samples, rate, bits
        As those of `wav_bytes` [of full scale, Hz].

    Raises
    ------
    DescriptionError
        As `wav_bytes`, and when the file cannot be written.
    """
    return write_whole(Path(path), wav_bytes(samples, rate, bits, Path(path).name))


def wav_bytes(samples: NDArray[np.floating], rate: int, bits: int = 24, name: str = "a WAV file") -> bytes:
    """A whole WAV file of whole numbers.

    Parameters
    ----------
    samples : ndarray
        Shape (samples,) or (samples, channels), between -1 and 1 [of full scale].
    rate : {44100, 48000, 96000}
        Samples a second [Hz].
    bits : {16, 24, 32}
        Of a sample.
    name : str
        What messages call it.

    Raises
    ------
    DescriptionError
        For another rate or number of bits, samples beyond full scale, or too many of them.
    """
    table = np.atleast_2d(np.asarray(samples, float).T).T
    if rate not in RATES or bits not in BITS or not 1 <= table.shape[1] <= _MOST_CHANNELS:
        raise DescriptionError(
            f"a WAV file of {table.shape[1]} channels, {shown(rate)} samples a second, {shown(bits)} bits; "
            f"written are 1 to {_MOST_CHANNELS} channels, {', '.join(map(str, RATES))} a second, 16, 24 or 32 bits"
        )
    greatest = float(np.abs(table).max(initial=0.0))
    if not greatest <= 1.0:
        raise DescriptionError(f"{name}: a sample of {greatest:g} does not fit; full scale is 1")
    size = table.size * bits // 8
    if size > MOST_BYTES:
        raise DescriptionError(f"{name}: {size:,} bytes; at most {MOST_BYTES:,} are written")
    import soundfile

    # Whole numbers at the top of 32 bits are written as they are: soundfile's own scaling leaves the last step out.
    scale = 2.0 ** (bits - 1)
    numbers = np.clip(np.rint(table * scale), -scale, scale - 1.0).astype("<i4") << (32 - bits)
    content = io.BytesIO()
    soundfile.write(content, numbers, rate, f"PCM_{bits}", format="WAV")
    return content.getvalue()
