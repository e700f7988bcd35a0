"""The commands around a job and a measured sweep, as typed."""

from __future__ import annotations

import subprocess
import sys
from pathlib import Path

import numpy as np
import pytest

from ampsim.analyses import FrequencySweep
from ampsim.cli import main
from ampsim.library import load_amp, parse_mod
from ampsim.measures import gain_db
from ampsim.mods import apply
from ampsim.record import read
from ampsim.response import simulate

JOB_STEPS = ("begin", "wish", "state", "show", "cautions", "parts", "steps")


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    home = tmp_path_factory.mktemp("jobs") / "one"
    words = ["--owner", "Somebody", "--words", "more sparkle when quiet"]
    assert main(["job", "begin", str(home), "--amp", "workshop-a", "--mod", "bright-switch", *words]) == 0
    return home


def said(capsys: pytest.CaptureFixture[str], *order: str) -> str:
    assert main(order) == 0
    return capsys.readouterr().out


def test_a_job_goes_through_its_steps(folder: Path, capsys: pytest.CaptureFixture[str], tmp_path: Path) -> None:
    said(capsys, "job", "wish", str(folder), "sparkle with the gain low", "--note", "bright switch")
    said(capsys, "job", "state", str(folder), "on the bench")
    told = said(capsys, "job", "show", str(folder))
    assert all(words in told for words in ("Somebody", "more sparkle when quiet", "on the bench", "NO BLEEDER"))
    assert [each.state for each in read(folder).states] == ["taken in", "on the bench"]
    listed = said(capsys, "job", "parts", str(folder), "--to", str(tmp_path / "parts.csv"))
    assert "C101" in listed
    assert "120p" in (tmp_path / "parts.csv").read_text("utf-8")
    assert "MAKE SAFE" in said(capsys, "job", "steps", str(folder))
    assert "lethal" in said(capsys, "job", "cautions", str(folder))


def test_a_state_that_is_none_is_refused_and_nothing_is_written(
    folder: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    before = (folder / "job.toml").read_bytes()
    assert main(["job", "state", str(folder), "on the bnech"]) == 1
    assert "on the bench" in capsys.readouterr().err
    assert (folder / "job.toml").read_bytes() == before


def test_a_job_is_not_begun_twice(folder: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["job", "begin", str(folder), "--amp", "workshop-b"]) == 1
    assert "a job in this folder already" in capsys.readouterr().err


def test_a_measured_sweep_is_laid_over_the_amp_and_a_part_found(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    stock = load_amp("workshop-a")
    other = parse_mod({"name": "another value", "reason": "invented", "edits": [{"replace": "C4", "with": "330p"}]})
    gain = gain_db(simulate(apply(stock, other), FrequencySweep(), nodes=["speaker"]), "speaker")
    rows = zip(gain["frequency"].values, np.ravel(gain.values) - 20.0, strict=True)
    lines = [f"{hertz:.2f};{level:.3f}".replace(".", ",") for hertz, level in rows]
    (tmp_path / "bench.csv").write_text("\n".join(["# invented", "Hz;dB", *lines]), "utf-8")
    order = ["measured", str(tmp_path / "bench.csv"), "--amp", "workshop-a", "--fit", "C4"]
    told = said(capsys, *order, "--to", str(tmp_path / "picture.png"))
    assert (tmp_path / "picture.png").stat().st_size > 10_000
    assert "330p" in told
    assert "lethal" in told


def test_the_tone_is_a_wav_file(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert "sweep from" in said(capsys, "tone", str(tmp_path / "tone.wav"))
    assert (tmp_path / "tone.wav").read_bytes()[:4] == b"RIFF"


@pytest.mark.parametrize("step", JOB_STEPS)
def test_every_step_explains_itself(step: str, capsys: pytest.CaptureFixture[str]) -> None:
    with pytest.raises(SystemExit, match="0"):
        main(["job", step, "--help"])
    assert "folder" in capsys.readouterr().out


def test_help_loads_nothing_heavy() -> None:
    ask = (
        "import sys\nfrom ampsim.cli import _parser\n_parser().format_help()\n"
        "print([name for name in ('numpy', 'xarray', 'matplotlib', 'scipy') if name in sys.modules])"
    )
    done = subprocess.run([sys.executable, "-c", ask], capture_output=True, text=True, check=True)
    assert done.stdout.strip() == "[]"
