"""What the signal comes from and where it enters: a guitar or a generator, plugged into a jack or clipped to a place.

A source is written the same in files and on the command line: `guitar`, `guitar at low`, `generator`,
`generator 600 at low`, `generator 50 at V2A.grid through 100n`, `nothing`, and behind each
`linked low to bright high` for a patch cable between two jacks.
"""

from __future__ import annotations

import re
from dataclasses import dataclass
from enum import StrEnum

from ..base.errors import DescriptionError, nearest, shown
from ..base.quantities import FARAD, OHM, format_value, parse_value

GENERATOR_OHMS = 600.0
"""What a generator has inside where nobody says it [ohm] (common practice, no source)."""
CLIP_FARADS = 1e-6
"""The capacitor that a generator is clipped on through, at a place that is no jack [F] (own choice)."""
FIRST_JACK = "input"
"""What the jack that the drawing begins at is called where the amp file gives it no name."""
JACK_NAME = re.compile(r"[A-Za-z0-9][A-Za-z0-9 _-]{0,39}")
_TEXT = re.compile(
    r"(?P<kind>\S+?)(?: +(?P<ohms>(?!at |through |linked )\S+)(?: *(?:ohms?|\u03a9))?)?"
    r"(?: +at +(?P<at>.+?))?(?: +through +(?P<farads>\S+))?(?: +linked +(?P<links>.+))?"
)
_WORDS = re.compile(r"\b(at|through|linked|to|and)\b")
_EXAMPLES = "guitar, generator 600 at input, generator 50 at V2A.grid through 100n, nothing"


class SourceKind(StrEnum):
    """What is plugged in; `DRAWN` is what the amp file has before its first stage."""

    DRAWN = ""
    GUITAR = "guitar"
    GENERATOR = "generator"
    NOTHING = "nothing"


@dataclass(frozen=True)
class Jack:
    """A jack of an amp.

    `tip` is the place its tip is wired to; `rest` the place, or the jack, that its contact holds the tip at while
    nothing is plugged in ("": it has no contact). Where `before` names a stage instead, the jack lies in the line
    that reaches this stage, such as an effects return: its contact passes the signal on until something is plugged in.
    With neither, a line begins at it, which stages name as their input.
    """

    name: str
    tip: str = ""
    rest: str = ""
    before: str = ""


@dataclass(frozen=True)
class Source:
    """Where the signal comes from.

    `at` names a jack or a place ("": the jack that the drawing begins at). `ohms` [ohm] and `farads` [F] belong to a
    generator: what it has inside, and the capacitor it is clipped on through (0: none). `links` are pairs of jacks
    that a patch cable joins.
    """

    kind: SourceKind = SourceKind.DRAWN
    at: str = ""
    ohms: float = 0.0
    farads: float = 0.0
    links: tuple[tuple[str, str], ...] = ()

    def __str__(self) -> str:
        """As it is written; "" for the source of the drawing."""
        return " ".join([*self._words(), *self._link_words()])

    def _words(self) -> list[str]:
        words = [str(self.kind)] if self.kind else []
        words += [_written(self.ohms, OHM)] if self.kind is SourceKind.GENERATOR else []
        words += [f"at {self.at}"] if self.at else []
        return words + ([f"through {_written(self.farads, FARAD)}"] if self.farads else [])

    def _link_words(self) -> list[str]:
        return [f"linked {' and '.join(f'{one} to {other}' for one, other in self.links)}"] if self.links else []


DRAWN_SOURCE = Source()
"""What the amp file has before its first stage."""


def _written(value: float, quantity: object) -> str:
    """As a schematic writes it, where that says all of it."""
    text = format_value(value, quantity)  # type: ignore[arg-type]
    return text if value == 0.0 or parse_value(text, quantity) == value else repr(value)  # type: ignore[arg-type]


def parse_source(text: object, where: str = "source") -> Source:
    """Read a source as it is written.

    Parameters
    ----------
    text : str
        Such as "generator 600 at low".
    where : str
        What messages call the entry.

    Raises
    ------
    DescriptionError
        Saying what was given and what is written instead.
    """
    found = _TEXT.fullmatch(" ".join(text.split())) if isinstance(text, str) else None
    kinds = [str(kind) for kind in SourceKind if kind]
    if not found or found["kind"] not in kinds:
        hint = nearest(found["kind"], kinds) if found else ""
        raise DescriptionError(f"{where}: {shown(text)} is no source{hint}; written for example {_EXAMPLES}")
    kind = SourceKind(found["kind"])
    if kind is not SourceKind.GENERATOR and (found["ohms"] or found["farads"]):
        raise DescriptionError(f"{where}: {shown(text)}: ohms and a capacitor belong to a generator")
    if kind is SourceKind.NOTHING and (found["at"] or found["links"]):
        raise DescriptionError(f"{where}: {shown(text)}: with nothing plugged in there is neither a place nor a cable")
    ohms = GENERATOR_OHMS if kind is SourceKind.GENERATOR else 0.0
    return Source(
        kind,
        found["at"] or "",
        _ohms(found["ohms"], where) if found["ohms"] else ohms,
        parse_value(found["farads"], FARAD, where) if found["farads"] else 0.0,
        tuple(_link(each, where) for each in found["links"].split(" and ")) if found["links"] else (),
    )


def _ohms(text: str, where: str) -> float:
    return 0.0 if text == "0" else parse_value(text, OHM, where)


def _link(text: str, where: str) -> tuple[str, str]:
    one, _, other = text.partition(" to ")
    if not one or not other or one == other:
        raise DescriptionError(f"{where}: {shown(text)} does not name the two jacks of a cable, such as low to high")
    return one, other


def check_jack_name(name: str, where: str) -> str:
    """The name of a jack, if it can stand in a source.

    Raises
    ------
    DescriptionError
        For signs and words that a source is written with.
    """
    if not JACK_NAME.fullmatch(name) or _WORDS.search(name) or name in ("ground", "speaker"):
        raise DescriptionError(
            f"{where}: {shown(name)} is no name for a jack; letters, digits and blanks, such as low or bright high"
        )
    return name
