"""Where the ngspice shared library lies, and loading it with what it leans on."""

from __future__ import annotations

import ctypes
import ctypes.util
import os
import shutil
import sys
import sysconfig
from pathlib import Path

from ...base.errors import EngineError
from .library_file import fault_of

SETTING = "AMPSIM_NGSPICE"
_CLONE = Path(__file__).resolve().parents[3]
READY = _CLONE / ".ci" / "ready.py"
PRIVATE = _CLONE / ".setup" / "libngspice"
# As the wheel and Debian name it.
_NAMES = {"darwin": "libngspice.0.dylib", "win32": "ngspice.dll"}
_OPENMP = ("libgomp.so.1", "libomp140.x86_64.dll")


def find() -> Path:
    """Return the full path of the ngspice shared library.

    The file is not loaded here. The environment variable AMPSIM_NGSPICE comes first, then the private
    folders that the set-up of a clone and `ampsim setup` make, then the places where systems keep it.

    Returns
    -------
    Path
        An existing file.

    Raises
    ------
    EngineError
        AMPSIM_NGSPICE names no file, or no library was found; the message names the places looked at.
    """
    if named := chosen():
        return _choose(Path(named))
    places = candidates()
    for place in places:
        if place.is_file():
            return place
    looked = ", ".join(str(place) for place in places)
    raise EngineError(
        f"no ngspice shared library found (looked at {looked}); `ampsim setup` says how it is got; "
        f"by hand: {by_hand()}; or set {SETTING} to the full path of one"
    )


def chosen() -> str:
    """Return what AMPSIM_NGSPICE is set to, "" when to nothing."""
    return os.environ.get(SETTING, "")


def by_hand() -> str:
    """Return what a person does to get an ngspice library without ampsim."""
    if sys.platform == "win32":
        return f"set {SETTING} to the full path of an ngspice.dll (shared library archive of ngspice.sourceforge.io)"
    if sys.platform == "darwin":
        return "brew install libngspice"
    others = "" if shutil.which("apt-get") else " (without apt-get: your system's package with libngspice.so.0)"
    return "apt-get install libngspice0" + others


def in_clone() -> bool:
    """Tell whether this ampsim is a clone, with a set-up of its own."""
    return READY.is_file()


def candidates() -> list[Path]:
    """Return the files that may be the ngspice shared library, the first choice first."""
    private = [*(in_folder(PRIVATE) if in_clone() else []), *in_folder(user_folder())]
    if sys.platform in _NAMES:
        named = ctypes.util.find_library("ngspice")
        brewed = [Path(folder, "libngspice.dylib") for folder in ("/opt/homebrew/lib", "/usr/local/lib")]
        return private + ([Path(named)] if named else []) + (brewed if sys.platform == "darwin" else [])
    # Debian keeps libraries in a folder per architecture; the others in lib64 or lib.
    multiarch = sysconfig.get_config_var("MULTIARCH") or "."
    folders = (f"/usr/lib/{multiarch}", "/usr/local/lib", "/usr/lib64", "/usr/lib")
    return private + [Path(folder, "libngspice.so.0") for folder in folders]


def in_folder(folder: Path) -> list[Path]:
    """Return where the library lies, or would lie, in a folder that it was fetched into."""
    if sys.platform in _NAMES:
        return [folder / _NAMES[sys.platform]]
    return sorted(folder.glob("usr/lib/*/libngspice.so.0")) or [folder]


def fetch_folder() -> Path:
    """Return the folder that a library is fetched into: the clone's own, or this user's."""
    return PRIVATE if in_clone() else user_folder()


def user_folder() -> Path:
    """Return the folder of this user that `ampsim setup` fetches a library into."""
    home = Path(os.path.expanduser("~"))
    if sys.platform == "win32":
        root = Path(os.environ.get("LOCALAPPDATA") or home / "AppData" / "Local")
    elif sys.platform == "darwin":
        root = home / "Library" / "Application Support"
    else:
        given = Path(os.environ.get("XDG_DATA_HOME", ""))
        root = given if given.is_absolute() else home / ".local" / "share"
    return root / "ampsim" / "libngspice"


def load(library: Path) -> None:
    """Load the library into this process.

    Parameters
    ----------
    library : Path
        As `find` returns it.

    Raises
    ------
    EngineError
        It is damaged, made for another system or machine, leans on something missing, or is not ngspice; the message
        names the file and what would do.
    """
    try:
        wrong = fault_of(library)
        if not wrong:
            preload(library)
            wrong = "" if hasattr(ctypes.CDLL(str(library)), "ngSpice_Init") else "it is a library, but not ngspice"
    except OSError as problem:
        wrong = str(problem).replace(f"{library}: ", "")
    if wrong:
        raise EngineError(f"the ngspice library {library} cannot be used: {wrong}; {remedy(library)}")


def remedy(library: Path) -> str:
    """Say what to do about a library that cannot be used."""
    if chosen():
        return f"{SETTING} names it: set it to the full path of another, or unset it"
    if {PRIVATE, user_folder()} & set(library.parents):
        return "`ampsim setup --fetch` fetches it anew"
    return f"install it again (`ampsim setup` says how), or set {SETTING} to the full path of another"


def preload(library: Path) -> None:
    """Load the OpenMP library lying beside `library`, so that a private copy of both works.

    ngspice needs it, and no system's loader looks for it in a private folder.

    Parameters
    ----------
    library : Path
        As `find` returns it.

    Raises
    ------
    OSError
        The file beside it cannot be loaded.
    """
    for name in _OPENMP:
        beside = library.with_name(name)
        if beside.is_file():
            ctypes.CDLL(str(beside))


def _choose(path: Path) -> Path:
    if not path.is_file():
        raise EngineError(f"{SETTING} is set to {str(path)!r}, which is no file; a full path is needed")
    return path.absolute()
