"""A part as an amp file writes it under [parts]; read back, it is the same part."""

from __future__ import annotations

import dataclasses
import math
import re
from collections.abc import Mapping
from typing import Any

from .amp import AnyPart, Part, Pot
from .loudspeaker import Loudspeaker
from .reverb_tank import ReverbTank
from .semiconductors.device import Device
from .supply.transformer import MainsTransformer
from .transformer import Transformer

_WORD = re.compile(r"[^A-Za-z0-9 ._+%-]")
_BARE = re.compile(r"[A-Za-z0-9_-]+")


def part_entry(part: AnyPart) -> Any:
    """The value [SI unit], type or table that an amp file has for a part; names of controls have plain signs alone."""
    if isinstance(part, Part):
        return part.value if is_plain(part) else _choke_entry(part)
    if isinstance(part, Device) and part.own is not None:
        return _ideal_entry(part, dict(part.own.parameters))
    if hasattr(part, "type"):
        return part.type
    if isinstance(part, MainsTransformer):
        return _mains_entry(part)
    entry = {field.name: getattr(part, field.name) for field in dataclasses.fields(part)}
    del entry["designator"], entry["kind"]
    if isinstance(part, Pot):
        entry["track"] = entry.pop("value")
        if part.tap is None:
            del entry["tap"]
    if isinstance(part, Transformer):
        entry = _of_transformer(part, entry)
    if isinstance(part, Loudspeaker) and not part.more_peaks:
        del entry["more_peaks"]
    if isinstance(part, ReverbTank):
        entry["input"], entry["output"] = entry.pop("input_impedance"), entry.pop("output_impedance")
        entry["delays_ms"] = tuple(1e3 * each for each in entry.pop("springs"))
    return entry


def _of_transformer(part: Transformer, entry: dict[str, Any]) -> dict[str, Any]:
    entry["secondary"] = "reversed" if entry.pop("reversed") else "in phase"
    share, saturation, windings = (entry.pop(name) for name in ("first_share", "saturation", "windings"))
    if share != 0.5:
        entry["leakage"] = [part.leakage * share, part.leakage * (1.0 - share)]
    if not part.screen_taps:
        del entry["screen_taps"]
    if math.isfinite(saturation):
        entry["core"] = {"saturation": saturation}
    if windings:
        entry["windings"] = [{"name": e.name, "ratio": 1.0 / e.turns, "resistance": e.resistance} for e in windings]
    return entry


def is_plain(part: AnyPart) -> bool:
    """Whether a part is one value and nothing else."""
    return isinstance(part, Part) and not part.resistance and not part.saturation_amps


def _choke_entry(part: Part) -> dict[str, float]:
    return {"inductance": part.value, "resistance": part.resistance, "saturation_current": part.saturation_amps}


def _ideal_entry(part: Device, numbers: Mapping[str, float]) -> Any:
    kind = part.kind
    if part.own and part.own.family in _ENTRIES:
        return _warm_or_lit_entry(part, numbers)
    if kind == "effect":
        return {name: numbers[f"{name}_ohms"] for name in ("input", "output")} | {"gain": numbers["gain"]}
    if kind == "meter":
        return "volts" if numbers["ohms"] > 1.0 else "amps"
    return numbers["amps"]


# To each entry of such a part the parameter it becomes.
_ENTRIES: Mapping[str, Mapping[str, str]] = {
    "filament lamp": {"volts": "rated_volts", "current": "rated_amps", "warm_up": "warm_up_seconds"},
    "glow lamp": {"strikes": "strike_volts", "glows": "glow_volts", "current": "rated_amps",
                  "inner_resistance": "inner_ohms"},
    "light-dependent resistor": {"ohms": "ohms", "at_lux": "at_lux", "slope": "slope", "dark": "dark_ohms",
                                 "rise": "rise_seconds", "recovery": "fall_ohms_per_second"},
    "thermistor": {"cold": "cold_ohms", "warm": "warm_ohms", "current": "warm_amps", "beta": "beta",
                   "cools_in": "seconds"},
}  # fmt: skip


def _warm_or_lit_entry(part: Device, numbers: Mapping[str, float]) -> dict[str, Any]:
    own = part.own
    if own is None:
        return {}
    entry: dict[str, Any] = {name: numbers[each] for name, each in _ENTRIES[own.family].items()}
    if own.family == "light-dependent resistor":
        entry["lux"] = numbers["lamp_lux"] if part.lit_by else numbers["daylight_lux"]
        entry |= {"lamp": part.lit_by, "daylight": numbers["daylight_lux"]} if part.lit_by else {}
        entry |= {f"most_{name.removeprefix('cell_')}": value for name, value in own.limits}
    return entry


def _mains_entry(part: MainsTransformer) -> dict[str, Any]:
    windings = {
        each.name: {
            "volts": f"{each.volts / 2!r}-0-{each.volts / 2!r}" if each.centre else each.volts,
            "resistance": each.resistance,
            **({"tap": each.tap} if each.tap else {}),
            **({"current": each.rated_amps} if each.rated_amps else {}),
            **({"load": each.load_amps} if each.load_amps else {}),
        }
        for each in part.windings
    }
    plain = {name: getattr(part, name) for name in ("mains", "primary", "frequency", "primary_resistance")}
    if part.inrush:
        numbers = dict(part.inrush.parameters)
        plain |= {"inrush": {name: numbers[each] for name, each in _ENTRIES["thermistor"].items()}, "draws": part.draws}
    return plain | {"windings": windings}


def entry_text(entry: Any) -> str:
    """A value, a text, a list or a table as TOML on one line; of a text only letters, digits and a few plain signs."""
    if isinstance(entry, Mapping):
        return "{ " + ", ".join(f"{_key(name)} = {entry_text(each)}" for name, each in entry.items()) + " }"
    if isinstance(entry, (list, tuple)):
        return f"[{', '.join(map(entry_text, entry))}]"
    if isinstance(entry, bool):
        return "true" if entry else "false"
    return f'"{plain_word(entry)}"' if isinstance(entry, str) else repr(entry)


def plain_word(text: str) -> str:
    """A text with every sign that a netlist or an amp file could take for more than a letter made "_"."""
    return _WORD.sub("_", text)


def _key(name: str) -> str:
    return name if _BARE.fullmatch(name) else f'"{plain_word(name)}"'
