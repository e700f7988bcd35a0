"""Phase inverters and the feedback line."""

from __future__ import annotations

from ...base.errors import nearest, shown
from .template import GROUND, Kind, Role, StageBuilder, Template, foot_net
from .two_lines import both_sides


def _split_load(bench: StageBuilder) -> tuple[str, ...]:
    signal = bench.through("coupling", bench.signal[0])
    plate, cathode = bench.net("plate"), bench.net("cathode")
    grid = bench.through("grid_stopper", signal, bench.net("grid")) if bench.has("grid_stopper") else signal
    bench.valve("valve", plate, grid, cathode)
    bench.across("plate_load", bench.rail("supply"), plate)
    foot = bench.through("bias_resistor", cathode)
    bench.across("cathode_load", foot, GROUND)
    bench.across("grid_leak", signal, foot)
    return (plate, cathode)


def _long_tailed_pair(bench: StageBuilder) -> tuple[str, ...]:
    supply = bench.rail("supply")
    signal = bench.through("coupling", bench.signal[0], bench.net("grid", "valve_a"))
    other, cathodes = bench.net("grid", "valve_b"), bench.net("cathode", "valve_a")
    plate_a, plate_b = bench.net("plate", "valve_a"), bench.net("plate", "valve_b")
    bench.valve("valve_a", plate_a, signal, cathodes)
    bench.valve("valve_b", plate_b, other, cathodes)
    bench.across("plate_load_a", supply, plate_a)
    bench.across("plate_load_b", supply, plate_b)
    bench.across("plate_to_plate_capacitor", plate_a, plate_b)
    junction = bench.through("bias_resistor", cathodes)
    bench.across("grid_leak_a", signal, junction)
    bench.across("grid_leak_b", other, junction)
    foot = foot_net(bench.stage.name) if bench.has("feedback_input") else GROUND
    bench.across("tail_resistor", junction, foot)
    bench.across("grid_b_capacitor", other, foot)
    return (plate_a, plate_b)


def _feedback(bench: StageBuilder) -> tuple[str, ...]:
    into = bench.word("into")
    stages = [each.name for each in bench.amp.stages if "feedback_input" in dict(each.roles)]
    if into not in stages:
        near = nearest(into, stages)
        raise bench.fault(f"{shown(into)} is not a stage with feedback_input{near}")
    foot = foot_net(into)
    source = "@" + bench.word("from")
    middle = bench.through("depth", source) if bench.has("depth") else source
    bench.across("depth_capacitor", source, middle)
    bench.across("resistor", middle, foot)
    bench.across("shunt_resistor", foot, GROUND)
    bench.across("presence_capacitor", _presence(bench, foot), GROUND)
    return bench.signal


def _presence(bench: StageBuilder, foot: str) -> str:
    for pot in bench.designators("presence_track"):
        wiper = f"{pot.lower()}_wiper"
        bench.put(pot, top=foot, wiper=wiper, bottom=GROUND)
        return wiper
    for pot in bench.designators("presence"):
        # Turned up means less resistance before the capacitor, so less treble is fed back.
        far = f"{pot.lower()}_wiper"
        bench.put(pot, top=foot, wiper=far, bottom=far)
        return far
    return foot


_R, _C, _V = ("resistor",), ("capacitor",), ("valve",)

SPLIT_LOAD = Template(
    "split-load inverter",
    Kind.INVERTER,
    "split-load phase inverter; without a coupling capacitor its grid sits straight on the plate before",
    {
        "valve": Role("triode", _V, True),
        "supply": Role("rail of the plate load", ("rail",), True),
        "coupling": Role("capacitor from the stage before", _C),
        "grid_leak": Role("grid leak, to the foot of the bias resistor", _R),
        "grid_stopper": Role("resistor in series with the grid", _R),
        "plate_load": Role("plate load resistor", _R, True),
        "bias_resistor": Role("resistor between cathode and cathode load", _R),
        "cathode_load": Role("cathode load resistor", _R, True),
    },
    1,
    _split_load,
)

LONG_TAILED_PAIR = Template(
    "long-tailed pair",
    Kind.INVERTER,
    "long-tailed pair phase inverter; a feedback line may come in at the foot of the tail",
    {
        **both_sides("triode", _V, "valve", True),
        "supply": Role("rail of the plate loads", ("rail",), True),
        "coupling": Role("capacitor from the stage before", _C),
        **both_sides("plate load resistor", _R, "plate_load", True),
        **both_sides("grid leak, to the junction of bias resistor and tail", _R, "grid_leak", True),
        "bias_resistor": Role("resistor between the cathodes and the tail", _R, True),
        "tail_resistor": Role("tail resistor", _R, True),
        "grid_b_capacitor": Role("capacitor from the second grid to the foot of the tail", _C, True),
        "plate_to_plate_capacitor": Role("capacitor between the plates", _C),
        "feedback_input": Role("say yes when a feedback stage comes in at the foot of the tail", ("word",)),
    },
    1,
    _long_tailed_pair,
)

FEEDBACK = Template(
    "feedback",
    Kind.FEEDBACK,
    "feedback line to the foot of a long-tailed pair or of a cathode resistor, with presence and depth",
    {
        "from": Role("place the line starts from, such as T1.tap8", ("place",), True),
        "into": Role("name of the stage it comes in at, which says feedback_input", ("stage",), True),
        "resistor": Role("feedback resistor", _R, True),
        "depth": Role("depth pot in series with the feedback resistor", ("pot",)),
        "depth_capacitor": Role("capacitor across the depth pot", _C),
        "shunt_resistor": Role("resistor from the foot to ground", _R),
        "presence_track": Role("presence pot from the foot to ground, its wiper to the capacitor", ("pot",)),
        "presence": Role("presence pot as a variable resistor in series with the capacitor", ("pot",)),
        "presence_capacitor": Role("capacitor of the presence control to ground", _C),
    },
    1,
    _feedback,
)

TEMPLATES = (SPLIT_LOAD, LONG_TAILED_PAIR, FEEDBACK)
