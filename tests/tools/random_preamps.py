"""Preamps drawn by lot: valve stages of every kind, what lies between them, tone controls."""

from __future__ import annotations

from tests.tools import random_semiconductors
from tests.tools.random_kit import PENTODES, Kit, Tables, usual


def preamp_stage(kit: Kit, first: bool) -> int:
    """A triode stage with what lies before it, or now and then another kind; for how many it counts by its gain."""
    kind = kit.lot.rng.random()
    if kind < 0.4:
        drawn = kit.lot.one(OTHER_STAGES if kind < 0.25 else random_semiconductors.STAGES)
        drawn(kit, first)
        return 2 if drawn in (cascode, pentode_stage) else 1
    triode_stage(kit, first)
    return 1


def triode_stage(kit: Kit, first: bool) -> None:
    lot = kit.lot
    roles: Tables = {}
    if first:
        roles |= kit.maybe(0.8, grid_leak=("R", 1e6))
    elif lot.chance(0.5):
        volume = {"pot": kit.pot(1e6), "coupling": kit.c(22e-9)}
        volume |= kit.maybe(0.25, bright_capacitor=("C", 120e-12), track_resistor=("R", 470e3))
        kit.stage("volume", **(volume | kit.maybe(0.2, foot_resistor=("R", 10e3), series_resistor=("R", 100e3))))
    elif lot.chance(0.5):
        network = {"capacitor": kit.c(22e-9), "series_resistor": kit.r(470e3), "shunt_resistor": kit.r(470e3)}
        kit.stage(
            "coupling", **(network | kit.maybe(0.3, series_capacitor=("C", 470e-12), shunt_capacitor=("C", 1e-10)))
        )
    elif lot.chance(0.9):
        roles |= {"coupling": kit.c(22e-9), "grid_leak": kit.r(1e6)}
    valve, kind = kit.triode()
    load, cathode = usual(kind)
    roles |= {"valve": valve, "supply": lot.one(("B2", "B3")), "plate_load": kit.r(load)}
    if lot.chance(0.9):
        roles |= {"cathode_resistor": kit.r(cathode * (6.0 if lot.chance(0.15) else 1.0))}
        roles |= kit.maybe(0.6, cathode_bypass=("C", lot.one((22e-6, 1e-6))))
        roles |= kit.maybe(0.3, bypass_resistor=("R", 1e3)) if "cathode_bypass" in roles else {}
    roles |= kit.maybe(0.4, grid_stopper=("R", 33e3))
    roles |= kit.maybe(0.15, plate_load_capacitor=("C", 470e-12), plate_grid_capacitor=("C", 10e-12))
    kit.stage("triode stage", **roles)


def follower_and_stack(kit: Kit) -> None:
    """A follower with a three-band stack, or another tone control."""
    if kit.lot.chance(0.4):
        kit.lot.one(OTHER_TONES)(kit)
        kit.stage("coupling", input_leak=kit.r(1e6))
        return
    valve, kind = kit.triode()
    roles = {"valve": valve, "supply": "B2", "cathode_resistor": kit.r(usual(kind)[0])}
    kit.stage("cathode follower", **roles, **kit.maybe(0.2, plate_resistor=("R", 1e3), grid_stopper=("R", 10e3)))
    if kit.lot.chance(0.8):
        stack = {"treble": kit.pot(250e3), "bass": kit.pot(1e6)}
        stack["middle"] = kit.pot(25e3) if kit.lot.chance(0.7) else kit.r(10e3)
        capacitors = {"treble_capacitor": kit.c(330e-12), "bass_capacitor": kit.c(22e-9)}
        kit.stage("tone stack", **stack, **capacitors, middle_capacitor=kit.c(22e-9), slope_resistor=kit.r(47e3))


