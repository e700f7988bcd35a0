"""What a meter should read, and within which limits."""

from __future__ import annotations

import math
from collections.abc import Iterable, Iterator
from dataclasses import dataclass, replace

from ...base.quantities import FARAD, HENRY, OHM, format_value, with_unit
from ...circuit.amp import Amp, AnyPart, Part, Pot
from ...circuit.dc_paths import ohms_between
from ...circuit.semiconductors.device import Device
from ...circuit.semiconductors.measuring import diode_volts
from ...circuit.stages.template import GROUND
from ...simulation.unpowered import DeadAmp

PART_LIMITS = {"resistor": 0.10, "pot": 0.20, "capacitor": 0.20, "inductor": 0.20}
"""How far a good part may be off its marking: common practice, no source. Windings count as `_WINDING`."""
VOLT_LIMIT = 0.15
"""How far good volts may be off: mains, parts and valves together; common practice, no source."""
OPEN_OHMS = 100e3
"""What counts as open on a dead amp: electrolytic capacitors leak, and the meter fills them (from memory)."""
SAFE_TO_TOUCH = 5.0  # V left in a capacitor when work begins
_WINDING = 0.25
_JUNCTION = 0.15  # of a diode's forward volts
_METER_AMPS = 1e-3  # what the diode test of a meter sends
_LEADS = 1.0  # ohm of leads and contacts
_LEAST_VOLTS = 0.2  # below this no reading tells


@dataclass(frozen=True)
class Check:
    """One reading: what is measured, the value expected and the limits, in "ohm", "F", "H" or "V".

    An infinite value is open: anything above `low` passes. `place` and `against` are what the meter's leads are on; ""
    for a part on the bench, or where the amp's description has no such place.
    """

    what: str
    value: float
    low: float
    high: float
    unit: str
    place: str = ""
    against: str = ""

    def passes(self, reading: float) -> bool:
        """Whether a reading [ohm, F, H or V, as `unit`] lies within the limits."""
        return self.low <= reading <= self.high

    @property
    def words(self) -> str:
        """The reading in one line: "R7.1 to ground: 2.2 kohm (2 kohm to 2.4 kohm)"."""
        if math.isinf(self.value):
            return f"{self.what}: open (above {reading_words(self.low, self.unit)})"
        value, low, high = (reading_words(each, self.unit) for each in (self.value, self.low, self.high))
        return f"{self.what}: {value} ({low} to {high})"


def reading_words(value: float, unit: str) -> str:
    """What a meter shows [ohm, F, H or V, as `unit`], in words: "2.2 kohm", "open"."""
    if math.isinf(value):
        return "open"
    short = float(f"{value:.3g}")
    if unit == "V":
        return f"{short:g} V"
    if unit == "ohm":
        return f"{short:.1g} ohm" if short < 1.0 else with_unit(short, OHM)
    # Drawings write a capacitor "6n8" without more.
    return with_unit(short, HENRY) if unit == "H" else format_value(short, FARAD)


def loose_part_checks(part: AnyPart, name: str, limit: float | None = None) -> Iterator[Check]:
    """The reading of a part on the bench, out of the amp, within a limit [ratio]; none for valves and transformers."""
    if isinstance(part, (Part, Pot)):
        unit = {"capacitor": "F", "inductor": "H"}.get(part.kind, "ohm")
        share = PART_LIMITS[part.kind] if limit is None else limit
        track = ", end to end" if isinstance(part, Pot) else ""
        yield Check(f"{name} loose{track}", part.value, part.value * (1.0 - share), part.value * (1.0 + share), unit)


def diode_checks(amp: Amp, part: AnyPart | None, name: str) -> Iterator[Check]:
    """The reading of a diode on the bench, on the diode test of a meter, anode to plus [V]; none for other parts."""
    if isinstance(part, Device) and part.kind == "diode":
        volts = diode_volts(amp.semiconductor_by_type[part.type], _METER_AMPS)
        low, high = (volts * (1.0 + sign * _JUNCTION) for sign in (-1.0, 1.0))
        yield Check(f"{name} loose, diode test, anode to plus (open the other way)", volts, low, high, "V")


def resistance_check(dead: DeadAmp, place: str, against: str = "ground") -> Check:
    """The resistance between two places of a dead amp.

    Notes
    -----
    The limits hold for any mixture of parts within `PART_LIMITS`: the resistance between two places never falls when
    a resistance anywhere rises (Rayleigh's monotonicity law), so both ends lie at the corners.
    """
    value = dead.ohms(place, against)
    what = f"{place} to {against}"
    if math.isinf(value):
        return Check(what, math.inf, OPEN_OHMS, math.inf, "ohm", place, against)
    first, second = dead.wired.net(place), dead.wired.net(against)
    low, high = (
        ohms_between([(one, two, ohm * (1.0 + sign * _limit(dead, name))) for name, (one, two, ohm) in dead.paths],
                     first, second)
        for sign in (-1.0, 1.0)
    )  # fmt: skip
    return Check(what, value, max(low - _LEADS, 0.0), high + _LEADS, "ohm", place, against)


def _limit(dead: DeadAmp, name: str) -> float:
    return PART_LIMITS.get(dead.wired.parts[name].kind, _WINDING)


def ground_checks(dead: DeadAmp, places: Iterable[str]) -> list[Check]:
    """Resistance to ground of each place; nets that come up again, or whose supply is not described, are left out."""
    nets: dict[str, str] = {}
    for place in places:
        net = dead.wired.net_by_place.get(place, GROUND)
        if net != GROUND and (net not in dead.unsure or net in dead.behind_diodes):
            nets.setdefault(net, place)
    return [_as_diodes_block(dead, net, resistance_check(dead, place)) for net, place in nets.items()]


def _as_diodes_block(dead: DeadAmp, net: str, check: Check) -> Check:
    """A reading behind the diodes of a supply says where the meter's plus lies, so that they block."""
    if net not in dead.behind_diodes:
        return check
    plus = check.place if dead.behind_diodes[net] > 0.0 else check.against
    return replace(check, what=f"{check.what} (plus on {plus})")


def voltage_check(place: str, value: float, limit: float = VOLT_LIMIT) -> Check | None:
    """A voltage against ground under power [V], within a limit [ratio]; None where it is too small to tell anything."""
    if abs(value) < _LEAST_VOLTS:
        return None
    low, high = sorted((value * (1.0 - limit), value * (1.0 + limit)))
    return Check(f"{place} to ground", value, low, high, "V", place, "ground")
