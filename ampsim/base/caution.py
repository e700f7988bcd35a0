"""Words of caution that stand wherever work leads inside an amp."""

from __future__ import annotations

CAUTION = (
    "Valve amplifiers hold lethal voltages, also unplugged. Before working inside one: unplug it, let the reservoirs "
    "discharge through a resistor, measure that they have, keep one hand away, never work alone. Local codes and "
    "licensed practice come first; these figures replace no measurement."
)
