"""Semiconductors in the path of amps drawn by lot: amplifiers, transistors, diodes, and effects loops of every kind."""

from __future__ import annotations

from ampsim.library.files import models
from tests.tools.random_kit import Kit, Tables, usual

OP_AMPS = ("TL072", "RC4558", "NE5532", "LM741")
DIODES = ("1N4148", "1N34A", "1N4001", "LED-red", "1N5231B")
DEPLETION = ("LND150", "DN2540")
COUPLERS = ("NSL-32SR3", "NSL-28")
SEMICONDUCTORS = {path.stem for path in (models() / "semiconductors").glob("*.toml")}


def pad(kit: Kit, first: bool) -> None:
    """What brings a plate's swing down to what an amplifier takes; now and then nothing does."""
    if not first and kit.lot.chance(0.8):
        network = {"capacitor": kit.c(22e-9), "series_resistor": kit.r(470e3), "shunt_resistor": kit.r(22e3)}
        kit.stage("coupling", **network)


def amplifier(kit: Kit, kind: str = "") -> Tables:
    """An amplifier with its supplies: plus and minus from rails of their own, or one supply and its middle."""
    lot = kit.lot
    found: Tables = {"amplifier": kit.section(kind or lot.one(OP_AMPS))}
    if lot.chance(0.6):
        return found | {"supply": kit.low_rail("BP", 15.0), "negative_supply": kit.low_rail("BM", -15.0)}
    if not any(rail["name"] == "VR" for rail in kit.rails):
        supply = kit.low_rail("BS", 18.0)
        through, foot = kit.r(22e3), kit.r(22e3)
        kit.rails.append({"name": "VR", "from": supply, "through": through, "reservoir": [foot, kit.c(47e-6)]})
    return found | {"supply": "BS", "middle": "VR"}


def clippers(kit: Kit, share: float) -> Tables:
    """Diodes one way and the other, one or up to three in series."""
    found: Tables = {}
    for way in ("forward", "backward"):
        for number in range(int(kit.lot.rng.integers(1, 4)) if kit.lot.chance(share) else 0):
            found[f"{way}_diode" + (f"_{number + 1}" if number else "")] = kit.new("D", kit.lot.one(DIODES))
    return found


def behind(kit: Kit) -> Tables:
    return kit.maybe(0.3, output_resistor=("R", 1e3)) | {"output_capacitor": kit.c(1e-6), "output_leak": kit.r(100e3)}


def op_amp_stage(kit: Kit, first: bool) -> None:
    pad(kit, first)
    roles = amplifier(kit) | {"coupling": kit.c(47e-9), "input_leak": kit.r(1e6)}
    if kit.lot.chance(0.8):
        roles |= {"feedback_resistor": kit.r(47e3), "foot_resistor": kit.r(4.7e3)}
        roles |= kit.maybe(0.5, foot_capacitor=("C", 1e-6), feedback_capacitor=("C", 100e-12), gain=("P", 250e3))
        roles |= clippers(kit, 0.25)
    kit.stage("op-amp stage", **roles, **kit.maybe(0.4, series_resistor=("R", 1e3)), **behind(kit))


def inverting_stage(kit: Kit, first: bool) -> None:
    pad(kit, first)
    roles = amplifier(kit) | {
        "coupling": kit.c(47e-9),
        "input_resistor": kit.r(22e3),
        "feedback_resistor": kit.r(220e3),
    }
    roles |= kit.maybe(0.4, bias_resistor=("R", 10e3), feedback_capacitor=("C", 100e-12), gain=("P", 250e3))
    roles |= kit.maybe(0.4, bias_capacitor=("C", 1e-6)) if "bias_resistor" in roles else {}
    kit.stage("inverting op-amp stage", **roles, **clippers(kit, 0.5), **behind(kit))


def protected_stage(kit: Kit, first: bool) -> None:
    """An amplifier whose input diodes keep between the supplies."""
    if not first:
        kit.stage("coupling", capacitor=kit.c(22e-9), shunt_resistor=kit.r(470e3))
    roles = amplifier(kit)
    diodes = {"high_diode": kit.new("D", kit.lot.one(DIODES)), "low_diode": kit.new("D", kit.lot.one(DIODES))}
    rails = {role: name for role, name in roles.items() if role in ("supply", "negative_supply")}
    kit.stage("input protection", series_resistor=kit.r(47e3), **diodes, **rails)
    kit.stage("op-amp stage", **roles, input_leak=kit.r(1e6), coupling=kit.c(100e-9), **behind(kit))


def clipping_pair(kit: Kit, first: bool) -> None:
    triode = not first and kit.lot.chance(0.8)
    roles = ({"coupling": kit.c(47e-9)} if triode else {}) | {"series_resistor": kit.r(47e3)} | clippers(kit, 0.8)
    roles |= {"forward_diode": kit.new("D", kit.lot.one(DIODES))} if "forward_diode" not in roles else {}
    roles |= kit.maybe(0.4, shunt_resistor=("R", 470e3), shunt_capacitor=("C", 1e-9))
    kit.stage("clipping pair", **roles)


def series_diodes(kit: Kit, first: bool) -> None:
    roles = ({} if first else {"coupling": kit.c(47e-9)}) | {"forward_diode": kit.new("D", kit.lot.one(DIODES))}
    roles |= {"load_resistor": kit.r(100e3)}
    roles |= {"backward_diode": kit.new("D", kit.lot.one(DIODES))} if kit.lot.chance(0.8) else {}
    kit.stage("series diodes", **roles, **kit.maybe(0.5, bypass_resistor=("R", 220e3), bypass_capacitor=("C", 1e-9)),
              **kit.maybe(0.5, series_resistor=("R", 1e3)))  # fmt: skip


