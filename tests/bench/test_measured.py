"""A measured sweep comes in: columns of any dialect, and recordings of a sweep through filters that are known."""

from __future__ import annotations

import io
import math
import struct
import wave
from pathlib import Path

import numpy as np
import pytest
import xarray as xr
from hypothesis import given, settings
from hypothesis import strategies as st
from numpy.typing import NDArray
from scipy import signal
from scipy.interpolate import CubicSpline
from scipy.io import wavfile

from ampsim.base.errors import DescriptionError
from ampsim.base.wav import read_wav, write_wav
from ampsim.bench.sweeps.curve_table import read_curve
from ampsim.bench.sweeps.measured_sweep import LEAST_SNR_DB, read_csv, read_recording
from ampsim.bench.sweeps.tone import SweepTone, write_tone
from tests.tools.recordings import known_db, known_filter, noisy, recording

Array = NDArray[np.float64]
SHORT = SweepTone(seconds=4.0, quiet=0.75)


def band(found: xr.Dataset, low: float, high: float) -> NDArray[np.bool_]:
    return np.asarray((found["frequency"].values >= low) & (found["frequency"].values <= high))


# WAV files ------------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize("bits", [16, 24, 32])
def test_other_readers_read_our_wav(tmp_path: Path, bits: int) -> None:
    given_ = np.column_stack([np.linspace(-1.0, 1.0, 1001), np.zeros(1001)])
    path = write_wav(tmp_path / "a.wav", given_, 44_100, bits)
    with wave.open(str(path)) as opened:
        assert (opened.getnchannels(), opened.getsampwidth(), opened.getframerate()) == (2, bits // 8, 44_100)
        assert opened.getnframes() == 1001
    rate, samples = wavfile.read(path)
    scale = 2.0 ** (31 if bits == 24 else bits - 1)  # scipy moves 24 bits to the top of 32
    assert rate == 44_100
    assert np.abs(samples / scale - given_).max() <= 1.01 * 2.0 ** (1 - bits)


@pytest.mark.parametrize("kind", ["int16", "int32", "float32", "float64"])
def test_we_read_what_other_writers_write(tmp_path: Path, kind: str) -> None:
    wanted = np.sin(np.arange(500.0))[:, np.newaxis] * [0.9, 0.2]
    numbers = (wanted * np.iinfo(kind).max).astype(kind) if kind.startswith("int") else wanted.astype(kind)
    wavfile.write(tmp_path / "a.wav", 96_000, numbers)
    found = read_wav(tmp_path / "a.wav")
    assert found.rate == 96_000
    assert np.abs(found.samples - wanted).max() <= 1e-4
    assert found.top == (1.0 if kind.startswith("float") else 1.0 - 2.0 ** (1 - int(kind[3:])))


def riff(*chunks: tuple[bytes, bytes, int | None]) -> bytes:
    """A RIFF file of chunks; a size may lie."""
    body = b"".join(struct.pack("<4sI", k, len(b) if size is None else size) + b for k, b, size in chunks)
    return struct.pack("<4sI", b"RIFF", len(body) + 4) + b"WAVE" + body


def form(tag: int = 1, channels: int = 1, rate: int = 48_000, bits: int = 16, block: int | None = None) -> bytes:
    block = channels * bits // 8 if block is None else block
    return struct.pack("<HHIIHH", tag, channels, rate, rate * block, block, bits)


HOSTILE_WAVS = {
    "empty": (b"", "not a WAV file"),
    "a text": (b"frequency;dB\n100;3\n", "not a WAV file"),
    "64 bit": (b"RF64\xff\xff\xff\xffWAVE", "RF64"),
    "head only": (b"RIFF\x00\x00\x00\x00WAVE", "without samples"),
    "no format": (riff((b"data", b"\0" * 100, None)), "before it is said"),
    "short format": (riff((b"fmt ", b"\1\0", None), (b"data", b"\0" * 100, None)), "2 bytes instead of 16"),
    "size lies": (riff((b"fmt ", form(), None), (b"data", b"\0" * 132, 0xFFFFFFF0)), "says 4,294,967,280 bytes"),
    "cut off": (riff((b"fmt ", form(), None), (b"data", b"\0" * 132, 96_000)), "132 are there"),
    "chunk beyond the end": (riff((b"LIST", b"", 0xFFFFFFFF)), "without samples"),
    "no samples": (riff((b"fmt ", form(), None), (b"data", b"", None)), "without samples"),
    "compressed": (riff((b"fmt ", form(tag=85), None), (b"data", b"\0" * 99, None)), r"another kind \(85\)"),
    "8 bit": (riff((b"fmt ", form(bits=8), None), (b"data", b"\0" * 99, None)), "whole numbers of 8 bits; read are"),
    "no channels": (riff((b"fmt ", form(channels=0), None), (b"data", b"\0" * 99, None)), "0 channels"),
    "many channels": (riff((b"fmt ", form(channels=9000), None), (b"data", b"\0" * 99, None)), "9000 channels"),
    "blocks lie": (riff((b"fmt ", form(block=6), None), (b"data", b"\0" * 99, None)), "blocks of 6"),
    "no rate": (riff((b"fmt ", form(rate=0), None), (b"data", b"\0" * 99, None)), "0 samples a second"),
    "mad rate": (riff((b"fmt ", form(rate=2**30), None), (b"data", b"\0" * 99, None)), "1,073,741,824 samples"),
    "many chunks": (riff(*[(b"junk", b"", None)] * 2000), "more than 1000 chunks"),
    "not a number": (
        riff((b"fmt ", form(tag=3, bits=32), None), (b"data", np.array([0, 1, np.nan], "<f4").tobytes(), None)),
        "sample 3 is nan",
    ),
}


@pytest.mark.parametrize("name", HOSTILE_WAVS)
def test_hostile_wav(tmp_path: Path, name: str) -> None:
    content, words = HOSTILE_WAVS[name]
    (tmp_path / "hostile.wav").write_bytes(content)
    with pytest.raises(DescriptionError, match=rf"^hostile\.wav: .*{words}"):
        read_recording(tmp_path / "hostile.wav")


@given(st.binary(max_size=300), st.integers(0, 60))
@settings(max_examples=200)
def test_no_bytes_break_the_reader(tmp_path_factory: pytest.TempPathFactory, rubbish: bytes, keep: int) -> None:
    path = tmp_path_factory.getbasetemp() / "rubbish.wav"
    whole = riff((b"fmt ", form(), None), (b"data", b"\1\0" * 50, None))
    path.write_bytes(whole[:keep] + rubbish)
    try:
        assert np.isfinite(read_wav(path).samples).all()
    except DescriptionError as refusal:
        assert str(refusal).startswith("rubbish.wav: ")  # noqa: PT017 - both ways are right


def test_a_folder_is_no_recording_by_any_of_its_names(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.chdir(tmp_path)
    for name in (".", "..", str(tmp_path)):
        with pytest.raises(DescriptionError, match=r"^\S+: not a plain file"):
            read_wav(name)


def test_too_large_a_file_is_not_read(tmp_path: Path) -> None:
    with open(tmp_path / "huge.wav", "wb") as file:
        file.truncate(3 * 10**9)  # a hole: three gigabytes that take no room
    with pytest.raises(DescriptionError, match=r"^huge\.wav: 3,000,000,000 bytes; at most 100,000,000"):
        read_wav(tmp_path / "huge.wav")
    with pytest.raises(DescriptionError, match=r"^huge\.wav: 3,000,000,000 bytes; at most 10,000,000"):
        read_csv(tmp_path / "huge.wav")
    with pytest.raises(DescriptionError, match="not a plain file"):
        read_wav(tmp_path)
    with pytest.raises(DescriptionError, match="there is no such file"):
        read_csv(tmp_path / "missing.csv")


# The tone -------------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize("rate", [44_100, 48_000, 96_000])
def test_tone_is_a_logarithmic_sweep(rate: int) -> None:
    tone = SweepTone(rate=rate)
    sweep = tone.sweep()
    assert np.abs(sweep).max() == pytest.approx(10.0 ** (-6.0 / 20.0), rel=1e-3)
    assert sweep[0] == 0.0
    assert abs(sweep[-1]) < 0.01
    # Its frequency, from the phase of the analytic signal, grows by the same factor in the same time.
    at = np.array([0.25, 0.5, 0.75])
    turns = np.unwrap(np.angle(signal.hilbert(sweep)))
    places = (at * sweep.size).astype(int)
    reach = rate // 20
    seen = (turns[places + reach] - turns[places - reach]) / (4.0 * np.pi * reach) * rate
    spread = 0.05 / tone.stretch  # of a growing exponential over the span
    wanted = tone.start * (tone.stop / tone.start) ** at * np.sinh(spread) / spread
    assert seen == pytest.approx(wanted, rel=2e-3)


def test_tone_file(tmp_path: Path) -> None:
    tone = write_tone(tmp_path / "tone.wav", SHORT, bits=16, stereo=True)
    rate, samples = wavfile.read(tmp_path / "tone.wav")
    assert (rate, samples.shape) == (48_000, (round(5.5 * 48_000), 2))
    assert (samples[:, 0] == samples[:, 1]).all()
    assert not samples[: round(0.75 * rate)].any()
    assert not samples[-round(0.75 * rate) :].any()
    assert "from 15 Hz to 20000 Hz in 4 s" in tone.words()


@pytest.mark.parametrize(
    "wrong",
    [
        {"rate": 22_050},
        {"start": 0.1},
        {"stop": 23e3},
        {"stop": math.nan},
        {"seconds": 1e9},
        {"level": 3.0},
        {"quiet": 0.0},
    ],
    ids=str,
)
def test_a_wrong_tone_is_refused(wrong: dict[str, float]) -> None:
    with pytest.raises(DescriptionError, match=r"expected|made are"):
        SweepTone(**wrong)  # type: ignore[arg-type]


# Recordings -----------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(("rate", "bits"), [(44_100, 24), (48_000, 16), (96_000, 32)])
def test_known_filter_without_noise(tmp_path: Path, rate: int, bits: int) -> None:
    tone = SweepTone(seconds=6.0, quiet=0.75, rate=rate)
    found = read_recording(recording(tmp_path / "a.wav", tone, known_filter(rate), math.inf, bits=bits), tone)
    error = found["gain_db"].values - known_db(known_filter(rate), rate, found["frequency"].values)
    assert np.abs(error[band(found, 40.0, 16e3)]).max() <= 0.01
    assert np.abs(error).max() <= 0.05  # the cut in time is short for the lowest frequencies
    assert found.attrs["source"] == "a.wav"
    assert len(found.attrs["sha256"]) == 64


def test_known_filter_with_noise_40_db_below(tmp_path: Path) -> None:
    tone = SweepTone()
    found = read_recording(recording(tmp_path / "a.wav", tone, known_filter(48_000), 40.0), tone)
    error = found["gain_db"].values - known_db(known_filter(48_000), 48_000, found["frequency"].values)
    inside = band(found, 40.0, 10e3)
    assert np.abs(error[inside]).max() <= 0.1
    assert found.attrs["snr_db"] == pytest.approx(40.0, abs=0.3)
    # The stated uncertainty is that of the error.
    score = error[inside] / found["uncertainty_db"].values[inside]
    assert 0.8 <= np.sqrt(np.mean(score**2)) <= 1.25


def test_phase_is_that_of_the_filter(tmp_path: Path) -> None:
    found = read_recording(recording(tmp_path / "a.wav", SHORT, known_filter(48_000), 70.0), SHORT)
    wide = band(found, 40.0, 10e3)
    frequency = found["frequency"].values[wide]
    truth = np.unwrap(np.angle(signal.freqz_sos(known_filter(48_000), frequency, fs=48_000)[1]))
    difference = np.radians(found["phase_deg"].values[wide]) - truth
    # Where the click stands is free: a delay, and a whole turn.
    left = difference - np.polyval(np.polyfit(frequency, difference, 1), frequency)
    assert np.abs(left).max() <= np.radians(1.0)


def test_where_the_recording_starts_does_not_matter(tmp_path: Path) -> None:
    near = read_recording(recording(tmp_path / "a.wav", SHORT, known_filter(48_000), math.inf), SHORT)
    shifted = recording(tmp_path / "b.wav", SHORT, known_filter(48_000), math.inf, lead=1.2345, polarity=-1.0)
    far = read_recording(shifted, SHORT)
    inside = band(near, 30.0, 15e3)
    assert np.abs((near["gain_db"] - far["gain_db"]).values[inside]).max() < 0.01


def test_another_clock_hardly_matters(tmp_path: Path) -> None:
    """The player's and the recorder's clocks differ by 100 ppm, as two cheap crystals may."""
    tone = SHORT
    samples = 0.5 * signal.sosfilt(known_filter(48_000), tone.whole())
    heard = CubicSpline(np.arange(samples.size), samples)(np.arange(samples.size - 100) * (1.0 + 100e-6))
    write_wav(tmp_path / "a.wav", heard, 48_000)
    found = read_recording(tmp_path / "a.wav", tone)
    error = found["gain_db"].values - known_db(known_filter(48_000), 48_000, found["frequency"].values)
    assert np.abs(error[band(found, 40.0, 10e3)]).max() <= 0.1


def test_harmonics_of_a_static_curve(tmp_path: Path) -> None:
    """x + a x^2 + b x^3 of a sine of amplitude A: by the angle formulas 1 + 3/4 b A^2, a A / 2, b A^2 / 4."""
    tone = SweepTone(stop=7000.0, seconds=8.0)  # the third harmonic stays below half the rate
    amplitude, a, b = 10.0 ** (tone.level / 20.0), 0.2, 0.3
    x = tone.whole()
    write_wav(tmp_path / "a.wav", noisy(x + a * x**2 + b * x**3, tone, 70.0), 48_000)
    found = read_recording(tmp_path / "a.wav", tone)
    first = 1.0 + 0.75 * b * amplitude**2
    wanted = {2: 0.5 * a * amplitude / first, 3: 0.25 * b * amplitude**2 / first}
    inside = band(found, 60.0, 1500.0)
    assert found["gain_db"].values[inside] == pytest.approx(20.0 * math.log10(first), abs=0.02)
    for order, ratio in wanted.items():
        level = found["harmonic_db"].sel(order=order).values
        assert level[inside] == pytest.approx(20.0 * math.log10(ratio), abs=0.1), order
        beyond = order * found["frequency"].values > tone.highest
        assert np.isnan(level[beyond]).all()
    # What is not there stays below what 70 dB of noise leaves, or is given as not known.
    for order in (4, 5):
        level = found["harmonic_db"].sel(order=order).values[inside]
        assert np.nanmax(level, initial=-200.0) < -65.0
        assert np.isnan(level).mean() > 0.5


# Refusals -------------------------------------------------------------------------------------------------------------


def test_clipped_is_refused(tmp_path: Path) -> None:
    samples = signal.sosfilt(known_filter(48_000), SHORT.whole())
    loud = np.clip(samples * 1.05 / np.abs(samples).max(), -1.0, 1.0)
    for bits in (16, 24):
        write_wav(tmp_path / "a.wav", loud, 48_000, bits)
        with pytest.raises(DescriptionError, match=r"a\.wav: clipped: \d+ times 3 or more .* first at \d\.\d+ s"):
            read_recording(tmp_path / "a.wav", SHORT)
    wavfile.write(tmp_path / "f.wav", 48_000, loud.astype("f4"))
    with pytest.raises(DescriptionError, match="clipped"):
        read_recording(tmp_path / "f.wav", SHORT)
    write_wav(tmp_path / "a.wav", loud * 0.98, 48_000)
    read_recording(tmp_path / "a.wav", SHORT)  # an amp that clips by itself is no fault of the recording


def test_noisy_is_refused_near_the_stated_limit(tmp_path: Path) -> None:
    recording(tmp_path / "a.wav", SHORT, known_filter(48_000), LEAST_SNR_DB - 2.0)
    with pytest.raises(DescriptionError, match=r"a\.wav: noisy: the sweep is 2[23]\.\d dB above .*25 dB or more"):
        read_recording(tmp_path / "a.wav", SHORT)
    recording(tmp_path / "a.wav", SHORT, known_filter(48_000), LEAST_SNR_DB + 2.0)
    found = read_recording(tmp_path / "a.wav", SHORT)
    assert found.attrs["snr_db"] == pytest.approx(LEAST_SNR_DB + 2.0, abs=0.5)


def refuse(tmp_path: Path, samples: Array, words: str, rate: int = 48_000) -> None:
    write_wav(tmp_path / "a.wav", samples, rate)
    with pytest.raises(DescriptionError, match=rf"^a\.wav: .*{words}"):
        read_recording(tmp_path / "a.wav", SHORT)


def test_other_unusable_recordings_are_refused(tmp_path: Path) -> None:
    whole = signal.sosfilt(known_filter(48_000), SHORT.whole()) * 0.5
    sound = np.random.default_rng(1).standard_normal(whole.size)
    refuse(tmp_path, np.zeros(whole.size), "silent")
    refuse(tmp_path, np.column_stack([np.zeros(whole.size), whole]), "silent.* there is sound on channel 2")
    refuse(tmp_path, whole[:100_000], "too short: 2.08 s, the sweep alone takes 4 s")
    refuse(tmp_path, whole, "44100 samples a second, but the tone has 48000", rate=44_100)
    refuse(tmp_path, whole[50_000:], r"too short: it starts 0\.29 s after the beginning")
    refuse(tmp_path, np.append(np.zeros(20_000), whole[:-60_000]), r"too short: it ends 0\.50 s before the end")
    refuse(tmp_path, whole[36_000:-36_000], "no quiet part")
    refuse(tmp_path, 0.1 * sound, "this sweep is not in the recording")
    refuse(tmp_path, SweepTone(seconds=5.0).whole(), "this sweep is not in the recording")
    refuse(tmp_path, 0.5 * np.sin(np.arange(whole.size)), "this sweep is not in the recording")
    refuse(tmp_path, np.tile(whole, 22), "121 s long; at most 120 s are read")
    write_wav(tmp_path / "a.wav", whole, 48_000)
    with pytest.raises(DescriptionError, match="no channel 3; it has 1"):
        read_recording(tmp_path / "a.wav", SHORT, channel=3)


def test_digital_silence_is_noted(tmp_path: Path) -> None:
    found = read_recording(recording(tmp_path / "a.wav", SHORT, np.array([[1.0, 0, 0, 1, 0, 0]]), math.inf), SHORT)
    assert "digital silence" in found.attrs["notes"]


# Columns --------------------------------------------------------------------------------------------------------------

SEPARATORS = {"\t": "tabulators", ";": "semicolons", "|": "upright strokes", ",": "commas", "  ": "spaces"}


@given(
    st.lists(st.floats(1.0, 1e5), min_size=5, max_size=30, unique=True),
    st.integers(0, 2**32 - 1),
    st.sampled_from(sorted(SEPARATORS)),
    st.booleans(),
    st.booleans(),
    st.booleans(),
    st.sampled_from(["", "Frequency [Hz]{s}Gain (dB)", "Freq{s}dB", "f{s}Pegel", "# Hz{s}dB"]),
    st.sampled_from(["", "# made by a script", "* 1/24 octave", "; a remark", "\n\n"]),
    st.sampled_from(["utf-8", "utf-8-sig", "utf-16", "cp1252"]),
    st.sampled_from(["\n", "\r\n", "\r"]),
)
@settings(max_examples=200)
def test_every_dialect_comes_back(
    hertz: list[float], seed: int, sign: str, comma: bool, with_phase: bool, falling: bool, header: str, remark: str,
    coding: str, ends: str,
) -> None:  # fmt: skip
    comma = comma and sign != ","
    rising = np.array(sorted(float(f"{each:.9g}") for each in hertz))
    rising = rising[np.concatenate(([True], np.diff(rising) > 0))]
    if rising.size < 5:
        return
    rng = np.random.default_rng(seed)
    rows = np.column_stack([rising, rng.uniform(-90, 90, rising.size), rng.uniform(-720, 720, rising.size)])
    rows = rows[:, : 3 if with_phase else 2][:: -1 if falling else 1]
    cells = [[f"{each:.9f}".replace(".", "," if comma else ".") for each in row] for row in rows]
    head = header.format(s=sign) + (f"{sign}Phase °" if with_phase and header else "")
    text = ends.join([remark, head, *(sign.join(row) for row in cells)]) + ends
    curve = read_curve(text.encode(coding), "a.csv")
    wanted = rows[::-1] if falling else rows
    assert curve.frequency == pytest.approx(wanted[:, 0], rel=1e-6, abs=1e-8)
    assert curve.level == pytest.approx(wanted[:, 1], abs=1e-8)
    assert curve.phase == (pytest.approx(wanted[:, 2], abs=1e-8) if with_phase else ())
    guesses = "; ".join(curve.guesses)
    assert SEPARATORS[sign] in guesses
    assert ("decimal comma" if comma else "decimal point") in guesses


def test_guesses_are_put_into_words(tmp_path: Path) -> None:
    text = 'Channel;Phase [rad];Level dB;f [kHz]\n"L";0;1,5;0\n'
    rows = "".join(f'"1";0,5;{n},25;{n}\n' for n in range(1, 8))
    (tmp_path / "m.csv").write_text(text.replace('"L"', "1") + rows, "utf-8")
    found = read_csv(tmp_path / "m.csv")
    assert found["frequency"].values == pytest.approx([1e3 * n for n in range(1, 8)])
    assert found["gain_db"].values[2] == 3.25
    assert found["phase_deg"].values[0] == pytest.approx(math.degrees(0.5))
    assert found.attrs["guesses"].splitlines() == [
        "4 columns apart by semicolons",
        "decimal comma",
        "numbers from line 2",
        "frequency [kHz] in column 4 ('f [kHz]')",
        "level [dB] in column 3 ('Level dB')",
        "phase [radians] in column 2 ('Phase [rad]')",
        "columns not used: 1",
        "the row at 0 Hz is left out",
    ]


GOOD = "".join(f"{100 * n};{n}.5\n" for n in range(1, 10))
WRONG_LINES = {
    "300;nan": "line 10: 'nan' is not a number",
    "1000;-inf": "line 10: '-inf' is not a number",
    "1000;1e999": "line 10: '1e999' is not a number",
    "1e999;3": "line 10: '1e999' is not a number",
    "1000;=1+1": "line 10: '=1\\+1' is not a number",
    "1000;__import__('os')": "is not a number",
    "1000;": "has 1 columns instead of 2",
    "1000;1;2;3": "has 4 columns instead of 2",
    "950": "has 1 columns instead of 2",
    "1000;0x10": "'0x10' is not a number",
    "1000;1_000": "'1_000' is not a number",
    "1000;٣": "is not a number",
    "1000;5000": "a level of '5000'; expected -400 to 400 dB",
    "-1000;3": "a frequency of '-1000'; expected 0.001 to",
    "2e6;3": "a frequency of '2e6'",
    "900;3": "line 10: 900 Hz after 900 Hz; frequencies rise",
    "850;3": "line 10: 850 Hz after 900 Hz; frequencies rise",
    "end of file": "has 1 columns instead of 2",
    "1000;" + "9" * 1900: "is not a number",
    "1000;" + "9" * 3000: "line 10 has 3,005 characters",
    "1000;3\0": "line 10 holds a zero byte",
}


@pytest.mark.parametrize("line", WRONG_LINES, ids=lambda line: ascii(line)[:30])
def test_a_wrong_line_is_named(line: str) -> None:
    with pytest.raises(DescriptionError, match=rf"^a\.csv: .*{WRONG_LINES[line]}"):
        read_curve((GOOD + line + "\n").encode(), "a.csv")


WRONG_TEXTS = {
    "": "0 lines begin with a number, 5 are needed",
    "no numbers here\n" * 20: "begins with 'no numbers here'",
    "100;1\n200;2\n": "2 lines begin with a number",
    "100\n200\n300\n400\n500\n600\n": "is not a row of two or more numbers",
    "".join(f"{n},5,{n},5\n" for n in range(20, 40)): "can be read as 4 numbers or as fewer with decimal commas",
    "".join(f"{n},5,3\n" for n in range(20, 40)): "can be read as 3 numbers or as fewer",
    "Hz;Vout [V]\n" + GOOD: "'Vout \\[V\\]' is in volts; levels in dB are read",
    "Hz;phase\n" + GOOD: "no column of levels",
    "".join(f"{n};" * 40 + "\n" for n in range(1, 20)): "40 columns; at most 30",
    "1;1\n" * 200_001: "200,001 lines; at most 200,000",
}


@pytest.mark.parametrize("text", WRONG_TEXTS, ids=lambda text: ascii(text)[:30])
def test_a_wrong_text_is_refused(text: str) -> None:
    with pytest.raises(DescriptionError, match=rf"^a\.csv: .*{WRONG_TEXTS[text]}"):
        read_curve(text.encode(), "a.csv")


def test_whole_numbers_with_a_header_have_one_meaning() -> None:
    curve = read_curve(b"Hz,dB,deg\n" + b"".join(b"%d,5,3\n" % n for n in range(20, 40)), "a.csv")
    assert curve.frequency[0] == 20.0
    assert curve.phase[0] == 3.0


@given(st.one_of(st.binary(max_size=400), st.text(max_size=400).map(lambda text: text.encode("utf-8", "replace"))))
@settings(max_examples=300)
def test_no_text_breaks_the_reader(rubbish: bytes) -> None:
    for content in (rubbish, GOOD.encode() + rubbish, rubbish + b"\n" + GOOD.encode()):
        try:
            curve = read_curve(content, "a.csv")
        except DescriptionError as refusal:
            assert str(refusal).startswith("a.csv: ")  # noqa: PT017 - both ways are right
        else:
            assert np.isfinite([*curve.frequency, *curve.level, *curve.phase]).all()
            assert (np.diff(curve.frequency) > 0).all()


def test_a_row_of_the_csv_library_comes_back() -> None:
    import csv

    text = io.StringIO()
    writer = csv.writer(text, quoting=csv.QUOTE_ALL)
    writer.writerows([["Hz", "dB"], *[[f"{n},5", f"-{n},25"] for n in range(20, 30)]])
    curve = read_curve(text.getvalue().encode(), "a.csv")
    assert curve.frequency == pytest.approx([n + 0.5 for n in range(20, 30)])
    assert curve.level == pytest.approx([-n - 0.25 for n in range(20, 30)])
