"""A valve as the text of a file that `load_valve` reads back to the same valve."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import fields
from itertools import groupby

from ..circuit.valves.description import Point, Valve

_UNITS = {"A": (("mA", 1e-3, 1e-4), ("uA", 1e-6, 0.0)), "S": (("mA/V", 1e-3, 0.0),),
          "ohm": (("kohm", 1e3, 1e3), ("ohm", 1.0, 0.0)), "V": (("V", 1.0, 0.0),), "W": (("W", 1.0, 0.0),)}  # fmt: skip
_PERCENT = ("distortion", "second harmonic", "third harmonic")


def valve_text(valve: Valve) -> str:
    """The valve as TOML, with everything its file may say [V, A, ohm, F, W; points in the units of data sheets]."""
    head = [f"{name} = {_word(getattr(valve, name))}" for name in ("type", "family", "law", "source")]
    tables = [
        _table("parameters", valve.parameters),
        _table("grid_current", _given(valve.grid_current)),
        _table("capacitances", _given(valve.capacitances)),
        _table("heater", _given(valve.heater)),
        _base(valve),
        _table("limits", _given(valve.limits)),
        _table("fit_range", _given(valve.fit_range)),
    ]
    rows = groupby(valve.points, key=lambda each: (each.id, each.source, each.flag, each.circuit, each.conditions))
    return "\n\n".join(filter(None, ["\n".join(head), *tables, *(_row(list(group)) for _, group in rows)])) + "\n"


def _given(held: object) -> Iterator[tuple[str, object]]:
    if held is not None:
        for each in fields(held):  # type: ignore[arg-type]
            value = getattr(held, each.name)
            if value is not None:
                yield each.name, value


def _table(name: str, entries: Iterable[tuple[str, object]]) -> str:
    lines = [f"{key} = {_word(value)}" for key, value in entries]
    return "\n".join([f"[{name}]", *lines]) if lines else ""


def _base(valve: Valve) -> str:
    if valve.pinout is None:
        return ""
    found = valve.pinout
    return _table("base", (("name", found.base), ("pins", found.pins), ("source", found.source)))


def _row(points: list[Point]) -> str:
    first = points[0]
    conditions = ", ".join(f"{name} = {_word(value)}" for name, value in first.conditions)
    lines = [f"{name} = {_word(getattr(first, name))}" for name in ("id", "source", "flag", "circuit")]
    return "\n".join(["[[points]]", *lines, f"conditions = {{ {conditions} }}", "readings = [",
                      *(f"  {_reading(point)}," for point in points), "]"])  # fmt: skip


def _reading(point: Point) -> str:
    value, unit = _in_unit(point)
    words = (("quantity", point.quantity), ("value", value), ("unit", unit), ("used_in_fit", point.used_in_fit))
    return "{ " + ", ".join(f"{name} = {_word(each)}" for name, each in words) + " }"


def _in_unit(point: Point) -> tuple[float, str]:
    """Value and unit as data sheets write them, such that they read back to the same number."""
    if point.unit == "1":
        units: tuple[tuple[str, float, float], ...] = (("%", 1e-2, 0.0),) if point.quantity in _PERCENT else ()
        units = (*units, ("1", 1.0, 0.0))
    else:
        units = _UNITS[point.unit]
    likely = sorted(units, key=lambda each: abs(point.value) < each[2])
    written = [(float(f"{point.value / scale:.12g}"), unit, scale) for unit, scale, _ in likely]
    exact = next((each for each in written if each[0] * each[2] == point.value), written[0])
    return exact[0], exact[1]


def _word(value: object) -> str:
    """A value as TOML writes it: texts with whatever could end them written as codes."""
    if isinstance(value, bool):
        return "true" if value else "false"
    if isinstance(value, (list, tuple)):
        return f"[{', '.join(map(_word, value))}]"
    if isinstance(value, str):
        text = value.replace("\\", "\\\\").replace('"', '\\"')
        return '"' + "".join(sign if sign.isprintable() else f"\\U{ord(sign):08x}" for sign in text) + '"'
    return repr(value)
