"""The set-up: what `.ci/ready.py` takes as done, and where the ngspice library is looked for."""

from __future__ import annotations

import ctypes
import importlib.util
import os
import subprocess
import sys
from pathlib import Path
from types import ModuleType

import pytest

from ampsim.base.errors import EngineError
from ampsim.simulation.ngspice import library as ngspice_library

ROOT = Path(__file__).resolve().parent.parent
READY = ROOT / ".ci" / "ready.py"


def load_ready(path: Path) -> ModuleType:
    spec = importlib.util.spec_from_file_location("ready_under_test", path)
    assert spec is not None
    assert spec.loader is not None
    module = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(module)
    return module


def copy_clone(folder: Path) -> ModuleType:
    """Copy what the set-up script reads of a clone."""
    (folder / ".ci").mkdir(parents=True)
    (folder / ".ci" / "ready.py").write_bytes(READY.read_bytes())
    (folder / "pyproject.toml").write_bytes((ROOT / "pyproject.toml").read_bytes())
    return load_ready(folder / ".ci" / "ready.py")


@pytest.fixture
def ready(tmp_path: Path) -> ModuleType:
    """Return the set-up script of a clone that is set up with this Python (nothing is installed)."""
    module = copy_clone(tmp_path / "clone")
    module.PYTHON.parent.mkdir(parents=True)
    module.PYTHON.symlink_to(sys.executable)
    module.STAMP.write_text(module.packages_stamp(), "utf-8")
    library = tmp_path / "libngspice.so.0"
    library.touch()
    module.LIBRARY.write_text(str(library), "utf-8")
    return module


