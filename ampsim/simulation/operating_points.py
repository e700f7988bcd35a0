"""Many circuits at rest: voltages across parts, plate voltages and currents; bare numbers for who tries thousands."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from ..circuit.amp import Amp
from ..circuit.build import Circuit
from ..circuit.positions import Position
from .analyses import OperatingPoint
from .netlist import Netlist, node_vector, valve_vectors, write
from .ngspice.engine import Arrays
from .request import Case, answers


@dataclass(frozen=True)
class Rest:
    """A circuit at rest: voltage across each part asked for [V], voltage [V] and current [mA] of each plate.

    Plates are counted from ground. Parts and valves that are not in the circuit are missing.
    """

    across: Mapping[str, float]
    plate_volts: Mapping[str, float]
    plate_ma: Mapping[str, float]


def at_rest(
    cases: Sequence[tuple[Amp, Position]], parts: Sequence[str], cold: bool = False, kept: bool = False
) -> list[Rest]:
    """Amps at positions at rest, warm or with cold valves.

    Parameters
    ----------
    cases : sequence of (Amp, position)
    parts : sequence of str
        Whose voltages are told.
    cold : bool
    kept : bool
        As that of `request.answers`.

    Raises
    ------
    EngineError
        When ngspice gives no trustworthy answer; the message names amp and position.
    """
    asked = [Case(*case) for case in cases]
    found = answers(asked, [_netlist(case, parts, cold) for case in asked], kept=kept)
    return [_rest(case.wired, parts, answer) for case, answer in zip(asked, found, strict=True)]


def _netlist(case: Case, parts: Sequence[str], cold: bool) -> Netlist:
    wired = case.wired
    ends = [f"{each.designator}.{pin}" for each in wired.elements if each.designator in parts for pin in ("1", "2")]
    plates = [f"{each.designator}.plate" for each in wired.elements if each.kind == "valve"]
    return write(wired, case.setting, OperatingPoint(cold), (*ends, *plates), currents=True)


def _rest(wired: Circuit, parts: Sequence[str], answer: Arrays) -> Rest:
    def volts(place: str) -> float:
        vector = node_vector(wired, place)
        return float(answer.vectors[vector][0]) if vector else 0.0

    def current(designator: str) -> float:
        family = wired.amp.valve_by_type[wired.parts[designator].type].family  # type: ignore[union-attr]
        return float(answer.vectors[valve_vectors(designator, family)["plate"]][0])

    inside = [each.designator for each in wired.elements if each.designator in parts]
    valves = [each.designator for each in wired.elements if each.kind == "valve"]
    return Rest(
        {name: volts(f"{name}.1") - volts(f"{name}.2") for name in inside},
        {name: volts(f"{name}.plate") for name in valves},
        {name: current(name) for name in valves},
    )
