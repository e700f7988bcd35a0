"""The drilling sheet of a job, 1:1: where the holes are, what stands beside them, and the order of work."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from pathlib import Path

from ...base.errors import DescriptionError
from ...work.holes.face import Face, faces
from ...work.holes.panel_parts import PanelPart
from ...work.holes.row import Placed, place_row, too_near
from ...work.new_parts import new_mods
from ...work.steps.drilling import drilling_steps
from ...work.steps.step import Step
from ..record.data import Record
from ..record.frozen import Opened
from .drilling_request import FILE, asked_panel
from .drilling_shapes import distance_shapes, hole_shapes, row_shapes, ruler_shapes
from .face_shapes import face_room, face_shapes
from .sheets import Box, Line, Sheet, Text, paper_size, write_sheets

CHECK_SCALE = (
    "Print at 100 %, not fitted to the page, and measure both rulers before anything is marked: another size is "
    "useless. Amp unplugged, discharged and verified; works covered; nothing behind the drill. A hole is for good."
)
TRY_LEVER = (
    "Up and down are where the lever points. Up is what the wiring calls one end: most toggles close the contacts "
    "away from the lever (common practice), so buzz each one before its nut is tight, and turn it round where it is "
    "the other way."
)
_EDGE, _TOP, _RULERS = 15.0, 34.0, 34.0
_AROUND = 26.0  # mm kept free of the edge round a centre
_NARROWEST, _WIDEST, _TALL = 12.0, 64.0, 30.0
_SIGN = 1.42  # mm of a sign of 7.5 pt, on average


@dataclass(frozen=True)
class DrillingSheet:
    """The holes of a job in their row, the faces beside them, and what is said of both."""

    title: str
    above: str
    zero: str
    row: tuple[Placed, ...]
    faces: tuple[Face, ...]
    steps: tuple[str, ...]
    near: tuple[str, ...]

    @property
    def empty(self) -> bool:
        """Whether there is nothing to drill and nothing to put on the panel."""
        return not (self.row or self.faces)

    @property
    def apart(self) -> tuple[Face, ...]:
        """Faces of parts whose place on the panel is not known."""
        there = {each.part.name for each in self.row}
        return tuple(each for each in self.faces if each.part.name not in there)


def drilling_sheet(record: Record, found: Opened, folder: str | Path) -> DrillingSheet:
    """Gather what the sheets of a job show; `drilling.toml` in its folder says where holes go.

    Raises
    ------
    DescriptionError
        For a mistake in that file.
    """
    work, request = asked_panel(found, folder)
    parts = [*work.parts, *(each for each in request.others if not each.drilled)]
    sheet = DrillingSheet(
        record.name,
        f"{found.modded.name}, {', '.join(each.name for each in new_mods(found.stock, found.modded))}",
        request.zero,
        place_row(parts, request.places),
        faces(found.modded, work),
        tuple(map(_step_words, drilling_steps(found.stock, found.modded, work))),
        (),
    )
    return replace(sheet, near=tuple(too_near(sheet.row)))


def _step_words(step: Step) -> str:
    tool = f"Tool: {step.tool}." if step.tool else ""
    return " ".join(filter(None, [step.do, *step.how, tool, *step.wrong]))


def write_drilling(sheet: DrillingSheet, path: str | Path, paper: str = "A4") -> Path:
    """Write the sheets as a PDF to be printed at 100 %.

    Parameters
    ----------
    sheet : DrillingSheet
    path : str or Path
    paper : str
        "A4" or "Letter".

    Raises
    ------
    DescriptionError
        When it cannot be made or written; an older file then stays as it was.
    """
    return write_sheets(f"Drilling sheet: {sheet.title}", drilling_sheets(sheet, paper), path)


def drilling_sheets(sheet: DrillingSheet, paper: str = "A4") -> list[Sheet]:
    """The sheets: holes, what stands beside them, and what each is with the order of work.

    Raises
    ------
    DescriptionError
        For another paper; where the job puts nothing through the panel.
    """
    if sheet.empty:
        raise DescriptionError("this job puts nothing new through the panel: there is nothing to drill")
    size = paper_size(paper, sideways=True)
    windows = list(_windows(sheet.row, size[0] - 2 * _EDGE))
    made = [_holes_sheet(sheet, size, paper, window, len(windows)) for window in windows]
    made += [one for window in windows or [Window(0, 0.0, ())] if (one := _faces_sheet(sheet, size, window))]
    return made + list(_words_sheets(sheet, size))


@dataclass(frozen=True)
class Window:
    """The part of a row that one sheet shows, and where its 0 lies on the sheet [mm]."""

    number: int
    begin: float
    row: tuple[Placed, ...]


def _windows(row: Sequence[Placed], room: float) -> Iterator[Window]:
    """The row in pieces that fit on a sheet, none of them within a hole; each in the middle of its sheet."""
    pieces: list[list[Placed]] = []
    for each in row:
        if pieces and each.along - pieces[-1][0].along <= room - 2 * _AROUND:
            pieces[-1].append(each)
        else:
            pieces.append([each])
    for number, piece in enumerate(pieces, 1):
        middle = (piece[0].along + piece[-1].along) / 2
        yield Window(number, _EDGE + room / 2 - middle, tuple(piece))


def _head(sheet: DrillingSheet, made: Sheet, title: str, words: str) -> None:
    wide = made.wide - 2 * _EDGE
    made.add(
        Text(_EDGE, 8.0, wide, 6.0, f"{title}: {sheet.title}", 13.0, 8.0),
        Text(_EDGE, 14.5, wide, 4.0, sheet.above, 8.0, 6.0, colour="quiet"),
        Text(_EDGE, 19.5, wide, 8.0, words, 8.0, 6.0, weight="bold", colour="rust", wraps=True),
        Line(_EDGE, 29.0, made.wide - _EDGE, 29.0, "pale", 0.15),
    )


def _holes_sheet(sheet: DrillingSheet, size: tuple[float, float], paper: str, window: Window, count: int) -> Sheet:
    made = Sheet(*size)
    of = f" {window.number} of {count}" if count > 1 else ""
    _head(sheet, made, f"Drilling sheet 1:1 ({paper}){of}", CHECK_SCALE)
    y = (_TOP + made.high - _RULERS) / 2 + 2.0
    room = made.wide - 2 * _EDGE
    first, last = _EDGE - window.begin, _EDGE + room - window.begin
    top = y - max(each.up + max(each.part.body.high, each.part.body.hole) / 2 for each in window.row) - 18.0
    made.add(*row_shapes(first, last, window.begin, y), *distance_shapes(window.row, window.begin, y, max(top, _TOP)))
    for each in window.row:
        made.add(*hole_shapes(each, window.begin + each.along, y - each.up, inches=paper == "Letter"))
    if first <= 0.0 <= last and sheet.zero:
        made.add(Line(window.begin, _TOP + 4.0, window.begin, made.high - _RULERS - 10.0, "blue", 0.15, "dashed"))
    zero = sheet.zero or "the first hole (ampsim placed it)"
    ours = [each.part.name for each in window.row if each.ours]
    told = [f"0 is {zero}; seen from outside, numbers in mm from 0, distances below them"]
    told += [f"this sheet runs from {first:.0f} to {last:.0f} mm"] if count > 1 else []
    told += [f"spaced by ampsim: {', '.join(ours)}; {FILE} in the job's folder says where they go"] if ours else []
    low = made.high - _RULERS - 8.0
    made.add(Text(_EDGE, low, room, 3.6, f"{'; '.join(told)}.", 7.0, 5.0, colour="quiet"))
    if sheet.near:
        made.add(Text(_EDGE, low + 3.8, room, 3.6, f"Too near: {'; '.join(sheet.near)}.", 7.0, 4.5, colour="rust"))
    made.add(*ruler_shapes(_EDGE, made.high - 21.0))
    made.add(Text(_EDGE + 140.0, made.high - 26.0, room - 140.0, 14.0,
                  "Full circles are drilled, dotted ones are there or are for a tab against turning; dashed boxes are "
                  "the room behind the panel.", 7.5, 5.5, colour="quiet", wraps=True))  # fmt: skip
    return made


def _faces_sheet(sheet: DrillingSheet, size: tuple[float, float], window: Window) -> Sheet | None:
    """The strip for the panel, in the same places as the holes; None where nothing stands beside them."""
    by_name = {each.part.name: each for each in sheet.faces}
    shown = [each for each in window.row if each.part.name in by_name]
    apart = sheet.apart if window.number < 2 else ()
    if not (shown or apart):
        return None
    made = Sheet(*size)
    _head(sheet, made, "For the panel 1:1", TRY_LEVER)
    y = _TOP + 4.0
    if shown:
        left, right = shown[0], shown[-1]
        edges = (
            window.begin + left.along - _half(window.row, left),
            window.begin + right.along + _half(window.row, right),
        )
        rooms = [(each.up, *face_room(by_name[each.part.name])) for each in shown]
        top, y = y, y + max(up + above for up, above, _ in rooms)
        bottom = y + max(below - up for up, _, below in rooms)
        made.add(Box(edges[0], top, edges[1] - edges[0], bottom - top, "pale", 0.15, "dashed"))
        for each in shown:
            wide = 2 * _half(window.row, each) - 2.0
            made.add(*face_shapes(by_name[each.part.name], window.begin + each.along, y - each.up, wide))
        y = bottom + 6.0
    for number, face in enumerate(apart):
        x = _EDGE + _WIDEST * (number + 0.5)
        made.add(Box(x - _WIDEST / 2, y, _WIDEST, sum(face_room(face)) + 4.0, "pale", 0.15, "dashed"))
        made.add(Text(x - _WIDEST / 2 + 1.0, y + 0.8, _WIDEST - 2.0, 3.2, f"at {face.part.name}", 6.0, colour="quiet"))
        made.add(*face_shapes(face, x, y + face_room(face)[0] + 4.0, _WIDEST - 2.0))
    return made


def _half(row: Sequence[Placed], one: Placed) -> float:
    """Half the width that the names of a part have: as far as to the middle between it and its neighbour."""
    gaps = [abs(each.along - one.along) for each in row if each.along != one.along and abs(each.up - one.up) < _TALL]
    return min(max(min(gaps, default=_WIDEST), _NARROWEST), _WIDEST) / 2


def _words_sheets(sheet: DrillingSheet, size: tuple[float, float]) -> Iterator[Sheet]:
    """What each hole is, and the order of work."""
    room = size[0] - 2 * _EDGE
    blocks: list[tuple[float, list[Text]]] = []
    for number, words in enumerate(sheet.steps, 1):
        high = 3.5 * (1 + int(len(words) * _SIGN / (room - 8.0))) + 1.2
        text = Text(_EDGE + 8.0, 0.0, room - 8.0, high, words, 7.5, 6.0, wraps=True)
        blocks.append((high + 0.6, [Text(_EDGE, 0.0, 7.0, 3.6, f"{number}.", 7.5, weight="bold", wraps=True), text]))
    by_name = {each.part.name: each for each in sheet.faces}
    for placed in [*sheet.row, *(Placed(face.part, 0.0) for face in sheet.apart)]:
        blocks.append(_part_words(placed.part, by_name.get(placed.part.name), room))
    made, y = None, 0.0
    for high, texts in blocks:
        if made is None or y + high > made.high - 12.0:
            if made is not None:
                yield made
            made = Sheet(*size)
            _head(sheet, made, "Order of work, and what each hole is", CHECK_SCALE)
            y = _TOP
        made.add(*(replace(each, y=y + each.y) for each in texts))
        y += high
    if made is not None:
        yield made


def _part_words(part: PanelPart, face: Face | None, room: float) -> tuple[float, list[Text]]:
    body = part.body
    what = body.hole_words if part.drilled else f"the hole of {part.into}, {body.hole_words} is usual"
    key = f", tab {body.key:g} mm from its centre" if body.key and part.drilled else ""
    lines = [
        Text(_EDGE, 3.0, room, 3.6, f"{part.words}: {what}{key}", 8.0, 5.5, weight="bold"),
        Text(
            _EDGE,
            6.8,
            room,
            3.4,
            f"{body.thread or 'no bushing known'}; room {body.room_words}; {body.source}",
            7.0,
            5.0,
        ),
    ]
    ways = [f"{way.label} ({_where(way.where, way.stands)})" for way in face.ways] if face else []
    if ways:
        lines.append(Text(_EDGE, 10.4, room, 3.4, f"positions: {'; '.join(ways)}", 7.0, 4.5))
    return 11.4 + 3.6 * bool(ways), lines


def _where(where: str, stands: str) -> str:
    pointing = {"up": "lever up", "down": "lever down"}.get(where, "")
    return ", ".join(filter(None, [pointing, stands])) or "as wired"
