"""Finding and reading files: valves, amps, mods and jobs. The only module that knows paths and TOML."""

from __future__ import annotations

import contextlib
import re
import tomllib
from collections.abc import Mapping
from functools import lru_cache
from pathlib import Path
from typing import Any

from ..base.entries import Entry
from ..base.errors import DescriptionError, nearest, shown
from ..base.files import MOST_BYTES, printable, read_bounded
from ..circuit.amp import Amp, Mod
from ..circuit.mods import apply_mods
from ..circuit.valves.description import Valve
from ..circuit.valves.parsing import parse_valve
from ..studies.audition import Audition
from ..studies.search.wishes import Drawer, WishList
from .amps import read_amp
from .auditions import read_job
from .mods import read_mod
from .wishes import read_drawer, read_wishes


def models() -> Path:
    """The folder of valves, amps, mods and jobs that comes with ampsim (in the package, or beside it in a clone)."""
    here = Path(__file__).resolve().parent.parent
    for folder in (here / "models", here.parent / "models"):
        if (folder / "valves").is_dir():
            return folder
    raise DescriptionError(f"the folder 'models' is missing beside or in {here}; install ampsim again")


def read_toml(path: Path) -> dict[str, Any]:
    """Read a TOML file.

    Raises
    ------
    DescriptionError
        When there is no such file, it is too large, not UTF-8, or not TOML (with line and column).
    """
    return toml_tables(read_bounded(path), printable(path))


def toml_tables(data: bytes, name: str) -> dict[str, Any]:
    """The tables of a TOML file's bytes; `name` is what messages call the file.

    Raises
    ------
    DescriptionError
        When they are too many, not UTF-8, or not TOML (with line and column).
    """
    if len(data) > MOST_BYTES:
        raise DescriptionError(f"{name}: {len(data):,} bytes; at most {MOST_BYTES:,} are read")
    try:
        return tomllib.loads(data.decode("utf-8"))
    except UnicodeDecodeError as problem:
        raise DescriptionError(f"{name}: not UTF-8 text (byte {problem.start})") from None
    except (ValueError, RecursionError) as problem:
        raise DescriptionError(f"{name}: not TOML: {problem}") from None


def file_of(name: str | Path, folder: str, beside: Path | None = None, where: str = "") -> Path:
    """A path as given; or, for a bare name, beside the file that names it, or in models/<folder>.

    Raises
    ------
    DescriptionError
        For a bare name that no model has, beginning with `where`.
    """
    path = Path(name)
    if path.suffix == ".toml":
        for base in (beside, None, models() / folder):
            candidate = base / path if base else path
            with contextlib.suppress(OSError):  # a name longer than the system takes
                if candidate.is_file():
                    return candidate
        return path
    known = {each.stem: each for each in sorted((models() / folder).rglob("*.toml"))}
    if str(name) not in known:
        text = f"{shown(str(name))} is not a file and not in models/{folder}{nearest(name, known)}"
        raise DescriptionError(f"{where}: {text}" if where else text)
    return known[str(name)]


@lru_cache(maxsize=128)
def _valve_at(path: Path) -> Valve:
    return parse_valve(read_toml(path), printable(path.name))


def load_valve(name: str | Path) -> Valve:
    """Load a valve by type ("12AX7") from models/valves, or from a TOML file.

    Raises
    ------
    DescriptionError
        When there is no such valve, or its file has a mistake.
    """
    return _valve_at(file_of(name, "valves"))


def load_amp(name: str | Path) -> Amp:
    """Load an amp by name from models/amps, or from a TOML file.

    Raises
    ------
    DescriptionError
        Naming file, entry, offending value and the nearest valid thing.
    """
    path = file_of(name, "amps")
    return read_amp(read_toml(path), printable(path.name), _valve_finder(path.parent))


def load_mod(name: str | Path) -> Mod:
    """Load a mod by name from models/mods, or from a TOML file.

    Raises
    ------
    DescriptionError
        Naming file, entry, offending value and the nearest valid thing.
    """
    path = file_of(name, "mods")
    return read_mod(read_toml(path), printable(path.name), _valve_finder(path.parent))


