"""A Python with everything set up: `python3 .ci/ready.py ARGUMENTS` is `python ARGUMENTS` with ampsim in it.

The first run builds the hidden folder `.setup` in this clone; later runs go straight on and need no network.
Nothing outside `.setup` is changed, as root neither; `rm -r .setup` takes the set-up back.
Tried on Debian 12 and 13, as root and as a plain user. Not tried: macOS, Windows, other Linux systems.
"""

from __future__ import annotations

import hashlib
import os
import sys
from collections.abc import Sequence
from pathlib import Path

ROOT = Path(__file__).resolve().parent.parent
SETUP = ROOT / ".setup"
VENV = SETUP / "venv"
PYTHON = VENV / ("Scripts/python.exe" if os.name == "nt" else "bin/python")
STAMP = VENV / "complete"
LIBRARY = SETUP / "library"
LIBNGSPICE = SETUP / "libngspice"
PIP = SETUP / "pip"
APT = SETUP / "apt"
FONTS = SETUP / "matplotlib"
OLDEST = (3, 11)


def main() -> None:
    """Set up what is missing, then become the set-up Python."""
    if sys.version_info < OLDEST:
        give_up("needs Python 3.11 or newer, this is " + sys.version.split()[0], "apt-get install python3")
    if not (packages_ready() and library_ready()):
        set_up()
    command = [str(PYTHON), *sys.argv[1:]]
    if os.name == "nt":
        import subprocess

        sys.exit(subprocess.call(command, env=environment()))
    os.execve(PYTHON, command, environment())


def environment() -> dict[str, str]:
    """Return the environment of the set-up Python: font list, compiled code and computed sounds stay in the clone."""
    if os.access(FONTS, os.W_OK):
        kept = {"MPLCONFIGDIR": FONTS, "NUMBA_CACHE_DIR": SETUP / "compiled", "AMPSIM_CACHE": SETUP / "heard"}
        return {**{name: str(folder) for name, folder in kept.items()}, **os.environ}
    return dict(os.environ)


def packages_stamp() -> str:
    """Return what the installed packages depend on: what is asked for, this clone's place and its Python."""
    asked = hashlib.sha256((ROOT / "pyproject.toml").read_bytes()).hexdigest()
    return f"{asked}\n{ROOT}\n{os.path.realpath(PYTHON)}\n"


def packages_ready() -> bool:
    """Tell whether the packages are installed completely and for the present pyproject.toml."""
    return STAMP.is_file() and STAMP.read_text("utf-8") == packages_stamp()


def library_ready() -> bool:
    """Tell whether the libngspice found at set-up is still there, or another one is asked for."""
    if os.environ.get("AMPSIM_NGSPICE"):
        return True
    return LIBRARY.is_file() and Path(LIBRARY.read_text("utf-8")).is_file()


def set_up() -> None:
    """Do the steps not done yet; each is marked as done last, so the next run repairs a broken one."""
    import shutil

    try:
        SETUP.mkdir(exist_ok=True)
        with (SETUP / "lock").open("w") as lock:
            # Steps inherit the lock: one that outlives a killed set-up is waited for as well.
            os.set_inheritable(lock.fileno(), True)
            wait_for_others(lock.fileno())
            shutil.rmtree(APT, ignore_errors=True)
            set_up_library()
            set_up_packages()
            shutil.rmtree(APT, ignore_errors=True)
    except OSError as error:
        give_up(str(error))
    except KeyboardInterrupt:
        give_up("interrupted; run the same command again to go on")


def wait_for_others(lock: int) -> None:
    """Let one set-up of this clone run at a time (where the system has such locks)."""
    try:
        import fcntl
    except ImportError:
        return
    fcntl.flock(lock, fcntl.LOCK_EX)


def set_up_library() -> None:
    """Find a libngspice that loads, or fetch Debian's into the clone."""
    if os.environ.get("AMPSIM_NGSPICE"):
        return
    found = loadable_library()
    if not found:
        say("fetching ngspice (library libngspice0 of Debian)")
        fetch(["libngspice0", "libgomp1"], LIBNGSPICE, "libngspice", "apt-get install libngspice0")
        found = loadable_library()
    if not found:
        give_up("the libngspice fetched does not load", "apt-get install libngspice0")
    LIBRARY.write_text(found, "utf-8")


