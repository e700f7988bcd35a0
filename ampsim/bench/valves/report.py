"""What came out of a fit, in words and tables: residuals, what is badly determined, where the valve may be used."""

from __future__ import annotations

import numpy as np

from ...base.tables import text_of_rows
from ...base.wording import join_words
from ...circuit.valves.description import Point
from .fit import Determined, FittedValve

_SCALES = {"A": ("mA", 1e3), "S": ("mA/V", 1e3), "ohm": ("kohm", 1e-3), "V": ("V", 1.0), "1": ("", 1.0)}
_VOLTS = {"plate_volts": "plate", "grid_volts": "grid", "screen_volts": "screen", "supply_volts": "supply",
          "plate_amps": "plate mA"}  # fmt: skip
_BADLY, _LOOSELY = 0.5, 0.5
_FAR = 0.25  # off, of a figure that was fitted: more than any valve is from its law


def fit_text(found: FittedValve) -> str:
    """Everything that is to be known of a fit: the figures one by one, the parameters, the range."""
    used = sum(point.used_in_fit for point in found.points)
    kept = len(found.points) - used
    head = f"{found.valve.type}: the law {found.valve.law!r} fitted to {used} figures" + (
        f"; {kept} kept aside and predicted" if kept else ""
    )
    parts = [head, text_of_rows(("row", "at", "figure", "given", "ours", "off [%]", "use"), residual_rows(found)),
             _summary(found), text_of_rows(("parameter", "value", "+/- [%]", "known from"), _parameter_rows(found)),
             *_remarks(found)]  # fmt: skip
    return "\n\n".join(filter(None, parts))


def residual_rows(found: FittedValve) -> list[tuple[str, str, str, str, str, str, str]]:
    """Every figure: its row, where, what it is, as given, as fitted, how far off [%], fitted or predicted."""
    rows = []
    for point, ours in zip(found.points, found.values, strict=True):
        unit, scale = _SCALES[point.unit]
        given, fitted = (f"{scale * value:.4g} {unit}".strip() for value in (point.value, ours))
        off = f"{100.0 * (ours / point.value - 1.0):+.1f}" if point.value else "-"
        rows.append((point.id, at_words(point), point.quantity, given, fitted, off,
                     "fitted" if point.used_in_fit else "predicted"))  # fmt: skip
    return rows


def at_words(point: Point) -> str:
    """The volts of a point: "250 V, -2 V"."""
    words = []
    for name, value in point.conditions:
        if name in _VOLTS:
            scale, unit = (1e3, "mA") if name == "plate_amps" else (1.0, "V")
            words.append(f"{_VOLTS[name].removesuffix(' mA')} {scale * value:g} {unit}")
    if point.circuit == "triode connected":
        words.append("as triode")
    elif point.circuit not in ("valve alone", "triode connected"):
        words.append("stage")
    return ", ".join(words)


def _summary(found: FittedValve) -> str:
    lines = []
    for used, name in ((True, "Fitted"), (False, "Predicted")):
        off = [abs(ours / point.value - 1.0) for point, ours in zip(found.points, found.values, strict=True)
               if point.used_in_fit is used and point.value]  # fmt: skip
        if off:
            lines.append(f"{name}: half of the figures within {100.0 * float(np.median(off)):.1f} %, "
                         f"all within {100.0 * max(off):.2g} % (worst: {_worst(found, used)})")  # fmt: skip
    return "\n".join(lines)


def _worst(found: FittedValve, used: bool) -> str:
    pairs = [(abs(ours / point.value - 1.0), f"{point.id} {point.quantity}")
             for point, ours in zip(found.points, found.values, strict=True)
             if point.used_in_fit is used and point.value]  # fmt: skip
    return max(pairs)[1]


def _parameter_rows(found: FittedValve) -> list[tuple[str, str, str, str]]:
    return [(one.name, f"{one.value:.4g}", f"{min(100.0 * one.off, 999.0):.0f}", _known_from(one))
            for one in found.determined]  # fmt: skip


def _known_from(one: Determined) -> str:
    if one.unused:
        return "not used: no point asks for it"
    if one.at_limit:
        return "stands at the limit of the law"
    if one.by_points < _BADLY:
        return "badly determined: what is usual"
    return "loosely, from the points" if one.off > _LOOSELY else "the points"


def badly_determined(found: FittedValve) -> list[str]:
    """Parameters that the points do not determine: they keep what is usual for the law, or stand at its limit."""
    return [one.name for one in found.determined if not one.unused and (one.at_limit or one.by_points < _BADLY)]