def transistor_stage(kit: Kit, first: bool) -> None:
    """A JFET on a low supply, a depletion MOSFET on the valves' own, or an enhancement one on a divider."""
    lot = kit.lot
    pad(kit, first)
    roles: Tables = {"coupling": kit.c(22e-9), "gate_leak": kit.r(1e6)} | kit.maybe(0.6, gate_stopper=("R", 10e3))
    kind = lot.one(("J201", "J201", *DEPLETION, "2N7000"))
    load, source, rail = {
        "J201": (22e3, 2.2e3, "low"), "LND150": (100e3, 1.5e3, "B3"), "DN2540": (47e3, 1.8e3, "B3"),
        "2N7000": (10e3, 1e3, "low"),
    }[kind]  # fmt: skip
    roles |= {"transistor": kit.new("Q", kind), "supply": kit.low_rail("BJ", 18.0) if rail == "low" else rail}
    roles |= {"gate_high_resistor": kit.r(2.2e6)} if kind == "2N7000" else {}
    roles |= {"drain_load": kit.r(load), "source_resistor": kit.r(source)} | kit.maybe(0.6, source_bypass=("C", 22e-6))
    roles |= kit.maybe(0.3, bypass_resistor=("R", 1e3)) if "source_bypass" in roles else {}
    roles |= kit.maybe(0.15, drain_load_capacitor=("C", 470e-12), drain_gate_capacitor=("C", 10e-12))
    kit.stage("transistor stage", **roles, **behind(kit))


def source_follower(kit: Kit, first: bool) -> None:
    """A MOSFET behind a plate, straight on it or on a divider of its own, its gate protected or not."""
    lot = kit.lot
    straight = not first and lot.chance(0.4)
    kind = lot.one(DEPLETION) if lot.chance(0.5) else "IRF820"
    roles: Tables = {"transistor": kit.new("Q", kind), "supply": lot.one(("B2", "B3"))}
    if straight:
        plate_stage(kit)
    else:
        roles |= {"coupling": kit.c(22e-9), "gate_leak": kit.r(1e6), "gate_high_resistor": kit.r(2.2e6)}
    roles |= {"source_resistor": kit.r(47e3)} | kit.maybe(0.6, gate_stopper=("R", 1e3), drain_resistor=("R", 100.0))
    if lot.chance(0.5):
        zeners = ["gate_zener"] + (["gate_zener_2"] if kind in DEPLETION or lot.chance(0.3) else [])
        roles |= {role: kit.new("D", "1N5242B") for role in zeners}
    kit.stage("source follower", **roles, **behind(kit))


def plate_stage(kit: Kit) -> None:
    """A triode for what sits straight on its plate."""
    valve, kind = kit.triode()
    load, ohms = usual(kind)
    roles = {"coupling": kit.c(22e-9), "grid_leak": kit.r(1e6), "valve": valve, "supply": "B3"}
    kit.stage("triode stage", **roles, plate_load=kit.r(load), cathode_resistor=kit.r(ohms))


def effects_loop(kit: Kit) -> None:
    """A loop in series or in parallel, with valves, transistors, amplifiers or nothing before and behind it."""
    lot = kit.lot
    kind = lot.one(("valve", "transistor", "amplifier", "none"))
    roles: Tables = {"coupling": kit.c(47e-9), "input_leak": kit.r(1e6), "send_capacitor": kit.c(1e-6)}
    roles |= {"send_leak": kit.r(1e6)}
    makes = {"valve": lambda: kit.triode()[0], "transistor": lambda: kit.new("Q", lot.one(DEPLETION))}
    if kind == "amplifier":
        roles |= {"supply": kit.low_rail("BP", 15.0), "negative_supply": kit.low_rail("BM", -15.0)}
        roles |= {end: kit.section(lot.one(OP_AMPS)) for end in ("driver", "recovery")}
    elif kind != "none":
        roles |= {"supply": "B3"}
        for end in ("driver", "recovery") if lot.chance(0.6) else ("driver",):
            roles |= {end: makes[kind](), f"{end}_resistor": kit.r(22e3)}
    if "recovery" in roles:
        roles |= {"return_capacitor": kit.c(100e-9), "return_leak": kit.r(1e6), "recovery_capacitor": kit.c(100e-9)}
        roles |= {"output_leak": kit.r(1e6)}
    if lot.chance(0.7):
        # Beside a parallel loop what comes back goes round again: an effect that gains much would latch.
        own = {"input": lot.spread(500e3), "output": lot.spread(1e3), "gain": float(lot.rng.uniform(0.3, 1.0))}
        roles |= {"effect": kit.new("FX", own)}
    roles |= kit.maybe(0.5, send_level=("P", 100e3), return_level=("P", 250e3), send_resistor=("R", 1e3))
    if lot.chance(0.5):
        kit.stage("series effects loop", **roles)
        return
    mixed: Tables = {"dry_resistor": kit.r(100e3), "wet_resistor": kit.r(100e3)}
    kit.stage("parallel effects loop", **roles, **mixed, **kit.maybe(0.5, mix=("P", 250e3)))
    kit.stage("coupling", capacitor=kit.c(22e-9), shunt_resistor=kit.r(1e6))


# What may stand in a preamp beside the stages of valves; each is told whether it is the first.
STAGES = [op_amp_stage, inverting_stage, protected_stage, clipping_pair, series_diodes, transistor_stage,
          source_follower]  # fmt: skip
