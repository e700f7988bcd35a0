"""Triode stages: common cathode and direct-coupled cathode follower."""

from __future__ import annotations

from .template import GROUND, Kind, Role, StageBuilder, Template


def grid_network(bench: StageBuilder, signal: str, valve: str = "valve", suffix: str = "") -> str:
    """Grid leak to ground (or to a bias rail), then the stopper; return the net of the grid itself.

    Parameters
    ----------
    bench : StageBuilder
    signal : str
        The net that drives the grid.
    valve : str
        Role of the valve.
    suffix : str
        Ends the names of the other roles, such as "_a".
    """
    foot = bench.rail("bias") if bench.has("bias") else GROUND
    bench.across(f"grid_leak{suffix}", signal, foot)
    if not bench.has(f"grid_stopper{suffix}"):
        return signal
    return bench.through(f"grid_stopper{suffix}", signal, bench.net("grid", valve))


def cathode_network(bench: StageBuilder, cathode: str) -> None:
    """Cathode resistor to ground, bypass capacitor with an optional resistor in series."""
    bench.across("cathode_resistor", cathode, GROUND)
    if bench.has("bypass_resistor"):
        bench.across("cathode_bypass", cathode, bench.through("bypass_resistor", GROUND))
    else:
        bench.across("cathode_bypass", cathode, GROUND)


def _triode_stage(bench: StageBuilder) -> tuple[str, ...]:
    signal = bench.through("coupling", bench.signal[0])
    grid = grid_network(bench, signal)
    plate, supply = bench.net("plate"), bench.rail("supply")
    cathode = bench.net("cathode") if bench.has("cathode_resistor") else GROUND
    bench.valve("valve", plate, grid, cathode)
    cathode_network(bench, cathode)
    bench.across("plate_load", supply, plate)
    bench.across("plate_load_capacitor", supply, plate)
    bench.across("plate_grid_capacitor", plate, grid)
    return (plate,)


def _cathode_follower(bench: StageBuilder) -> tuple[str, ...]:
    signal = bench.through("coupling", bench.signal[0])
    grid = grid_network(bench, signal)
    cathode = bench.net("cathode")
    plate = bench.through("plate_resistor", bench.rail("supply"), bench.net("plate"))
    bench.valve("valve", plate, grid, cathode)
    bench.across("cathode_resistor", cathode, GROUND)
    return (cathode,)


_GRID = {
    "coupling": Role("capacitor from the stage before", ("capacitor",)),
    "grid_leak": Role("resistor from the stage input to ground", ("resistor",)),
    "grid_stopper": Role("resistor in series with the grid", ("resistor",)),
    "bias": Role("rail the grid leak goes to instead of ground", ("rail",)),
}

TRIODE_STAGE = Template(
    "triode stage",
    Kind.GAIN,
    "common-cathode triode: coupling capacitor, grid leak, grid stopper, cathode network, plate load",
    {
        "valve": Role("triode", ("valve",), True),
        "supply": Role("rail the plate load hangs on", ("rail",), True),
        "plate_load": Role("plate load resistor", ("resistor", "pot", "inductor"), True),
        "cathode_resistor": Role("cathode resistor", ("resistor", "pot")),
        "cathode_bypass": Role("capacitor across the cathode resistor", ("capacitor",)),
        "bypass_resistor": Role("resistor in series with the bypass capacitor", ("resistor",)),
        "plate_load_capacitor": Role("capacitor across the plate load", ("capacitor",)),
        "plate_grid_capacitor": Role("capacitor from plate to grid", ("capacitor",)),
        **_GRID,
    },
    1,
    _triode_stage,
)

CATHODE_FOLLOWER = Template(
    "cathode follower",
    Kind.FOLLOWER,
    "cathode follower; without a coupling capacitor its grid sits straight on the plate before",
    {
        "valve": Role("triode", ("valve",), True),
        "supply": Role("rail of the plate", ("rail",), True),
        "cathode_resistor": Role("cathode load resistor", ("resistor",), True),
        "plate_resistor": Role("resistor in series with the plate", ("resistor",)),
        **_GRID,
    },
    1,
    _cathode_follower,
)

TEMPLATES = (TRIODE_STAGE, CATHODE_FOLLOWER)