def contradictions(found: FittedValve) -> list[str]:
    """Figures given twice for the same volts that cannot both be right, in words."""
    seen: dict[tuple[object, ...], Point] = {}
    words = []
    for point in found.points:
        first = seen.setdefault((point.circuit, point.conditions, point.quantity), point)
        if abs(point.value - first.value) > _FAR * max(abs(point.value), abs(first.value)):
            unit, scale = _SCALES[point.unit]
            values = " and ".join(f"{scale * each.value:.4g}" for each in (first, point))
            words.append(f"{first.id} and {point.id}, {point.quantity} of {values} {unit}".strip())
    return words


def far_off(found: FittedValve) -> list[str]:
    """Fitted figures that the law cannot follow, with how far off they are [%]."""
    return [
        f"{point.id} {point.quantity} ({100.0 * (ours / point.value - 1.0):+.0f} %)"
        for point, ours in zip(found.points, found.values, strict=True)
        if point.used_in_fit and point.value and abs(ours / point.value - 1.0) > _FAR
    ]


def _remarks(found: FittedValve) -> list[str]:
    remarks = []
    twice, far = contradictions(found), far_off(found)
    if twice:
        remarks.append(f"Contradict one another at the same volts: {join_words(twice)}. Keep the one you trust.")
    if far:
        remarks.append(
            f"Far from any curve of this law through the others: {join_words(far)}. Look for a sign, a unit or a "
            "decimal that is wrong in it or in the others; until then use nothing of this valve."
        )
    bad = badly_determined(found)
    if bad:
        remarks.append(
            f"Badly determined: {join_words(bad)}. There the valve is what valves of this law usually are"
            f"{_lacking_words(found)}"
        )
    remarks.append(range_words(found))
    if found.passed_over:
        rows = join_words(list(dict.fromkeys(point.id for point in found.passed_over)))
        remarks.append(f"Not used, for the fit does not know their circuits: {rows}.")
    if found.borrowed:
        remarks.append(f"Taken over, not of this type: {found.borrowed}. Put the type's own into the file.")
    return remarks


def _lacking_words(found: FittedValve) -> str:
    lacking = lacking_points(found)
    return f"; points that would help: {'; '.join(lacking)}." if lacking else "."


def lacking_points(found: FittedValve) -> list[str]:
    """Points that would determine more of the valve, in words."""
    used = [point for point in found.points if point.used_in_fit]
    pentode = found.valve.family == "pentode"
    alone = [point for point in used if not (pentode and point.circuit == "triode connected")]
    plates = [dict(point.conditions).get("plate_volts") for point in alone]
    known = [volts for volts in plates if volts is not None]
    currents = [point for point in used if point.quantity == "plate current"]
    grids = [dict(point.conditions).get("grid_volts", -1.0) for point in currents]
    amps = [point.value for point in currents]
    wanted = []
    if not known or min(known) > 0.3 * max(known):
        wanted.append("a low plate voltage with the grid near 0 V (the knee)")
    if grids and max(grids) < 0.2 * min(grids):
        wanted.append("the grid near 0 V")
    if amps and min(amps) > 0.1 * max(amps):
        wanted.append("near cut-off, a tenth of the greatest current")
    if pentode:
        if not any(point.quantity == "screen current" for point in used):
            wanted.append("screen currents")
        screens = {dict(point.conditions).get("screen_volts") for point in used}
        if len(screens) < 2:
            wanted.append("a second screen voltage, or triode connected")
    return wanted


def range_words(found: FittedValve) -> str:
    """Where the valve may be used: what the fitted points reach, and how well the current is known there."""
    reach = found.valve.fit_range
    parts = [f"plate {_span(reach.plate_volts)}", f"grid {_span(reach.grid_volts)}"]
    if reach.screen_volts is not None:
        parts.append(f"screen {_span(reach.screen_volts)}")
    text = f"May be used where the points reach: {', '.join(parts)}; beyond, the curves are the law's guess."
    if found.plate_known:
        best, worst = (_place_words(each, found.valve.family == "pentode") for each in found.plate_known)
        each = best if best == worst else f"{best}, within {worst}"
        text += f" If each figure is as good as its kind, the plate current is known within {each}."
    return text


def _span(volts: tuple[float, float]) -> str:
    low, high = volts
    return f"{low:g} V alone" if low == high else f"{low:g} to {high:g} V"


def _place_words(place: tuple[float, float, float, float], pentode: bool) -> str:
    plate, grid, screen, share = place
    volts = f"plate {plate:.0f} V, grid {grid:.3g} V" + (f", screen {screen:.0f} V" if pentode else "")
    return f"{100.0 * share:.0f} % at {volts}"
