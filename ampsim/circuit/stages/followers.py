"""Cathode followers: straight on the plate before or with a grid leak of their own, and biased by themselves."""

from __future__ import annotations

from .template import GROUND, Kind, Role, StageBuilder, Template
from .triodes import GRID, grid_net, grid_network


def _cathode_follower(bench: StageBuilder) -> tuple[str, ...]:
    signal = bench.through("coupling", bench.signal[0])
    grid = grid_network(bench, signal)
    cathode = bench.net("cathode")
    bench.valve("valve", _plate(bench), grid, cathode)
    bench.across("cathode_resistor", cathode, GROUND)
    return (cathode,)


def _self_biased(bench: StageBuilder) -> tuple[str, ...]:
    signal = bench.through("coupling", bench.signal[0])
    cathode = bench.net("cathode")
    bench.valve("valve", _plate(bench), grid_net(bench, signal), cathode)
    foot = bench.through("bias_resistor", cathode)
    bench.across("bias_bypass", cathode, foot)
    bench.across("grid_leak", signal, foot)
    bench.across("cathode_resistor", foot, GROUND)
    return (cathode,)


def _plate(bench: StageBuilder) -> str:
    return bench.through("plate_resistor", bench.rail("supply"), bench.net("plate"))


_FOLLOWER = {
    "valve": Role("triode", ("valve",), True),
    "supply": Role("rail of the plate", ("rail",), True),
    "cathode_resistor": Role("cathode load resistor", ("resistor",), True),
    "plate_resistor": Role("resistor in series with the plate", ("resistor",)),
}

CATHODE_FOLLOWER = Template(
    "cathode follower",
    Kind.FOLLOWER,
    "cathode follower; without a coupling capacitor its grid sits straight on the plate before",
    {**_FOLLOWER, **GRID},
    1,
    _cathode_follower,
)

SELF_BIASED_FOLLOWER = Template(
    "self-biased follower",
    Kind.FOLLOWER,
    "cathode follower behind a capacitor; its grid leak ends where its bias resistor meets the cathode load",
    {
        **_FOLLOWER,
        "coupling": Role("capacitor from the stage before", ("capacitor",), True),
        "grid_leak": Role("grid leak, to the foot of the bias resistor", ("resistor",), True),
        "bias_resistor": Role("resistor between cathode and cathode load", ("resistor",), True),
        "bias_bypass": Role("capacitor across the bias resistor", ("capacitor",)),
        "grid_stopper": GRID["grid_stopper"],
    },
    1,
    _self_biased,
)

TEMPLATES = (CATHODE_FOLLOWER, SELF_BIASED_FOLLOWER)
