"""Short cautions for work inside an amp, with its own figures."""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass

from ...base.quantities import FARAD, OHM, format_value
from ...circuit.amp import Amp
from ...circuit.build import build_circuit
from ...circuit.supply.transformer import MainsTransformer, Winding
from .stored_charges import SAFE_COULOMBS, SAFE_VOLTS, SPARE_BLEEDER, TOOL_OHMS, StoredCharge

# Volts peak above which alternating volts are hazardous live (IEC 60065).
SAFE_PEAK = 35.0
SOURCES = (
    "IEC 60065: a terminal is hazardous live above 60 V DC (35 V peak AC), unless the touch current stays within 2 mA.",
    "IEC 61010-1: 60 V DC, 2 mA DC, 45 uC of stored charge.",
    "IEC 62368-1: class ES1 up to 60 V DC (from memory).",
    "Energy C V**2 / 2, charge C V, time R C ln(V / 60 V); capacitors that share resistors are solved together.",
)
UNKNOWN = (
    "How this amp is really wired, and what was changed or left disconnected in it before.",
    "Supplies that the description leaves out: bias, heater and standby supplies, the mains side, its fuse and its "
    "capacitors, anything before the first rail.",
    "The first rail's rise while the mains transformer is unloaded and the mains' own tolerance: volts may be higher.",
    "Whether a bleeder that is drawn is there and whole; capacitors may recharge themselves after a discharge.",
)


def caution_sentences(
    amps: Sequence[Amp], kept: Sequence[StoredCharge], small: Sequence[StoredCharge]
) -> tuple[str, ...]:
    """What the listed capacitors hold, what the small ones do, and the habits of the bench; `amps` as it may stand."""
    rails = [abs(rail.volts) for amp in amps for rail in amp.fitted_rails if rail.volts is not None]
    most = max([each.volts for each in (*kept, *small)] + rails, default=0.0)
    return (
        *_charge_sentences(kept),
        *_bare_rail_sentences(amps),
        *dict.fromkeys(each.sentence for amp in amps for each in _windings(amp)),
        *_small_charge_sentences(small),
        *_habit_sentences(most),
    )


def _charge_sentences(kept: Sequence[StoredCharge]) -> Iterator[str]:
    """What the listed capacitors hold and how long, and what they hold together."""
    for each in kept:
        name = f"{each.part} ({format_value(each.farads, FARAD)})"
        told = f"{name} holds up to {max(each.joules):.3g} J at {each.volts:.0f} V"
        if each.hazardous:
            coulombs = max(each.coulombs)
            told += f", {1e3 * coulombs:.3g} mC or {coulombs / SAFE_COULOMBS:.0f} times the 45 uC of IEC 61010-1"
        yield f"{told}; {_falls(each)}"
    unbled = [each.part for each in kept if math.isinf(each.falls_s)]
    if unbled:
        yield (
            f"NO BLEEDER is drawn for {', '.join(unbled)}: with cold valves, or with the valves out, they stay charged "
            "for hours or days."
        )
    live = [each for each in kept if each.hazardous]
    if live:
        together = sum(max(each.joules) for each in live)
        yield f"Together {together:.3g} J in capacitors that pass both limits, 60 V and 45 uC."


def _falls(each: StoredCharge) -> str:
    if each.volts <= SAFE_VOLTS and each.falls_s == 0.0:
        return "below 60 V as it stands; measure all the same."
    tool = f"a {format_value(TOOL_OHMS, OHM)} discharge resistor takes {seconds_words(each.tool_s)} to 60 V"
    if math.isinf(each.falls_s):
        spare = format_value(SPARE_BLEEDER, OHM)
        return f"never below 60 V by itself, a {spare} bleeder would take {seconds_words(each.spare_s)}; {tool}."
    return (
        f"its bleeder ({each.bleeder_words}) brings it below 60 V in {seconds_words(each.falls_s)}, should it be open, "
        f"never; {tool}."
    )


