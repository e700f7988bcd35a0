"""Reading, and where the amp can, setting the bias of the output valves."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping
from functools import lru_cache

from ...base.wording import in_watts, join_words
from ...circuit.amp import Amp, Socket
from ...circuit.build import Circuit, circuit_at
from ...circuit.output_stage import output_valves
from ...circuit.positions import Position
from ...circuit.stages.template import GROUND, rail_net
from ...simulation.analyses import OperatingPoint
from ...simulation.operating_points import at_rest
from ...simulation.response import simulate
from .checks import VOLT_LIMIT, Check
from .power_signs import fault_signs
from .step import Phase, Step

_SETS = 0.02  # a knob that moves a plate's current by more sets the bias
_LEAST = 0.1  # V that a meter tells well
_TOOL = "meter and leads for the volts there, one clip; screwdriver that insulates"


def bias_steps(amp: Amp, position: Position) -> Iterator[Step]:
    """The current of each output valve at rest, what sets it, and what it looks like when it is wrong."""
    at = {name: each for name, each in position.items() if name in amp.controls}
    wired = circuit_at(amp, at)
    valves = output_valves(wired)
    if not valves:
        return
    rest = at_rest([(amp, at)], ())[0]
    knobs = knobs_of_bias(amp, at)
    volts = _volts(amp, at, wired, valves)
    told = [_dissipation(wired, volts, rest.plate_ma[name], name) for name in valves]
    do = f"Warm for ten minutes, load on, nothing in the input: read the bias of {join_words(valves)}."
    if knobs:
        do += f" What sets it: {join_words(knobs)}; begin where it is coldest, and go up slowly."
    checks = _readings(wired, volts, valves)
    places = [check.place for check in checks if check.against == "ground"]
    near = _parts_near(wired, valves)
    how = (*_ways_to_read(wired, valves), *told)
    yield Step(Phase.BIAS, do, checks, _TOOL, how, wrong=fault_signs(amp, at, places, near))


def knobs_of_bias(amp: Amp, position: Position) -> tuple[str, ...]:
    """The knobs that move the plate current of an output valve."""
    return _setting_knobs(amp, tuple(amp.setting(position).items()))


@lru_cache(maxsize=4)
def _setting_knobs(amp: Amp, settings: tuple[tuple[str, float | str], ...]) -> tuple[str, ...]:
    position = dict(settings)
    valves = output_valves(circuit_at(amp, position))
    knobs = [name for name, control in amp.controls.items() if control.kind == "knob"] if valves else []
    cases = [(amp, {**position, name: end}) for name in knobs for end in (0.0, 1.0)]
    rests = at_rest(cases, ()) if cases else []
    found = []
    for number, name in enumerate(knobs):
        low, high = rests[2 * number : 2 * number + 2]
        moved = [abs(high.plate_ma[valve] - low.plate_ma[valve]) / max(high.plate_ma[valve], low.plate_ma[valve], 1e-3)
                 for valve in valves]  # fmt: skip
        if max(moved) > _SETS:
            found.append(name)
    return tuple(found)


def _ways_to_read(wired: Circuit, valves: tuple[str, ...]) -> Iterator[str]:
    """How a plate current is read where a meter can, and which valves are read together there."""
    resistors = {net for each in wired.elements if each.kind == "resistor" for _, net in each.pins} - {GROUND}
    ways = [
        ("plate", "volts across its part of the primary, over that part's own resistance, measured cold",
         [name for name in valves if _supply_end(wired, f"{name}.plate")]),
        ("cathode", "volts across its cathode resistor, over its ohms, the screen's current in it",
         [name for name in valves if wired.net(f"{name}.cathode") in resistors]),
    ]  # fmt: skip
    told = [f"{words}{_together(wired, pin, readable)}" for pin, words, readable in ways if readable]
    if told:
        yield f"A plate current is read as {'; or '.join(told)}."


def _together(wired: Circuit, pin: str, valves: Iterable[str]) -> str:
    """Which valves share what hangs on a pin: a reading there is the sum of theirs."""
    groups: dict[str, list[str]] = {}
    for name in valves:
        groups.setdefault(wired.net(f"{name}.{pin}"), []).append(name)
    shared = [f"{join_words(names)} together" for names in groups.values() if len(names) > 1]
    return f" ({', '.join(shared)})" if shared else ""


def _dissipation(wired: Circuit, volts: Mapping[str, float], plate_ma: float, valve: str) -> str:
    """What a valve's plate carries at rest, against what its type stands."""
    part = wired.parts[valve]
    watts = 1e-3 * plate_ma * (volts[f"{valve}.plate"] - volts[f"{valve}.cathode"])
    words = f"{valve}: {plate_ma:.3g} mA and {in_watts(watts)} at its plate"
    limit = wired.amp.valve_by_type[part.type].limits.plate_watts if isinstance(part, Socket) else None
    return f"{words}, {100.0 * watts / limit:.0f} % of its {limit:g} W." if limit else f"{words}."


def _readings(wired: Circuit, volts: Mapping[str, float], valves: tuple[str, ...]) -> list[Check]:
    """Grids, cathodes, and the drop across each half of the primary that a meter tells."""
    pairs = [(f"{name}.{pin}", "ground") for name in valves for pin in ("grid", "cathode")]
    pairs += [(supply, f"{name}.plate") for name in valves if (supply := _supply_end(wired, f"{name}.plate"))]
    found = [(place, other, volts[place] - volts.get(other, 0.0)) for place, other in pairs]
    return [_check(place, other, value) for place, other, value in found if abs(value) >= _LEAST]


def _check(place: str, against: str, value: float) -> Check:
    low, high = sorted((value * (1.0 - VOLT_LIMIT), value * (1.0 + VOLT_LIMIT)))
    return Check(f"{place} to {against}", value, low, high, "V", place, against)


def _volts(amp: Amp, position: Position, wired: Circuit, valves: tuple[str, ...]) -> dict[str, float]:
    """The volts [V] at plates, grids and cathodes, and at the supply ends of the primary."""
    places = [f"{name}.{pin}" for name in valves for pin in ("plate", "grid", "cathode")]
    places += [end for name in valves if (end := _supply_end(wired, f"{name}.plate"))]
    nodes = list(dict.fromkeys(place for place in places if wired.net(place) != GROUND))
    found = simulate(amp, OperatingPoint(), [dict(position)], nodes=nodes)["voltage"].values[0, 0]
    return dict.fromkeys(places, 0.0) | dict(zip(nodes, map(float, found), strict=True))


def _supply_end(wired: Circuit, plate: str) -> str:
    """The end of the primary that a plate's half begins at, "" where the plate is on no primary."""
    net = wired.net(plate)
    for each in wired.elements:
        pins = dict(each.pins)
        if each.kind == "transformer" and net in (pins.get("primary_a"), pins.get("primary_b")):
            return f"{each.designator}.{'centre' if 'centre' in pins else 'primary_b'}"
    return ""


def _parts_near(wired: Circuit, valves: tuple[str, ...]) -> set[str]:
    """The output valves, and the parts that end at their cathodes, or at their grids be it through a resistor."""
    nets = {each.net(pin) for each in wired.elements if each.designator in valves for pin in ("grid", "cathode")}
    rails = {rail_net(rail.name) for rail in wired.amp.rails}
    ways = [{net for _, net in each.pins} for each in wired.elements if each.kind == "resistor"]
    nets |= {net for way in ways if way & nets for net in way}
    nets -= {GROUND, *rails}
    kinds = ("resistor", "capacitor")
    near = {each.designator for each in wired.elements if each.kind in kinds and {n for _, n in each.pins} & nets}
    return near | set(valves)
