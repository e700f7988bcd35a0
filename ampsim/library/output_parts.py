"""Output transformers and loudspeakers of a [parts] table, by the figures that data sheets and meters give."""

from __future__ import annotations

import math
import re

from ..base.entries import Entry
from ..base.errors import shown
from ..base.quantities import FARAD, HENRY, HERTZ, OHM, Quantity
from ..circuit.loudspeaker import Loudspeaker
from ..circuit.transformer import WINDING, Transformer, Winding
from ..circuit.transformer_core import flux_at

_VOLT_SECONDS = Quantity("flux", "V s", ("Vs", "V s", "Wb"), "mu", 1e-4, 1e3)
_WATTS = Quantity("power", "W", ("W",), "mk", 1e-3, 1e4)
_AMPERES = Quantity("current", "A", ("A",), "mu", 1e-6, 10.0)
_TAKEN = ("primary", "secondary", "common", "centre", "screen", "tap", "a", "b", "leak", "core", "winding", "damp")


def read_transformer(designator: str, entry: Entry) -> Transformer:
    """Read an output transformer; `primary`, `ratio` or `turns` says how many turns there are to those of the last tap.

    Raises
    ------
    DescriptionError
        Naming file, entry, offending value and what would do.
    """
    given = entry.raw("taps")
    taps = tuple(
        entry.element("taps", each).value("taps", OHM) for each in (given if isinstance(given, list) else [given])
    )
    if not 1 <= len(taps) <= 6 or list(taps) != sorted(set(taps)):
        raise entry.fail("taps", f"{shown(given)} are not one to six loads in rising order, such as [4, 8, 16]")
    primary = _primary(entry, taps[-1])
    leakage, first_share = _leakage(entry, primary)
    inductance = entry.value("inductance", HENRY, primary / (2 * math.pi * 40))
    made = Transformer(
        designator,
        primary,
        taps,
        inductance=inductance,
        leakage=leakage,
        primary_resistance=entry.value("primary_resistance", OHM, primary * 0.03),
        secondary_resistance=entry.value("secondary_resistance", OHM, taps[-1] * 0.03),
        capacitance=entry.value("capacitance", FARAD, 400e-12),
        damping=entry.value("damping", OHM, primary),
        core_loss=entry.value("core_loss", OHM, primary * 15),
        reversed=entry.choice("secondary", ("in phase", "reversed"), "in phase") == "reversed",
        screen_taps=entry.number("screen_taps", 0.02, 0.98, 0.0) if entry.has("screen_taps") else 0.0,
        first_share=first_share,
        saturation=_saturation(entry.table("core"), primary, inductance) if entry.has("core") else math.inf,
        windings=tuple(_winding(each, primary) for each in entry.tables("windings", 4)),
    )
    entry.finish()
    names = [each.name for each in made.windings]
    if len(set(names)) < len(names):
        raise entry.fail("windings", f"{shown(names)} are not names of their own")
    return made


def _primary(entry: Entry, tap: float) -> float:
    ways = [way for way in ("primary", "ratio", "turns") if entry.has(way)]
    if len(ways) != 1:
        raise entry.fail(
            "primary",
            "a transformer has one of primary (its load in ohms), ratio (turns of the whole primary to those of the "
            "largest tap) or turns (both, in a list)",
        )
    if ways[0] == "primary":
        return entry.value("primary", OHM)
    if ways[0] == "ratio":
        ratio = entry.number("ratio", 0.05, 500.0)
    else:
        turns = entry.elements("turns", 2)
        if len(turns) != 2:
            raise entry.fail("turns", f"{shown(turns)} are not the turns of the whole primary and of the largest tap")
        whole, last = (entry.element("turns", each).number("turns", 1.0, 1e5) for each in turns)
        ratio = whole / last
    return ratio**2 * tap


def _leakage(entry: Entry, primary: float) -> tuple[float, float]:
    """The leakage [H] of the whole primary, and how much of it the first half has [ratio]."""
    if not entry.has("leakage") or not isinstance(entry.raw("leakage"), list):
        return entry.value("leakage", HENRY, primary / (2 * math.pi * 80e3)), 0.5
    halves = [entry.element("leakage", each).value("leakage", HENRY) for each in entry.elements("leakage", 2)]
    if len(halves) != 2:
        raise entry.fail("leakage", "one value is that of the whole primary, two are those of its halves")
    return sum(halves), halves[0] / sum(halves)


def _saturation(core: Entry, primary: float, inductance: float) -> float:
    """The flux [V s] of the whole primary at the knee, from what a data sheet says of the core."""
    if core.has("saturation"):
        found = core.value("saturation", _VOLT_SECONDS)
    elif core.has("tesla"):
        area = core.number("square_centimetres", 0.1, 1000.0)
        found = core.number("tesla", 0.1, 2.2) * core.number("turns", 1.0, 1e5) * area * 1e-4
    else:
        watts, hertz = core.value("power", _WATTS), core.value("from", HERTZ)
        direct = core.value("direct_current", _AMPERES, 0.0)
        found = flux_at(math.sqrt(watts * primary), hertz) + inductance * direct
    core.finish(" of a core: saturation; or tesla, turns, square_centimetres; or power, from, direct_current")
    return found


def _winding(entry: Entry, primary: float) -> Winding:
    name = entry.label("name")
    if not re.fullmatch(WINDING, name) or name in _TAKEN or name.startswith("tap"):
        raise entry.fail("name", f"{shown(name)} is not a name for a winding; small letters, such as feedback")
    if entry.has("ohms") == entry.has("ratio"):
        raise entry.fail("ohms", "a winding has ohms, the load it is made for, or ratio, primary turns to its own")
    turns = 1.0 / entry.number("ratio", 0.05, 500.0) if entry.has("ratio") else None
    ohms = entry.value("ohms", OHM) if turns is None else turns**2 * primary
    made = Winding(name, math.sqrt(ohms / primary), entry.value("resistance", OHM, ohms * 0.03))
    entry.finish()
    return made


def read_loudspeaker(designator: str, entry: Entry) -> Loudspeaker:
    """Read a loudspeaker.

    Raises
    ------
    DescriptionError
        Naming file, entry, offending value and what would do.
    """
    resistance = entry.value("resistance", OHM)
    made = Loudspeaker(
        designator,
        resistance,
        resonance=entry.value("resonance", HERTZ, 85.0),
        peak=entry.value("peak", OHM, 8.0 * resistance),
        q=entry.number("q", 0.3, 30.0, 6.0),
        reactance=entry.value("reactance", OHM, 0.8 * resistance),
        exponent=entry.number("exponent", 0.3, 1.0, 0.7),
        more_peaks=tuple(_peak(entry, each) for each in entry.elements("more_peaks", 4)),
    )
    entry.finish()
    return made


def _peak(entry: Entry, given: object) -> tuple[float, float, float]:
    if not isinstance(given, (list, tuple)) or len(given) != 3:
        raise entry.fail("more_peaks", f"{shown(given)} is not a resonance; written [hertz, ohms, q]")
    hertz, ohms = (entry.element("more_peaks", each).value("more_peaks", kind)
                   for each, kind in zip(given, (HERTZ, OHM), strict=False))  # fmt: skip
    return hertz, ohms, entry.element("more_peaks", given[2]).number("more_peaks", 0.3, 30.0)
