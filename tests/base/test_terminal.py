"""Output into whatever a terminal or a pipe has: nothing computed is lost for want of a sign."""

from __future__ import annotations

import errno
import io
import os
import subprocess
import sys
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from ampsim.base.terminal import spell_missing_signs
from ampsim.interface.commands.main import main

ROOT = Path(__file__).resolve().parents[2]
ENCODINGS = ("ascii", "iso-8859-1", "cp1252", "cp437", "utf-8")


class Into(io.TextIOWrapper):
    """What is printed into a file, a pipe or a console."""

    def __init__(self, encoding: str, console: bool = False) -> None:
        super().__init__(io.BytesIO(), encoding=encoding, newline="")
        self.console = console

    def isatty(self) -> bool:
        return self.console

    def printed(self) -> bytes:
        self.flush()
        return bytes(self.buffer.getvalue())  # type: ignore[attr-defined]


def written(text: str, encoding: str) -> str:
    """What a console gets, which keeps its encoding on every system."""
    stream = Into(encoding, console=True)
    spell_missing_signs(stream)
    stream.write(text)
    return stream.printed().decode(encoding)


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


def check(monkeypatch: pytest.MonkeyPatch, stream: Into, platform: str, encoding: str = "") -> bytes:
    """What `ampsim check` prints of an amp on a system of this name."""
    with monkeypatch.context() as patch:
        patch.setattr(sys, "stdout", stream)
        patch.setattr(sys, "platform", platform)
        patch.setenv("PYTHONIOENCODING", encoding)
        assert main(["check", str(ROOT / "models" / "amps" / "workshop-a.toml")]) == 0
    return stream.printed()


@pytest.mark.skipif(sys.platform == "win32", reason="Windows is played on another system; here it is the real one")
def test_windows_writes_into_a_pipe_what_others_write(monkeypatch: pytest.MonkeyPatch) -> None:
    usual = check(monkeypatch, Into("utf-8"), "linux")
    with pytest.raises(UnicodeEncodeError):
        usual.decode().encode("cp1252")
    assert check(monkeypatch, Into("cp1252"), "win32") == usual
    # A console, what was asked for, and other systems keep their encoding; what it lacks is spelled.
    spelled = usual.decode().replace("−", "-").encode("cp1252")
    assert check(monkeypatch, Into("cp1252", console=True), "win32") == spelled
    assert check(monkeypatch, Into("cp1252"), "win32", "cp1252") == spelled
    assert check(monkeypatch, Into("cp1252"), "linux") == spelled


class ReaderGone(Into):
    """A pipe whose reader has ended, as Windows or another system says it."""

    def __init__(self, number: int) -> None:
        super().__init__("utf-8")
        self.number = number

    def write(self, _: str) -> int:
        raise OSError(self.number, os.strerror(self.number))


@pytest.mark.parametrize(("platform", "number", "quiet"), [
    ("win32", errno.EINVAL, True), ("linux", errno.EPIPE, True), ("win32", errno.EPIPE, True),
    ("linux", errno.EINVAL, False), ("win32", errno.ENOSPC, False),
])  # fmt: skip
def test_a_reader_that_has_had_enough_is_no_fault(
    monkeypatch: pytest.MonkeyPatch, platform: str, number: int, quiet: bool
) -> None:
    said = Into("utf-8")
    with monkeypatch.context() as patch:
        patch.setattr(sys, "stdout", ReaderGone(number))
        patch.setattr(sys, "stderr", said)
        patch.setattr(sys, "platform", platform)
        assert main(["models"]) == (0 if quiet else 1)
    assert said.closed == quiet


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
