"""What a part does for its stage, as the wires show it: cathode resistor, coupling, screen resistor."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator, Mapping
from dataclasses import dataclass

from ..stages.template import GROUND, Element
from .order import FOLLOWER, GAIN, INVERTER, OUTPUT, Stage
from .signal import Signal
from .spots import Spot, spot
from .ways import RESISTIVE, far

R, C, P = "resistor", "capacitor", "pot"


@dataclass(frozen=True)
class Job:
    """What a part does.

    `letter` begins the designator of such a part, `ends` names its two ends, the one nearer to the stage first;
    `for_each` says that valves side by side may have one each.
    """

    name: str
    owners: tuple[str, ...]
    letter: str
    ends: tuple[str, ...]
    find: Callable[[Signal, Stage], Iterable[Element]]
    near: Callable[[Signal, Stage], str]
    for_each: bool = False

    @property
    def words(self) -> str:
        """What an amp without one lacks."""
        return f"single capacitor that is the {self.name} it" if self.find in (_before, _after) else self.name

    def spots(self, signal: Signal, stage: Stage) -> list[Spot]:
        """The parts that do it for a stage."""
        found: dict[str, Spot] = {}
        for each in _abreast(stage) if self.for_each else [stage]:
            near = self.near(signal, each)
            found |= {part.designator: spot(signal, part, near, self.ends) for part in self.find(signal, each)}
        return [found[name] for name in sorted(found)]


def _abreast(stage: Stage) -> list[Stage]:
    """The valves of a stage that work side by side on one plate load, each as a stage; of a cascode the lower one."""
    plates = {each.net("plate") for each in stage.valves}
    valves = stage.valves if len(plates) == 1 else stage.valves[:1]
    return [Stage(stage.kind, (each,), stage.depth, stage.side) for each in valves]


def cathode(_: Signal, stage: Stage) -> str:
    """The net of a stage's cathode."""
    return stage.valves[0].net("cathode")


def plate(_: Signal, stage: Stage) -> str:
    """The net of a stage's plate."""
    return stage.valves[-1].net("plate")


def hands_on(signal: Signal, stage: Stage) -> str:
    """The net that a stage hands its signal on at: its plate, a follower's cathode."""
    net = plate(signal, stage)
    return cathode(signal, stage) if net in signal.ways.dead else net


def grid(_: Signal, stage: Stage) -> str:
    """The net of a stage's grid."""
    return stage.valves[0].net("grid")


def screen(_: Signal, stage: Stage) -> str:
    """The net of a stage's screen; "" of a triode."""
    return dict(stage.valves[0].pins).get("screen", "")


def drive(signal: Signal, stage: Stage) -> str:
    """The net that drives the grid: before its stopper, where there is one."""
    stoppers = list(_grid_stopper(signal, stage))
    return far(stoppers[0], grid(signal, stage)) if stoppers else grid(signal, stage)


def _cathode_resistor(signal: Signal, stage: Stage) -> Iterator[Element]:
    net = cathode(signal, stage)
    for part in signal.ways.at(net, R, P) if net not in signal.ways.dead else ():
        other = far(part, net)
        if other == net or part.designator in signal.ways.led_back:
            continue
        if signal.ways.leads_to_ground(other, part.designator) and _stays(signal, other, net):
            yield part


def _stays(signal: Signal, other: str, net: str) -> bool:
    """Whether a part to another net is the cathode's own way to ground: no other valve's grid hangs on that net."""
    valves = (each for each in signal.ways.wired.elements if each.kind == "valve" and each.net("cathode") != net)
    return other in signal.ways.dead or other not in {each.net("grid") for each in valves}


def _bypass(signal: Signal, stage: Stage) -> Iterator[Element]:
    """Capacitors from the cathode to the foot of its resistor or to ground, a resistor in series or not."""
    net = cathode(signal, stage)
    if net in signal.ways.dead:
        return
    feet = {GROUND, *(far(each, net) for each in _cathode_resistor(signal, stage))}
    for part in signal.ways.at(net, C):
        if _ends_at(signal, far(part, net), feet, part):
            yield part
    for resistor in signal.ways.at(net, R):
        middle = far(resistor, net)
        if middle not in feet:
            yield from (part for part in signal.ways.at(middle, C) if far(part, middle) in feet)


