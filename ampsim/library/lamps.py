"""The entries of lamps, light-dependent resistors and thermistors in [parts]."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping

from ..base.entries import Entry
from ..base.quantities import AMPERE, OHM, VOLT, format_value
from ..circuit.semiconductors.description import Family, Semiconductor
from ..circuit.semiconductors.device import Device
from ..circuit.semiconductors.lamps import LAMP_PARAMETERS
from ..circuit.semiconductors.thermistors import THERMISTOR_PARAMETERS

# Usual ones, from memory, not checked.
_WARM_UP, _INNER, _GLOW_AMPS = 0.1, 3e3, 5e-4
_AT_LUX, _SLOPE, _DARK, _RISE, _RECOVERY = 10.0, 0.7, 1e6, 0.03, 2e5
_BETA, _COOLS = 3200.0, 90.0
# A filament lives a third as long at so much more than its volts (life with the volts to the power -12, from memory).
_OVER = 1.1
_SOURCE = "the entry in [parts]"
_Read = tuple[Family, dict[str, float], dict[str, float], str]


def read_warm_or_lit(table: Entry, key: str, designator: str, kind: str) -> Device:
    """Read a lamp, a light-dependent resistor or a thermistor.

    `LA1 = { volts = "6.3", current = "150m" }`, `LA2 = { strikes = "70", glows = "55" }`,
    `LDR1 = { ohms = "9k", lamp = "LA1", lux = 300 }`, `NTC1 = { cold = "120", warm = "1R2", current = "2" }`.

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
    entry = table.table(key)
    read = WARM_OR_LIT[kind](entry)
    lamp = entry.designator("lamp") if entry.has("lamp") else ""
    own = _data(entry, designator, read, f" to a {kind}")
    return Device(designator, own.type, kind, own, lamp)


def read_thermistor(entry: Entry, name: str) -> Semiconductor:
    """Read the data of a thermistor that is called `name`.

    Raises
    ------
    DescriptionError
        Naming file, entry, offending value and what would do.
    """
    return _data(entry, name, _thermistor(entry), " to a thermistor")


def _data(entry: Entry, designator: str, read: _Read, what: str) -> Semiconductor:
    family, numbers, limits, words = read
    entry.finish(what)
    parameters = THERMISTOR_PARAMETERS if family == "thermistor" else LAMP_PARAMETERS[family]
    for each in parameters:
        if not each.lowest <= numbers[each.name] <= each.highest:
            raise entry.fail("", f"{each.name.replace('_', ' ')} {numbers[each.name]:g}; from {each.lowest:g} to "
                                 f"{each.highest:g}")  # fmt: skip
    given = tuple((each.name, numbers[each.name]) for each in parameters)
    name = f"{designator}_{words}".replace(".", "r").replace(" ", "_")
    return Semiconductor(name, family, family, given, _SOURCE, (), "", tuple(limits.items()), "rated", _SOURCE, ())


def _lamp(entry: Entry) -> _Read:
    if entry.has("strikes"):
        strikes, glows = entry.value("strikes", VOLT), entry.value("glows", VOLT)
        amps, inner = entry.value("current", AMPERE, _GLOW_AMPS), entry.value("inner_resistance", OHM, _INNER)
        if not inner * amps < glows < strikes:
            raise entry.fail("glows", f"{glows:g} V; a glow lamp glows at less than it strikes at, {strikes:g} V")
        numbers = {"strike_volts": strikes, "glow_volts": glows, "rated_amps": amps, "inner_ohms": inner}
        return "glow lamp", numbers, {"lamp_amps": amps}, f"strikes at {strikes:g} V"
    volts, amps = entry.value("volts", VOLT), entry.value("current", AMPERE)
    numbers = {
        "rated_volts": volts,
        "rated_amps": amps,
        "warm_up_seconds": entry.number("warm_up", 1e-3, 10.0, _WARM_UP),
    }
    return "filament lamp", numbers, {"lamp_volts": _OVER * volts}, f"{volts:g} V {format_value(amps, AMPERE)}A"


