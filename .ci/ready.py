"""A Python with everything set up: `python3 .ci/ready.py ARGUMENTS` is `python ARGUMENTS` with ampsim in it.

On Windows it is `py -3 .ci/ready.py ARGUMENTS`.

The first run builds the hidden folder `.setup` in this clone, with what the command needs: ampsim alone, the notebooks
too, or the checks too (`LEVELS`); later runs go straight on and need no network, also after the clone was moved.
Packages are those of `.ci/locked`, to the byte. An environment that works is only given up for one that works.
Nothing outside `.setup` is changed, as root neither; `rm -r .setup` takes the set-up back.
What it was tried on is in README.md. Standard library only: it runs before anything is installed.
"""

from __future__ import annotations

import hashlib
import os
import sys
from collections.abc import Sequence
from pathlib import Path

ON_WINDOWS = os.name == "nt"
ROOT = Path(__file__).resolve().parent.parent
LOCKED = ROOT / ".ci" / "locked"
SETUP = ROOT / ".setup"
VENV = SETUP / "venv"
NEXT = SETUP / "next"  # an environment that is being built
PYTHON = VENV / ("Scripts/python.exe" if ON_WINDOWS else "bin/python")
STAMP = VENV / "complete"
LIBRARY = SETUP / "library"
LIBNGSPICE = SETUP / "libngspice"
PIP = SETUP / "pip"
APT = SETUP / "apt"
FONTS = SETUP / "matplotlib"
OLDEST = (3, 11)
LEVELS = ("core", "notebooks", "tests")
# Finds and loads the ngspice library of the clone that is given.
LOAD = """import sys
sys.path.insert(0, sys.argv[1])
from ampsim.base.errors import EngineError
from ampsim.simulation.ngspice.library import find, load
try:
    load(find())
except EngineError as error:
    sys.exit(str(error))
print(find())
"""
# What a command's module needs beyond the core.
_TESTS = ("pytest", "tests", "mypy", "ruff")
_NOTEBOOKS = ("jupyter", "jupyterlab", "nbconvert", "ipykernel", "notebook")
_IN_THE_BROWSER = ("notebooks", "panel")  # commands of ampsim


def main() -> None:
    """Set up what is missing, then become the set-up Python."""
    if sys.version_info < OLDEST:
        give_up("needs Python 3.11 or newer, this is " + sys.version.split()[0], by_hand("apt-get install python3"))
    if sys.platform == "darwin" and os.uname().machine == "x86_64":
        give_up("needs a Python for Apple silicon: numba has no packages for Intel any more")
    level = level_of(sys.argv[1:])
    if not (packages_ready(level) and library_ready()):
        set_up(level)
    command = [str(PYTHON), *sys.argv[1:]]
    env = environment()
    if sys.argv[1:2] in (["-m"], ["-c"]):
        # A file of the folder one works in must not be taken for a module of Python's own.
        env["PYTHONSAFEPATH"] = "1"
    if ON_WINDOWS:
        import signal
        import subprocess

        # There a program cannot become another; Ctrl-C is left to the command, which ends in its own way.
        signal.signal(signal.SIGINT, signal.SIG_IGN)
        sys.exit(subprocess.call(command, env=env))
    os.execve(PYTHON, command, env)


def level_of(arguments: Sequence[str]) -> str:
    """Return what a command needs: "core", "notebooks" or "tests"."""
    words = [*arguments, "", "", ""]
    module = words[1].split(".")[0] if words[0] == "-m" else ""
    if module in _TESTS:
        return "tests"
    in_browser = module == "ampsim" and words[2] in _IN_THE_BROWSER
    return "notebooks" if module in _NOTEBOOKS or in_browser else "core"