def _ends_at(signal: Signal, net: str, feet: set[str], part: Element) -> bool:
    """Whether a net is a foot, or one resistor away from it with nothing else on it."""
    others = [each for each in signal.ways.by_net.get(net, ()) if each is not part]
    return net in feet or (len(others) == 1 and others[0].kind == R and far(others[0], net) in feet)


def _plate_load(signal: Signal, stage: Stage) -> Iterator[Element]:
    net = plate(signal, stage)
    for part in signal.ways.at(net, *RESISTIVE):
        other = far(part, net)
        if other != net and signal.ways.rail_behind(other, part.designator) and not _drives(signal, other):
            yield part


def _drives(signal: Signal, net: str) -> bool:
    """Whether a net drives a grid; a grid that is wired to ground or to a rail is driven by nothing."""
    grids = {each.net("grid") for each in signal.ways.wired.elements if each.kind == "valve"}
    return net in grids - signal.ways.dead


def _across_load(signal: Signal, stage: Stage) -> Iterator[Element]:
    net = plate(signal, stage)
    tops = {far(each, net) for each in _plate_load(signal, stage)}
    return (each for each in signal.ways.at(net, C) if far(each, net) in tops)


def _plate_to_grid(signal: Signal, stage: Stage) -> Iterator[Element]:
    ends = {grid(signal, stage), drive(signal, stage)}
    net = plate(signal, stage)
    return (each for each in signal.ways.at(net, C) if far(each, net) in ends)


def _grid_stopper(signal: Signal, stage: Stage) -> Iterator[Element]:
    """The only resistance at the grid, where the signal comes through it and through nothing else."""
    net = grid(signal, stage)
    resistances = [each for each in signal.ways.at(net, *RESISTIVE) if signal.ways.carries_current(each, net)]
    if len(resistances) != 1 or resistances[0].kind != R or far(resistances[0], net) in signal.ways.dead:
        return
    if not signal.reaches(stage, net, without=resistances[0].designator):
        yield resistances[0]


def _grid_leak(signal: Signal, stage: Stage) -> Iterator[Element]:
    """A resistor from what drives the grid to ground or bias volts, or else to where resistances lead to ground.

    Of the two grids of an inverter neither is the stage's.
    """
    net = drive(signal, stage)
    if (stage.kind == INVERTER and len(stage.valves) > 1) or any(
        net == each.net("plate") for each in signal.ways.wired.elements if each.kind == "valve"
    ):
        return
    own = {each.designator for each in (*_grid_stopper(signal, stage), *_cathode_resistor(signal, stage))}
    found = [each for each in signal.ways.at(net, R) if each.designator not in own and _leaks(signal, stage, each, net)]
    held = [each for each in found if far(each, net) in signal.ways.dead]
    yield from held or found


def _leaks(signal: Signal, stage: Stage, part: Element, net: str) -> bool:
    other = far(part, net)
    if not signal.reaches(stage, net, part.designator) or signal.brings(stage, other, part.designator):
        return False
    if signal.joins(other, part.designator):
        return False
    return other in signal.ways.rails or signal.ways.leads_to_ground(other, part.designator)


def _screen_resistor(signal: Signal, stage: Stage) -> Iterator[Element]:
    net = screen(signal, stage)
    if net and net not in signal.ways.dead:
        found = [each for each in signal.ways.at(net, R) if far(each, net) != GROUND]
        yield from found if len(found) == 1 else ()


def _valve(_: Signal, stage: Stage) -> Iterator[Element]:
    yield stage.valves[0]


def _before(signal: Signal, stage: Stage) -> Iterable[Element]:
    return signal.coupling_before(stage, drive(signal, stage))


def _after(signal: Signal, stage: Stage) -> Iterable[Element]:
    return signal.coupling_after(stage)


def _side_load(side: str) -> Callable[[Signal, Stage], Iterator[Element]]:
    def find(signal: Signal, stage: Stage) -> Iterator[Element]:
        for valve in stage.valves:
            if signal.order.side_of(valve) == side:
                yield from _plate_load(signal, Stage(stage.kind, (valve,), stage.depth))

    return find


def _side_plate(side: str) -> Callable[[Signal, Stage], str]:
    def net(signal: Signal, stage: Stage) -> str:
        return next((each.net("plate") for each in stage.valves if signal.order.side_of(each) == side), "")

    return net