def load_audition(name: str | Path) -> Audition:
    """Load a job by name from models/jobs, or from a TOML file; amps and mods it names may lie beside it.

    Raises
    ------
    DescriptionError
        Naming file, entry, offending value and the nearest valid thing.
    """
    path = file_of(name, "jobs")
    data = read_toml(path)
    top = Entry(data, printable(path.name))
    stock = load_amp(file_of(_file_word(top, "amp", top.raw("amp")), "amps", path.parent, top.where("amp")))
    names = top.raw("mods")
    if not isinstance(names, list) or not names:
        raise top.fail("mods", f"{shown(names)} is not a list of mods")
    mods = [load_mod(file_of(_file_word(top, "mods", each), "mods", path.parent, top.where("mods"))) for each in names]
    return read_job(data, printable(path.name), stock, apply_mods(stock, *mods))


def load_drawer(name: str | Path) -> Drawer:
    """Load a drawer of parts by name from models/drawers, or from a TOML file.

    Raises
    ------
    DescriptionError
        Naming file, entry, offending value and the nearest valid thing; for a drawer without parts.
    """
    path = file_of(name, "drawers")
    return read_drawer(read_toml(path), printable(path.name))


def load_wishes(name: str | Path, drawer: str | Path | None = None) -> WishList:
    """Load wishes by name from models/wishes, or from a TOML file; amp, mods and drawer may lie beside it.

    `drawer` is looked into instead of the one that the file names.

    Raises
    ------
    DescriptionError
        Naming file, entry, offending value and the nearest valid thing.
    """
    path = file_of(name, "wishes")
    data = read_toml(path)
    top = Entry(data, printable(path.name))
    stock = load_amp(file_of(_file_word(top, "amp", top.raw("amp")), "amps", path.parent, top.where("amp")))
    names = top.raw("mods") if top.has("mods") else []
    if not isinstance(names, list):
        raise top.fail("mods", f"{shown(names)} is not a list of mods")
    mods = [load_mod(file_of(_file_word(top, "mods", each), "mods", path.parent, top.where("mods"))) for each in names]
    if drawer is None and top.has("drawer"):
        word = _file_word(top, "drawer", top.raw("drawer"))
        drawer = file_of(word, "drawers", path.parent, top.where("drawer"))
    parts = load_drawer(drawer) if drawer is not None else None
    return read_wishes(data, printable(path.name), stock, apply_mods(stock, *mods), parts)


def _file_word(top: Entry, key: str, value: object) -> str:
    """A model's name, or the name of a file beside the job: files that come from others do not roam the disk."""
    if not isinstance(value, str) or not re.fullmatch(r"[A-Za-z0-9][A-Za-z0-9_ -]{0,80}(\.toml)?", value):
        raise top.fail(key, f"{shown(value)} is not the name of a model or of a TOML file beside the job")
    return value


def parse_amp(data: Mapping[str, object], file: str = "amp") -> Amp:
    """Make an amp of tables that did not come from a file (the same checks apply)."""
    return read_amp(data, file, _valve_finder(None))


def parse_mod(data: Mapping[str, object], file: str = "mod") -> Mod:
    """Make a mod of tables that did not come from a file (the same checks apply)."""
    return read_mod(data, file, _valve_finder(None))


def parse_wishes(
    data: Mapping[str, object],
    stock: Amp,
    modded: Amp | None = None,
    drawer: Drawer | None = None,
    file: str = "wishes",
) -> WishList:
    """Make wishes of tables that did not come from a file (the same checks apply); `modded` is `stock` by default."""
    return read_wishes(data, file, stock, modded or stock, drawer)


def parse_drawer(data: Mapping[str, object], file: str = "drawer") -> Drawer:
    """Make a drawer of tables that did not come from a file (the same checks apply)."""
    return read_drawer(data, file)


def _valve_finder(beside: Path | None) -> Any:
    return lambda kind, where: _valve_at(valve_file(kind, beside, where))


def valve_file(kind: str, beside: Path | None, where: str) -> Path:
    """The file of a valve type: one beside the amp or mod wins over the one that comes with ampsim.

    Raises
    ------
    DescriptionError
        When there is none, beginning with `where`.
    """
    own = beside / f"{kind}.toml" if beside else None
    if own and own.is_file():
        return own
    known = {each.stem: each for each in sorted((models() / "valves").rglob("*.toml"))}
    if kind not in known:
        raise DescriptionError(f"{where}: {shown(kind)} is not a valve of models/valves{nearest(kind, known)}")
    return known[kind]


def listing() -> dict[str, list[str]]:
    """Names of everything in models/, by kind."""
    return {
        kind: sorted(path.stem for path in (models() / kind).rglob("*.toml"))
        for kind in ("amps", "mods", "jobs", "wishes", "drawers", "valves")
    }
