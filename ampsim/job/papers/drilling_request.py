"""Where holes go, as a file of the job says: `drilling.toml`, a table to each part, lengths in mm."""

from __future__ import annotations

import json
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace
from pathlib import Path

from ...base.entries import Entry
from ...base.files import read_bounded
from ...library.files import toml_tables
from ...work.holes.bodies import BODIES, NOT_KNOWN, Body
from ...work.holes.panel_parts import PanelPart, PanelWork, panel_work
from ...work.holes.row import Placed
from ...work.steps.drilling import drilling_steps
from ...work.steps.step import Phase, Step
from ..record.frozen import Opened
from ..record.paths import path_inside
from ..record.reading import job_file

FILE, BESIDE = "drilling.toml", "drilling.pdf"
"""What a job says of its holes, and the sheets that are printed, beside its plan."""
_ALONG, _UP, _ZERO, _MOST = 1000.0, 35.0, 120, 60
_SIZES = {"hole": 60.0, "wide": 120.0, "high": 70.0, "deep": 200.0}  # mm at most


@dataclass(frozen=True)
class DrillingRequest:
    """What a job's file says of its holes.

    Attributes
    ----------
    zero : str
        What 0 of the row is, in words; "" where nobody said.
    places : mapping
        To a name the place of its centre, along the row and up from it [mm].
    bodies : mapping
        To a part of the work the name of its body.
    sizes : mapping
        To a name what was measured of it: diameter of its hole, width, height and depth of its room [mm].
    others : tuple of PanelPart
        Holes that no mod asks for, new ones and those that are there.
    """

    zero: str = ""
    places: Mapping[str, tuple[float, float]] = field(default_factory=dict)
    bodies: Mapping[str, str] = field(default_factory=dict)
    sizes: Mapping[str, Mapping[str, float]] = field(default_factory=dict)
    others: tuple[PanelPart, ...] = ()

    def measured(self, part: PanelPart) -> PanelPart:
        """The part with what was measured of it."""
        sizes, body = self.sizes.get(part.name), part.body
        if not sizes:
            return part
        hole, wide, high, deep = (sizes.get(key, getattr(body, key)) for key in _SIZES)
        source = f"{body.source}; measured by the shop"
        body = replace(body, hole=hole, wide=wide, high=high, deep=deep, source=source)
        return replace(part, body=replace(body, slot=(), thread="as measured") if "hole" in sizes else body)


def read_drilling(path: Path, work: PanelWork) -> DrillingRequest:
    """Read the file; one that is not there says nothing.

    Parameters
    ----------
    path : Path
    work : PanelWork
        What the job puts through the panel.

    Raises
    ------
    DescriptionError
        For a mistake in it: names file, entry, value and what would do.
    """
    if not path.exists():
        return DrillingRequest()
    entry = Entry(toml_tables(read_bounded(path), path.name), path.name)
    zero = entry.plain_text("zero", _ZERO, "")
    known = {each.name for each in work.parts}
    names = [each for each in entry.names() if each != "zero"]
    if len(names) > _MOST:
        raise entry.fail(names[-1], f"{len(names)} holes; at most {_MOST} go on one sheet")
    places: dict[str, tuple[float, float]] = {}
    bodies: dict[str, str] = {}
    sizes: dict[str, dict[str, float]] = {}
    others: list[PanelPart] = []
    for name in names:
        entry.check_designator(name, name)
        table = entry.table(name)
        body = table.choice("body", BODIES) if table.has("body") else ""
        if table.has("along"):
            places[name] = (table.number("along", -_ALONG, _ALONG), table.number("up", -_UP, _UP, 0.0))
        sizes[name] = {key: table.number(key, 1.0, most) for key, most in _SIZES.items() if table.has(key)}
        if name in known:
            bodies |= {name: body} if body else {}
        else:
            others.append(_other(table, name, body))
        table.finish()
    entry.finish()
    return DrillingRequest(zero, places, bodies, sizes, tuple(others))


def _other(table: Entry, name: str, body: str) -> PanelPart:
    """A hole that no mod asks for; one that is there is for measuring from."""
    there = table.has("there") and table.truth("there")
    if not (there or body):
        raise table.fail("body", f"no mod puts {name} through the panel: say its body, or there = true")
    if there and not table.has("along"):
        raise table.fail("along", f"{name} is there: say where, in mm")
    found: Body = BODIES[body] if body else NOT_KNOWN
    return PanelPart(name, "", found, name if there else "")


def asked_panel(found: Opened, folder: str | Path) -> tuple[PanelWork, DrillingRequest]:
    """What a job puts through the panel, with the bodies, holes and further holes that its file asks for.

    Raises
    ------
    DescriptionError
        For a mistake in the file.
    """
    usual = panel_work(found.stock, found.modded)
    request = read_drilling(path_inside(job_file(folder).parent, FILE), usual)
    work = panel_work(found.stock, found.modded, request.bodies)
    parts = (*work.parts, *(each for each in request.others if each.drilled))
    return replace(work, parts=tuple(request.measured(each) for each in parts)), request


def drilled_as_asked(steps: Sequence[Step], found: Opened, folder: str | Path) -> tuple[Step, ...]:
    """The steps of a plan, those of drilling with the holes and rooms that the job's file asks for.

    Raises
    ------
    DescriptionError
        For a mistake in the file.
    """
    if not any(each.phase is Phase.DRILL for each in steps):
        return tuple(steps)
    asked = drilling_steps(found.stock, found.modded, asked_panel(found, folder)[0])
    how = {each.do: each.how for each in asked}
    return tuple(replace(each, how=how.get(each.do, each.how)) for each in steps)


def bodies_text() -> str:
    """Every body with its hole, its room and where both are from, as plain text."""
    lines = [f"{each.name}\n    {each.hole_words} ({each.thread}); {each.room_words}\n    {each.source}"
             for each in BODIES.values()]  # fmt: skip
    return "\n".join(lines)


def request_text(zero: str, row: tuple[Placed, ...]) -> str:
    """The file that says where the holes of a row are."""
    lines = [
        f"zero = {json.dumps(zero or 'the first hole', ensure_ascii=False)}   # what 0 is; mm from there to the right"
    ]
    for each in row:
        lines += ["", f"[{each.part.name}]", f"along = {each.along:g}", f"up = {each.up:g}"]
        usual = BODIES.get(each.part.body.name)
        if usual:
            lines.append(f'body = "{usual.name}"')
            sizes = {key: (getattr(each.part.body, key), getattr(usual, key)) for key in _SIZES}
            lines += [f"{key} = {here:g}" for key, (here, there) in sizes.items() if here != there]
        lines += ["there = true"] if each.part.name == each.part.into and not each.part.control else []
    return "\n".join(lines) + "\n"
