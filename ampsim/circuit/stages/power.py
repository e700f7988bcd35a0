"""Phase inverters, output stages and the feedback line."""

from __future__ import annotations

from typing import cast

from ...base.errors import nearest, shown
from ..amp import Transformer
from .template import GROUND, Kind, Role, StageBuilder, Template, net_word
from .triodes import cathode_network


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


def foot_net(stage: str) -> str:
    """The net at the foot of a long-tailed pair, where a feedback line comes in."""
    return f"{net_word(stage)}_foot"


def _feedback(bench: StageBuilder) -> tuple[str, ...]:
    into = bench.word("into")
    inverters = [each.name for each in bench.amp.stages if "feedback_input" in dict(each.roles)]
    if into not in inverters:
        near = nearest(into, inverters)
        raise bench.fault(f"{shown(into)} is not a phase inverter with feedback_input{near}")
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


def _push_pull(bench: StageBuilder) -> tuple[str, ...]:
    transformer = bench.designators("transformer")[0]
    cathodes = _shared_cathode(bench)
    plates = []
    for side, signal in zip("ab", bench.signal, strict=True):
        plates.append(_output_valve(bench, signal, f"_{side}", cathodes or f"{bench.net('cathode', 'valve_' + side)}"))
        if not cathodes:
            _own_cathode(bench, side)
    taps = _taps(bench, transformer)
    bench.put(
        transformer,
        primary_a=plates[0],
        centre=bench.rail("supply"),
        primary_b=plates[1],
        common=GROUND,
        **taps,
    )
    snubber = bench.through("snubber_resistor", plates[0])
    bench.across("snubber_capacitor", snubber, plates[1])
    return (_output_tap(bench, transformer),)


def _shared_cathode(bench: StageBuilder) -> str:
    if bench.has("cathode_resistor"):
        shared = bench.net("cathode", "valve_a")
        cathode_network(bench, shared)
        return shared
    if bench.has("cathode_resistor_a") or bench.has("cathode_resistor_b"):
        return ""
    return GROUND


def _own_cathode(bench: StageBuilder, side: str) -> None:
    cathode = bench.net("cathode", f"valve_{side}")
    bench.across(f"cathode_resistor_{side}", cathode, GROUND)
    bench.across(f"cathode_bypass_{side}", cathode, GROUND)


def _single_ended(bench: StageBuilder) -> tuple[str, ...]:
    transformer = bench.designators("transformer")[0]
    cathode = bench.net("cathode") if bench.has("cathode_resistor") else GROUND
    cathode_network(bench, cathode)
    plate = _output_valve(bench, bench.signal[0], "", cathode)
    taps = _taps(bench, transformer)
    bench.put(transformer, primary_a=plate, primary_b=bench.rail("supply"), common=GROUND, **taps)
    snubber = bench.through("snubber_resistor", plate)
    bench.across("snubber_capacitor", snubber, bench.rail("supply"))
    return (_output_tap(bench, transformer),)


def _output_valve(bench: StageBuilder, signal: str, suffix: str, cathode: str) -> str:
    role = f"valve{suffix}"
    driven = bench.through(f"coupling{suffix}", signal)
    bench.across(f"grid_leak{suffix}", driven, bench.rail("bias") if bench.has("bias") else GROUND)
    grid = bench.net("grid", role)
    grid = bench.through(f"grid_stopper{suffix}", driven, grid) if bench.has(f"grid_stopper{suffix}") else driven
    plate = bench.net("plate", role)
    bench.valve(role, plate, grid, cathode, _screen(bench, suffix, plate))
    return plate


def _screen(bench: StageBuilder, suffix: str, plate: str) -> str:
    supply = plate if bench.has("triode_connected") else _screen_supply(bench)
    if bench.has(f"screen_resistor{suffix}"):
        return bench.through(f"screen_resistor{suffix}", supply, bench.net("screen", f"valve{suffix}"))
    return supply


def _screen_supply(bench: StageBuilder) -> str:
    rail = bench.rail("screen_supply") if bench.has("screen_supply") else bench.rail("supply")
    for designator in bench.designators("common_screen_resistor"):
        common = f"{designator.lower()}_2"
        if all(element.designator != designator for element in bench.elements):
            bench.put(designator, end1=rail, end2=common)
        return common
    return rail


