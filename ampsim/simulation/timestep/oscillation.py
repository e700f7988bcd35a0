"""How the oscillators that an amp is meant to have swing: their speed, and where they stand at both ends of it."""

from __future__ import annotations

from dataclasses import dataclass, replace
from functools import lru_cache

import numpy as np

from ...base.errors import EngineError
from ...circuit.amp import Amp, Edit, Mod
from ...circuit.build import Circuit
from ...circuit.held_volts import HeldVolts
from ...circuit.mods import apply_mods
from ...circuit.oscillators import Oscillator, oscillators
from ...circuit.positions import Position
from ...circuit.semiconductors.opto_couplers import LEVEL, MICRO
from .branches import Parts, node_net
from .kernel_arguments import Array
from .machine import COARSE
from .moves import stands
from .starting import machine_at_rest

_WATCHED = 4.0  # seconds
# A swing of less at the plate is none [V].
_LEAST = 0.05


@dataclass(frozen=True)
class Oscillation:
    """A declared oscillator that goes, at one position of the controls.

    Attributes
    ----------
    stage : str
        The name of its stage.
    hertz : float
        Its speed [Hz]; NaN when it does not go by itself.
    moves : str
        What it moves: the opto-coupler that it lights, or of the places that its stage shares with others the one
        that swings most.
    unit : str
        "V", or "ohm" of a coupler's cell.
    least, most : float
        The lowest and highest voltage there [V], or resistance [ohm].
    at_least, at_most : tuple of (str, float)
        What its capacitors hold then [V], by designator; of a coupler, when its diode is brightest and darkest.
    """

    stage: str
    hertz: float
    moves: str
    unit: str
    least: float
    most: float
    at_least: tuple[tuple[str, float], ...]
    at_most: tuple[tuple[str, float], ...]

    @property
    def goes(self) -> bool:
        """Whether it keeps itself going."""
        return bool(np.isfinite(self.hertz))


def oscillations(amp: Amp, position: Position | None = None) -> tuple[Oscillation, ...]:
    """How each oscillator that the amp is meant to have swings once it has settled; none without one.

    Raises
    ------
    DescriptionError
        For unknown controls or positions.
    EngineError
        When the amp has no solution in time.
    """
    return _oscillations(amp, tuple(amp.setting(position or {}).items()))


@lru_cache(maxsize=64)
def _oscillations(amp: Amp, setting: tuple[tuple[str, float | str], ...]) -> tuple[Oscillation, ...]:
    wired, (stand,) = stands(amp, dict(setting))
    found = oscillators(wired)
    if not found:
        return ()
    ends = {each.designator: [net for _, net in each.pins] for each in wired.elements if each.kind == "capacitor"}
    own = (net for each in found for name in each.capacitors for net in ends[name])
    lit = (node_net(name, LEVEL) for each in found for name in each.couplers)
    nets = list(dict.fromkeys((*own, *lit, *(net for each in found for net in _seen(each)))))
    volts = dict(zip(nets, _watch(stand.parts, tuple(nets)).T, strict=True))
    return tuple(_described(each, volts, ends, wired) for each in found)


def _watch(parts: Parts, nets: tuple[str, ...]) -> Array:
    from .machine import Unsolved

    amp = machine_at_rest(replace(parts, watched=nets), nets[0], COARSE)
    try:
        amp.set_going()
        return amp.idle(_WATCHED)
    except Unsolved as error:
        raise EngineError("the amp with its oscillator going has no solution in time") from error


def _seen(each: Oscillator) -> tuple[str, ...]:
    return (each.output, *each.shared, *(net for pair in each.diodes for net in pair))


def _described(each: Oscillator, volts: dict[str, Array], ends: dict[str, list[str]], wired: Circuit) -> Oscillation:
    held = {name: volts[ends[name][0]] - volts[ends[name][1]] for name in each.capacitors}
    speed = _speed(volts[each.output])

    def at(sample: int) -> tuple[tuple[str, float], ...]:
        return tuple((name, float(across[sample])) for name, across in held.items())

    if each.couplers:
        ohms = 1.0 / (MICRO * volts[node_net(each.couplers[0], LEVEL)])
        first, second = each.diodes[0]
        light = volts[first] - volts[second]
        ends_of_light = int(np.argmax(light)), int(np.argmin(light))
        return Oscillation(each.stage, speed, each.couplers[0], "ohm", float(ohms.min()), float(ohms.max()),
                           *map(at, ends_of_light))  # fmt: skip
    moves = max(each.shared or (each.output,), key=lambda net: float(np.ptp(volts[net])))
    swing = volts[moves]
    low, high = int(np.argmin(swing)), int(np.argmax(swing))
    place = wired.places_by_net[moves][0]
    return Oscillation(each.stage, speed, place, "V", float(swing[low]), float(swing[high]), at(low), at(high))


def _speed(volts: Array) -> float:
    """Frequency [Hz] of a steady swing by where it passes its middle upwards; NaN for none."""
    middle, swing = 0.5 * (volts.max() + volts.min()), float(np.ptp(volts))
    early, late = np.ptp(volts[: len(volts) // 2]), np.ptp(volts[len(volts) // 2 :])
    beside = volts - middle
    ups = np.flatnonzero((beside[:-1] < 0.0) & (beside[1:] >= 0.0))
    if swing < _LEAST or late < 0.7 * early or len(ups) < 3:
        return float("nan")
    times = ups - beside[ups] / (beside[ups + 1] - beside[ups])
    return float((len(times) - 1) / ((times[-1] - times[0]) * COARSE))


def at_both_ends(amp: Amp, position: Position | None = None) -> tuple[Amp, ...]:
    """The amp with its oscillators held where what they move is lowest and highest: for sweeps and volts at rest.

    Each is a variant named after stage and end. What the oscillators' capacitors hold there is held; all else is taken
    to follow at once. None for an amp without an oscillator that goes.
    """
    found = [each for each in oscillations(amp, position) if each.goes]
    if not found:
        return ()
    names = " and ".join(f"{each.stage}, {each.moves}" for each in found)
    return tuple(
        apply_mods(amp, _holding(f"{names} at its {end}", [dict(getattr(each, which)) for each in found]))
        for end, which in (("lowest", "at_least"), ("highest", "at_most"))
    )


def _holding(name: str, held: list[dict[str, float]]) -> Mod:
    volts = {capacitor: each for some in held for capacitor, each in some.items()}
    parts = tuple(HeldVolts(f"HELD_{capacitor}", each) for capacitor, each in volts.items())
    edits = tuple(Edit("fit", f"HELD_{capacitor}", across=capacitor) for capacitor in volts)
    return Mod(name, "an oscillator stands still at one end of its swing", parts, edits, ())
