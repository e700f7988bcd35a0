"""Triode stages with the cathode in common: one triode, one with grid-leak bias, two in parallel, a cascode."""

from __future__ import annotations

from .template import GROUND, Kind, Role, StageBuilder, Template, foot_net


def grid_network(bench: StageBuilder, signal: str, valve: str = "valve") -> str:
    """Grid leak to ground (or to a bias rail), then the stopper; return the net of the grid itself."""
    bench.across("grid_leak", signal, bench.rail("bias") if bench.has("bias") else GROUND)
    return grid_net(bench, signal, valve)


def grid_net(bench: StageBuilder, signal: str, valve: str = "valve", suffix: str = "") -> str:
    """Go through a grid stopper, where there is one, and return the net of the grid.

    Parameters
    ----------
    bench : StageBuilder
    signal : str
        The net that drives the grid.
    valve : str
        Role of the valve.
    suffix : str
        Ends the name of the stopper's role, such as "_a".
    """
    stopper = f"grid_stopper{suffix}"
    return bench.through(stopper, signal, bench.net("grid", valve)) if bench.has(stopper) else signal


def cathode_network(bench: StageBuilder, cathode: str, suffix: str = "") -> None:
    """Cathode resistor to the stage's foot, bypass capacitor with an optional resistor in series."""
    foot = cathode_foot(bench)
    bench.across(f"cathode_resistor{suffix}", cathode, foot)
    if bench.has("bypass_resistor"):
        bench.across("cathode_bypass", cathode, bench.through("bypass_resistor", foot))
    else:
        bench.across(f"cathode_bypass{suffix}", cathode, foot)


def cathode_foot(bench: StageBuilder) -> str:
    """Where the cathode resistor ends: ground, or the net that a feedback line comes in at."""
    return foot_net(bench.stage.name) if bench.has("feedback_input") else GROUND


def cathode_net(bench: StageBuilder, role: str = "valve") -> str:
    """The net of a cathode: its own with a cathode resistor, without one the stage's foot."""
    return bench.net("cathode", role) if bench.has("cathode_resistor") else cathode_foot(bench)


def plate_parts(bench: StageBuilder, supply: str, plate: str, grid: str) -> None:
    """Fit the plate load and the capacitors that take treble away.

    Parameters
    ----------
    bench : StageBuilder
    supply, plate, grid : str
        Nets of the rail, the plate and the grid.
    """
    bench.across("plate_load", supply, plate)
    bench.across("plate_load_capacitor", supply, plate)
    bench.across("plate_grid_capacitor", plate, grid)


def _triode_stage(bench: StageBuilder) -> tuple[str, ...]:
    signal = bench.through("coupling", bench.signal[0])
    grid = grid_network(bench, signal)
    plate, cathode = bench.net("plate"), cathode_net(bench)
    bench.valve("valve", plate, grid, cathode)
    cathode_network(bench, cathode)
    plate_parts(bench, bench.rail("supply"), plate, grid)
    return (plate,)


def _parallel_triodes(bench: StageBuilder) -> tuple[str, ...]:
    signal = bench.through("coupling", bench.signal[0])
    bench.across("grid_leak", signal, bench.rail("bias") if bench.has("bias") else GROUND)
    first, second = grid_net(bench, signal, "valve_a", "_a"), grid_net(bench, signal, "valve_b", "_b")
    plate, cathode = bench.net("plate", "valve_a"), cathode_net(bench, "valve_a")
    bench.valve("valve_a", plate, first, cathode)
    other = bench.net("cathode", "valve_b") if bench.has("cathode_resistor_b") else cathode
    bench.valve("valve_b", plate, second, other)
    cathode_network(bench, cathode)
    bench.across("cathode_resistor_b", other, cathode_foot(bench))
    bench.across("cathode_bypass_b", other, cathode_foot(bench))
    plate_parts(bench, bench.rail("supply"), plate, first)
    return (plate,)