def environment() -> dict[str, str]:
    """Return the environment of the set-up Python: font list, compiled code and computed sounds stay in the clone."""
    # On Windows files and pipes would get a code page that has no minus sign.
    preset = {"PYTHONUTF8": "1"} if ON_WINDOWS else {}
    if os.access(FONTS, os.W_OK):
        kept = {"MPLCONFIGDIR": FONTS, "NUMBA_CACHE_DIR": SETUP / "compiled", "AMPSIM_CACHE": SETUP / "heard"}
        preset |= {name: str(folder) for name, folder in kept.items()}
    return {**preset, **os.environ}


def locked_files(level: str) -> list[Path]:
    """Return the lists of packages that a level needs."""
    return [LOCKED / f"{each}.txt" for each in LEVELS[: LEVELS.index(level) + 1]]


def packages_stamp(level: str, root: Path = ROOT) -> str:
    """Return what the installed packages depend on: level, locked packages, Python, and the clone's place."""
    locked = hashlib.sha256(b"".join(file.read_bytes() for file in locked_files(level))).hexdigest()
    return f"{level}\n{locked}\n{python_behind()}\n{root}\n"


def python_behind() -> str:
    """Return the Python that the environment was made of; on Windows it names that in a file, elsewhere by a link."""
    if not ON_WINDOWS:
        return os.path.realpath(PYTHON)
    settings = VENV / "pyvenv.cfg"
    lines = settings.read_text("utf-8").splitlines() if settings.is_file() else []
    home = next((line.partition("=")[2].strip() for line in lines if line.startswith("home")), "")
    return home if Path(home, "python.exe").is_file() else ""


def packages_ready(level: str) -> bool:
    """Tell whether the packages of this level, or of a higher one, are installed as locked, and for this place."""
    done = STAMP.read_text("utf-8") if STAMP.is_file() else ""
    return done in [packages_stamp(each) for each in LEVELS[LEVELS.index(level) :]]


def library_ready() -> bool:
    """Tell whether the libngspice found at set-up is still there, or another one is asked for."""
    if os.environ.get("AMPSIM_NGSPICE"):
        return True
    return LIBRARY.is_file() and Path(LIBRARY.read_text("utf-8")).is_file()


def set_up(level: str) -> None:
    """Do the steps not done yet; each is marked as done last, so the next run repairs a broken one."""
    import shutil

    try:
        SETUP.mkdir(exist_ok=True)
        with (SETUP / "lock").open("w", encoding="utf-8") as lock:
            # Steps inherit the lock: one that outlives a killed set-up is waited for as well.
            os.set_inheritable(lock.fileno(), True)
            wait_for_others(lock.fileno())
            shutil.rmtree(APT, ignore_errors=True)
            # A wheel with ngspice needs a pip first; otherwise what is quick to fail comes first.
            for step in (set_up_library, set_up_packages) if is_linux() else (set_up_packages, set_up_library):
                step(level)
            shutil.rmtree(APT, ignore_errors=True)
    except OSError as error:
        give_up(str(error))
    except KeyboardInterrupt:
        give_up("interrupted; run the same command again to go on")


def is_linux() -> bool:
    """Tell whether this is Linux, whose distributions bring ngspice."""
    return sys.platform.startswith("linux")


def wait_for_others(lock: int) -> None:
    """Let one set-up of this clone run at a time."""
    import time

    waiting = False
    while not try_to_lock(lock):
        if not waiting:
            say("another set-up of this clone is at work; waiting for it to end")
        waiting = True
        time.sleep(0.2)


def try_to_lock(lock: int) -> bool:
    """Take the lock, unless another has it."""
    try:
        if sys.platform == "win32":
            import msvcrt

            msvcrt.locking(lock, msvcrt.LK_NBLCK, 1)
        else:
            import fcntl

            fcntl.flock(lock, fcntl.LOCK_EX | fcntl.LOCK_NB)
    except (BlockingIOError, PermissionError):
        return False
    return True


