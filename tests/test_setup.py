"""The set-up: what `.ci/ready.py` takes as done, and where the ngspice library is looked for."""

from __future__ import annotations

import importlib.util
import os
import signal
import subprocess
import sys
import threading
import tomllib
from collections.abc import Iterator
from pathlib import Path
from types import ModuleType, SimpleNamespace

import pytest
from packaging.requirements import Requirement
from packaging.utils import canonicalize_name
from packaging.version import Version

from ampsim.base.errors import EngineError
from ampsim.simulation.ngspice import fetching
from ampsim.simulation.ngspice import library as ngspice_library
from tests.tools.lock import EXTRAS, entries
from tests.tools.systems import wait_for

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
    (folder / ".ci" / "locked").mkdir()
    for file in (ROOT / ".ci" / "locked").iterdir():
        (folder / ".ci" / "locked" / file.name).write_bytes(file.read_bytes())
    (folder / "pyproject.toml").write_bytes((ROOT / "pyproject.toml").read_bytes())
    return load_ready(folder / ".ci" / "ready.py")


@pytest.fixture
def ready(tmp_path: Path) -> ModuleType:
    """Return the set-up script of a clone that is set up with this Python (nothing is installed)."""
    module = copy_clone(tmp_path / "clone")
    module.PYTHON.parent.mkdir(parents=True)
    module.PYTHON.symlink_to(sys.executable)
    module.STAMP.write_text(module.packages_stamp("notebooks"), "utf-8")
    library = tmp_path / "libngspice.so.0"
    library.touch()
    module.LIBRARY.write_text(str(library), "utf-8")
    return module


SETTING = os.environ.get("AMPSIM_NGSPICE", "")


