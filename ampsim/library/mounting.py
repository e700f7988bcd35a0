"""How parts are mounted, as amp and job files say it: a table `[mounting]`, or `mounted` beside a part's value."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace

from ..base.entries import Entry
from ..base.errors import DescriptionError, nearest
from ..circuit.amp import Amp
from ..circuit.designators import body_of
from ..circuit.mount import Mounting
from ..circuit.mounting import GROUPS, expand_mounting, parse_mounting

_KEY, _VALUE = "mounted", "value"


def with_mounting(amp: Amp, table: Entry, more: Mapping[str, Mounting] | None = None) -> Amp:
    """The amp with its parts mounted as a table says; what the table does not name stays as it was.

    Parameters
    ----------
    amp : Amp
    table : Entry
        From designators, bodies (V1 for V1A and V1B) and the groups of `GROUPS` to words.
    more : mapping
        What was said of single parts beside their values.

    Raises
    ------
    DescriptionError
        Naming file, entry, value and what would do.
    """
    known = {name for part in amp.parts for name in (part.designator, body_of(part.designator))}
    told = {}
    for name in table.names():
        if name not in known and name not in GROUPS:
            words = f"no part of this amp, nor one of {', '.join(GROUPS)}"
            raise table.fail(name, f"{words}{nearest(name, known)}")
        told[name] = parse_mounting_of(table, name)
    for name, mounted in (more or {}).items():
        if told.setdefault(name, mounted) != mounted:
            raise table.fail(name, f"parts.{name} says {mounted.words}; say it once")
    return replace(amp, mounting=tuple((dict(amp.mounting) | dict(expand_mounting(amp, told))).items()))


def take_mounted(table: Entry) -> tuple[Entry, dict[str, Mounting]]:
    """A table of parts without what it says of their mounting, and that by designator.

    A part that is written as one value is a table then: `R4 = { value = "1k5", mounted = "tag strip" }`.

    Raises
    ------
    DescriptionError
        For words that say no mounting.
    """
    kept = {name: table.raw(name) for name in table.names()}
    found = {}
    for name, value in tuple(kept.items()):
        if isinstance(value, dict) and _KEY in value:
            found[name] = parse_mounting_of(Entry(value, table.file, f"{table.name}.{name}"), _KEY)
            rest = {key: each for key, each in value.items() if key != _KEY}
            kept |= {name: rest[_VALUE] if list(rest) == [_VALUE] else rest}
    return (Entry(kept, table.file, table.name, table.us) if found else table), found


def parse_mounting_of(entry: Entry, key: str) -> Mounting:
    """How a part is mounted, by what stands under a key.

    Raises
    ------
    DescriptionError
        Naming file, entry, value and the nearest words that mean something.
    """
    try:
        return parse_mounting(entry.raw(key))
    except DescriptionError as error:
        raise entry.fail(key, str(error)) from None
