"""What the amp works into as a whole: one loudspeaker or several, in parallel and in series, as one impedance."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np

from .amp import AnyPart, Part
from .build import Circuit
from .loudspeaker import Loudspeaker, loudspeaker_ohms
from .stages.template import GROUND, two_ends


def load_ohms(wired: Circuit, hertz: float) -> complex | None:
    """Impedance [ohm] of the load at a frequency [Hz], from the speaker's net to ground; None without a load.

    What the load is joined to besides, such as a feedback line, is no part of it.
    """
    return joined_ohms(wired, lambda part: _ohms(part, hertz))


def _ohms(part: AnyPart, hertz: float) -> complex | None:
    if isinstance(part, Loudspeaker):
        return loudspeaker_ohms(part, hertz)
    return complex(part.value) if isinstance(part, Part) and part.kind == "resistor" else None


def joined_ohms(wired: Circuit, ohms: Callable[[AnyPart], complex | None]) -> complex | None:
    """Impedance [ohm] of the load when each of its parts has that which `ohms` says, None for nothing.

    None, too, where the speaker's net is ground: what lies beside a short is no load.

    Notes
    -----
    One ampere goes in at the speaker's net, Kirchhoff's current law gives the volts there: so parts of a load may
    be joined in any way.
    """
    known = [(two_ends(each), ohms(wired.parts[each.designator])) for each in wired.load]
    ways = [(first, second, 1.0 / each) for (first, second), each in known if each is not None]
    joined = _hang_together(ways, wired.speaker)
    if GROUND not in joined or wired.speaker == GROUND:
        return None
    index = {net: number for number, net in enumerate(sorted(joined - {GROUND}))}
    matrix = np.zeros((len(index), len(index)), dtype=complex)
    for first, second, siemens in ways:
        if first in joined and second in joined and first != second:
            row = np.array([(net == first) - (net == second) for net in index], dtype=complex)
            matrix += siemens * np.outer(row, row)
    drive = np.array([net == wired.speaker for net in index], dtype=complex)
    return complex(np.linalg.solve(matrix, drive)[index[wired.speaker]])


def _hang_together(ways: list[tuple[str, str, complex]], net: str) -> set[str]:
    """The nets that a load joins to one, ground among them where it reaches it."""
    found = {net}
    while more := {end for one, other, _ in ways for end in (one, other)
                   if {one, other} & (found - {GROUND})} - found:  # fmt: skip
        found |= more
    return found


def load_ohm(wired: Circuit, hertz: float) -> float | None:
    """Resistance [ohm] that takes the same power as the load at the same voltage: one over the real part of 1/Z."""
    ohms = load_ohms(wired, hertz)
    return None if ohms is None else 1.0 / (1.0 / ohms).real


def delivered(wired: Circuit) -> tuple[tuple[str, float], ...]:
    """The parts of the load that hang on the speaker's net, each with +1 [ratio] by its first end, -1 by its second."""
    found = []
    for element in wired.load:
        ends = two_ends(element)
        if wired.speaker in ends and ends[0] != ends[1]:
            found.append((element.designator, 1.0 if ends[0] == wired.speaker else -1.0))
    return tuple(found)
