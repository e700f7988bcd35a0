"""What is heard of hum by our own solver of small signals: all positions of one circuit at once, no simulator asked."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from typing import Any

import numpy as np
from numpy.typing import NDArray

from ...base.errors import AmpsimError
from ...circuit.stages.template import GROUND
from ...simulation.port_sweeps import track_ohms
from ...simulation.small_signal.still import still_parts
from .hum_plan import HARMONICS, Complex, Heard, Plan


def heard_by_solver(plans: Sequence[Plan]) -> list[Heard | None]:
    """What is heard of each; None where the solver has no answer."""
    alike: dict[tuple[int, str], list[int]] = {}
    for place, plan in enumerate(plans):
        alike.setdefault((id(plan.wired), plan.output), []).append(place)
    found: list[Heard | None] = [None] * len(plans)
    for places in alike.values():
        try:
            heard = _heard([plans[place] for place in places])
        except (AmpsimError, np.linalg.LinAlgError):
            continue
        for place, each in zip(places, heard, strict=True):
            found[place] = each
    return found


def _heard(plans: Sequence[Plan]) -> list[Heard | None]:
    """Of plans that differ in where the knobs stand alone."""
    from ...simulation.small_signal.circuit import SmallSignal, Source

    plan = plans[0]
    wired, net = plan.wired, plan.wired.net
    # The source of each rail feeds its net through a wire whose current is read.
    feeds = {each.designator: f"{each.net('1')}_feed" for each in wired.elements if each.kind == "rail"}
    elements = tuple(
        replace(each, pins=(("1", feeds[each.designator]),)) if each.kind == "rail" else each for each in wired.elements
    )
    wires = [(feeds[each.designator], each.net("1")) for each in wired.elements if each.kind == "rail"]
    free = [name for name in plan.nodes if plan.holders[name] not in feeds]
    rippling = list(dict.fromkeys([*plan.sources, *(each for each in plan.holders.values() if each in feeds)]))
    sources = [Source(volts={feeds[name]: 1.0}) for name in rippling]
    sources += [Source(amps={net(name): 1.0}) for name in free]
    sources += [Source(amps={net(place): 1.0}) for place in plan.cathodes.values()]
    places = dict.fromkeys([*plan.nodes, *plan.sources, plan.output])
    nets = list(dict.fromkeys(net(place) for place in places if net(place) != GROUND))
    parts, emfs = still_parts(replace(wired, elements=elements), plan.setting)
    solver = SmallSignal(parts, nets, sources, wires, emfs)
    sockets = {name.lower(): valve for name, valve in plan.apart.items()}
    values = [track_ohms(wired, each.setting) for each in plans]
    swept = solver.sweep(
        solver.variants(values, [sockets] * len(plans)), np.array([*plan.frequency, plan.mains.frequency])
    )
    row = {place: nets.index(net(place)) for place in places if net(place) != GROUND}
    found: list[Heard | None] = []
    for number, (each, fault) in enumerate(zip(plans, swept.faults, strict=True)):
        drawn = dict(zip(feeds, swept.rest.amps[number].tolist(), strict=True))
        volts = {place: swept.volts[number, :, at] for place, at in row.items()}
        found.append(None if fault else _of_volts(each, rippling, free, volts, drawn))
    return found


def _of_volts(
    plan: Plan, rippling: Sequence[str], free: Sequence[str], volts: dict[str, Complex], drawn: dict[str, float]
) -> Heard:
    """What is heard, from the volts at places for each source, shape (sources, f).

    The sources are 1 V in each rail that has one, then 1 A into each node that no source holds and into each cathode.
    With all nodes held the output follows from superposition: the currents into the nodes are those that hold them.
    """
    first, count = len(rippling), len(free)
    out = volts.get(plan.output, np.zeros_like(next(iter(volts.values()))))
    at: NDArray[Any] = np.array([volts[name] for name in free]).reshape(count, *out.shape)
    ohms = np.moveaxis(at[:, first : first + count], -1, 0).swapaxes(1, 2)  # f, source, node
    gains = np.linalg.solve(ohms, out[first : first + count].T[:, :, None])[:, :, 0].T
    straight = out[:first] - np.einsum("nf,nsf->sf", gains, at[:, :first])
    by_source, by_node = dict(zip(rippling, straight, strict=True)), dict(zip(free, gains, strict=True))
    order = slice(0, HARMONICS)
    direct = {name: {place: each[number, order] for place, each in volts.items()}
              for number, name in enumerate(rippling) if name in plan.sources}  # fmt: skip
    for each in direct.values():
        each.setdefault(plan.output, np.zeros(HARMONICS, complex))
    leaks = np.abs(out[first + count :, HARMONICS])
    return Heard(
        {name: drawn[name] for name in plan.sources},
        direct,
        {
            name: (by_node[name] if name in by_node else by_source[holder])[order]
            for name, holder in plan.holders.items()
        },
        dict(zip(plan.cathodes, leaks.tolist(), strict=True)),
    )