def _cascode(bench: StageBuilder) -> tuple[str, ...]:
    signal = bench.through("coupling", bench.signal[0])
    grid = grid_network(bench, signal, "valve_a")
    middle, plate, cathode = bench.net("plate", "valve_a"), bench.net("plate", "valve_b"), cathode_net(bench, "valve_a")
    held = bench.net("grid", "valve_b")
    bench.valve("valve_a", middle, grid, cathode)
    bench.valve("valve_b", plate, held, middle)
    cathode_network(bench, cathode)
    supply = bench.rail("supply")
    bench.across("divider_top", supply, held)
    bench.across("divider_bottom", held, GROUND)
    bench.across("divider_capacitor", held, GROUND)
    plate_parts(bench, supply, plate, grid)
    return (plate,)


GRID = {
    "coupling": Role("capacitor from the stage before", ("capacitor",)),
    "grid_leak": Role("resistor from the stage input to ground", ("resistor",)),
    "grid_stopper": Role("resistor in series with the grid", ("resistor",)),
    "bias": Role("rail the grid leak goes to instead of ground", ("rail",)),
}

PLATE = {
    "supply": Role("rail the plate load hangs on", ("rail",), True),
    "plate_load": Role("plate load resistor", ("resistor", "pot", "inductor"), True),
    "plate_load_capacitor": Role("capacitor across the plate load", ("capacitor",)),
    "plate_grid_capacitor": Role("capacitor from plate to grid", ("capacitor",)),
}

CATHODE = {
    "cathode_resistor": Role("cathode resistor", ("resistor", "pot")),
    "cathode_bypass": Role("capacitor across the cathode resistor", ("capacitor",)),
    "bypass_resistor": Role("resistor in series with the bypass capacitor", ("resistor",)),
    "feedback_input": Role("say yes when a feedback stage comes in at the foot of the cathode resistor", ("word",)),
}

TRIODE_STAGE = Template(
    "triode stage",
    Kind.GAIN,
    "common-cathode triode: coupling capacitor, grid leak, grid stopper, cathode network, plate load",
    {"valve": Role("triode", ("valve",), True), **PLATE, **CATHODE, **GRID},
    1,
    _triode_stage,
)

GRID_LEAK_STAGE = Template(
    "grid-leak stage",
    Kind.GAIN,
    "triode with its cathode on ground, biased by the grid current through a large grid leak",
    {
        "valve": Role("triode", ("valve",), True),
        "coupling": Role("capacitor that keeps the bias on the grid", ("capacitor",), True),
        "grid_leak": Role("grid leak, some megohms", ("resistor",), True),
        "grid_stopper": GRID["grid_stopper"],
        **PLATE,
    },
    1,
    _triode_stage,
)

PARALLEL_TRIODES = Template(
    "parallel triodes",
    Kind.GAIN,
    "two triodes on one plate load and one cathode resistor: half the plate resistance, twice the current",
    {
        "valve_a": Role("triode, side a", ("valve",), True),
        "valve_b": Role("triode, side b", ("valve",), True),
        **PLATE,
        **CATHODE,
        "cathode_resistor_b": Role("cathode resistor of side b where it has its own", ("resistor",)),
        "cathode_bypass_b": Role("capacitor across it", ("capacitor",)),
        "coupling": GRID["coupling"],
        "grid_leak": GRID["grid_leak"],
        "grid_stopper_a": Role("resistor in series with the grid, side a", ("resistor",)),
        "grid_stopper_b": Role("resistor in series with the grid, side b", ("resistor",)),
        "bias": GRID["bias"],
    },
    1,
    _parallel_triodes,
)

CASCODE = Template(
    "cascode",
    Kind.GAIN,
    "two triodes one above the other: the lower one amplifies, the upper one's grid is held still by a divider",
    {
        "valve_a": Role("lower triode", ("valve",), True),
        "valve_b": Role("upper triode", ("valve",), True),
        "divider_top": Role("resistor from the supply to the upper grid", ("resistor",), True),
        "divider_bottom": Role("resistor from the upper grid to ground", ("resistor",), True),
        "divider_capacitor": Role("capacitor that holds the upper grid", ("capacitor",), True),
        **PLATE,
        **CATHODE,
        **GRID,
    },
    1,
    _cascode,
)

TEMPLATES = (TRIODE_STAGE, GRID_LEAK_STAGE, PARALLEL_TRIODES, CASCODE)
