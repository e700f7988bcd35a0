"""What ampsim stands on is looked at file by file: damage of each kind is named with what mends it."""

from __future__ import annotations

import base64
import hashlib
import os
import subprocess
import sys
from importlib import metadata
from pathlib import Path

import pytest

from ampsim.interface import installation
from ampsim.interface.commands import models
from ampsim.interface.commands.main import main
from ampsim.simulation.ngspice import library as ngspice_library

ROOT = Path(__file__).resolve().parents[2]


@pytest.fixture
def thing(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """Install a small package that ampsim needs, and return its module."""
    info = tmp_path / "thing-1.5.dist-info"
    info.mkdir()
    module = tmp_path / "thing.py"
    module.write_text("answer = 42\n", "utf-8")
    digest = base64.urlsafe_b64encode(hashlib.sha256(module.read_bytes()).digest()).rstrip(b"=").decode()
    (info / "METADATA").write_text(
        "Metadata-Version: 2.1\nName: thing\nVersion: 1.5\nLicense-Expression: MIT\n", "utf-8"
    )
    (info / "RECORD").write_text(f"thing.py,sha256={digest},12\nthing-1.5.dist-info/METADATA,,\n", "utf-8")
    monkeypatch.syspath_prepend(str(tmp_path))
    monkeypatch.setattr(installation, "needed_packages", lambda: {"thing": metadata.distribution("thing")})
    return module


def test_a_package_as_installed_is_whole(thing: Path) -> None:
    assert thing.exists()
    assert list(installation.package_faults()) == []
    assert installation.licences() == [installation.Licence("thing", "1.5", "MIT")]


@pytest.mark.parametrize("harm", ["truncated", "one byte", "missing"])
def test_a_damaged_package_is_named_with_its_remedy(
    thing: Path, harm: str, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    if harm == "missing":
        thing.unlink()
    else:
        thing.write_text("answer =" if harm == "truncated" else "answer = 43\n", "utf-8")
    assert main(["selftest"]) == 1
    told = capsys.readouterr()
    assert "package thing 1.5: 1 of its files missing or damaged, the first thing.py" in told.out
    assert "pip install --force-reinstall --no-deps thing==1.5" in told.out
    assert "--repair" in told.err
    carried_out = []

    def run(words: list[str], **_: object) -> subprocess.CompletedProcess[str]:
        carried_out.append(words)
        return subprocess.CompletedProcess(words, 0)

    monkeypatch.setattr(installation.subprocess, "run", run)
    assert main(["selftest", "--repair"]) == 0
    assert [words[-1] for words in carried_out] == ["thing==1.5"]


def test_a_missing_package_is_named(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(installation, "needed_packages", lambda: {"thing": None})
    (fault,) = installation.package_faults()
    assert str(fault).startswith("package thing: missing; this mends it:")


def test_what_is_needed_follows_the_project_file() -> None:
    found = installation.needed_packages()
    assert {"numpy", "scipy", "pyspice", "llvmlite", "cffi"} <= set(found)
    assert not {"pytest", "jupyterlab", "hypothesis"} & set(found)
    assert None not in found.values()
    terms = {each.name: each.terms for each in installation.licences()}
    assert "General Public License" in terms["pyspice"]
    assert "not stated" not in terms.values()


@pytest.mark.parametrize("harm", ["truncated", "missing"])
def test_a_damaged_library_is_named(tmp_path: Path, harm: str) -> None:
    library = tmp_path / "libngspice.so.0"
    if harm == "truncated":
        library.write_bytes(ngspice_library.find().read_bytes()[:5000])
    ask = (
        "from ampsim.interface.installation import library_faults\n"
        "for fault in library_faults(): print(fault.what, '|', fault.wrong)"
    )
    environment = {**os.environ, "AMPSIM_NGSPICE": str(library)}
    done = subprocess.run(
        [sys.executable, "-c", ask], cwd=ROOT, env=environment, capture_output=True, encoding="utf-8", check=True
    )
    assert str(library) in done.stdout
    assert "Traceback" not in done.stdout + done.stderr


def test_the_library_there_is_answers() -> None:
    assert list(installation.library_faults()) == []


def test_compiled_code_that_was_cut_short_is_thrown_away(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("NUMBA_CACHE_DIR", str(tmp_path))
    assert list(installation.compiled_faults()) == []
    (folder,) = tmp_path.iterdir()
    (folder / "whole.nbc").write_bytes(b"pickle.")
    assert list(installation.compiled_faults()) == []
    (folder / "short.nbi").write_bytes(b"pick")
    (fault,) = installation.compiled_faults()
    assert "short.nbi" in str(fault)
    assert installation.mend(fault)
    assert not folder.exists()


@pytest.mark.parametrize(
    ("command", "words"),
    [
        ("MPLBACKEND=nonsense {ampsim} audition --to {folder}", "MPLBACKEND"),
        ("{ampsim} models > /dev/full", "No space left"),
        ("ulimit -n 12; {ampsim} audition --to {folder}", "Too many open files"),
    ],
)
@pytest.mark.skipif(sys.platform != "linux", reason="limits and devices of Linux")
def test_a_poor_place_to_work_in_ends_in_a_message(tmp_path: Path, command: str, words: str) -> None:
    ready = command.format(ampsim=f'"{sys.executable}" -m ampsim', folder=f'"{tmp_path / "out"}"')
    environment = {**os.environ, "PYTHONPATH": str(ROOT)}
    done = subprocess.run(["bash", "-c", ready], env=environment, capture_output=True, encoding="utf-8", check=False)
    assert done.returncode == 1
    assert words in done.stderr
    assert "Traceback" not in done.stderr


def test_too_little_memory_ends_in_a_message(
    monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    """Asked for here: under a limit the interpreter may ask for ever for what it needs to raise the error."""
    monkeypatch.setattr(models, "_models", lambda _: bytearray(1 << 62))
    assert main(["models"]) == 1
    told = capsys.readouterr().err
    assert "memory" in told
    assert "Traceback" not in told


@pytest.mark.parametrize("problem", [ImportError("file too short"), SyntaxError("invalid"), EOFError("marshal data")])
@pytest.mark.usefixtures("thing")
def test_a_crash_that_looks_like_damage_is_followed_up(
    problem: Exception, thing: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    thing.write_text("", "utf-8")

    def crash(_: object) -> None:
        raise problem

    monkeypatch.setattr(models, "_models", crash)
    assert main(["models"]) == 1
    told = capsys.readouterr().err
    assert str(problem) in told
    assert "package thing 1.5" in told
    assert "selftest" in told