def _tail(signal: Signal, stage: Stage) -> Iterator[Element]:
    """The resistor that two valves with one cathode net share."""
    if len({each.net("cathode") for each in stage.valves}) == 1 < len(stage.valves):
        yield from _lower(signal, stage)


def _cathode_load(signal: Signal, stage: Stage) -> Iterator[Element]:
    """The resistor that carries the cathode of a follower, or of a split load."""
    if len(stage.valves) == 1:
        yield from _lower(signal, stage)


def _lower(signal: Signal, stage: Stage) -> Iterator[Element]:
    """What carries a cathode far above ground: the lower of two where one for the bias comes first."""
    for part in _cathode_resistor(signal, stage):
        yield from _below(signal, stage, part) or [part]


def _below(signal: Signal, stage: Stage, part: Element) -> list[Element]:
    """What carries the current of a cathode resistor on to ground; none where that ends there itself."""
    middle = far(part, cathode(signal, stage))
    return [each for each in signal.ways.at(middle, R) if each is not part and middle != GROUND
            and signal.ways.leads_to_ground(far(each, middle), each.designator)
            and not _drives(signal, far(each, middle))]  # fmt: skip


def _bias_resistor(signal: Signal, stage: Stage) -> Iterator[Element]:
    """The upper of two resistors below a cathode far above ground: its volts are the bias."""
    if len(stage.valves) == 1:
        yield from (each for each in _cathode_resistor(signal, stage) if _below(signal, stage, each))


def _between_plates(_signal: Signal, stage: Stage) -> Iterator[Element]:
    plates = {each.net("plate") for each in stage.valves}
    if len(plates) == 2:
        net = min(plates)
        yield from (each for each in _signal.ways.at(net, C) if {net, far(each, net)} == plates)


_GAINING = (GAIN, OUTPUT)
_ALL = (GAIN, FOLLOWER, INVERTER, OUTPUT)
_SIGNAL_ENDS = ("stage end", "far end")
JOBS: Mapping[str, Job] = {
    each.name: each
    for each in (
        Job("valve", _ALL, "V", (), _valve, cathode),
        Job(
            "cathode resistor", (GAIN, OUTPUT), "R", ("cathode end", "foot"), _cathode_resistor, cathode, for_each=True
        ),
        Job("cathode bypass", _GAINING, "C", ("cathode end", "foot"), _bypass, cathode, for_each=True),
        Job("plate load", (GAIN,), "R", ("plate end", "supply end"), _plate_load, plate),
        Job("plate load capacitor", (GAIN,), "C", ("plate end", "supply end"), _across_load, plate),
        Job("plate to grid capacitor", (GAIN,), "C", ("plate end", "grid end"), _plate_to_grid, plate),
        Job("grid stopper", _ALL, "R", ("grid end", "far end"), _grid_stopper, grid, for_each=True),
        Job("grid leak", _ALL, "R", ("grid end", "foot"), _grid_leak, drive),
        Job("bias resistor", (FOLLOWER, INVERTER), "R", ("cathode end", "foot"), _bias_resistor, cathode),
        Job("screen resistor", _GAINING, "R", ("screen end", "supply end"), _screen_resistor, screen),
        Job("coupling before", _ALL, "C", _SIGNAL_ENDS, _before, drive),
        Job("coupling after", (GAIN, FOLLOWER), "C", _SIGNAL_ENDS, _after, hands_on),
        Job("plate load a", (INVERTER,), "R", ("plate end", "supply end"), _side_load("a"), _side_plate("a")),
        Job("plate load b", (INVERTER,), "R", ("plate end", "supply end"), _side_load("b"), _side_plate("b")),
        Job("tail resistor", (INVERTER,), "R", ("cathode end", "foot"), _tail, cathode),
        Job("cathode load", (FOLLOWER, INVERTER), "R", ("cathode end", "foot"), _cathode_load, cathode),
        Job("plate to plate capacitor", (INVERTER,), "C", ("one end", "other end"), _between_plates, plate),
    )
}
"""What parts do for stages, by name."""

PINS = ("grid", "cathode", "plate", "screen")
"""Lugs of a stage's valve, which are places too."""
SIDE_PLATES = ("plate a", "plate b")
"""Of an inverter instead of the plate: that which drives side a of the output stage, and that which drives side b."""
