"""Which end of a part is plus, from the volts at rest."""

from __future__ import annotations

from collections.abc import Mapping

from ...circuit.amp import Amp
from ...simulation.operating_points import at_rest
from ...simulation.unpowered import dead_amp

POLARISED = 1e-6
"""From which capacitance [F] on a capacitor is taken for an electrolytic."""
_SURE_VOLTS = 1.0


def plus_words(amp: Amp, part: str, kept: bool = False) -> str:
    """Which end of an electrolytic capacitor is plus, from the volts at rest of a position that has it.

    Too few volts tell nothing: a new one is bought without a side, one that was `kept` goes in as it stood.
    """
    found = amp.part_by_designator[part]
    if found.kind == "diode":
        return " The band marks the cathode (of an LED the short leg)."
    if found.kind != "capacitor" or getattr(found, "value", 0.0) < POLARISED:
        return ""
    positions: list[dict[str, float | str]] = [{}]
    positions += [{switch.control: label} for switch in amp.all_switches for label in switch.labels]
    for position in positions:
        across = at_rest([(amp, position)], [part])[0].across
        if part in across:
            volts = across[part]
            sure = abs(volts) >= _SURE_VOLTS
            unsure = " The way round it stood." if kept else " A film or bipolar one, either way round."
            return f" Plus to {_end(amp, position, part, volts)}." if sure else unsure
    return ""


def _end(amp: Amp, position: Mapping[str, float | str], part: str, volts: float) -> str:
    """The higher end of a part, with a place it is soldered to."""
    wired = dead_amp(amp, position).wired
    place = f"{part}.{1 if volts > 0.0 else 2}"
    others = [each for each in wired.places_by_net[wired.net(place)] if not each.startswith(f"{part}.")]
    return f"{place} (at {others[0]})" if others else place