def _bare_rail_sentences(amps: Sequence[Amp]) -> Iterator[str]:
    """Supplies whose reservoir is not drawn, at the most that they stand at."""
    most: dict[str, float] = {}
    for rail in (each for amp in amps for each in amp.fitted_rails):
        if rail.volts is not None and not rail.reservoir:
            most[rail.name] = max(rail.volts, most.get(rail.name, 0.0), key=abs)
    for name, volts in most.items():
        yield (
            f"Rail {name} ({volts:g} V) has no reservoir in the description: what it holds is not known; take it as "
            "charged."
        )


@dataclass(frozen=True)
class _LiveWinding:
    part: MainsTransformer
    winding: Winding

    @property
    def mains_volts(self) -> float:
        """What stands between its ends [V rms]."""
        return self.part.scale * self.winding.volts

    @property
    def sentence(self) -> str:
        """What to beware of."""
        volts, name = self.mains_volts, f"{self.part.designator}, winding {self.winding.name}"
        return (
            f"{name}: {volts:.0f} V alternating ({1.4142 * volts:.0f} V peak) between its ends as long as the amp is "
            "switched on at the mains, standby or not, rectifier in or out."
        )


def _windings(amp: Amp) -> list[_LiveWinding]:
    """The windings that are dangerous to touch: above 35 V peak."""
    parts = [each for each in build_circuit(amp).parts.values() if isinstance(each, MainsTransformer)]
    live = [_LiveWinding(part, winding) for part in parts for winding in part.windings]
    return [each for each in live if 1.4142 * each.mains_volts > SAFE_PEAK]


def seconds_words(time: float) -> str:
    """A time [s] in words: "12 s", "2.5 min"."""
    return f"{time:.2g} s" if time < 99.5 else f"{time / 60.0:.2g} min"


def _small_charge_sentences(stings: Sequence[StoredCharge]) -> Iterator[str]:
    if stings:
        most = max(stings, key=lambda each: max(each.coulombs))
        yield (
            f"{len(stings)} more capacitor{'s' * (len(stings) > 1)} above 60 V with less than 45 uC ({most.part} holds "
            f"most, {1e6 * max(most.coulombs):.2g} uC at {most.volts:.0f} V): a hand may jerk into something."
        )


def _habit_sentences(most: float) -> Iterator[str]:
    meter = max(600.0, 100.0 * math.ceil(1.5 * most / 100.0))
    yield "Mains: pull the plug, do not trust a switch. Fuse, switch and transformer primary are live while it is in."
    yield (
        f"Discharge: each listed capacitor through {format_value(TOOL_OHMS, OHM)} (wirewound, 10 W, on an insulated "
        f"clip lead; it takes up to {most * most / TOOL_OHMS:.2g} W at first), never with a screwdriver. Leave the "
        "lead on while working."
    )
    yield (
        "Verify: prove the meter on a known voltage, measure every listed capacitor, prove the meter again. Under "
        f"60 V DC is the published limit; work at less than 5 V. Meter and leads for at least {meter:.0f} V DC. "
        "Measure again after a break."
    )
    yield "Earth: check protective earth to chassis (well below 1 ohm, from memory) before power; never lift the earth."
    yield "One hand: clip the meter's common to chassis, keep the other hand away from metal, never work alone."
    yield "Work on dead circuits only. To measure volts: clip on while dead, power up, read, power down, verify."
    yield "Hot glass: output and rectifier valves burn skin for minutes after switching off; let them cool."
    yield "Load: loudspeaker or a dummy load of the tap's ohms on the output before any drive, or the primary arcs."
    yield "Fuse: the rated value and kind, never a larger one; if it blows, find out why first."
    yield (
        "Insulation: look for nicked mains leads, loose strain relief, bare ends near chassis; after work, an "
        "insulation test from mains to chassis by someone equipped and entitled to do it."
    )
    yield (
        "Local codes and licensed practice come first; whoever is not trained for mains and high voltage has this "
        "done. Nothing here, and no figure of this tool, allows work on a live amp."
    )