def loadable_library() -> str:
    """Return the path of the libngspice that ampsim will find, "" when there is none or it does not load."""
    import ctypes

    sys.path.insert(0, str(ROOT))
    from ampsim.base.errors import EngineError
    from ampsim.simulation.ngspice.library import find, preload

    try:
        path = find()
        preload(path)
        ctypes.CDLL(str(path))
    except (EngineError, OSError):
        return ""
    return str(path)


def set_up_packages() -> None:
    """Install ampsim (as it stands in the clone), and what it and its tests need into a private venv."""
    if packages_ready():
        return
    say("installing Python packages (about a minute)")
    make_virtual_environment()
    pip: list[str | Path] = [PYTHON, "-m", "pip", "install", "--quiet", "--disable-pip-version-check", "--no-input"]
    run([*pip, "--editable", ".[test]"], "the Python packages", f"{PYTHON} -m pip install -e .[test]")
    say("preparing fonts for the pictures")
    FONTS.mkdir(exist_ok=True)
    run([PYTHON, "-c", "import matplotlib.font_manager"], "matplotlib's font list")
    STAMP.write_text(packages_stamp(), "utf-8")
    say("ready")


def make_virtual_environment() -> None:
    """Make a virtual environment with pip; where Python comes without pip's wheel, Debian's is fetched."""
    import importlib.util
    import shutil

    shutil.rmtree(VENV, ignore_errors=True)
    has_pip = importlib.util.find_spec("ensurepip") is not None
    options = [] if has_pip else ["--without-pip"]
    make: list[str | Path] = [sys.executable, "-m", "venv", *options, VENV]
    run(make, "the virtual environment", "apt-get install python3-venv")
    if not has_pip:
        fetch(["python3-pip-whl"], PIP, "pip", "apt-get install python3-venv")
        wheel = next(PIP.glob("usr/share/python-wheels/pip-*.whl"))
        install: list[str | Path] = [PYTHON, "-m", "pip", "install", "--quiet", "--no-index", wheel]
        run(install, "pip", "apt-get install python3-venv", PYTHONPATH=str(wheel))


def fetch(packages: list[str], target: Path, what: str, by_hand: str) -> None:
    """Unpack Debian packages into a private folder; apt keeps its lists there too, so root is not needed."""
    import shutil

    if not (shutil.which("apt-get") and shutil.which("dpkg-deb")):
        give_up(f"{what} is missing, and this is no Debian system to fetch it from", by_hand)
    if not APT.exists():
        for folder in ("lists/partial", "archives/partial"):
            (APT / folder).mkdir(parents=True)
        # One dead third-party source fails the update though Debian's own lists came: the download decides.
        run([*apt(), "update"])
    run([*apt(), "download", *packages], f"{what} from Debian's servers", by_hand, folder=APT)
    unpacked = APT / "unpacked"
    for package in APT.glob("*.deb"):
        run(["dpkg-deb", "-x", package, unpacked], what, by_hand)
        package.unlink()
    shutil.rmtree(target, ignore_errors=True)
    unpacked.rename(target)


def apt() -> list[str]:
    """Return apt-get with its state and caches in the private folder."""
    places = [f"Dir::State={APT}", f"Dir::Cache={APT}", "Dir::Cache::pkgcache=", "Dir::Cache::srcpkgcache="]
    settings = [*places, "Acquire::Languages=none"]
    return ["apt-get", "-qq", *(word for setting in settings for word in ("-o", setting))]


def run(
    command: Sequence[str | Path], what: str = "", by_hand: str = "", *, folder: Path = ROOT, **variables: str
) -> None:
    """Run a command without a shell; on failure show the end of its output and stop (no `what`: go on)."""
    import subprocess

    words = [str(word) for word in command]
    env = {**environment(), **variables}
    done = subprocess.run(
        words,
        cwd=folder,
        env=env,
        stdin=subprocess.DEVNULL,
        stdout=subprocess.PIPE,
        stderr=subprocess.STDOUT,
        close_fds=False,
    )
    if done.returncode and what:
        sys.stderr.write("".join(done.stdout.decode("utf-8", "replace").splitlines(keepends=True)[-15:]))
        give_up(f"could not get {what}", by_hand)


def say(text: str) -> None:
    """Show a progress line."""
    print(f"set-up: {text}", file=sys.stderr, flush=True)


def give_up(text: str, by_hand: str = "") -> None:
    """Stop with what is missing and the command that gets it."""
    say(text)
    if by_hand:
        say(f"this gets it: {by_hand}   (then run the same command again)")
    sys.exit(1)


if __name__ == "__main__":
    main()