@pytest.fixture(autouse=True)
def no_setting(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.delenv("AMPSIM_NGSPICE", raising=False)


def test_a_set_up_clone_is_taken_as_it_is(ready: ModuleType) -> None:
    assert ready.packages_ready()
    assert ready.library_ready()
    command = [
        sys.executable,
        ready.ROOT / ".ci" / "ready.py",
        "-c",
        "import sys; print(sys.argv[1:])",
        "a b",
    ]
    done = subprocess.run(command, capture_output=True, text=True, check=True)
    assert done.stdout == "['a b']\n"
    assert done.stderr == ""


def test_the_exit_status_is_that_of_the_command(ready: ModuleType) -> None:
    command = [sys.executable, ready.ROOT / ".ci" / "ready.py", "-c", "raise SystemExit(7)"]
    assert subprocess.run(command, check=False).returncode == 7


def test_a_broken_set_up_is_done_again(ready: ModuleType) -> None:
    ready.STAMP.unlink()
    assert not ready.packages_ready()


def test_a_changed_pyproject_is_noticed(ready: ModuleType) -> None:
    with (ready.ROOT / "pyproject.toml").open("a") as file:
        file.write("\n")
    assert not ready.packages_ready()


def test_a_moved_clone_is_noticed(ready: ModuleType, tmp_path: Path) -> None:
    ready.ROOT.rename(tmp_path / "moved")
    moved = load_ready(tmp_path / "moved" / ".ci" / "ready.py")
    assert moved.STAMP.is_file()
    assert not moved.packages_ready()


def test_another_python_behind_the_environment_is_noticed(ready: ModuleType, tmp_path: Path) -> None:
    newer = tmp_path / "python-newer"
    newer.touch()
    ready.PYTHON.unlink()
    ready.PYTHON.symlink_to(newer)
    assert not ready.packages_ready()


def test_a_library_that_went_away_is_noticed(ready: ModuleType, monkeypatch: pytest.MonkeyPatch) -> None:
    Path(ready.LIBRARY.read_text("utf-8")).unlink()
    assert not ready.library_ready()
    monkeypatch.setenv("AMPSIM_NGSPICE", "elsewhere")
    assert ready.library_ready()


def test_what_cannot_be_got_is_named_with_its_command(tmp_path: Path) -> None:
    folder = tmp_path / "clone with spaces"
    copy_clone(folder)
    inner = Path("ampsim", "simulation", "ngspice")
    (folder / "ampsim" / "base").mkdir(parents=True)
    (folder / inner).mkdir(parents=True)
    packages = ("ampsim", "ampsim/base", "ampsim/simulation", "ampsim/simulation/ngspice")
    for name in (*(f"{each}/__init__.py" for each in packages), "ampsim/base/errors.py", f"{inner}/library.py"):
        (folder / name).write_bytes((ROOT / name).read_bytes())
    # An empty PATH hides apt-get; the candidates are emptied, as on a system without ngspice.
    with (folder / inner / "library.py").open("a") as file:
        file.write("\ndef candidates():\n    return []\n")
    command: list[str | Path] = [sys.executable, folder / ".ci" / "ready.py", "-c", "pass"]
    done = subprocess.run(command, env={"PATH": ""}, capture_output=True, text=True, check=False)
    assert done.returncode == 1
    assert "apt-get install libngspice0" in done.stderr
    assert "Traceback" not in done.stderr


def test_a_failing_step_shows_its_last_words_and_the_command(
    ready: ModuleType, capfd: pytest.CaptureFixture[str]
) -> None:
    with pytest.raises(SystemExit, match="1"):
        ready.run([sys.executable, "-c", "raise SystemExit('no space left')"], "the thing", "get thing")
    shown = capfd.readouterr().err
    assert "no space left" in shown
    assert "could not get the thing" in shown
    assert "get thing" in shown


def test_a_second_set_up_waits_for_the_steps_of_a_killed_one(ready: ModuleType) -> None:
    fcntl = pytest.importorskip("fcntl")
    with (ready.SETUP / "lock").open("w") as lock:
        os.set_inheritable(lock.fileno(), True)
        ready.wait_for_others(lock.fileno())
        step = subprocess.Popen([sys.executable, "-c", "input()"], stdin=subprocess.PIPE, close_fds=False)
    with (ready.SETUP / "lock").open("w") as second:
        with pytest.raises(BlockingIOError):
            fcntl.flock(second, fcntl.LOCK_EX | fcntl.LOCK_NB)
        step.communicate(b"\n")
        fcntl.flock(second, fcntl.LOCK_EX | fcntl.LOCK_NB)


def test_the_library_found_is_ngspice() -> None:
    path = ngspice_library.find()
    ngspice_library.preload(path)
    assert path.is_absolute()
    assert ctypes.CDLL(str(path)).ngSpice_Init


def test_the_setting_comes_first(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> None:
    chosen = tmp_path / "libngspice.so.0"
    chosen.touch()
    monkeypatch.setenv("AMPSIM_NGSPICE", str(chosen))
    assert ngspice_library.find() == chosen
    chosen.unlink()
    with pytest.raises(EngineError, match="AMPSIM_NGSPICE"):
        ngspice_library.find()


@pytest.mark.skipif(sys.platform != "linux", reason="the places of Linux systems")
def test_the_private_library_comes_before_the_system_s(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> None:
    private = tmp_path / "usr" / "lib" / "some-arch" / "libngspice.so.0"
    private.parent.mkdir(parents=True)
    private.touch()
    monkeypatch.setattr(ngspice_library, "PRIVATE", tmp_path)
    assert ngspice_library.find() == private


def test_no_library_is_an_error_that_names_places_and_the_command(
    monkeypatch: pytest.MonkeyPatch, tmp_path: Path
) -> None:
    monkeypatch.setattr(ngspice_library, "candidates", lambda: [tmp_path / "absent.so"])
    monkeypatch.setattr(sys, "platform", "linux")
    with pytest.raises(EngineError, match="apt-get install libngspice0") as caught:
        ngspice_library.find()
    assert "absent.so" in str(caught.value)


def test_a_damaged_openmp_library_beside_it_is_reported(tmp_path: Path) -> None:
    (tmp_path / "libgomp.so.1").write_text("no library")
    with pytest.raises(OSError, match="libgomp"):
        ngspice_library.preload(tmp_path / "libngspice.so.0")
