"""The entries of an effect, a current source and a meter in [parts]."""

from __future__ import annotations

from typing import cast

from ..base.entries import Entry
from ..base.quantities import AMPERE, OHM, format_value
from ..circuit.semiconductors.description import Family
from ..circuit.semiconductors.device import Device
from ..circuit.semiconductors.ideal_parts import PARAMETERS, ideal_part

IDEAL = tuple(PARAMETERS)
"""Kinds of parts that are what their entry says."""
_METERS = {"volts": 10e6, "amps": 0.1}
_EFFECT = {"input_ohms": 1e6, "output_ohms": 1e3, "gain": 1.0}


def read_ideal_part(table: Entry, key: str, designator: str, kind: str) -> Device:
    """Read such a part: `FX1 = { input = "1M", output = "1k", gain = 1 }`, `I1 = "2m"`, `M1 = "volts"`.

    Parameters
    ----------
    table : Entry
        The table it stands in.
    key, designator, kind : str

    Raises
    ------
    DescriptionError
        Naming file, entry, offending value and what would do.
    """
    if kind == "effect":
        numbers, words = _effect(table.table(key))
    elif kind == "meter":
        what = table.choice(key, _METERS)
        numbers, words = {"ohms": _METERS[what]}, f"reads_{what}"
    else:
        amps = table.value(key, AMPERE)
        numbers, words = {"amps": amps}, f"{format_value(amps, AMPERE)}A"
    # The designator makes it a type of its own, whatever is rounded in the words.
    own = ideal_part(cast(Family, kind), numbers, f"{designator}_{words}".replace(".", "r"))
    return Device(designator, own.type, kind, own)


def _effect(entry: Entry) -> tuple[dict[str, float], str]:
    least = {each.name: (each.lowest, each.highest) for each in PARAMETERS["effect"]}
    numbers = {
        "input_ohms": entry.value("input", OHM, _EFFECT["input_ohms"]),
        "output_ohms": entry.value("output", OHM, _EFFECT["output_ohms"]),
        "gain": entry.number("gain", *least["gain"], _EFFECT["gain"]),
    }
    for name, word in (("input_ohms", "input"), ("output_ohms", "output")):
        low, high = least[name]
        if not low <= numbers[name] <= high:
            raise entry.fail(word, f"{format_value(numbers[name], OHM)} ohm; from {low:g} to {high:g} ohm")
    entry.finish(" to an effect")
    ends = [format_value(numbers[name], OHM) for name in ("input_ohms", "output_ohms")]
    return numbers, f"in_{ends[0]}_out_{ends[1]}_gain_{numbers['gain']:g}"
