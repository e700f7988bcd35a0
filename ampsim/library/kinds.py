"""Every kind of file: what it is called, where its models lie, by what it is known, how it is read and described.

A new kind is its data with a reader, and a row here; listing, loading and `ampsim check` then know it. Who reads or
describes a kind is imported when such a file is read or described: to list what there is needs none of them.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from functools import cached_property, lru_cache
from importlib import import_module
from typing import TYPE_CHECKING, Any, Protocol

from ..base.entries import Entry
from ..base.errors import shown
from ..base.files import bare_name
from .files import models_in, toml_tables

if TYPE_CHECKING:
    from ..circuit.amp import Amp, Mod
    from ..circuit.semiconductors.description import Semiconductor
    from ..circuit.supply.rectifier_valve import RectifierValve
    from ..circuit.valves.description import Valve


class Load(Protocol):
    """Loads what a file names in turn: from its kind, its name and where it is named."""

    def __call__(self, kind: str, word: str, where: str) -> Any:
        """Load one file."""


@dataclass(frozen=True)
class OpenFile:
    """One file that is being read.

    Attributes
    ----------
    data
        Its bytes.
    file
        What messages call it.
    load
        Loads what it names.
    """

    data: bytes
    file: str
    load: Load

    @cached_property
    def tables(self) -> dict[str, Any]:
        """Its tables."""
        return toml_tables(self.data, self.file)

    def amps(self, mods_needed: bool) -> tuple[Amp, Amp]:
        """The amp that it names under `amp`, as drawn and with the mods that it names under `mods`.

        Raises
        ------
        DescriptionError
            When one is missing, has a mistake, or they do not go together.
        """
        top = Entry(self.tables, self.file)
        from .landing import apply_mods

        stock = self.load("amp", _word(top, "amp", top.raw("amp")), top.where("amp"))
        names = top.raw("mods") if mods_needed or top.has("mods") else []
        if not isinstance(names, list) or (mods_needed and not names):
            raise top.fail("mods", f"{shown(names)} is not a list of mods")
        mods = [self.load("mod", _word(top, "mods", each), top.where("mods")) for each in names]
        return stock, apply_mods(stock, *mods)

    def named(self, kind: str) -> Any:
        """What it names under the name of a kind; None when it names none."""
        top = Entry(self.tables, self.file)
        return self.load(kind, _word(top, kind, top.raw(kind)), top.where(kind)) if top.has(kind) else None


def _word(top: Entry, key: str, value: object) -> str:
    """Files that come from others do not roam the disk."""
    if not isinstance(value, str) or bare_name(value) is None:
        raise top.fail(key, f"{shown(value)} is not the name of a model or of a TOML file beside this one")
    return value


@dataclass(frozen=True)
class FileKind:
    """One kind of file.

    Attributes
    ----------
    folder
        Of its models, in models/.
    look
        What it is and by what it is known, for messages.
    markers, unless
        A file with one of `markers` and none of `unless` among its entries is of this kind.
    read
        From an `OpenFile` to the data; takes whatever options `Loader.load` is given.
    describe
        What was understood of it, as text.
    """

    folder: str
    look: str
    markers: tuple[str, ...]
    read: Callable[..., Any]
    describe: Callable[[Any], str]
    unless: tuple[str, ...] = ()

    def fits(self, tables: Mapping[str, object]) -> bool:
        """Whether a file with these tables is of this kind."""
        return any(each in tables for each in self.markers) and not any(each in tables for each in self.unless)


def _amp(source: OpenFile) -> Amp:
    from .amps import read_amp

    return read_amp(source.tables, source.file, source.load)


def _mod(source: OpenFile) -> Mod:
    from .landing import read_any_mod

    return read_any_mod(source.tables, source.file, source.load)


def _audition(source: OpenFile) -> Any:
    from .auditions import read_audition

    return read_audition(source.tables, source.file, *source.amps(mods_needed=True))


def _wishes(source: OpenFile, drawer: Any = None) -> Any:
    from .wishes import read_wishes

    amps = source.amps(mods_needed=False)
    return read_wishes(source.tables, source.file, *amps, source.named("drawer") if drawer is None else drawer)


def _drawer(source: OpenFile) -> Any:
    from .wishes import read_drawer

    return read_drawer(source.tables, source.file)


def _valve(source: OpenFile) -> Valve | RectifierValve:
    return _valve_of(source.data, source.file)


@lru_cache(maxsize=256)
def _valve_of(data: bytes, file: str) -> Valve | RectifierValve:
    """By content: a file that was edited is another valve."""
    from ..circuit.supply.parsing import parse_rectifier_valve
    from ..circuit.valves.parsing import parse_valve

    tables = toml_tables(data, file)
    return parse_rectifier_valve(tables, file) if "rectifier" in tables else parse_valve(tables, file)


def _rectifier(source: OpenFile) -> RectifierValve:
    return _rectifier_of(source.data, source.file)


@lru_cache(maxsize=128)
def _rectifier_of(data: bytes, file: str) -> RectifierValve:
    """By content, as `_valve_of`."""
    from ..circuit.supply.parsing import parse_rectifier_valve

    return parse_rectifier_valve(toml_tables(data, file), file)


def _semiconductor(source: OpenFile) -> Semiconductor:
    return _semiconductor_of(source.data, source.file)


@lru_cache(maxsize=128)
def _semiconductor_of(data: bytes, file: str) -> Semiconductor:
    """By content, as `_valve_of`."""
    from ..circuit.semiconductors.parsing import parse_semiconductor

    return parse_semiconductor(toml_tables(data, file), file)


def _by(function: str, module: str = "overview") -> Callable[[Any], str]:
    """What describes a kind of file, by a function of a module that is imported when it is asked."""

    def describe(data: Any) -> str:
        return str(getattr(import_module(f".{module}", __package__), function)(data))

    return describe


KINDS: dict[str, FileKind] = {
    "amp": FileKind("amps", "an amp ([[stages]])", ("stages",), _amp, _by("describe_amp_and_volts")),
    "mod": FileKind(
        "mods",
        "a mod ([[edits]] or [[switches]])",
        ("edits", "switches"),
        _mod,
        _by("describe_any_mod", "role_overview"),
        unless=("stages",),
    ),
    "audition": FileKind(
        "jobs", "a job (amp = ...)", ("amp",), _audition, _by("describe_audition"), unless=("wishes",)
    ),
    "wishes": FileKind("wishes", "wishes ([[wishes]])", ("wishes",), _wishes, _by("describe_wishes")),
    "drawer": FileKind(
        "drawers",
        "a drawer ([[resistors]] or [[capacitors]])",
        ("resistors", "capacitors"),
        _drawer,
        _by("describe_drawer"),
    ),
    "valve": FileKind(
        "valves", "a valve (law = ...)", ("law",), _valve, _by("describe_valve"), unless=("semiconductor", "rectifier")
    ),
    "rectifier": FileKind(
        "rectifiers",
        "a rectifier valve (rectifier = ...)",
        ("rectifier",),
        _rectifier,
        _by("describe_rectifier_valve"),
    ),
    "semiconductor": FileKind(
        "semiconductors",
        "a semiconductor (semiconductor = ...)",
        ("semiconductor",),
        _semiconductor,
        _by("describe_semiconductor"),
    ),
}


def listing() -> dict[str, list[str]]:
    """Names of everything in models/ and on the shop's shelf, by folder."""
    return {kind.folder: sorted(models_in(kind.folder)) for kind in KINDS.values()}
