"""What a response says of its valves: types, laws and limits, also of those that a position of a switch puts in."""

from __future__ import annotations

import itertools
from collections.abc import Callable, Mapping
from dataclasses import asdict
from functools import lru_cache

import xarray as xr

from ..circuit.amp import Amp, Socket
from ..circuit.build import circuit_at
from ..circuit.positions import position_label
from ..circuit.valves_in_use import switches_valves, valves_in_use
from .facts import SWITCHED_VALVES, VALVES, ValveFacts, get, put
from .request import Request


@lru_cache(maxsize=32)
def valves_of(variants: tuple[Amp, ...]) -> dict[str, str]:
    """The attribute that holds the valves of amps, those as drawn first."""
    return put(
        VALVES,
        {amp.variant: {name: _facts(amp, socket.type) for name, (_, socket) in valves_in_use(amp).items()}
         for amp in variants},
    )  # fmt: skip


def switched_valves(asked: Request) -> dict[str, str]:
    """The attribute that holds the valves of another type that positions put into sockets; none where none does."""
    found: dict[str, dict[str, dict[str, ValveFacts]]] = {}
    for amp, position in itertools.product(filter(switches_valves, asked.variants), asked.positions):
        wired = circuit_at(amp, position)
        for name, (_, socket) in valves_in_use(amp).items():
            here = wired.parts.get(name)
            if isinstance(here, Socket) and here.type != socket.type:
                at = found.setdefault(amp.variant, {}).setdefault(position_label(position), {})
                at[name] = _facts(amp, here.type)
    return put(SWITCHED_VALVES, found) if found else {}


def valves_at(response: xr.Dataset) -> Callable[[str, str], Mapping[str, ValveFacts]]:
    """What gives the valves of a variant at a position, by designator.

    Raises
    ------
    DescriptionError
        When the response does not hold them.
    """
    drawn = get(response, VALVES)
    switched = get(response, SWITCHED_VALVES) if SWITCHED_VALVES.name in response.attrs else {}
    return lambda variant, position: {**drawn[variant], **switched.get(variant, {}).get(position, {})}


def _facts(amp: Amp, name: str) -> ValveFacts:
    valve = amp.valve_by_type[name]
    limits = {each: value for each, value in asdict(valve.limits).items() if value is not None}
    basis, source = limits.pop("basis"), limits.pop("source")
    return ValveFacts(valve.type, valve.family, valve.law, valve.source, basis, source, limits)
