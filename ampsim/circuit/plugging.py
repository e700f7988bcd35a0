"""Choosing where the signal enters an amp: another source plugged in, and the sources that there are."""

from __future__ import annotations

from dataclasses import replace

from .amp import Amp, Pot
from .build import build_circuit
from .plugs import jacks_of
from .source import DRAWN_SOURCE, Source, SourceKind, parse_source
from .stages import Kind, stages_of


def plug_in(amp: Amp, source: Source | str, where: str = "source") -> Amp:
    """Plug another source in and return the new amp; the amp given stays as it is.

    Parameters
    ----------
    amp : Amp
    source : Source or str
        As `source.parse_source` reads it; "" for what the amp file has before its first stage.
    where : str
        What messages call the entry.

    Raises
    ------
    DescriptionError
        For a text that is no source, a jack or place that the amp does not have, a guitar that is not described.
    """
    if isinstance(source, str):
        source = parse_source(source, where) if source else DRAWN_SOURCE
    drawn = replace(amp, source=DRAWN_SOURCE, unplugged=())
    if source == DRAWN_SOURCE:
        return drawn
    found = replace(drawn, source=source)
    inside = {each.designator for each in build_circuit(found).elements}
    gone = [each.designator for each in build_circuit(drawn).elements if each.designator not in inside]
    parts = amp.part_by_designator
    return replace(found, unplugged=tuple(sorted(name for name in gone if isinstance(parts.get(name), Pot))))


def jack_names(amp: Amp) -> tuple[str, ...]:
    """The jacks that a source can be plugged into, the one that the drawing begins at first."""
    return tuple(jacks_of(build_circuit(amp)))


def usual_sources(amp: Amp) -> tuple[Source, ...]:
    """What a sweep may have come from of which nobody says it: the drawing's source, or a generator at each jack.

    One alone where the drawing leaves no choice: no guitar, and one jack.
    """
    drawn = replace(amp, source=DRAWN_SOURCE)
    guitar, jacks = bool(stages_of(amp, Kind.INSTRUMENT)), jack_names(drawn)
    if not guitar and len(jacks) == 1:
        return (DRAWN_SOURCE,)
    generator = parse_source(str(SourceKind.GENERATOR))
    return (Source(SourceKind.GUITAR) if guitar else DRAWN_SOURCE, *(replace(generator, at=name) for name in jacks))


def describe_source(amp: Amp) -> str:
    """Where the signal enters the amp, in a few words."""
    source = amp.source
    if source.kind is not SourceKind.DRAWN:
        return str(source)
    kind = SourceKind.GUITAR if stages_of(amp, Kind.INSTRUMENT) else SourceKind.GENERATOR
    return f"{kind} at {jack_names(amp)[0]}, as in the amp file"