def _taps(bench: StageBuilder, transformer: str) -> dict[str, str]:
    part = cast("Transformer", bench.part(transformer))
    return {tap_pin(ohms): f"{transformer.lower()}_{tap_pin(ohms)}" for ohms in part.taps}


def tap_pin(ohms: float) -> str:
    """The pin of the secondary tap for a load [ohm], such as tap8."""
    return f"tap{ohms:g}".replace(".", "r")


def _output_tap(bench: StageBuilder, transformer: str) -> str:
    part = cast("Transformer", bench.part(transformer))
    taps = [tap_pin(ohms) for ohms in part.taps]
    tap = bench.word("tap") if bench.has("tap") else tap_pin(max(part.taps))
    if tap not in taps:
        raise bench.fault(f"{shown(tap)} is no tap{nearest(tap, taps)}")
    return f"{transformer.lower()}_{tap}"


def _both(about: str, kinds: tuple[str, ...], name: str, required: bool = False) -> dict[str, Role]:
    return {f"{name}_{side}": Role(f"{about}, side {side}", kinds, required) for side in "ab"}


_OUTPUT = {
    "transformer": Role("output transformer", ("transformer",), True),
    "tap": Role("tap the load hangs on, such as tap8 (default: the largest)", ("word",)),
    "supply": Role("rail of the plates", ("rail",), True),
    "screen_supply": Role("rail of the screens (default: that of the plates)", ("rail",)),
    "common_screen_resistor": Role("one resistor feeding all screens", ("resistor",)),
    "triode_connected": Role("say yes for screens tied to the plates", ("word",)),
    "bias": Role("negative rail for fixed bias; without it the grid leaks go to ground", ("rail",)),
    "cathode_resistor": Role("cathode resistor (shared in push-pull)", ("resistor",)),
    "cathode_bypass": Role("capacitor across it", ("capacitor",)),
    "snubber_resistor": Role("resistor of a damping network across the primary", ("resistor",)),
    "snubber_capacitor": Role("capacitor of it", ("capacitor",)),
}
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
        **_both("triode", _V, "valve", True),
        "supply": Role("rail of the plate loads", ("rail",), True),
        "coupling": Role("capacitor from the stage before", _C),
        **_both("plate load resistor", _R, "plate_load", True),
        **_both("grid leak, to the junction of bias resistor and tail", _R, "grid_leak", True),
        "bias_resistor": Role("resistor between the cathodes and the tail", _R, True),
        "tail_resistor": Role("tail resistor", _R, True),
        "grid_b_capacitor": Role("capacitor from the second grid to the foot of the tail", _C, True),
        "plate_to_plate_capacitor": Role("capacitor between the plates", _C),
        "feedback_input": Role("say yes when a feedback stage comes in at the foot of the tail", ("word",)),
    },
    1,
    _long_tailed_pair,
)

PUSH_PULL = Template(
    "push-pull output",
    Kind.OUTPUT,
    "two output valves, cathode or fixed bias, output transformer",
    {
        **_both("output valve", _V, "valve", True),
        **_both("coupling capacitor", _C, "coupling"),
        **_both("grid leak", _R, "grid_leak"),
        **_both("grid stopper", _R, "grid_stopper"),
        **_both("screen resistor", _R, "screen_resistor"),
        **_both("own cathode resistor", _R, "cathode_resistor"),
        **_both("capacitor across the own cathode resistor", _C, "cathode_bypass"),
        **_OUTPUT,
    },
    2,
    _push_pull,
)

SINGLE_ENDED = Template(
    "single-ended output",
    Kind.OUTPUT,
    "one output valve in class A, cathode or fixed bias, output transformer",
    {
        "valve": Role("output valve", _V, True),
        "coupling": Role("coupling capacitor", _C),
        "grid_leak": Role("grid leak", _R),
        "grid_stopper": Role("grid stopper", _R),
        "screen_resistor": Role("screen resistor", _R),
        **_OUTPUT,
    },
    1,
    _single_ended,
)

FEEDBACK = Template(
    "feedback",
    Kind.FEEDBACK,
    "feedback line from the output to the foot of a long-tailed pair, with presence and depth",
    {
        "from": Role("place the line starts from, such as T1.tap8", ("place",), True),
        "into": Role("name of the phase inverter stage", ("stage",), True),
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

TEMPLATES = (SPLIT_LOAD, LONG_TAILED_PAIR, PUSH_PULL, SINGLE_ENDED, FEEDBACK)
