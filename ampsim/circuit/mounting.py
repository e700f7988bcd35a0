"""How parts are mounted, in the words of the trade: what the iron must do, and nothing that a circuit would feel."""

from __future__ import annotations

import re
from collections.abc import Mapping

from ..base.errors import DescriptionError, nearest, shown
from .amp import Amp
from .build import build_circuit
from .designators import body_of, kind_of
from .mount import Mount, Mounting
from .plugs import plugged_stages

GROUPS = {
    "default": ("resistor", "capacitor", "diode", "bridge rectifier", "transistor", "thermistor", "opto-coupler",
                "light-dependent resistor", "operational amplifier"),
    "pots": ("pot",),
    "valves": ("valve",),
    "loudspeakers": ("loudspeaker",),
    "transformers": ("transformer", "mains transformer", "inductor"),
}  # fmt: skip
"""The kinds of part that a word means in a table of mountings: `default` those that are held by their leads."""

_CONNECTOR = re.compile(r"connector ([A-Z]{1,4}[0-9]{1,4})")


def parse_mounting(given: object) -> Mounting:
    """Read how a part is mounted: "board, turret", "panel", "connector J4".

    Raises
    ------
    DescriptionError
        For words that say no mounting; names the nearest.

    Examples
    --------
    >>> parse_mounting("connector J4").connector
    'J4'
    """
    plug = _CONNECTOR.fullmatch(given) if isinstance(given, str) else None
    if plug is not None:
        return Mounting(Mount.CONNECTOR, plug[1])
    known = [str(each) for each in Mount if each is not Mount.CONNECTOR]
    if given not in known:
        known.append(f"{Mount.CONNECTOR} J4")
        near = nearest(given, known)
        likely = near if near.startswith("; nearest") else f"; known: {' | '.join(known)}"
        raise DescriptionError(f"{shown(given)} is no way to mount a part{likely}")
    return Mounting(Mount(given))


def mounting_of(amp: Amp, part: str) -> Mounting | None:
    """How a part of an amp is mounted; None where neither amp nor job says it.

    Sections of one body are mounted as one: what is said of V1 holds for V1A. What a mod brings is held by what it is
    soldered to.
    """
    found = amp.mounting_by_part
    return found.get(part) or found.get(body_of(part))


def expand_mounting(amp: Amp, told: Mapping[str, Mounting]) -> tuple[tuple[str, Mounting], ...]:
    """To each part of an amp how it is mounted, from names of parts, bodies and groups of parts.

    Parameters
    ----------
    amp : Amp
    told : mapping
        How, by designator, body or group (`GROUPS`). What is said of one part goes before what is said of its group.
        What is plugged in (a guitar and its cable) is mounted nowhere.
    """
    wired = build_circuit(amp)
    plugged = {each.designator for each in wired.elements if each.stage in plugged_stages(wired)}
    found = []
    for part in (each for each in amp.parts if each.designator not in plugged):
        names = (part.designator, body_of(part.designator), _group_of(part.designator))
        mounted = next((told[name] for name in names if name in told), None)
        if mounted is not None:
            found.append((part.designator, mounted))
    return tuple(found)


def _group_of(designator: str) -> str:
    return next((name for name, kinds in GROUPS.items() if kind_of(designator) in kinds), "")
