"""The valve stages of a circuit in signal order, each with the places its own signal goes in at and comes out at."""

from __future__ import annotations

from dataclasses import dataclass

from .amp import Amp
from .build import SPEAKER, Circuit, build_circuit


@dataclass(frozen=True)
class ValveStage:
    """A stage with valves.

    `driven` are the grids that the stage before drives, `grids` those its own gain counts from, `outputs` where it
    hands on: one place, or two for the voltage between them. A long-tailed pair is driven at one grid and counts from
    both, so that what a feedback line brings to its tail is part of what goes in.
    """

    name: str
    valves: tuple[str, ...]
    driven: tuple[str, ...]
    grids: tuple[str, ...]
    outputs: tuple[str, ...]


def valve_stages(wired: Circuit) -> tuple[ValveStage, ...]:
    """Every stage with valves, in signal order; valves that a mod fitted stand last, under the mod's name."""
    valves: dict[str, list[str]] = {stage.name: [] for stage in wired.amp.stages}
    for element in wired.elements:
        if element.kind == "valve":
            valves.setdefault(element.stage, []).append(element.designator)
    return tuple(_stage(wired, name, tuple(found)) for name, found in valves.items() if found)


def _stage(wired: Circuit, name: str, valves: tuple[str, ...]) -> ValveStage:
    template = next((stage.template for stage in wired.amp.stages if stage.name == name), "")
    first, both = (f"{valves[0]}.grid",), tuple(f"{valve}.grid" for valve in valves[:2])
    nets = [wired.outputs[each] for each in (name, f"{name} (2)") if each in wired.outputs]
    outputs = tuple(SPEAKER if net == wired.speaker else wired.places_by_net[net][0] for net in nets)
    return ValveStage(
        name,
        valves,
        driven=both if template == "push-pull output" else first,
        grids=both if template in ("push-pull output", "long-tailed pair") else first,
        outputs=outputs or (f"{valves[0]}.plate",),
    )


def listening_points(amp: Amp) -> dict[str, str]:
    """Stage name to the place its output is on, in signal order; the load's place is "speaker"."""
    wired = build_circuit(amp)
    found: dict[str, str] = {}
    for stage, net in wired.outputs.items():
        place = SPEAKER if net == wired.speaker else wired.places_by_net[net][0]
        if place not in found.values():
            found[stage] = place
    return found
