"""FLAC in; and WAV as other readers and writers have it."""

from __future__ import annotations

import io
from pathlib import Path

import numpy as np
import pytest
import soundfile
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from ampsim.base import wav
from ampsim.base.errors import DescriptionError
from ampsim.base.wav import read_wav, wav_bytes

NUMBERS = np.random.default_rng(4).integers(-(2**23), 2**23, (4801, 2)).astype("<i4")


def flac(bits: int = 24, rate: int = 48_000) -> bytes:
    """A file of the numbers above, in their upper bits."""
    content = io.BytesIO()
    soundfile.write(content, NUMBERS << 8, rate, f"PCM_{bits}", format="FLAC")
    return content.getvalue()


def test_a_flac_file_holds_what_a_wav_file_holds(tmp_path: Path) -> None:
    (tmp_path / "a.flac").write_bytes(flac())
    (tmp_path / "a.wav").write_bytes(wav_bytes(NUMBERS / 2.0**23, 48_000))
    one, other = read_wav(tmp_path / "a.flac"), read_wav(tmp_path / "a.wav")
    assert np.array_equal(one.samples, other.samples)
    assert (one.rate, one.top, one.form) == (other.rate, other.top, other.form)
    assert np.array_equal(one.samples, NUMBERS / 2.0**23)


def test_other_readers_read_our_numbers() -> None:
    for bits in (16, 24, 32):
        scale = 2.0 ** (bits - 1)
        samples = np.array([[-1.0, 1.0], [0.0, 1 / scale], [-1 / scale, 1 - 1 / scale], [0.5, -0.25]])
        found, rate = soundfile.read(io.BytesIO(wav_bytes(samples, 96_000, bits)), dtype="int32")
        assert rate == 96_000
        assert np.array_equal(found, np.clip(samples * 2.0**31, -(2.0**31), 2.0**31 - 2.0 ** (32 - bits)))


def test_flac_files_beyond_bounds_are_refused(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    path = tmp_path / "a.flac"
    path.write_bytes(flac()[:20_000])
    with pytest.raises(DescriptionError, match=r"^a\.flac: "):
        read_wav(path)
    path.write_bytes(flac(rate=4000))
    with pytest.raises(DescriptionError, match=r"^a\.flac: 4,000 samples a second; expected 8,000 to 384,000"):
        read_wav(path)
    silence = io.BytesIO()
    soundfile.write(silence, np.zeros((100_000, 2), "<i4"), 48_000, "PCM_24", format="FLAC")
    path.write_bytes(silence.getvalue())
    monkeypatch.setattr(wav, "MOST_BYTES", 100_000)
    assert len(silence.getvalue()) < wav.MOST_BYTES
    with pytest.raises(DescriptionError, match=r"^a\.flac: 600,000 bytes of samples; 1 to 100,000 are read"):
        read_wav(path)


@settings(
    max_examples=60, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture, HealthCheck.too_slow]
)
@given(st.integers(0, 12_000), st.binary(max_size=60))
def test_no_flac_breaks_the_reader(tmp_path: Path, keep: int, rubbish: bytes) -> None:
    path = tmp_path / "a.flac"
    path.write_bytes(b"fLaC" + flac()[4 : 4 + keep] + rubbish + flac()[4 + keep + len(rubbish) :])
    try:
        assert np.isfinite(read_wav(path).samples).all()
    except DescriptionError as refusal:
        assert str(refusal).startswith("a.flac: ")  # noqa: PT017 - both ways are right