def set_up_library(_: str = "") -> None:
    """Find a libngspice that loads, or fetch one into the clone: Debian's, elsewhere that of a wheel."""
    if os.environ.get("AMPSIM_NGSPICE"):
        return
    sys.path.insert(0, str(ROOT))
    from ampsim.simulation.ngspice.fetching import FetchError, fetch_library

    found, wrong = usable_library()
    if wrong:
        say("fetching ngspice")
        try:
            fetch_library(LIBNGSPICE, PYTHON, APT)
        except FetchError as error:
            give_up(error.text, error.by_hand)
        found, wrong = usable_library()
    if wrong:
        give_up(wrong)
    LIBRARY.write_text(found, "utf-8")


def usable_library() -> tuple[str, str]:
    """Return the path of the libngspice that ampsim will find, and why it cannot be used ("" when it can)."""
    import subprocess

    # In a process of its own: a damaged library may end the one that loads it.
    command = [sys.executable, "-I", "-c", LOAD, str(ROOT)]
    done = subprocess.run(command, capture_output=True, stdin=subprocess.DEVNULL, env={**os.environ, "PYTHONUTF8": "1"})
    said = (done.stderr if done.returncode else done.stdout).decode("utf-8", "replace").strip()
    return ("", said or f"loading ngspice ends with {done.returncode}") if done.returncode else (said, "")


def set_up_packages(level: str) -> None:
    """Bring the environment to what is asked: new paths after a move, further packages, or a new one beside the old."""
    if moved_from := old_place():
        say("this clone was moved; its environment follows")
        rewrite_paths(VENV, moved_from, ROOT)
        STAMP.write_text(STAMP.read_text("utf-8").replace(f"\n{moved_from}\n", f"\n{ROOT}\n"), "utf-8")
    if packages_ready(level):
        return
    done = STAMP.read_text("utf-8").split("\n")[0] if STAMP.is_file() else ""
    level = max(level, done, key=(*LEVELS, "").index) if done in LEVELS else level
    if done in LEVELS and packages_ready(done):
        say(f"installing further Python packages ({level})")
        installed = install(PYTHON, locked_files(level)[LEVELS.index(done) + 1 :])
    else:
        installed = build_beside(level)
    if installed:
        STAMP.write_text(packages_stamp(level), "utf-8")
        say("ready")
    elif (level == done or done not in LEVELS) and works():
        say("the packages of the last set-up stay in use; the next run with a network brings them up to date")
    else:
        give_up("without these packages the command cannot run: connect to the network and run it again")


def old_place() -> str:
    """Return where the clone lay when its environment was made; "" when it still lies there, or none was made."""
    lines = STAMP.read_text("utf-8").split("\n") if STAMP.is_file() else []
    return lines[3] if len(lines) == 5 and lines[3] != str(ROOT) else ""


def rewrite_paths(venv: Path, old: str | Path, new: str | Path) -> None:
    """Replace a path where an environment names its own place: its scripts, settings and links to the clone."""
    import re
    from urllib.parse import quote

    named = [venv / "pyvenv.cfg", *(venv / "bin").glob("*"), *(venv / "Scripts").glob("*")]
    for folder in [*venv.glob("lib/python*/site-packages"), *venv.glob("Lib/site-packages")]:
        named += [*folder.glob("*.pth"), *folder.glob("*.dist-info/direct_url.json")]
    for file in named:
        if file.is_symlink() or not file.is_file():
            continue
        content = file.read_bytes()
        if b"\0" in content:  # a program, no text
            continue
        text = wanted = content.decode("utf-8", "surrogateescape")
        for before, after in ((str(old), str(new)), (quote(str(old)), quote(str(new)))):
            # The whole path, not one that only begins like it.
            wanted = re.sub(re.escape(before) + r"(?![^/\\\s\"':])", lambda _, after=after: after, wanted)
        if wanted != text:
            file.write_bytes(wanted.encode("utf-8", "surrogateescape"))


