"""A lamp in series with the amp at its first power: what it leaves of the mains, from what the amp itself draws.

A tungsten lamp's current goes as the 0.55th power of its volts, so its resistance rises about as their 0.45th (lighting
handbooks, from memory). The amp is taken for a resistance: with all that it draws warm, and with its heaters alone, as
before the valves conduct. What it draws is known to a fifth at best, so what is left is told as a range.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from ...circuit.amp import Amp, Socket
from ...circuit.build import build_circuit
from ...circuit.designators import body_of
from ...circuit.positions import Position, switches_at
from ...circuit.semiconductors.device import Device
from ...circuit.supply.rectifier_valve import RectifierValve
from ...circuit.valves.description import Valve
from ...simulation.analyses import OperatingPoint
from ...simulation.response import simulate
from ...simulation.supplies import supplies_at_rest

_EXPONENT = 0.55
_LOSSES = 0.15
"""Share of the watts taken out that transformer and rectifier lose besides [ratio]; common practice, no source."""
_LAMPS = (25, 40, 60, 75, 100, 150, 200, 300)
"""Usual lamps [W]."""


@dataclass(frozen=True)
class Draw:
    """What an amp draws from the mains at rest [W]: its heaters, its rails, what is lost on the way.

    `unknown` names what keeps it from being known; "" where it is.
    """

    heaters: float = 0.0
    rails: float = 0.0
    unknown: str = ""

    @property
    def whole(self) -> float:
        """All of it [W]."""
        return (self.heaters + self.rails) * (1.0 + _LOSSES)

    @property
    def cold(self) -> float:
        """Before the valves conduct [W]."""
        return self.heaters * (1.0 + _LOSSES)

    def lamps(self) -> list[int]:
        """Two lamps to take [W]: the next that has the amp's own watts, and the next of twice as many; none unknown."""
        if self.unknown:
            return []
        wanted = [next((each for each in _LAMPS if each >= times * self.whole), 0) for times in (1.0, 2.0)]
        return list(dict.fromkeys(filter(None, wanted)))


def mains_draw(amp: Amp, position: Position) -> Draw:
    """What an amp draws from the mains at rest, worked out from its valves' heaters and its rails.

    Parameters
    ----------
    amp : Amp
    position : mapping
        Where its controls stand.
    """
    here = {name: each for name, each in position.items() if name in amp.controls}
    wired = build_circuit(amp, switches_at(amp, here))
    heaters: dict[str, float] = {}
    for name, part in wired.parts.items():
        known = amp.valve_by_type if isinstance(part, Socket) else amp.semiconductor_by_type
        heated = known.get(part.type) if isinstance(part, (Socket, Device)) else None
        if not isinstance(heated, (Valve, RectifierValve)):
            continue
        if heated.heater is None:
            return Draw(unknown=f"nothing is on file of the heater of {name}")
        heaters[body_of(name)] = heated.heater.volts * heated.heater.amps
    found = supplies_at_rest(amp, here)
    sources = [abs(each) for supply in found for each in map(supply.volts, supply.net_by_rail)]
    sources += [rail.volts for rail in amp.fitted_rails if rail.volts is not None and rail.volts > 0.0]
    if not sources:
        return Draw(unknown="no rail says its volts")
    branches = simulate(amp, OperatingPoint(), [here])["current"].isel(variant=0, position=0)
    names = [str(each) for each in branches["branch"].values]
    amps = sum(float(abs(branches.sel(branch=each))) for each in names if each.endswith((".plate", ".screen")))
    return Draw(sum(heaters.values()), max(sources) * amps)


def share_left(lamp: float, watts: float) -> float:
    """The share of the mains [ratio] that is left to a load of so many watts at full mains behind a lamp.

    Parameters
    ----------
    lamp, watts : float
        Of the lamp and of the load, each at full mains [W].
    """
    low, high = 0.0, 1.0
    for _ in range(60):  # the lamp's current falls with the share, the load's rises: one place
        middle = 0.5 * (low + high)
        through_lamp, through_load = lamp * (1.0 - middle) ** _EXPONENT, watts * middle
        low, high = (middle, high) if through_lamp > through_load else (low, middle)
    return 0.5 * (low + high)


def shares_left(draw: Draw, lamp: float) -> tuple[float, float]:
    """The least and the most of the mains [ratio] that a lamp [W] leaves: valves warm, and before they conduct."""
    return share_left(lamp, draw.whole), share_left(lamp, draw.cold)


def limiter_words(draw: Draw) -> Sequence[str]:
    """What to take for a limiter, and what it leaves, in sentences."""
    kind = "An incandescent or halogen lamp for the mains' volts: an LED lamp limits nothing."
    if draw.unknown:
        return (kind, f"What this amp draws is not known ({draw.unknown}), so what a lamp leaves it is not told.")
    told = []
    for lamp in draw.lamps():
        low, high = shares_left(draw, lamp)
        told.append(f"a lamp of {lamp} W leaves it {100 * low:.0f} to {100 * high:.0f} % of the mains")
    if not told:
        return (
            kind,
            f"This amp draws about {draw.whole:.0f} W, more than usual lamps are for; put several side by side.",
        )
    return (
        kind,
        f"This amp draws about {draw.whole:.0f} W at rest ({draw.heaters:.0f} W of it heaters, {draw.rails:.0f} W its "
        f"rails; an estimate): {'; '.join(told)}, the less the more its valves conduct.",
    )