def channels(kit: Kit) -> None:
    """Two or three channels that meet in a mixer, from the one jack or from jacks of their own."""
    ends = []
    for number in range(int(kit.lot.rng.integers(2, 4))):
        begins = len(kit.stages)
        kit.lot.one(FIRST_STAGES)(kit, True)
        if number:
            if kit.lot.chance(0.5):
                kit.jacks.append({"name": f"jack {number}"})
                kit.stages[begins]["input"] = f"jack {number}"
            else:
                kit.stages[begins]["input"] = "input"
        ends.append(kit.stage("volume", pot=kit.pot(1e6), coupling=kit.c(22e-9)))
    mixer = {"input": ends, "mixing_resistor": [kit.r(270e3) for _ in ends]}
    kit.stage("mixer", **mixer, **kit.maybe(0.3, leak=("R", 1e6)))


def plain_stage(kit: Kit, first: bool) -> None:
    valve, kind = kit.triode()
    load, ohms = usual(kind)
    roles = {"valve": valve, "supply": "B3", "plate_load": kit.r(load)}
    kit.stage("triode stage", **grid(kit, first), **cathode(kit, ohms), **roles)


def grid(kit: Kit, first: bool) -> Tables:
    """What leads to a stage's grid: a leak at the input, a capacitor and a leak behind another plate."""
    roles = {} if first else {"coupling": kit.c(22e-9)}
    return roles | {"grid_leak": kit.r(1e6)} | kit.maybe(0.4, grid_stopper=("R", 33e3))


def cathode(kit: Kit, ohms: float) -> Tables:
    return {"cathode_resistor": kit.r(ohms)} | kit.maybe(0.7, cathode_bypass=("C", 22e-6))


def grid_leak_stage(kit: Kit, first: bool) -> None:
    valve, kind = kit.triode()
    roles = {"valve": valve, "supply": "B3", "coupling": kit.c(22e-9), "grid_leak": kit.r(7e6)}
    kit.stage(
        "grid-leak stage", **roles, plate_load=kit.r(2 * usual(kind)[0]), **kit.maybe(0.3, grid_stopper=("R", 33e3))
    )


def parallel_triodes(kit: Kit, first: bool) -> None:
    valve, kind = kit.triode()
    load, ohms = usual(kind)
    roles = grid(kit, first)
    roles |= {"grid_stopper_a": roles.pop("grid_stopper")} if "grid_stopper" in roles else {}
    roles |= {"valve_a": valve, "valve_b": kit.new("V", kind), "supply": "B3", "plate_load": kit.r(load / 2)}
    if kit.lot.chance(0.3):
        roles |= {"cathode_resistor": kit.r(ohms), "cathode_resistor_b": kit.r(ohms)}
        roles |= kit.maybe(0.5, cathode_bypass=("C", 22e-6), cathode_bypass_b=("C", 1e-6))
    else:
        roles |= cathode(kit, ohms / 2)
    kit.stage("parallel triodes", **roles, **kit.maybe(0.4, grid_stopper_b=("R", 33e3)))


def cascode(kit: Kit, first: bool) -> None:
    valve, kind = kit.triode()
    load, ohms = usual(kind)
    roles = grid(kit, first) | cathode(kit, ohms)
    roles |= {"valve_a": valve, "valve_b": kit.new("V", kind), "supply": "B2", "plate_load": kit.r(load)}
    roles |= {"divider_top": kit.r(470e3), "divider_bottom": kit.r(220e3), "divider_capacitor": kit.c(1e-6)}
    kit.stage("cascode", **roles)


def pentode_stage(kit: Kit, first: bool) -> None:
    """A small pentode, or one made for an output stage with resistors to suit its current."""
    small = kit.lot.chance(0.7)
    kind = "EF86" if small else kit.lot.one(PENTODES)
    load, screen, ohms = (100e3, 390e3, 1e3) if small else (22e3, 82e3, 1.5e3)
    roles = grid(kit, first) | cathode(kit, ohms) | {"valve": kit.new("V", kind), "supply": "B3"}
    roles["plate_load"] = kit.r(load)
    if kit.lot.chance(0.15):
        roles["triode_connected"] = "yes"
    else:
        roles |= {"screen_resistor": kit.r(screen)} | kit.maybe(0.85, screen_bypass=("C", 220e-9))
        roles |= kit.maybe(0.2, screen_divider=("R", 680e3))
        roles |= {"screen_bypass_to_cathode": "yes"} if "screen_bypass" in roles and kit.lot.chance(0.2) else {}
        roles |= {"screen_supply": "B2"} if kit.lot.chance(0.2) else {}
    kit.stage("pentode stage", **roles)


