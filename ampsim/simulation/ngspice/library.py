"""Where the ngspice shared library lies, and loading what it leans on."""

from __future__ import annotations

import ctypes
import ctypes.util
import os
import sys
import sysconfig
from pathlib import Path

from ...base.errors import EngineError

SETTING = "AMPSIM_NGSPICE"
PRIVATE = Path(__file__).resolve().parents[3] / ".setup" / "libngspice"

_HINTS = {
    "darwin": "brew install libngspice",
    "win32": "the shared library archive of ngspice.sourceforge.io",
}


def find() -> Path:
    """Return the full path of the ngspice shared library.

    The file is not loaded here. The environment variable AMPSIM_NGSPICE comes first, then the private
    folder made by the set-up of a clone, then the places where systems keep it.

    Returns
    -------
    Path
        An existing file.

    Raises
    ------
    EngineError
        AMPSIM_NGSPICE names no file, or no library was found; the message names the places looked at.
    """
    chosen = os.environ.get(SETTING)
    if chosen:
        return _choose(Path(chosen))
    places = candidates()
    for place in places:
        if place.is_file():
            return place
    hint = _HINTS.get(sys.platform, "apt-get install libngspice0")
    looked = ", ".join(str(place) for place in places)
    raise EngineError(
        f"no ngspice shared library found (looked at {looked}); this gets it: {hint}; "
        f"or set {SETTING} to the full path of one"
    )


def candidates() -> list[Path]:
    """Return the files that may be the ngspice shared library, the first choice first."""
    private = sorted(PRIVATE.glob("usr/lib/*/libngspice.so.0")) or [PRIVATE]
    if sys.platform in ("darwin", "win32"):
        named = ctypes.util.find_library("ngspice")
        brewed = [Path(folder, "libngspice.dylib") for folder in ("/opt/homebrew/lib", "/usr/local/lib")]
        return ([Path(named)] if named else []) + brewed
    # Debian keeps libraries in a folder per architecture; the others in lib64 or lib.
    multiarch = sysconfig.get_config_var("MULTIARCH") or "."
    folders = (f"/usr/lib/{multiarch}", "/usr/local/lib", "/usr/lib64", "/usr/lib")
    return private + [Path(folder, "libngspice.so.0") for folder in folders]


def preload(library: Path) -> None:
    """Load the OpenMP library lying beside `library`, so that a private copy of both works.

    ngspice needs libgomp.so.1; the system's loader does not look for it in a private folder.

    Parameters
    ----------
    library : Path
        As `find` returns it.

    Raises
    ------
    OSError
        The file beside it cannot be loaded.
    """
    beside = library.with_name("libgomp.so.1")
    if beside.is_file():
        ctypes.CDLL(str(beside))


def _choose(path: Path) -> Path:
    if not path.is_file():
        raise EngineError(f"{SETTING} is set to {str(path)!r}, which is no file; a full path is needed")
    return path.absolute()
