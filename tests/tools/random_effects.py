"""What some amps have besides their path, by lot: spring reverb, tremolo, oscillators of any wiring."""

from __future__ import annotations

from tests.tools.random_kit import Kit, Tables, usual
from tests.tools.random_semiconductors import COUPLERS


def reverb(kit: Kit) -> None:
    """A tank behind a transformer or a coupling capacitor, its return mixed to what went past it."""
    lot = kit.lot
    kit.stage("coupling", capacitor=kit.c(22e-9), shunt_resistor=kit.r(1e6))
    driver, kind = kit.triode()
    _, ohms = usual(kind)
    wound = lot.chance(0.6)
    roles: Tables = {"driver": driver, "supply": "B2", "coupling": kit.c(1e-9), "grid_leak": kit.r(1e6)}
    roles |= kit.maybe(0.3, dwell=("P", 500e3), grid_stopper=("R", 10e3))
    roles |= {"driver_b": kit.new("V", kind)} if wound and lot.chance(0.5) else {}
    roles |= {"cathode_resistor": kit.r(ohms)} | kit.maybe(0.8, cathode_bypass=("C", 25e-6))
    if wound:
        own = {"primary": lot.spread(22e3), "taps": [8.0], "inductance": lot.spread(30.0)}
        roles |= {"transformer": kit.new("T", own)}
    else:
        roles |= {"plate_load": kit.r(usual(kind)[0]), "tank_coupling": kit.c(100e-9)}
    delays = [float(lot.rng.uniform(25.0, 45.0)) for _ in range(int(lot.rng.integers(1, 4)))]
    own = {"input": 8.0 if wound else lot.one((150.0, 600.0, 1475.0)), "output": lot.one((500.0, 2250.0))}
    roles |= {"tank": kit.new("TANK", own | {"decay": float(lot.rng.uniform(1.2, 4.0)), "delays_ms": delays})}
    recovery, kind = kit.triode()
    load, ohms = usual(kind)
    roles |= {"recovery": recovery, "supply_recovery": "B3", "recovery_grid_leak": kit.r(220e3)}
    roles |= {"recovery_cathode_resistor": kit.r(ohms), "recovery_plate_load": kit.r(load)}
    roles |= {"recovery_coupling": kit.c(3.3e-9), "level": kit.pot(100e3), "wet_resistor": kit.r(470e3)}
    roles |= {"dry_resistor": kit.r(1e6), "mix_leak": kit.r(470e3)}
    kit.stage("reverb", **roles, **kit.maybe(0.5, recovery_cathode_bypass=("C", 25e-6), dry_capacitor=("C", 10e-12)))


def ladder(kit: Kit) -> Tables:
    """A triode with three sections of phase shift; whether it has the gain to oscillate is the lot's."""
    valve, kind = kit.triode()
    load, ohms = usual(kind)
    roles: Tables = {"valve": valve, "supply": "B2", "plate_load": kit.r(2.0 * load), "cathode_resistor": kit.r(ohms)}
    roles |= kit.maybe(0.9, cathode_bypass=("C", 25e-6), speed=("P", 2e6))
    roles |= {f"shift_capacitor_{each}": kit.c(15e-9) for each in "abc"}
    roles |= {"shift_resistor_a": kit.r(220e3), "shift_resistor_b": kit.r(1e6), "grid_leak": kit.r(1e6)}
    return roles


def open_cathodes(kit: Kit) -> list[str]:
    """Triodes with a resistor below their cathode."""
    return [each["valve"] for each in kit.stages if each["template"] == "triode stage" and "cathode_resistor" in each]


def bias_tremolo(kit: Kit) -> None:
    """An oscillator that moves a cathode of the preamp, or the bias where that comes through a resistor."""
    moved = "bias" if any("bias" in stage for stage in kit.stages) and kit.lot.chance(0.7) else ""
    cathodes = open_cathodes(kit)
    if not moved and not cathodes:
        return
    roles = ladder(kit) | {"coupling": kit.c(100e-9), "series_resistor": kit.r(100e3)}
    roles |= kit.maybe(0.8, depth=("P", 250e3))
    roles |= kit.maybe(0.8, output_capacitor=("C", 100e-9)) if "depth" in roles else {}
    kit.stage("tremolo oscillator", **roles, into=moved or f"{kit.lot.one(cathodes)}.cathode")


def opto_tremolo(kit: Kit) -> None:
    kit.stage("coupling", capacitor=kit.c(22e-9), input_leak=kit.r(1e6))
    driver, kind = kit.triode()
    roles = ladder(kit) | {"coupling": kit.c(22e-9), "driver": driver, "driver_grid_leak": kit.r(1e6)}
    roles |= {"driver_cathode_resistor": kit.r(2.0 * usual(kind)[1]), "lamp_resistor": kit.r(22e3)}
    roles |= {"coupler": kit.new("OC", kit.lot.one(COUPLERS)), "series_resistor": kit.r(100e3)}
    kit.stage("opto tremolo", **roles, **kit.maybe(0.8, intensity=("P", 50e3)))


def free_oscillator(kit: Kit) -> None:
    """The same sections wired by hand, into a cathode of the preamp."""
    cathodes = open_cathodes(kit)
    if not cathodes:
        return
    valve, kind = kit.triode()
    load, ohms = usual(kind)
    wires: Tables = {valve: {"plate": "plate", "grid": "grid", "cathode": "cathode"}}
    wires |= {
        kit.r(2.0 * load): ["B2", "plate"],
        kit.r(ohms): ["cathode", "ground"],
        kit.c(25e-6): ["cathode", "ground"],
    }
    for first, second in (("plate", "first"), ("first", "second"), ("second", "grid")):
        wires |= {kit.c(10e-9): [first, second], kit.r(1e6): [second, "ground"]}
    wires |= {kit.c(100e-9): ["plate", "far"], kit.r(4.7e6): ["far", f"{kit.lot.one(cathodes)}.cathode"]}
    kit.stage("oscillator of any wiring", wires=wires)


def lesson(kit: Kit) -> None:
    """A current source and a meter at a cathode, and something at the tap of a volume pot that gets one."""
    wires: Tables = {}
    for name in open_cathodes(kit)[:1]:
        wires[kit.new("I", kit.lot.log(1e-6, 2e-4))] = ["ground", f"{name}.cathode"]
        wires[kit.new("M", "volts")] = {"plus": f"{name}.cathode", "minus": "ground"}
    for stage in kit.stages:
        if stage["template"] == "volume":
            kit.parts[stage["pot"]]["tap"] = float(kit.lot.rng.uniform(0.1, 0.6))
            wires |= {kit.r(10e3): [f"{stage['pot']}.tap", "foot"], kit.c(22e-9): ["foot", "ground"]}
            break
    if wires:
        kit.stage("free wiring", wires=wires)
