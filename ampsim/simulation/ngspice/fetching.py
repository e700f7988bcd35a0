"""Fetching an ngspice library into a private folder: out of a wheel of the package index, or Debian's, without root.

Standard library only: the set-up of a clone does this before anything is installed. What is unpacked was checked
against the hashes of a list (the wheel) or by apt (Debian); a folder is put in its place when it is whole.
"""

from __future__ import annotations

import contextlib
import hashlib
import platform
import shutil
import subprocess
import sys
import sysconfig
import tempfile
import zipfile
import zlib
from collections.abc import Iterator, Sequence
from pathlib import Path

from ...base.errors import EngineError
from ...base.system import patiently
from .library import by_hand

# The list with the wheel's name, version and hashes: in the package, or in a clone.
_LISTS = (
    Path(__file__).with_name("ngspice.txt"),
    Path(__file__).resolve().parents[3] / ".ci" / "locked" / "ngspice.txt",
)
SUMS = "SHA256SUMS"
_DEBIAN = ("libngspice0", "libgomp1")
_MOST = 100_000_000  # bytes of one library
_LAST_LINES = 12
_TORN = (zipfile.BadZipFile, zlib.error, EOFError, NotImplementedError, RuntimeError, ValueError)


class FetchError(EngineError):
    """Something could not be fetched; `by_hand` gets it, where that is known."""

    def __init__(self, text: str, by_hand: str = "") -> None:
        super().__init__(text + (f"; by hand: {by_hand}" if by_hand else ""))
        self.text, self.by_hand = text, by_hand


def wheel_list() -> Path:
    """Return the list that names the wheel and its hashes."""
    return next((each for each in _LISTS if each.is_file()), _LISTS[0])


def source() -> str:
    """Say where this system's library comes from: "wheel", "Debian", or "" where none can be fetched."""
    if sys.platform == "win32":
        return "wheel" if sysconfig.get_platform() == "win-amd64" else ""
    if sys.platform == "darwin":
        return "wheel" if platform.machine() in ("arm64", "x86_64") else ""
    return "Debian" if shutil.which("apt-get") and shutil.which("dpkg-deb") else ""


def plan(target: Path) -> str:
    """Say what `fetch_library` would do."""
    match source():
        case "wheel":
            return (
                f"download the wheel {wheel_name()} (about 5 MB) from the package index with pip, compare its hash, "
                f"and unpack its ngspice library, and nothing else, into {target}"
            )
        case "Debian":
            return (
                f"download the packages {' and '.join(_DEBIAN)} (about 2.5 MB, and 10 MB of lists) with apt, which "
                f"checks them, and unpack them into {target}; root is not needed"
            )
    return "nothing: for this system there is no library to fetch"


def wheel_name() -> str:
    """Return name and version of the wheel that carries a library."""
    lines = wheel_list().read_text("utf-8").splitlines()
    return next(line for line in lines if "==" in line).partition("\\")[0].strip().replace("==", " ")


def fetch_library(target: Path, python: str | Path = sys.executable, apt: Path | None = None) -> None:
    """Fetch this system's ngspice library; what was in the folder is given up for it only when it is whole.

    Parameters
    ----------
    target : Path
        The folder.
    python : str or Path
        A Python with pip, for a wheel.
    apt : Path, optional
        A folder for apt's lists, which is kept and used again; one of its own if not given.

    Raises
    ------
    FetchError
        With what is missing, and what gets it by hand.
    """
    match source():
        case "wheel":
            fetch_wheel(target, python)
        case "Debian":
            fetch_debian(_DEBIAN, target, "libngspice", by_hand(), apt)
        case _:
            raise FetchError("libngspice is missing, and for this system there is none to fetch", by_hand())


def fetch_wheel(target: Path, python: str | Path = sys.executable) -> None:
    """Download the wheel that carries this system's library, and unpack the library alone.

    Raises
    ------
    FetchError
        No pip, no network, another wheel than that of the list, or a torn one.
    """
    with _beside(target) as folder:
        options = ("--quiet", "--disable-pip-version-check", "--no-input", "--retries", "2", "--no-deps")
        pip: list[str | Path] = [python, "-m", "pip", "download", *options, "--only-binary", ":all:"]
        _run([python, "-m", "pip", "--version"], f"ngspice: {python} has no pip", f"{python} -m ensurepip", folder)
        wanted = ("--require-hashes", "-r", wheel_list(), "-d", folder)
        _run(
            [*pip, *wanted],
            "ngspice from the package index",
            by_hand(),
            folder,
        )
        wheel = next(folder.glob("*.whl"), None)
        if wheel is None:
            raise FetchError("pip brought no wheel with ngspice", by_hand())
        unpack_wheel(wheel, target)


