"""Phase inverters beside the usual two: fixed bias for a split load, paraphase, a pair straight on the plate before."""

from __future__ import annotations

from .template import GROUND, Kind, Role, StageBuilder, Template, foot_net
from .triodes import GRID, cathode_network, grid_net
from .two_lines import both_sides

_R, _C, _V = ("resistor",), ("capacitor",), ("valve",)


def _fixed_split_load(bench: StageBuilder) -> tuple[str, ...]:
    signal = bench.through("coupling", bench.signal[0])
    plate, cathode, supply = bench.net("plate"), bench.net("cathode"), bench.rail("supply")
    bench.valve("valve", plate, grid_net(bench, signal), cathode)
    bench.across("plate_load", supply, plate)
    bench.across("cathode_load", cathode, GROUND)
    if not bench.has("bias") and not (bench.has("divider_top") and bench.has("divider_bottom")):
        raise bench.fault("the grid needs direct volts: divider_top and divider_bottom, or a rail as bias")
    if bench.has("divider_top"):
        held = bench.through("divider_top", supply)
        bench.across("divider_bottom", held, GROUND)
        bench.across("divider_capacitor", held, GROUND)
    else:
        held = bench.rail("bias")
    bench.across("grid_leak", signal, held)
    return (plate, cathode)


def _paraphase(bench: StageBuilder) -> tuple[str, ...]:
    plate_a, plate_b = _two_plates(bench)
    line_a, line_b = bench.through("coupling_a", plate_a), bench.through("coupling_b", plate_b)
    tap = bench.through("divider_top", line_a, bench.net("grid", "valve_b"))
    bench.across("divider_bottom", tap, GROUND)
    bench.across("divider_capacitor", line_a, tap)
    bench.across("output_leak_b", line_b, GROUND)
    return (line_a, line_b)


def _floating_paraphase(bench: StageBuilder) -> tuple[str, ...]:
    plate_a, plate_b = _two_plates(bench)
    line_a, line_b = bench.through("coupling_a", plate_a), bench.through("coupling_b", plate_b)
    floating = bench.net("grid", "valve_b")
    bench.across("output_leak_a", line_a, floating)
    bench.across("output_leak_b", line_b, floating)
    bench.across("common_leak", floating, GROUND)
    return (line_a, line_b)


def _two_plates(bench: StageBuilder) -> tuple[str, str]:
    """Both valves of a paraphase with their loads and cathodes; the second grid is on a net of its own."""
    signal = bench.through("coupling", bench.signal[0])
    bench.across("grid_leak", signal, GROUND)
    first, second = grid_net(bench, signal, "valve_a"), bench.net("grid", "valve_b")
    plates = bench.net("plate", "valve_a"), bench.net("plate", "valve_b")
    shared = bench.has("cathode_resistor")
    for side, plate, grid in zip("ab", plates, (first, second), strict=True):
        own = bench.has(f"cathode_resistor_{side}")
        cathode = bench.net("cathode", "valve_a" if shared else f"valve_{side}") if shared or own else GROUND
        bench.valve(f"valve_{side}", plate, grid, cathode)
        bench.across(f"plate_load_{side}", bench.rail("supply"), plate)
        if own and not shared:
            cathode_network(bench, cathode, f"_{side}")
    if shared:
        cathode_network(bench, bench.net("cathode", "valve_a"))
    return plates


def _direct_pair(bench: StageBuilder) -> tuple[str, ...]:
    signal, supply = bench.signal[0], bench.rail("supply")
    other, cathodes = bench.net("grid", "valve_b"), bench.net("cathode", "valve_a")
    plates = bench.net("plate", "valve_a"), bench.net("plate", "valve_b")
    for side, plate, grid in zip("ab", plates, (grid_net(bench, signal, "valve_a"), other), strict=True):
        bench.valve(f"valve_{side}", plate, grid, cathodes)
        bench.across(f"plate_load_{side}", supply, plate)
    bench.across("plate_to_plate_capacitor", *plates)
    bench.across("grid_b_resistor", signal, other)
    foot = foot_net(bench.stage.name) if bench.has("feedback_input") else GROUND
    bench.across("grid_b_capacitor", other, foot)
    bench.across("tail_resistor", cathodes, foot)
    return plates


