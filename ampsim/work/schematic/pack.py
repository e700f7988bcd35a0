"""Putting drawings of pieces side by side and below one another within a width."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import replace

from .geometry import Sheet

_BETWEEN = 1.0


def pack_sheets(sheets: Sequence[Sheet], width: float) -> Sheet:
    """One sheet of several: signal lines level side by side as far as they fit a width [units], the rest below."""
    whole, foot = Sheet(), 0.0
    for row in _rows(sheets, width):
        boxes = [sheet.bounds() for sheet in row]
        height = foot - max(top for _, _, _, top in boxes)
        edge = 0.0
        for sheet, (left, _, right, _) in zip(row, boxes, strict=True):
            _add(whole, sheet, edge - left, height)
            edge += right - left + _BETWEEN
        foot = height + min(bottom for _, bottom, _, _ in boxes) - _BETWEEN
    return whole


def share_over_pages(sheets: Sequence[Sheet], width: float, tall: float) -> list[list[Sheet]]:
    """Sheets shared out over pages of a width and height [units], in order; what is taller has a page alone."""
    pages: list[list[Sheet]] = []
    for row in _rows(sheets, width):
        if pages and _height(pack_sheets([*pages[-1], *row], width)) <= tall:
            pages[-1] += row
        else:
            pages.append(row)
    return pages


def _height(sheet: Sheet) -> float:
    _, bottom, _, top = sheet.bounds()
    return top - bottom


def _rows(sheets: Iterable[Sheet], width: float) -> list[list[Sheet]]:
    rows: list[list[Sheet]] = []
    taken = 0.0
    for sheet in sheets:
        left, _, right, _ = sheet.bounds()
        if not rows or taken + right - left > width:
            rows.append([])
            taken = 0.0
        rows[-1].append(sheet)
        taken += right - left + _BETWEEN
    return rows


def _add(whole: Sheet, sheet: Sheet, dx: float, dy: float) -> None:
    """Put a sheet on another, moved."""

    def moved(point: tuple[float, float]) -> tuple[float, float]:
        return point[0] + dx, point[1] + dy

    whole.symbols += [replace(each, ends={pin: moved(at) for pin, at in each.ends.items()}) for each in sheet.symbols]
    whole.wires += [(moved(first), moved(second)) for first, second in sheet.wires]
    whole.words += [replace(each, at=moved(each.at)) for each in sheet.words]
    whole.texts += [replace(each, at=moved(each.at)) for each in sheet.texts]