def _photocell(entry: Entry) -> _Read:
    lux = entry.number("lux", 0.0, 1e6)
    lit = entry.has("lamp")
    numbers = {
        "ohms": entry.value("ohms", OHM),
        "at_lux": entry.number("at_lux", 0.01, 1e5, _AT_LUX),
        "slope": entry.number("slope", 0.3, 2.0, _SLOPE),
        "dark_ohms": entry.value("dark", OHM, _DARK),
        "rise_seconds": entry.number("rise", 1e-5, 10.0, _RISE),
        "fall_ohms_per_second": entry.value("recovery", OHM, _RECOVERY),
        "lamp_lux": lux if lit else 0.0,
        "daylight_lux": entry.number("daylight", 0.0, 1e6, 0.0) if lit else lux,
    }
    limits = {"cell_volts": entry.value("most_volts", VOLT)} if entry.has("most_volts") else {}
    limits |= {"cell_watts": entry.number("most_watts", 1e-3, 10.0)} if entry.has("most_watts") else {}
    words = f"{format_value(numbers['ohms'], OHM)} at {numbers['at_lux']:g} lux"
    return "light-dependent resistor", numbers, limits, words


def _thermistor(entry: Entry) -> _Read:
    cold, warm, amps = entry.value("cold", OHM), entry.value("warm", OHM), entry.value("current", AMPERE)
    numbers = {
        "cold_ohms": cold,
        "warm_ohms": warm,
        "warm_amps": amps,
        "beta": entry.number("beta", 500.0, 4100.0, _BETA),
        "seconds": entry.number("cools_in", 1.0, 1e4, _COOLS),
    }
    if not 1.0 < cold / warm < 1e3:
        raise entry.fail("warm", f"{format_value(warm, OHM)} at {amps:g} A; it is less than cold, by up to a thousand")
    return (
        "thermistor",
        numbers,
        {"rms_amps": amps},
        f"{format_value(cold, OHM)} ohm cold {format_value(warm, OHM)} ohm warm",
    )


WARM_OR_LIT: Mapping[str, Callable[[Entry], _Read]] = {
    "lamp": _lamp,
    "light-dependent resistor": _photocell,
    "thermistor": _thermistor,
}
"""How each of these kinds is read."""


def assumed_of_warm_or_lit(part: Device, given: object) -> Iterator[str]:
    """What was filled in, and what such a part does where, in words."""
    known = given if isinstance(given, Mapping) else {}
    own = dict(part.own.parameters) if part.own else {}
    said = [
        words.format(**own) for key, words in _FILLED.get(str(part.own and part.own.family), ()) if key not in known
    ]
    if said:
        yield f"{part.designator}: {', '.join(said)} (usual ones; none are given)"
    if part.kind == "light-dependent resistor":
        how = f"as lit as {part.lit_by} leaves it at rest" if part.lit_by else f"lit by {own['daylight_lux']:g} lux"
        yield f"{part.designator}: in sweeps {how}, in time it follows the light"
    if part.kind == "thermistor":
        yield (f"{part.designator}: as warm as the current at rest makes it, in sweeps and in time; cold at switch-on, "
               "where the surge is worked out")  # fmt: skip


_FILLED: Mapping[str, tuple[tuple[str, str], ...]] = {
    "filament lamp": (("warm_up", "warm within {warm_up_seconds:g} s"),),
    "glow lamp": (
        ("current", "made for {rated_amps:g} A"),
        ("inner_resistance", "{inner_ohms:g} ohm inside while it glows"),
    ),
    "light-dependent resistor": (
        ("at_lux", "its ohms at {at_lux:g} lux"),
        ("slope", "falling with the light to the power {slope:g}"),
        ("dark", "{dark_ohms:.3g} ohm in the dark"),
        ("rise", "lit within {rise_seconds:g} s"),
        ("recovery", "{fall_ohms_per_second:.3g} ohm a second in the dark"),
    ),
    "thermistor": (("beta", "beta {beta:g} K"), ("cools_in", "cools within {seconds:g} s")),
}
