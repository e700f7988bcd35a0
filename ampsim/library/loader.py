"""Loading amps, mods, auditions, wishes, drawers and valves: from the disk, or from the frozen files of a job alone."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from pathlib import Path
from typing import TYPE_CHECKING, Any, cast

from ..base.errors import DescriptionError, shown
from ..base.line_ends import plain_ends
from ..circuit.amp import Amp, Mod
from ..circuit.semiconductors.description import Semiconductor
from ..circuit.supply.rectifier_valve import RectifierValve
from ..circuit.valves.description import Valve
from .amps import read_amp
from .files import TYPES, VALVES
from .finders import Finder, from_disk
from .kinds import KINDS, OpenFile
from .landing import named_as, read_any_mod
from .mod_names import split_landing
from .parts import TypeFinder

if TYPE_CHECKING:
    from ..studies.audition_request import Audition
    from ..studies.search.wishes import Drawer, WishList

FILE = "job.toml"


class Loader:
    """Loads files of every kind, with what they name in turn.

    Parameters
    ----------
    find : callable
        `from_disk()`, the default, `from_frozen(files)` or `from_both(files)`.
    job : str
        The job file that names what is loaded, for messages. The loader then gathers the files in `files`, and refuses
        two of the same name and different content.
    """

    def __init__(self, find: Finder | None = None, job: str = "") -> None:
        self._find, self._job = find or from_disk(), job
        self.files: dict[str, bytes] = {}
        self._types: dict[tuple[str, str, Path | None], Any] = {}

    def load(self, kind: str, word: str, beside: Path | None = None, where: str = "", **options: Any) -> Any:
        """Load a file of a kind.

        Parameters
        ----------
        kind : str
            Key of `kinds.KINDS`.
        word : str
            A path or the name of a model.
        beside : Path, optional
            Folder of the file that names it.
        where : str
            File and entry that name it, for messages.
        **options
            For the kind's reader.

        Raises
        ------
        DescriptionError
            Naming file, entry, offending value and the nearest valid thing.
        """
        if where and KINDS[kind].folder in TYPES:  # which a dozen parts of an amp may name
            key = (kind, word, beside)
            if key not in self._types:
                self._types[key] = self._load(kind, word, beside, where, **options)
            return self._types[key]
        return self._load(kind, word, beside, where or self._job, **options)

    def _load(self, kind: str, word: str, beside: Path | None, where: str, **options: Any) -> Any:
        at = ""
        try:
            name, data, home = self._find(word, KINDS[kind].folder, beside, where)
        except DescriptionError:
            head, at = split_landing(word) if kind == "mod" else (word, "")
            if not at:
                raise
            name, data, home = self._find(head, KINDS[kind].folder, beside, where)
            name = f"{name.removesuffix('.toml')} at {at}.toml"
        if self._job and plain_ends(self.files.setdefault(name, data)) != plain_ends(data):
            raise DescriptionError(f"{where}: two files of different content are called {name}; rename one of them")

        def load(kind: str, word: str, where: str) -> Any:
            return self.load(kind, word, home, where)

        read = KINDS[kind].read(OpenFile(data, name, load), **options)
        if where and KINDS[kind].folder in VALVES:
            _check_name(read.type, name, where)
        return named_as(read, word, at) if kind == "mod" else read

    def amp(self, word: str, beside: Path | None = None, where: str = "") -> Amp:
        """Load an amp."""
        return cast(Amp, self.load("amp", word, beside, where))

    def mod(self, word: str, beside: Path | None = None, where: str = "") -> Mod:
        """Load a mod."""
        return cast(Mod, self.load("mod", word, beside, where))

    def drawer(self, word: str, beside: Path | None = None, where: str = "") -> Drawer:
        """Load a drawer."""
        return cast("Drawer", self.load("drawer", word, beside, where))

    def wishes(self, word: str, beside: Path | None = None, where: str = "") -> WishList:
        """Load wishes with the amp, mods and drawer that they name."""
        return cast("WishList", self.load("wishes", word, beside, where))


def _check_name(found: str, file: str, where: str) -> None:
    name = file.removesuffix(".toml")
    if found != name:
        raise DescriptionError(
            f"{where}: the file {shown(name)} describes a valve of type {shown(found)}; "
            "give the file and its type the same name"
        )


def load_valve(name: str | Path) -> Valve:
    """Load a valve by type ("12AX7") from models/valves, or from a TOML file.

    Raises
    ------
    DescriptionError
        When there is no such valve, or its file has a mistake.
    """
    return cast(Valve, Loader().load("valve", str(name)))


def load_rectifier(name: str | Path) -> RectifierValve:
    """Load a rectifier valve by type ("GZ34") from models/rectifiers, or from a file; errors as `load_valve`."""
    return cast(RectifierValve, Loader().load("rectifier", str(name)))


def load_semiconductor(name: str | Path) -> Semiconductor:
    """Load a semiconductor by type ("1N4148") from models/semiconductors, or from a file; errors as `load_valve`."""
    return cast(Semiconductor, Loader().load("semiconductor", str(name)))


def load_amp(name: str | Path) -> Amp:
    """Load an amp by name from models/amps, or from a TOML file.

    Raises
    ------
    DescriptionError
        Naming file, entry, offending value and the nearest valid thing.
    """
    return Loader().amp(str(name))


def load_mod(name: str | Path) -> Mod:
    """Load a mod by name from models/mods, or from a TOML file. Errors as those of `load_amp`.

    Of one that fits any amp the name may end in where it is to land: "warmer-stage at second stage".
    """
    return Loader().mod(str(name))


def load_audition(name: str | Path) -> Audition:
    """Load an audition by name from models/jobs, or from a TOML file; amps and mods it names may lie beside it.

    Errors as those of `load_amp`.
    """
    return cast("Audition", Loader().load("audition", str(name)))


def load_drawer(name: str | Path) -> Drawer:
    """Load a drawer of parts by name from models/drawers, or from a TOML file. Errors as those of `load_amp`."""
    return Loader().drawer(str(name))


def load_wishes(name: str | Path, drawer: str | Path | None = None) -> WishList:
    """Load wishes by name from models/wishes, or from a TOML file; amp, mods and drawer may lie beside it.

    `drawer` is looked into instead of the one that the file names.

    Raises
    ------
    DescriptionError
        Naming file, entry, offending value and the nearest valid thing.
    """
    parts = None if drawer is None else load_drawer(drawer)
    return cast("WishList", Loader().load("wishes", str(name), drawer=parts))


def parse_amp(
    data: Mapping[str, object], file: str = "amp", beside: Path | None = None, valves: Iterable[Valve] = ()
) -> Amp:
    """Make an amp of tables that did not come from a file (the same checks apply).

    Parameters
    ----------
    data : mapping
        As an amp file's tables.
    file : str
        What messages call it.
    beside : Path, optional
        Folder of type files of your own, which win over those that come with ampsim; default the working folder.
    valves : iterable of Valve
        Valves of your own, from `load_valve` or `parse_valve`; they win over files.
    """
    return read_amp(data, file, _type_finder(beside, valves))


def parse_mod(
    data: Mapping[str, object], file: str = "mod", beside: Path | None = None, valves: Iterable[Valve] = ()
) -> Mod:
    """Make a mod of tables that did not come from a file (the same checks apply).

    Parameters
    ----------
    data : mapping
        As a mod file's tables.
    file, beside, valves
        As those of `parse_amp`.
    """
    return read_any_mod(data, file, _type_finder(beside, valves))


def _type_finder(beside: Path | None, valves: Iterable[Valve]) -> TypeFinder:
    loader, own, folder = Loader(), {valve.type: valve for valve in valves}, Path() if beside is None else beside

    def find(kind: str, name: str, where: str) -> Any:
        return own[name] if kind == "valve" and name in own else loader.load(kind, name, folder, where)

    return find


def parse_wishes(
    data: Mapping[str, object],
    stock: Amp,
    modded: Amp | None = None,
    drawer: Drawer | None = None,
    file: str = "wishes",
) -> WishList:
    """Make wishes of tables that did not come from a file (the same checks apply).

    Parameters
    ----------
    data : mapping
        As a wish file's tables.
    stock, modded : Amp
        The amp as drawn, and the one that the parts are chosen for; by default the same.
    drawer : Drawer, optional
        Parts at hand.
    file : str
        What messages call it.
    """
    from .wishes import read_wishes

    return read_wishes(data, file, stock, modded or stock, drawer)


def parse_drawer(data: Mapping[str, object], file: str = "drawer") -> Drawer:
    """Make a drawer of tables that did not come from a file (the same checks apply)."""
    from .wishes import read_drawer

    return read_drawer(data, file)
