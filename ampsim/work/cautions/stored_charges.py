"""What each capacitor of an amp holds, and how long."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from ...base.errors import DescriptionError, shown
from ...base.quantities import OHM, format_value
from ...circuit.amp import Amp
from ...circuit.conductances import Branch
from ...circuit.dc_paths import nets_with, ohms_between
from ...circuit.positions import Position
from ...simulation.operating_points import at_rest
from ...simulation.unpowered import dead_amp
from .discharge import ChargedCapacitor, fall_times

SAFE_VOLTS = 60.0
"""Direct voltage from which a part counts as live: IEC 60065, IEC 61010-1; IEC 62368-1 class ES1 (from memory)."""
SAFE_COULOMBS = 45e-6
"""Stored charge from which a capacitor counts as hazardous: IEC 61010-1."""
TOOL_OHMS = 10e3
"""What supplies are discharged through by hand: common practice, no source."""
SPARE_BLEEDER = 220e3
"""The bleeder that a supply without one is reckoned with: common practice, no source."""


@dataclass(frozen=True)
class StoredCharge:
    """What one capacitor holds.

    `rest_volts` at the operating point, `cold_volts` with supplies up and no valve conducting [V]; energy [J] and
    charge [C] of both. `bleeder_ohms`: resistance across it with the amp unplugged and valves cold (infinite: none),
    through the parts `bleeder`. `falls_s`: time [s] from the higher voltage to `SAFE_VOLTS` in this circuit, the other
    capacitors discharging with it; `reservoir`: it stands on a supply rail.
    """

    part: str
    farads: float
    reservoir: bool
    rest_volts: float
    cold_volts: float
    bleeder_ohms: float
    bleeder: tuple[str, ...]
    falls_s: float

    @property
    def volts(self) -> float:
        """The higher of both voltages [V]."""
        return max(self.rest_volts, self.cold_volts)

    @property
    def joules(self) -> tuple[float, float]:
        """Energy [J] at rest and cold."""
        return stored_joules(self.rest_volts, self.farads), stored_joules(self.cold_volts, self.farads)

    @property
    def coulombs(self) -> tuple[float, float]:
        """Charge [C] at rest and cold."""
        return stored_coulombs(self.rest_volts, self.farads), stored_coulombs(self.cold_volts, self.farads)

    @property
    def without_s(self) -> float:
        """Time [s] to `SAFE_VOLTS` with no resistance across it."""
        return math.inf if self.volts > SAFE_VOLTS else 0.0

    @property
    def spare_s(self) -> float:
        """Time [s] to `SAFE_VOLTS` through `SPARE_BLEEDER`."""
        return discharge_s(self.volts, self.farads, SPARE_BLEEDER, SAFE_VOLTS)

    @property
    def tool_s(self) -> float:
        """Time [s] to `SAFE_VOLTS` through `TOOL_OHMS`."""
        return discharge_s(self.volts, self.farads, TOOL_OHMS, SAFE_VOLTS)

    @property
    def hazardous(self) -> bool:
        """Whether both limits are passed, volts and stored charge."""
        return self.volts > SAFE_VOLTS and max(self.coulombs) > SAFE_COULOMBS

    @property
    def bleeder_words(self) -> str:
        """The bleeder in words: "220k (R60)" or "none"."""
        if math.isinf(self.bleeder_ohms):
            return "none"
        return f"{format_value(float(f'{self.bleeder_ohms:.3g}'), OHM)} ({', '.join(self.bleeder)})"


def stored_charges(amp: Amp, position: Position) -> list[StoredCharge]:
    """What every capacitor of an amp holds at one position."""
    dead = dead_amp(amp, position)
    wired, paths, branches = dead.wired, dead.paths, dead.branches
    capacitors = [each for each in wired.elements if each.kind == "capacitor"]
    if not capacitors:
        return []
    names = [each.designator for each in capacitors]
    # Every paper of a job begins with them.
    rest, cold = (at_rest([(amp, position)], names, cold=state, kept=True)[0].across for state in (False, True))
    held = [
        ChargedCapacitor(each.net("1"), each.net("2"), wired.parts[each.designator].value, _larger(name, rest, cold))  # type: ignore[union-attr]
        for each in capacitors
        for name in (each.designator,)
    ]
    reservoirs = {name for rail in amp.rails for name in rail.reservoir}
    found = []
    for each, name, fall in zip(held, names, fall_times(branches, held, SAFE_VOLTS), strict=True):
        ohms = ohms_between(branches, each.first, each.second)
        through = _through(paths, each) if math.isfinite(ohms) else ()
        kept = (each.farads, name in reservoirs, abs(rest[name]), abs(cold[name]))
        found.append(StoredCharge(name, *kept, ohms, through, fall))
    return found


def _larger(name: str, rest: Mapping[str, float], cold: Mapping[str, float]) -> float:
    return float(max(rest[name], cold[name], key=abs))


def _through(paths: Sequence[tuple[str, Branch]], each: ChargedCapacitor) -> tuple[str, ...]:
    """Parts without which the resistance across a capacitor would be another."""
    branches = [branch for _, branch in paths]
    ohms = ohms_between(branches, each.first, each.second)
    # What does not hang together with either side makes no difference; a way that leaves ground comes back there.
    near = nets_with(branches, each.first) | nets_with(branches, each.second)
    names = dict.fromkeys(name for name, (first, second, _) in paths if first in near and second in near)
    without = {n: ohms_between([b for m, b in paths if m != n], each.first, each.second) for n in names}
    return tuple(name for name, rest in without.items() if abs(rest - ohms) > 1e-3 * ohms)


def worst_of(one: StoredCharge, other: StoredCharge) -> StoredCharge:
    """Both readings of one capacitor in one: the higher volts, the poorer bleeder, the longer time."""
    volts = max(one.rest_volts, other.rest_volts), max(one.cold_volts, other.cold_volts)
    slower = max(one, other, key=lambda each: (each.bleeder_ohms, each.falls_s))
    falls = max(one.falls_s, other.falls_s)
    kept = (slower.part, max(one.farads, other.farads), slower.reservoir)
    return StoredCharge(*kept, *volts, slower.bleeder_ohms, slower.bleeder, falls)


def discharge_s(volts: float, farads: float, ohms: float, to: float = 60.0) -> float:
    """Time [s] in which a capacitor falls from some volts to `to` [V] through a resistance: R C ln(V0 / to).

    Nought when it starts below; the exponential decay of an RC circuit. 60 V DC: IEC 61010-1.

    Parameters
    ----------
    volts : float
        What it starts from [V], of either sign.
    farads : float
        Its capacitance [F].
    ohms : float
        The resistance across it [ohm].
    to : float
        Where it is safe [V].

    Raises
    ------
    DescriptionError
        For numbers that are not positive.
    """
    for name, value in (("farads", farads), ("ohms", ohms), ("volts to fall to", to)):
        if not 0.0 < value < math.inf:
            raise DescriptionError(f"{name}: {shown(value)}; expected a positive number")
    return ohms * farads * math.log(max(abs(volts) / to, 1.0))


def stored_joules(volts: float, farads: float) -> float:
    """Energy [J] in a charged capacitor: C V**2 / 2."""
    return 0.5 * farads * volts * volts


def stored_coulombs(volts: float, farads: float) -> float:
    """Charge [C] in a charged capacitor: C V; IEC 61010-1 takes more than 45 uC as hazardous."""
    return farads * abs(volts)
