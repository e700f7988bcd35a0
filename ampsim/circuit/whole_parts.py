"""Parts of several sections in one body: the halves of a double valve, the tracks of a ganged pot."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import replace

from ..base.errors import DescriptionError
from ..base.wording import join_words
from .amp import Amp, AnyPart, Edit, Mod, Pot
from .designators import body_of

_SECTIONED = ("valve", "pot", "operational amplifier")


def sections_of(parts: Mapping[str, AnyPart], name: str) -> tuple[str, ...]:
    """The sections in one body with a part, or of a body; the part alone where it is whole."""
    if name in parts and parts[name].kind not in _SECTIONED:
        return (name,)
    body = body_of(name)
    found = [each for each, part in parts.items() if part.kind in _SECTIONED and body_of(each) == body and each != body]
    return tuple(found) if found and body not in parts else (name,)


def with_sections(mod: Mod, amp: Amp) -> Mod:
    """The mod with what it does to a whole body ("replace V1") done to each of its sections."""
    parts = amp.part_by_designator

    def spread(edits: Iterable[Edit]) -> tuple[Edit, ...]:
        return tuple(one for edit in edits for one in _each_section(edit, parts))

    switches = (
        replace(each, positions=tuple((label, spread(edits)) for label, edits in each.positions))
        for each in mod.switches
    )
    found = replace(mod, edits=spread(mod.edits), switches=tuple(switches))
    return mod if found == mod else found


def _each_section(edit: Edit, parts: Mapping[str, AnyPart]) -> Iterable[Edit]:
    names = sections_of(parts, edit.part) if edit.action in ("replace", "lift") and edit.part not in parts else ()
    return [replace(edit, part=name) for name in names] or [edit]


def check_tracks(parts: Iterable[AnyPart], file: str) -> None:
    """Refuse tracks of one pot that belong to different knobs, or that stand differently.

    Raises
    ------
    DescriptionError
        Naming the tracks and what would do.
    """
    bodies: dict[str, list[Pot]] = {}
    for part in parts:
        if isinstance(part, Pot) and body_of(part.designator) != part.designator:
            bodies.setdefault(body_of(part.designator), []).append(part)
    for body, tracks in bodies.items():
        names = join_words([each.designator for each in tracks])
        if len({(each.control, each.rotation) for each in tracks}) > 1:
            raise DescriptionError(
                f"{file}: {names} are tracks of one pot {body} and turn together; give them one control and one "
                f"rotation, or numbers of their own"
            )