def self_biased_follower(kit: Kit, first: bool) -> None:
    valve, kind = kit.triode()
    load, ohms = usual(kind)
    roles = {"valve": valve, "supply": "B3", "coupling": kit.c(22e-9), "grid_leak": kit.r(1e6)}
    roles |= {"bias_resistor": kit.r(ohms), "cathode_resistor": kit.r(load / 2)}
    roles |= kit.maybe(0.2, bias_bypass=("C", 22e-6), grid_stopper=("R", 10e3), plate_resistor=("R", 1e3))
    kit.stage("self-biased follower", **roles)


def baxandall_tone(kit: Kit, first: bool) -> None:
    valve, kind = kit.triode()
    load, ohms = usual(kind)
    if not first:
        kit.stage("coupling", capacitor=kit.c(100e-9), input_leak=kit.r(1e6))
    roles = {
        "valve": valve,
        "supply": "B3",
        "plate_load": kit.r(load),
        "bass": kit.pot(470e3),
        "treble": kit.pot(470e3),
    }
    roles |= {f"bass_resistor_{way}": kit.r(100e3) for way in ("in", "back")}
    roles |= {f"bass_capacitor_{way}": kit.c(2.2e-9) for way in ("in", "back")}
    roles |= {f"treble_capacitor_{way}": kit.c(470e-12) for way in ("in", "back")}
    roles |= {"joining_resistor": kit.r(47e3), "output_capacitor": kit.c(100e-9), "output_leak": kit.r(1e6)}
    roles |= cathode(kit, ohms)
    kit.stage("baxandall tone", **roles, coupling=kit.c(22e-9), grid_leak=kit.r(1e6))


# What may stand in a preamp beside the triode stage; each is told whether it is the first stage.
OTHER_STAGES = [grid_leak_stage, parallel_triodes, cascode, pentode_stage, self_biased_follower, baxandall_tone]
FIRST_STAGES = [plain_stage, plain_stage, grid_leak_stage, parallel_triodes, cascode, pentode_stage]


def one_knob_tone(kit: Kit) -> None:
    roles = {"pot": kit.pot(500e3), "capacitor": kit.c(4.7e-9), "coupling": kit.c(22e-9)}
    kit.stage("one-knob tone", **roles, **kit.maybe(0.5, series_resistor=("R", 47e3)))


def blend_tone(kit: Kit) -> None:
    kit.stage("coupling", capacitor=kit.c(22e-9))
    roles = {"pot": kit.pot(100e3), "treble_capacitor": kit.c(4.7e-9), "treble_shunt": kit.r(22e3)}
    kit.stage("blend tone", **roles, bass_resistor=kit.r(39e3), bass_capacitor=kit.c(10e-9))


def two_knob_tone(kit: Kit) -> None:
    roles = {"bass": kit.pot(1e6), "treble": kit.pot(1e6), "coupling": kit.c(22e-9), "bass_resistor": kit.r(100e3)}
    roles |= {"bass_foot_resistor": kit.r(10e3), "bass_capacitor_top": kit.c(470e-12)}
    roles |= {"bass_capacitor_bottom": kit.c(4.7e-9), "joining_resistor": kit.r(100e3)}
    kit.stage("two-knob tone", **roles, treble_capacitor=kit.c(220e-12), treble_foot_capacitor=kit.c(2.2e-9))


def mid_scoop(kit: Kit) -> None:
    roles = {"bridge_resistor": kit.r(220e3), "capacitor_in": kit.c(1e-9), "capacitor_out": kit.c(1e-9)}
    roles |= {"foot_resistor": kit.r(4.7e3), "coupling": kit.c(100e-9)} | kit.maybe(0.8, depth=("P", 100e3))
    kit.stage("mid scoop", **roles)


# What may stand in the place of the three-band stack.
OTHER_TONES = [one_knob_tone, blend_tone, two_knob_tone, mid_scoop]
