"""A pentode as a voltage amplifier, with the network of its screen."""

from __future__ import annotations

from .template import GROUND, Kind, Role, StageBuilder, Template
from .triodes import CATHODE, GRID, PLATE, cathode_net, cathode_network, grid_network, plate_parts


def _pentode_stage(bench: StageBuilder) -> tuple[str, ...]:
    signal = bench.through("coupling", bench.signal[0])
    grid = grid_network(bench, signal)
    plate, cathode, screen = bench.net("plate"), cathode_net(bench), bench.net("screen")
    bench.valve("valve", plate, grid, cathode, screen)
    cathode_network(bench, cathode)
    plate_parts(bench, bench.rail("supply"), plate, grid)
    if bench.has("triode_connected"):
        bench.through("screen_resistor", plate, screen)
    else:
        supply = bench.rail("screen_supply" if bench.has("screen_supply") else "supply")
        bench.through("screen_resistor", supply, screen)
    bench.across("screen_divider", screen, GROUND)
    bench.across("screen_bypass", screen, cathode if bench.has("screen_bypass_to_cathode") else GROUND)
    return (plate,)


PENTODE_STAGE = Template(
    "pentode stage",
    Kind.GAIN,
    "common-cathode pentode: grid, cathode and plate as in a triode stage, screen from a resistor and a capacitor",
    {
        "valve": Role("pentode", ("valve",), True),
        **PLATE,
        "screen_resistor": Role("resistor from the supply to the screen", ("resistor",)),
        "screen_bypass": Role("capacitor from the screen to ground", ("capacitor",)),
        "screen_bypass_to_cathode": Role("say yes when that capacitor goes to the cathode instead", ("word",)),
        "screen_divider": Role("resistor from the screen to ground", ("resistor",)),
        "screen_supply": Role(
            "rail of the screen (default: that of the plate load)",
            ("rail",),
            moot=lambda bench: bench.has("triode_connected"),
        ),
        "triode_connected": Role("say yes for the screen on the plate", ("word",)),
        **CATHODE,
        **GRID,
    },
    1,
    _pentode_stage,
)

TEMPLATES = (PENTODE_STAGE,)