def build_beside(level: str) -> bool:
    """Build an environment beside the one there is, and put it in its place when it is whole."""
    import shutil

    say("installing Python packages (about a minute)")
    shutil.rmtree(NEXT, ignore_errors=True)
    python = make_virtual_environment(NEXT)
    if not install(python, locked_files(level)):
        shutil.rmtree(NEXT, ignore_errors=True)
        return False
    say("preparing fonts for the pictures")
    FONTS.mkdir(exist_ok=True)
    run([python, "-c", "import matplotlib.font_manager"], "matplotlib's font list")
    rewrite_paths(NEXT, NEXT, VENV)
    sys.path.insert(0, str(ROOT))
    from ampsim.base.system import patiently

    old = SETUP / "old"
    shutil.rmtree(old, ignore_errors=True)
    if VENV.exists():
        patiently(lambda: VENV.rename(old))
    patiently(lambda: NEXT.rename(VENV))
    shutil.rmtree(old, ignore_errors=True)
    return True


def install(python: Path, lists: Sequence[Path]) -> bool:
    """Install listed packages, each byte as it was when the list was made, and ampsim as it stands in the clone."""
    options = ("--quiet", "--disable-pip-version-check", "--no-input", "--retries", "2")
    pip: list[str | Path] = [python, "-m", "pip", "install", *options]
    wanted: list[str | Path] = [word for each in lists for word in ("--requirement", each)]
    if not run([*pip, "--no-deps", "--require-hashes", *wanted], "the Python packages", stop=False):
        return False
    if lists[0] != locked_files("core")[0]:
        return True
    own: list[str | Path] = [*pip, "--no-deps", "--no-build-isolation", "--editable", ROOT]
    return run(own, "ampsim itself", stop=False)


def works() -> bool:
    """Tell whether the environment there is can be used."""
    import subprocess

    test = [str(PYTHON), "-c", "import numpy, scipy, matplotlib, xarray, numba, ampsim"]
    try:
        return subprocess.run(test, capture_output=True, stdin=subprocess.DEVNULL, cwd=SETUP).returncode == 0
    except OSError:
        return False


def make_virtual_environment(folder: Path) -> Path:
    """Make a virtual environment with pip, and return its Python; where Python has no pip's wheel, Debian's comes."""
    import importlib.util

    has_pip = importlib.util.find_spec("ensurepip") is not None
    options = [] if has_pip else ["--without-pip"]
    make: list[str | Path] = [sys.executable, "-m", "venv", *options, folder]
    run(make, "the virtual environment", by_hand("apt-get install python3-venv"))
    python = folder / PYTHON.relative_to(VENV)
    if not has_pip:
        wheel = fetch_pip(by_hand("apt-get install python3-venv"))
        bring: list[str | Path] = [python, "-m", "pip", "install", "--quiet", "--no-index", wheel]
        run(bring, "pip", by_hand("apt-get install python3-venv"), PYTHONPATH=str(wheel))
    return python


def fetch_pip(command: str) -> Path:
    """Fetch Debian's wheel of pip, and return it."""
    sys.path.insert(0, str(ROOT))
    from ampsim.simulation.ngspice.fetching import FetchError, fetch_debian

    try:
        fetch_debian(["python3-pip-whl"], PIP, "pip", command, APT)
    except FetchError as error:
        give_up(error.text, error.by_hand)
    return next(PIP.glob("usr/share/python-wheels/pip-*.whl"))


def by_hand(debian: str) -> str:
    """Return what brings Python and its parts: a command of Debian's, or what other systems have."""
    others = {"win32": "install Python from python.org", "darwin": "brew install python"}
    return others.get(sys.platform, debian)


def run(
    command: Sequence[str | Path],
    what: str = "",
    by_hand: str = "",
    *,
    folder: Path = ROOT,
    stop: bool = True,
    **variables: str,
) -> bool:
    """Run a command without a shell and tell whether it went well.

    On failure the end of its output is shown, and the program ends if `stop` (no `what`: it goes on in silence).
    """
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
        lines = done.stdout.decode("utf-8", "replace").splitlines(keepends=True)
        sys.stderr.write("".join([each for each in lines if not each.startswith("WARNING:")][-15:]))
        if stop:
            give_up(f"could not get {what}", by_hand)
        say(f"could not get {what}")
    return not done.returncode


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
