"""Output into whatever a terminal or a pipe has: nothing computed is lost for want of a sign."""

from __future__ import annotations

import io
import os
import subprocess
import sys
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from ampsim.base.terminal import spell_missing_signs

ROOT = Path(__file__).resolve().parents[2]
ENCODINGS = ("ascii", "iso-8859-1", "cp1252", "cp437", "utf-8")


def written(text: str, encoding: str) -> str:
    stream = io.TextIOWrapper(io.BytesIO(), encoding=encoding, newline="")
    spell_missing_signs(stream)
    stream.write(text)
    stream.flush()
    return stream.buffer.getvalue().decode(encoding)  # type: ignore[attr-defined]


@given(st.text(), st.sampled_from(ENCODINGS))
def test_any_text_can_be_written_and_keeps_what_the_encoding_has(text: str, encoding: str) -> None:
    try:
        text.encode(encoding)
    except UnicodeEncodeError:
        assert written(text, encoding)
    else:
        assert written(text, encoding) == text


def test_signs_of_the_trade_are_spelled() -> None:
    assert written("22 µF, 4.7 kΩ, 90°, −3 dB", "ascii") == "22 uF, 4.7 kohm, 90 deg, -3 dB"
    assert written("µ", "cp1252") == "µ"


@pytest.mark.parametrize("encoding", ["ascii", "cp1252"])
def test_a_command_ends_well_at_a_poor_terminal(tmp_path: Path, encoding: str) -> None:
    text = (ROOT / "models" / "amps" / "lesson-stage.toml").read_text("utf-8")
    (tmp_path / "amp.toml").write_text(text.replace("one stage for lessons", "Ω→stage № 1 – 10 µ"), "utf-8")
    environment = {**os.environ, "PYTHONIOENCODING": encoding, "PYTHONPATH": str(ROOT)}
    command = [sys.executable, "-m", "ampsim", "check", "amp.toml"]
    done = subprocess.run(command, cwd=tmp_path, env=environment, capture_output=True, check=False)
    assert done.returncode == 0, done.stderr
    assert "ohm->stage ?" in done.stdout.decode(encoding)
    environment["PYTHONIOENCODING"] = encoding
    bad = [*command[:-1], "nothing-Ω.toml"]
    done = subprocess.run(bad, cwd=tmp_path, env=environment, capture_output=True, check=False)
    assert done.returncode == 1
    assert "no such file" in done.stderr.decode(encoding)
