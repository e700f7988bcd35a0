"""A file of points: published or measured figures of one type of valve, and what else its valve file is to say."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Any

from ...base.entries import Entry
from ...base.errors import DescriptionError, shown
from ...base.files import read_bounded
from ...base.wording import join_words
from ...circuit.valves.description import Family, Point, Valve
from ...circuit.valves.laws import LAWS
from ...circuit.valves.parsing import parse_points, parse_valve
from ...library.files import file_of, toml_tables
from .points_table import points_tables

EXAMPLE = """\
type = "KT66"                # the new file is called as its type
family = "pentode"           # or "triode"; a beam valve is a pentode
like = "6L6GC"               # what is not given here is taken over from this type, and marked as such
source = "data sheet of 1956, p. 2"

[capacitances]               # F
grid_plate = 1.1e-12
grid_cathode = 14.5e-12
plate_cathode = 10e-12
source = "the same, p. 1"

[limits]                     # V, W, mA; leave out what the source does not say
plate_volts = 500
plate_watts = 25
screen_volts = 400
screen_watts = 3.5
basis = "design centre"
source = "the same, p. 1"

[[points]]                   # V, mA, mA/V, kohm; a row needs plate, grid and one figure
plate = 250
grid = -15
screen = 250                 # "plate" or left out: triode connected
mA = 85
screen_mA = 6.3
gm = 6.3
rp = 22.5

[[points]]
plate = 100
grid = 0
mA = 56.4
aside = true                 # not fitted: predicted, to see how far the fit can be trusted

