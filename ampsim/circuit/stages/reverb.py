"""Spring reverb: a driver, the tank, its recovery stage, and both mixed to the dry signal."""

from __future__ import annotations

from typing import cast

from ..transformer import Transformer, tap_pin
from .template import GROUND, Kind, Role, StageBuilder, Template


def _reverb(bench: StageBuilder) -> tuple[str, ...]:
    dry, returned = bench.signal[0], bench.net("out", "tank")
    hot = _driver(bench, bench.through("coupling", dry))
    bench.pins("tank", {"in": hot, "in_ground": GROUND, "out": returned, "out_ground": GROUND})
    wet = _recovery(bench, returned)
    mixed = bench.through("dry_resistor", dry)
    bench.across("dry_capacitor", dry, mixed)
    bench.through("wet_resistor", wet, mixed)
    bench.across("mix_leak", mixed, GROUND)
    return (mixed,)


def _driver(bench: StageBuilder, signal: str) -> str:
    """The driver's valves and what couples them to the tank; the net of the tank's input."""
    for pot in bench.designators("dwell"):
        signal, track = f"{pot.lower()}_wiper", signal
        bench.put(pot, top=track, wiper=signal, bottom=GROUND)
    bench.across("grid_leak", signal, GROUND)
    grid = bench.through("grid_stopper", signal)
    supply, plate = bench.rail("supply"), bench.net("plate", "driver")
    cathode = bench.net("cathode", "driver") if bench.has("cathode_resistor") else GROUND
    for role in ("driver", "driver_b"):
        if bench.has(role):
            bench.valve(role, plate, grid, cathode)
    bench.across("cathode_resistor", cathode, GROUND)
    bench.across("cathode_bypass", cathode, GROUND)
    bench.across("plate_load", supply, plate)
    if bench.has("transformer") == bench.has("tank_coupling"):
        raise bench.fault("the tank is driven through a transformer or through a tank_coupling capacitor, one of both")
    if bench.has("tank_coupling"):
        return bench.through("tank_coupling", plate)
    name = bench.designators("transformer")[0]
    tap = f"{name.lower()}_tap"
    taps = cast("Transformer", bench.part(name)).taps
    bench.put(name, primary_a=plate, primary_b=supply, common=GROUND, **{tap_pin(taps[0]): tap})
    return tap


def _recovery(bench: StageBuilder, returned: str) -> str:
    """The recovery stage behind the tank's output; the net of what it gives, behind its level control."""
    bench.across("recovery_grid_leak", returned, GROUND)
    plate = bench.net("plate", "recovery")
    cathode = bench.net("cathode", "recovery") if bench.has("recovery_cathode_resistor") else GROUND
    bench.valve("recovery", plate, returned, cathode)
    bench.across("recovery_cathode_resistor", cathode, GROUND)
    bench.across("recovery_cathode_bypass", cathode, GROUND)
    supply = bench.rail("supply_recovery" if bench.has("supply_recovery") else "supply")
    bench.across("recovery_plate_load", supply, plate)
    wet = bench.through("recovery_coupling", plate)
    for pot in bench.designators("level"):
        wet, track = f"{pot.lower()}_wiper", wet
        bench.put(pot, top=track, wiper=wet, bottom=GROUND)
    return wet


_RESISTOR, _CAPACITOR = ("resistor",), ("capacitor",)

REVERB = Template(
    "reverb",
    Kind.GAIN,
    "spring reverb: driver, tank, recovery stage and level, mixed to the dry signal",
    {
        "driver": Role("triode that drives the tank", ("valve",), True),
        "driver_b": Role("second triode in parallel with it", ("valve",)),
        "supply": Role("rail of the driver", ("rail",), True),
        "coupling": Role("capacitor to the driver", _CAPACITOR),
        "dwell": Role("pot before the driver", ("pot",)),
        "grid_leak": Role("resistor from the driver's input to ground", _RESISTOR),
        "grid_stopper": Role("resistor in series with the driver's grid", _RESISTOR),
        "cathode_resistor": Role("cathode resistor of the driver", _RESISTOR),
        "cathode_bypass": Role("capacitor across it", _CAPACITOR),
        "transformer": Role("transformer from the driver's plate to the tank", ("transformer",)),
        "plate_load": Role("plate load of a driver without a transformer", ("resistor", "inductor")),
        "tank_coupling": Role("capacitor from such a plate to the tank", _CAPACITOR),
        "tank": Role("reverb tank", ("reverb tank",), True),
        "recovery": Role("triode behind the tank", ("valve",), True),
        "supply_recovery": Role("rail of the recovery stage, where it is another one", ("rail",)),
        "recovery_grid_leak": Role("resistor across the tank's output", _RESISTOR),
        "recovery_cathode_resistor": Role("cathode resistor of the recovery stage", _RESISTOR),
        "recovery_cathode_bypass": Role("capacitor across it", _CAPACITOR),
        "recovery_plate_load": Role("plate load of the recovery stage", _RESISTOR, True),
        "recovery_coupling": Role("capacitor from its plate", _CAPACITOR, True),
        "level": Role("reverb pot", ("pot",)),
        "wet_resistor": Role("resistor from the reverb to the mixed signal", _RESISTOR),
        "dry_resistor": Role("resistor from the dry to the mixed signal", _RESISTOR, True),
        "dry_capacitor": Role("capacitor across it", _CAPACITOR),
        "mix_leak": Role("resistor from the mixed signal to ground", _RESISTOR),
    },
    1,
    _reverb,
)

TEMPLATES = (REVERB,)