_PLATES = {
    **both_sides("triode", _V, "valve", True),
    "supply": Role("rail of the plate loads", ("rail",), True),
    **both_sides("plate load resistor", _R, "plate_load", True),
}
_PARAPHASE = {
    **_PLATES,
    **both_sides("capacitor from the plate to its line", _C, "coupling", True),
    "coupling": GRID["coupling"],
    "grid_leak": GRID["grid_leak"],
    "grid_stopper": GRID["grid_stopper"],
    "cathode_resistor": Role("cathode resistor that both share", _R),
    "cathode_bypass": Role("capacitor across it", _C),
    **both_sides("own cathode resistor", _R, "cathode_resistor"),
    **both_sides("capacitor across the own cathode resistor", _C, "cathode_bypass"),
}

FIXED_SPLIT_LOAD = Template(
    "fixed-bias split-load inverter",
    Kind.INVERTER,
    "split-load inverter whose grid leak ends on a divider of the supply, or on a rail, well above ground",
    {
        "valve": Role("triode", _V, True),
        "supply": Role("rail of the plate load", ("rail",), True),
        "coupling": Role("capacitor from the stage before", _C, True),
        "grid_leak": Role("grid leak, to the divider or the rail", _R, True),
        "grid_stopper": GRID["grid_stopper"],
        "plate_load": Role("plate load resistor", _R, True),
        "cathode_load": Role("cathode load resistor", _R, True),
        "divider_top": Role("resistor from the supply to the foot of the grid leak", _R),
        "divider_bottom": Role("resistor from there to ground", _R),
        "divider_capacitor": Role("capacitor from there to ground", _C),
        "bias": Role("rail the grid leak goes to, without a divider", ("rail",)),
    },
    1,
    _fixed_split_load,
)

PARAPHASE = Template(
    "paraphase inverter",
    Kind.INVERTER,
    "two common-cathode triodes; a divider takes from the first one's line what the second one amplifies again",
    {
        **_PARAPHASE,
        "divider_top": Role("resistor from the first line to the second grid", _R, True),
        "divider_bottom": Role("resistor from the second grid to ground", _R, True),
        "divider_capacitor": Role("capacitor across the top of the divider", _C),
        "output_leak_b": Role("resistor from the second line to ground", _R),
    },
    1,
    _paraphase,
)

FLOATING_PARAPHASE = Template(
    "floating paraphase inverter",
    Kind.INVERTER,
    "paraphase whose second grid sits where the leaks of both lines meet, so that it balances itself",
    {
        **_PARAPHASE,
        **both_sides("resistor from the line to the second grid", _R, "output_leak", True),
        "common_leak": Role("resistor from the second grid to ground", _R, True),
    },
    1,
    _floating_paraphase,
)

DIRECT_PAIR = Template(
    "direct-coupled long-tailed pair",
    Kind.INVERTER,
    "long-tailed pair whose first grid sits straight on the plate before; the second has its direct volts through a "
    "resistor and is held still by a capacitor",
    {
        **_PLATES,
        "grid_stopper": GRID["grid_stopper"],
        "grid_b_resistor": Role("resistor from the first grid to the second", _R, True),
        "grid_b_capacitor": Role("capacitor from the second grid to the foot of the tail", _C, True),
        "tail_resistor": Role("tail resistor", _R, True),
        "plate_to_plate_capacitor": Role("capacitor between the plates", _C),
        "feedback_input": Role("say yes when a feedback stage comes in at the foot of the tail", ("word",)),
    },
    1,
    _direct_pair,
)

TEMPLATES = (FIXED_SPLIT_LOAD, PARAPHASE, FLOATING_PARAPHASE, DIRECT_PAIR)