@pytest.fixture(autouse=True)
def no_setting(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.delenv("AMPSIM_NGSPICE", raising=False)


@pytest.fixture
def interrupts_as_before() -> Iterator[None]:
    before = signal.getsignal(signal.SIGINT)
    yield
    signal.signal(signal.SIGINT, before)


def test_a_set_up_clone_is_taken_as_it_is(ready: ModuleType) -> None:
    assert ready.packages_ready("core")
    assert ready.library_ready()
    command = [
        sys.executable,
        ready.ROOT / ".ci" / "ready.py",
        "-c",
        "import sys; print(sys.argv[1:])",
        "a b",
    ]
    done = subprocess.run(command, capture_output=True, encoding="utf-8", check=True)
    assert done.stdout == "['a b']\n"
    assert done.stderr == ""


def test_the_exit_status_is_that_of_the_command(ready: ModuleType) -> None:
    command = [sys.executable, ready.ROOT / ".ci" / "ready.py", "-c", "raise SystemExit(7)"]
    assert subprocess.run(command, check=False).returncode == 7


@pytest.mark.usefixtures("interrupts_as_before")
def test_on_windows_the_command_is_a_child_that_writes_utf8(
    ready: ModuleType, monkeypatch: pytest.MonkeyPatch, capfd: pytest.CaptureFixture[str]
) -> None:
    monkeypatch.setattr(ready, "ON_WINDOWS", True)
    monkeypatch.delenv("PYTHONUTF8", raising=False)
    (ready.VENV / "pyvenv.cfg").write_text("home = C:\\Python\n", "utf-8")
    ready.STAMP.write_text(ready.packages_stamp("core"), "utf-8")
    # Ctrl-C is the command's affair: the one that waits for it lives on.
    text = "import os, signal, sys; os.kill(os.getppid(), signal.SIGINT); print(sys.flags.utf8_mode); sys.exit(7)"
    monkeypatch.setattr(sys, "argv", ["ready.py", "-c", text])
    with pytest.raises(SystemExit, match="7"):
        ready.main()
    assert capfd.readouterr().out == "1\n"


def test_a_python_that_went_away_is_noticed_on_windows(
    ready: ModuleType, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(ready, "ON_WINDOWS", True)
    (tmp_path / "python.exe").touch()
    (ready.VENV / "pyvenv.cfg").write_text(f"home = {tmp_path}\nversion = 3.13.2\n", "utf-8")
    ready.STAMP.write_text(ready.packages_stamp("core"), "utf-8")
    assert ready.packages_ready("core")
    (tmp_path / "python.exe").unlink()
    assert not ready.packages_ready("core")


def test_a_mac_that_packages_are_not_made_for_is_told_so(
    ready: ModuleType, monkeypatch: pytest.MonkeyPatch, capfd: pytest.CaptureFixture[str]
) -> None:
    monkeypatch.setattr(sys, "platform", "darwin")
    monkeypatch.setattr(ready.os, "uname", lambda: SimpleNamespace(machine="x86_64"))
    with pytest.raises(SystemExit, match="1"):
        ready.main()
    assert "Apple silicon" in capfd.readouterr().err


@pytest.mark.parametrize("system", ["win32", "darwin", "linux"])
def test_a_hint_is_one_for_this_system(ready: ModuleType, monkeypatch: pytest.MonkeyPatch, system: str) -> None:
    monkeypatch.setattr(sys, "platform", system)
    for hint in (ready.by_hand("apt-get install python3-venv"), ngspice_library.by_hand()):
        assert ("apt-get" in hint) == (system == "linux")


@pytest.mark.parametrize("system", ["win32", "darwin", "linux"])
def test_a_wheel_is_fetched_when_there_is_a_pip_and_debian_s_before_the_packages(
    ready: ModuleType, monkeypatch: pytest.MonkeyPatch, system: str
) -> None:
    steps: list[str] = []
    monkeypatch.setattr(ready, "is_linux", lambda: system == "linux")
    monkeypatch.setattr(ready, "set_up_packages", lambda _: steps.append("packages"))
    found = iter([("", "there is none"), ("the library", "")])
    monkeypatch.setattr(ready, "usable_library", lambda: next(found))

    def fetch(target: Path, python: Path, _: Path) -> None:
        assert (target, python) == (ready.LIBNGSPICE, ready.PYTHON)
        steps.append("library")

    monkeypatch.setattr(fetching, "fetch_library", fetch)
    ready.set_up("core")
    assert steps == (["library", "packages"] if system == "linux" else ["packages", "library"])
    assert ready.LIBRARY.read_text("utf-8") == "the library"


def test_a_library_that_ends_whatever_loads_it_is_not_taken(
    ready: ModuleType, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    damaged = tmp_path / "libngspice"
    damaged.write_bytes(b"no library")
    monkeypatch.setenv("AMPSIM_NGSPICE", str(damaged))
    monkeypatch.setattr(ready, "ROOT", ROOT)
    assert ready.usable_library()[0] == ""
    assert "no shared library" in ready.usable_library()[1]
    monkeypatch.setattr(ready, "LOAD", "import os; os.abort()")
    assert ready.usable_library() == ("", f"loading ngspice ends with {-signal.SIGABRT}")


def test_the_lock_of_windows_is_waited_for(
    ready: ModuleType, monkeypatch: pytest.MonkeyPatch, capfd: pytest.CaptureFixture[str]
) -> None:
    answers = iter([PermissionError(13, "Permission denied"), PermissionError(13, "Permission denied"), None])
    asked = []

    def locking(handle: int, mode: int, count: int) -> None:
        asked.append((handle, mode, count))
        if problem := next(answers):
            raise problem

    monkeypatch.setitem(sys.modules, "msvcrt", SimpleNamespace(locking=locking, LK_NBLCK=2))
    monkeypatch.setattr(sys, "platform", "win32")
    ready.wait_for_others(5)
    assert asked == [(5, 2, 1)] * 3
    assert capfd.readouterr().err.count("waiting for it to end") == 1


@pytest.mark.parametrize(
    ("arguments", "level"),
    [
        ("", "core"),
        ("script.py", "core"),
        ("-c pass", "core"),
        ("-m ampsim audition", "core"),
        ("-m ampsim notebooks", "notebooks"),
        ("-m ampsim panel JOB", "notebooks"),
        ("-m jupyterlab", "notebooks"),
        ("-m pytest -n auto", "tests"),
        ("-m tests.truth", "tests"),
        ("-m mypy", "tests"),
    ],
)
def test_a_command_gets_what_it_needs_and_no_more(ready: ModuleType, arguments: str, level: str) -> None:
    assert ready.level_of(arguments.split()) == level


def test_a_level_holds_those_below_it(ready: ModuleType) -> None:
    assert [ready.packages_ready(level) for level in ready.LEVELS] == [True, True, False]


def test_a_broken_set_up_is_done_again(ready: ModuleType) -> None:
    ready.STAMP.unlink()
    assert not ready.packages_ready("core")


def test_a_changed_byte_of_the_project_file_needs_no_set_up(ready: ModuleType) -> None:
    with (ready.ROOT / "pyproject.toml").open("a", encoding="utf-8") as file:
        file.write("\n")
    assert ready.packages_ready("core")


def test_a_changed_list_of_packages_is_noticed(ready: ModuleType) -> None:
    with (ready.ROOT / ".ci" / "locked" / "core.txt").open("a", encoding="utf-8") as file:
        file.write("\n")
    assert not ready.packages_ready("core")


@pytest.mark.parametrize("places", [("clone", "moved"), ("clone", "with spaces and ö"), ("clone", "clone2")])
def test_a_moved_clone_takes_its_environment_along(
    ready: ModuleType, tmp_path: Path, places: tuple[str, str], capfd: pytest.CaptureFixture[str]
) -> None:
    old, new = (tmp_path / place for place in places)
    packages = ready.VENV / "lib" / "python3.99" / "site-packages"
    packages.mkdir(parents=True)
    files = {
        "bin/tool": f"#!{old}/.setup/venv/bin/python\nprint('{old}/.setup/venv')\n",
        "bin/program": f"\0{old}/.setup",
        "pyvenv.cfg": f"home = /usr/bin\ncommand = /usr/bin/python3 -m venv {old}/.setup/venv\n",
        "lib/python3.99/site-packages/_ampsim.pth": f"{old}",
        "lib/python3.99/site-packages/other.pth": f"{old}-other\n{old}2\n",
    }
    for name, text in files.items():
        (ready.VENV / name).write_text(text, "utf-8")
    ready.ROOT.rename(new)
    moved = load_ready(new / ".ci" / "ready.py")
    assert not moved.packages_ready("core")
    moved.set_up_packages("core")
    assert moved.packages_ready("notebooks")
    assert "moved" in capfd.readouterr().err
    for name, text in files.items():
        wanted = (
            text
            if name in ("bin/program", "lib/python3.99/site-packages/other.pth")
            else text.replace(str(old), str(new))
        )
        assert (moved.VENV / name).read_text("utf-8") == wanted, name


def failing(*_: object, **__: object) -> bool:
    return False


def test_an_environment_that_works_is_kept_when_no_better_one_comes(
    ready: ModuleType, monkeypatch: pytest.MonkeyPatch, capfd: pytest.CaptureFixture[str]
) -> None:
    with (ready.ROOT / ".ci" / "locked" / "core.txt").open("a", encoding="utf-8") as file:
        file.write("\n")
    monkeypatch.setattr(ready, "install", failing)
    monkeypatch.setattr(ready, "make_virtual_environment", lambda folder: folder / "bin" / "python")
    monkeypatch.setattr(ready, "works", lambda: True)
    before = ready.STAMP.read_text("utf-8")
    ready.set_up_packages("core")
    assert "stay in use" in capfd.readouterr().err
    assert ready.STAMP.read_text("utf-8") == before
    assert ready.PYTHON.exists()
    # What the old one lacks cannot run.
    with pytest.raises(SystemExit):
        ready.set_up_packages("tests")
    assert "connect to the network" in capfd.readouterr().err
    assert ready.PYTHON.exists()


def test_a_new_environment_takes_the_place_of_the_old_one_when_it_is_whole(
    ready: ModuleType, monkeypatch: pytest.MonkeyPatch
) -> None:
    (ready.VENV / "old").touch()
    ready.STAMP.unlink()

    def make(folder: Path) -> Path:
        (folder / "bin").mkdir(parents=True)
        (folder / "bin" / "python").symlink_to(sys.executable)
        (folder / "bin" / "tool").write_text(f"#!{folder}/bin/python\n", "utf-8")
        return folder / "bin" / "python"

    def install(python: Path, _: object) -> bool:
        assert (ready.VENV / "old").exists(), "the old one was given up too early"
        return python.exists()

    monkeypatch.setattr(ready, "make_virtual_environment", make)
    monkeypatch.setattr(ready, "install", install)
    monkeypatch.setattr(ready, "run", lambda *_, **__: True)
    ready.set_up_packages("core")
    assert ready.packages_ready("core")
    assert not (ready.VENV / "old").exists()
    assert (ready.VENV / "bin" / "tool").read_text("utf-8") == f"#!{ready.VENV}/bin/python\n"
    assert {each.name for each in ready.SETUP.iterdir()} == {"venv", "library", "matplotlib"}


@pytest.mark.parametrize("form", ["-m", "-c"])
def test_a_file_of_the_working_folder_is_not_taken_for_python_s_own(
    ready: ModuleType, tmp_path: Path, form: str
) -> None:
    (tmp_path / "argparse.py").write_text("print('code of the folder ran')", "utf-8")
    word = "argparse" if form == "-m" else "import argparse; print(argparse.ArgumentParser.__name__)"
    command = [sys.executable, ready.ROOT / ".ci" / "ready.py", form, word]
    done = subprocess.run(command, cwd=tmp_path, capture_output=True, encoding="utf-8", check=True)
    assert "folder ran" not in done.stdout


def test_every_package_asked_for_is_locked_with_a_version_that_fits() -> None:
    locked: dict[str, list[Version]] = {}
    for level in ("core", "notebooks", "tests"):
        found = entries((ROOT / ".ci" / "locked" / f"{level}.txt").read_text("utf-8"))
        assert all("--hash=sha256:" in block for block in found.values())
        for head in found:
            name, version = head.split(";")[0].strip().split("==")
            locked.setdefault(name, []).append(Version(version))
        project = tomllib.loads((ROOT / "pyproject.toml").read_text("utf-8"))["project"]
        asked = list(project["dependencies"])
        asked += [each for extra in EXTRAS[level] for each in project["optional-dependencies"][extra]]
        for requirement in map(Requirement, asked):
            name = canonicalize_name(requirement.name)
            if name != "ampsim":
                assert all(version in requirement.specifier for version in locked[name]), requirement


def test_another_python_behind_the_environment_is_noticed(ready: ModuleType, tmp_path: Path) -> None:
    newer = tmp_path / "python-newer"
    newer.touch()
    ready.PYTHON.unlink()
    ready.PYTHON.symlink_to(newer)
    assert not ready.packages_ready("core")


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
    modules = [
        "ampsim/base/errors.py",
        "ampsim/base/system.py",
        *(f"{inner}/{each}.py" for each in ("library", "library_file", "fetching")),
    ]
    for name in (*(f"{each}/__init__.py" for each in packages), *modules):
        (folder / name).write_bytes((ROOT / name).read_bytes())
    # An empty PATH hides apt-get; the candidates are emptied, as on a system without ngspice.
    with (folder / inner / "library.py").open("a", encoding="utf-8") as file:
        file.write("\ndef candidates():\n    return []\n")
    command: list[str | Path] = [sys.executable, folder / ".ci" / "ready.py", "-c", "pass"]
    done = subprocess.run(command, env={"PATH": ""}, capture_output=True, encoding="utf-8", check=False)
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


def test_a_second_set_up_says_that_it_waits(ready: ModuleType, capfd: pytest.CaptureFixture[str]) -> None:
    with (
        (ready.SETUP / "lock").open("w", encoding="utf-8") as first,
        (ready.SETUP / "lock").open("w", encoding="utf-8") as second,
    ):
        ready.wait_for_others(first.fileno())
        assert capfd.readouterr().err == ""
        waiting = threading.Thread(target=ready.wait_for_others, args=(second.fileno(),))
        waiting.start()
        said: list[str] = []
        assert wait_for(lambda: said.append(capfd.readouterr().err) or "waiting for it to end" in "".join(said))
        waiting.join(0.5)
        assert waiting.is_alive()
        assert "".join([*said, capfd.readouterr().err]).count("waiting for it to end") == 1
        first.close()
        waiting.join(240)
        assert not waiting.is_alive()


def test_a_second_set_up_waits_for_the_steps_of_a_killed_one(ready: ModuleType) -> None:
    fcntl = pytest.importorskip("fcntl")
    with (ready.SETUP / "lock").open("w", encoding="utf-8") as lock:
        os.set_inheritable(lock.fileno(), True)
        ready.wait_for_others(lock.fileno())
        step = subprocess.Popen([sys.executable, "-c", "input()"], stdin=subprocess.PIPE, close_fds=False)
    with (ready.SETUP / "lock").open("w", encoding="utf-8") as second:
        with pytest.raises(BlockingIOError):
            fcntl.flock(second, fcntl.LOCK_EX | fcntl.LOCK_NB)
        step.communicate(b"\n")
        fcntl.flock(second, fcntl.LOCK_EX | fcntl.LOCK_NB)


def test_the_library_found_is_ngspice(monkeypatch: pytest.MonkeyPatch) -> None:
    if SETTING:
        monkeypatch.setenv("AMPSIM_NGSPICE", SETTING)
    path = ngspice_library.find()
    ngspice_library.load(path)
    assert path.is_absolute()


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
    assert "ampsim setup" in str(caught.value)
    for system in ("win32", "darwin"):
        monkeypatch.setattr(sys, "platform", system)
        with pytest.raises(EngineError) as caught:
            ngspice_library.find()
        assert "apt-get" not in str(caught.value)


def test_each_system_looks_in_its_own_places(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> None:
    monkeypatch.setenv("LOCALAPPDATA", str(tmp_path / "local"))
    monkeypatch.setenv("XDG_DATA_HOME", str(tmp_path / "data"))
    for system, name in (("win32", "ngspice.dll"), ("darwin", "libngspice.0.dylib")):
        monkeypatch.setattr(sys, "platform", system)
        monkeypatch.setattr(ngspice_library.ctypes.util, "find_library", lambda _: None)
        first, second = ngspice_library.candidates()[:2]
        assert first == ngspice_library.PRIVATE / name
        assert second == ngspice_library.user_folder() / name
        second.parent.mkdir(parents=True, exist_ok=True)


def test_a_damaged_openmp_library_beside_it_is_reported(tmp_path: Path) -> None:
    (tmp_path / "libgomp.so.1").write_text("no library", "utf-8")
    with pytest.raises(OSError, match="libgomp"):
        ngspice_library.preload(tmp_path / "libngspice.so.0")
