"""Words of caution: in full where work inside an amp begins, and a line that leads there wherever it may follow."""

from __future__ import annotations

CAUTION = (
    "Valve amplifiers hold lethal voltages, also unplugged. Before working inside one: unplug it, let the reservoirs "
    "discharge through a resistor, measure that they have, keep one hand away, never work alone. Local codes and "
    "licensed practice come first; these figures replace no measurement."
)
CAUTION_LINE = (
    "Caution: valve amplifiers hold lethal voltages, also unplugged; `ampsim job cautions` says what to do before\n"
    "work inside one. These figures replace no measurement."
)