# The same in columns, for example a CSV of a valve tester (a line a point, decimal points or commas):
#   type;KT66
#   like;6L6GC
#   plate;grid;screen;mA;screen mA;gm;rp
#   250;-15;250;85;6,3;6,3;22,5
#   100;0;plate;56,4;;;
"""
_SIMPLE = {
    "mA": ("plate current", 1e-3, 0.0, 5000.0),
    "screen_mA": ("screen current", 1e-3, 0.0, 5000.0),
    "gm": ("gm", 1e-3, 1e-3, 1000.0),
    "rp": ("rp", 1e3, 1e-3, 1e5),
    "mu": ("mu", 1.0, 0.5, 1000.0),
}
_UNITS = {"plate current": "A", "screen current": "A", "gm": "S", "rp": "ohm", "mu": "1"}
_KEPT = ("grid_current", "capacitances", "limits", "heater", "base")
_MOST_POINTS = 1000


@dataclass(frozen=True)
class ValvePoints:
    """What a file of points says.

    Attributes
    ----------
    unfitted
        The valve as it stands without a fit: law with its parameters anywhere within their limits, ratings,
        capacitances, points.
    borrowed
        What it takes over from another type, and which, in words; "" where nothing.
    """

    unfitted: Valve
    borrowed: str = ""


def read_points(data: bytes, name: str, options: Mapping[str, str] | None = None) -> ValvePoints:
    """Read the bytes of a file of points: TOML by the ending of its name, else columns.

    Parameters
    ----------
    data : bytes
        Nothing of it is run.
    name : str
        File name, for messages too.
    options : mapping of str to str
        What wins over the file: "type", "like", "law".

    Raises
    ------
    DescriptionError
        Names file, row and value; whatever is missing is named in one message.
    """
    tables = toml_tables(data, name) if name.lower().endswith(".toml") else points_tables(data, name)
    top = Entry({**tables, **{key: value for key, value in (options or {}).items() if value}}, name)
    like = _like(top)
    points, family = _points(top, like)
    law = top.choice("law", LAWS, like["law"] if like and like["family"] == family else f"space-charge {family}")
    if LAWS[law].family != family:
        raise top.fail("law", f"{shown(law)} is one for a {LAWS[law].family}, and the points are of a {family}")
    kept = {key: top.raw(key) for key in _KEPT if top.has(key)}
    own = LAWS[law].grid is not None
    needed = ("capacitances", "limits", *(() if own else ("grid_current",)))
    _refuse_lacking(top, bool(points), needed, like)
    parameters = top.raw("parameters") if top.has("parameters") else {}
    for each in ("fit_range", "source"):
        top.has(each)
    top.finish(" in a file of points")
    borrowed = {key: _marked(like[key], like["type"]) for key in needed if like and key in like and key not in kept}
    if own:
        kept.pop("grid_current", None)
    whole = {"type": top.identifier("type"), "family": family, "law": law, "source": "not fitted yet",
             "parameters": _within(law, parameters), "fit_range": _any_range(family), **kept, **borrowed}  # fmt: skip
    words = f"{join_words(sorted(borrowed))} of {like['type']}" if like and borrowed else ""
    return ValvePoints(replace(parse_valve(whole, name), points=points), words.replace("_", " "))


def _refuse_lacking(top: Entry, any_points: bool, needed: Sequence[str], like: dict[str, Any] | None) -> None:
    """Name everything that is missing in one message."""
    tables = [key for key in needed if not like and not top.has(key)]
    lacking = [*(["type"] if not top.has("type") else []), *([] if any_points else ["points"]), *tables]
    if lacking:
        more = " (or `--like TYPE`, which takes them over from one on file)" if tables else ""
        more += "; `--as NAME` says the type" if "type" in lacking else ""
        raise DescriptionError(
            f"{top.file}: missing: {', '.join(lacking)}{more}; `ampsim valve fit --example` prints a whole file"
        )


def _like(top: Entry) -> dict[str, Any] | None:
    if not top.has("like"):
        return None
    word = top.identifier("like")
    path = file_of(word, "valves", None, top.where("like"))
    return toml_tables(read_bounded(path), path.name)


def _marked(table: dict[str, Any], kind: str) -> dict[str, Any]:
    return {**table, "source": f"taken over from {kind}, not of this type: {table.get('source', '')}"}


def _within(law: str, given: object) -> dict[str, float]:
    """Parameters of a law: those given where they are its own, else the middle of what it allows."""
    known = given if isinstance(given, dict) else {}
    return {
        one.name: known.get(one.name, (one.lowest * one.highest) ** 0.5 if one.lowest > 0 else one.lowest)
        for one in LAWS[law].parameters
    }


def _any_range(family: Family) -> dict[str, list[float]]:
    names = ("plate_volts", "grid_volts", *(("screen_volts",) if family == "pentode" else ()))
    return {key: [0.0, 0.0] for key in names}


def _points(top: Entry, like: dict[str, Any] | None) -> tuple[tuple[Point, ...], Family]:
    given = top.elements("points", _MOST_POINTS)
    rows = top.tables("points", _MOST_POINTS)
    simple = [row for row in rows if not row.has("readings")]
    screens = any(row.has("screen_mA") or (row.has("screen") and row.raw("screen") != "plate") for row in simple)
    guess = like["family"] if like else "pentode" if screens else "triode"
    family: Family = "pentode" if top.choice("family", ("triode", "pentode"), guess) == "pentode" else "triode"
    source = top.line("source") if top.has("source") else f"points of {top.file}"
    found = [point for number, row in enumerate(simple, 1) for point in _simple(row, number, family, source)]
    whole = [each for each, row in zip(given, rows, strict=True) if row.has("readings")]
    return (*parse_points(whole, top.file), *found), family


def _simple(row: Entry, number: int, family: Family, source: str) -> list[Point]:
    """The points of a row of volts and figures."""
    line = int(row.number("line", 1, 1e9, default=0.0)) if row.has("line") else 0
    about = f"{row.file}: line {line}" if line else row.where()
    conditions = [("plate_volts", row.number("plate", 0.0, 5000.0)), ("grid_volts", row.number("grid", -1000.0, 100.0))]
    joined = family == "pentode" and (not row.has("screen") or row.raw("screen") == "plate")
    if family == "triode" and row.has("screen"):
        raise row.fail("screen", 'a triode has no screen; a pentode says `family = "pentode"`')
    if family == "pentode" and not joined:
        conditions.append(("screen_volts", row.number("screen", 0.0, 2000.0)))
    if joined and row.has("screen_mA"):
        raise row.fail("screen_mA", "triode connected, the screen's current is in that of the plate: give `screen`")
    given = {key: row.number(key, low, high) for key, (_, _, low, high) in _SIMPLE.items() if row.has(key)}
    if not given:
        raise DescriptionError(f"{about}: no figure beside the volts: one of {', '.join(_SIMPLE)}")
    aside = row.has("aside") and row.truth("aside")
    name = row.identifier("id") if row.has("id") else f"P{number}"
    row.finish(" in a row of points")
    circuit = "triode connected" if joined else "valve alone"
    return [
        Point(name, source, circuit, tuple(conditions), quantity, given[key] * scale, _UNITS[quantity], not aside,
              "secondary")
        for key, (quantity, scale, _, _) in _SIMPLE.items()
        if key in given
    ]  # fmt: skip