def unpack_wheel(wheel: Path, target: Path) -> None:
    """Unpack the libraries of a wheel, and nothing else of it.

    Raises
    ------
    FetchError
        The wheel is not one of the list, is torn, or holds no library.
    """
    content = wheel.read_bytes()
    digest = hashlib.sha256(content).hexdigest()
    if f"sha256:{digest}" not in wheel_list().read_text("utf-8").split("--hash=", 1)[-1]:
        raise FetchError(
            f"{wheel.name} is not the wheel that the list of hashes names; nothing of it is used", by_hand()
        )
    with _beside(target) as folder:
        unpacked = folder / "unpacked"
        unpacked.mkdir()
        try:
            with zipfile.ZipFile(wheel) as archive:
                for member in _libraries(archive):
                    # Only the last part of its name is used: it cannot lead out of the folder.
                    (unpacked / member.filename.rpartition("/")[2]).write_bytes(archive.read(member))
        except _TORN as problem:
            raise FetchError(f"{wheel.name} is torn: {problem}", by_hand()) from None
        if not any(unpacked.iterdir()):
            raise FetchError(f"{wheel.name} holds no library", by_hand())
        _put(unpacked, target)


def _libraries(archive: zipfile.ZipFile) -> list[zipfile.ZipInfo]:
    found = []
    for member in archive.infolist():
        folder, _, name = member.filename.rpartition("/")
        plain = name.replace(".", "").replace("_", "").replace("-", "").isalnum() and not name.startswith(".")
        if folder == "sedes/_libs" and plain and member.file_size <= _MOST:
            found.append(member)
    return found


def fetch_debian(packages: Sequence[str], target: Path, what: str, by_hand: str, apt: Path | None = None) -> None:
    """Unpack Debian packages into a private folder; apt keeps its lists in one too, so root is not needed.

    Parameters
    ----------
    packages : sequence of str
        Their names.
    target : Path
        The folder.
    what : str
        What messages call it.
    by_hand : str
        What gets it without us.
    apt : Path, optional
        A folder for apt's lists, which is kept and used again; one of its own if not given.

    Raises
    ------
    FetchError
        No apt here, no network, or no such package.
    """
    if not (shutil.which("apt-get") and shutil.which("dpkg-deb")):
        raise FetchError(f"{what} is missing, and this is no Debian system to fetch it from", by_hand)
    with _beside(target) as folder:
        lists = apt or folder / "apt"
        places = [f"Dir::State={lists}", f"Dir::Cache={lists}", "Dir::Cache::pkgcache=", "Dir::Cache::srcpkgcache="]
        settings = [*places, "Acquire::Languages=none"]
        command = ["apt-get", "-qq", *(word for setting in settings for word in ("-o", setting))]
        if not lists.exists():
            for name in ("lists/partial", "archives/partial"):
                (lists / name).mkdir(parents=True)
            # One dead third-party source fails the update though Debian's own lists came: the download decides.
            _run([*command, "update"])
        downloads, unpacked = folder / "downloads", folder / "unpacked"
        downloads.mkdir()
        _run([*command, "download", *packages], f"{what} from Debian's servers", by_hand, downloads)
        for package in downloads.glob("*.deb"):
            _run(["dpkg-deb", "-x", package, unpacked], what, by_hand)
        _put(unpacked, target)


@contextlib.contextmanager
def _beside(target: Path) -> Iterator[Path]:
    """A folder beside another, for what is not whole yet; it is gone in the end."""
    target.parent.mkdir(parents=True, exist_ok=True)
    folder = Path(tempfile.mkdtemp(prefix=f".{target.name}-", dir=target.parent))
    try:
        yield folder
    finally:
        shutil.rmtree(folder, ignore_errors=True)


def _put(unpacked: Path, target: Path) -> None:
    """Write down the hashes of what was unpacked, and put it in its place."""
    files = sorted(each for each in unpacked.rglob("*.*") if each.is_file() and not each.is_symlink())
    lines = [
        f"{hashlib.sha256(each.read_bytes()).hexdigest()}  {each.relative_to(unpacked).as_posix()}\n" for each in files
    ]
    (unpacked / SUMS).write_text("".join(lines), "utf-8")
    if target.exists():
        shutil.rmtree(target)
    # On Windows a scanner may hold what was just written.
    patiently(lambda: unpacked.rename(target))


def changed_files(folder: Path) -> list[str]:
    """Return the files of a folder that are missing or not as they were unpacked; none where nothing is known of it."""
    sums = folder / SUMS
    changed = []
    for line in sums.read_text("utf-8", "replace").splitlines() if sums.is_file() else []:
        digest, _, name = line.partition("  ")
        file = folder / name
        if not file.is_file() or hashlib.sha256(file.read_bytes()).hexdigest() != digest:
            changed.append(name)
    return changed


def _run(command: Sequence[str | Path], what: str = "", by_hand: str = "", folder: Path | None = None) -> None:
    """Run a command without a shell; where it fails, the end of its output is in the error (no `what`: silence)."""
    # Locks that are open for children are handed on: a set-up waits also for the steps of a killed one.
    pipes = {"stdin": subprocess.DEVNULL, "stdout": subprocess.PIPE, "stderr": subprocess.STDOUT}
    words = [str(word) for word in command]
    try:
        done = subprocess.run(words, cwd=folder, close_fds=False, **pipes)  # type: ignore[call-overload]
    except OSError as problem:
        raise FetchError(f"could not get {what}: {words[0]}: {problem.strerror}", by_hand) from None
    if done.returncode and what:
        lines = [
            each for each in done.stdout.decode("utf-8", "replace").splitlines() if not each.startswith("WARNING:")
        ]
        raise FetchError("\n".join([*lines[-_LAST_LINES:], f"could not get {what}"]), by_hand)
