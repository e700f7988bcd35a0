"""The ngspice subcircuit of a semiconductor: the text of its pieces."""

from __future__ import annotations

import math
from functools import lru_cache

from ...base.entry_texts import NAME
from ...base.errors import DescriptionError, shown
from ..valves.spice_text import number
from .description import Semiconductor
from .laws import pieces_of
from .pieces import Passive
from .port_laws import PORT_LAWS

# A resistor [ohm], and its noise at 27 degrees Celsius [V/sqrt(Hz)].
_NOISE_OHMS = 1e3
_NOISE = math.sqrt(4.0 * 1.380649e-23 * 300.15 * _NOISE_OHMS)


def subcircuit_name(device: Semiconductor) -> str:
    """The name of its subcircuit: "device_" and the type in lower case, "_" for "-".

    Raises
    ------
    DescriptionError
        The type was made by hand with a name that ngspice could take for text.
    """
    if not NAME.fullmatch(device.type):
        raise DescriptionError(f"semiconductor {shown(device.type)}: only letters, digits, '_' and '-' will do")
    return f"device_{device.type.lower().replace('-', '_')}"


@lru_cache(maxsize=256)
def subcircuit(device: Semiconductor, suffix: str = "") -> str:
    """Return the subcircuit, its pins in the order of `Semiconductor.pins`; `suffix` ends its name.

    Inside an instance `xd1`, `v.xd1.vforward#branch` is the current [A] through the piece `forward`. Only checked
    names and numbers are written.
    """
    name, pieces = subcircuit_name(device) + suffix, pieces_of(device)
    lines = [f".subckt {name} {' '.join(device.pins)}"]
    for each in pieces.laws:
        lines += PORT_LAWS[each.law].lines(each.name, each.numbers, each.ports)
    for part in pieces.passives:
        if part.value > 0.0:
            lines += _passive_lines(part)
    return "\n".join([*lines, f".ends {name}"]) + "\n"


def _passive_lines(part: Passive) -> tuple[str, ...]:
    name, nodes = part.name, " ".join(part.nodes)
    if part.kind == "n":
        # The noise of a resistor that nothing else hangs on, turned into a current.
        return (f"R{name} {name} 0 {number(_NOISE_OHMS)}", f"G{name} {nodes} {name} 0 {number(part.value / _NOISE)}")
    return (f"{part.kind.upper()}{name} {nodes} {number(part.value)}{'' if part.noisy else ' noisy=0'}",)
