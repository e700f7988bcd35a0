"""The stages of `tests.tools.any_amps`: sources, preamps, inverters, output stages, feedback and supplies that bias."""

from __future__ import annotations

from typing import Any

from tests.tools.any_amps import _KNOBS, PENTODES, TRIODES, Kit, Tables, written


def drawn(kit: Kit, kind: str) -> None:
    """Draw the stages and rails of an amp of this family."""
    lot = kit.lot
    source(kit)
    stages = int(lot.rng.integers(1, 4))
    for number in range(stages):
        if number:
            between(kit)
        triode_stage(kit, first=number == 0)
    tone(kit)
    if lot.chance(0.5):
        level(kit, "master volume")
    pentode = lot.one(PENTODES)
    if kind == "preamp":
        if not kit.stages[-1]["template"].endswith("volume"):
            level(kit, "master volume")
        kit.stage("load", load=kit.r(lot.one((220e3, 1e6))))
        supplies(kit, 300.0, 1e3, bias=None)
        return
    biased = power(kit, kind, pentode)
    kit.stage("load", load=loudspeaker(kit) if lot.chance(0.8) else kit.new("R", 8.0))
    volts, ohms, _, bias, _, _ = PENTODES[pentode]
    supplies(kit, volts, ohms, bias if biased else None)


def source(kit: Kit) -> None:
    """A guitar, a generator with and without a resistance, or nothing but the input."""
    lot = kit.lot
    if lot.chance(0.5):
        roles = {"pickup_inductance": kit.new("L", lot.near(2.7)), "pickup_resistance": kit.r(6.8e3)}
        roles |= kit.maybe(0.8, pickup_capacitance=("C", 120e-12), cable_capacitance=("C", 470e-12))
        if lot.chance(0.8):
            roles["volume"] = kit.pot(250e3, "guitar volume")
            kit.parts[roles["volume"]]["rotation"] = 1.0
        if lot.chance(0.4):
            roles |= {"tone": kit.pot(250e3, "guitar tone"), "tone_capacitor": kit.c(22e-9)}
        kit.stage("guitar", **roles)
    elif lot.chance(0.8):
        kit.stage("generator", **kit.maybe(0.7, resistance=("R", 10e3)))


def triode_stage(kit: Kit, first: bool) -> None:
    """A gain stage; its cathode with or without bypass, a second one now and then biased cold."""
    lot = kit.lot
    valve, kind = kit.triode()
    load, cathode, _, _ = TRIODES[kind]
    roles: Tables = {"valve": valve, "supply": "B3"}
    roles["plate_load"] = kit.r(load)
    if first:
        roles |= {"grid_leak": kit.r(1e6)} | kit.maybe(0.8, grid_stopper=("R", 47e3))
    else:
        roles |= kit.maybe(0.4, grid_stopper=("R", 68e3))
        if kit.live:
            roles |= {"coupling": kit.c(22e-9), "grid_leak": kit.r(680e3)}
    roles["cathode_resistor"] = kit.r(cathode * (4.0 if not first and lot.chance(0.15) else 1.0))
    roles |= kit.maybe(0.6, cathode_bypass=("C", lot.one((22e-6, 1e-6))))
    if "cathode_bypass" in roles:
        roles |= kit.maybe(0.15, bypass_resistor=("R", 1e3))
    roles |= kit.maybe(0.15, plate_load_capacitor=("C", 330e-12))
    kit.stage("triode stage", **roles)
    kit.live = True
    if lot.chance(0.1):
        # Feedback of the stage itself, plate to grid: a loop that is not the global one.
        resistor, blocking = kit.r(4.7e6), kit.c(22e-9)
        grid = f"{roles['valve']}.grid"
        wires = {resistor: ["own", grid], blocking: ["in", "own"]}
        kit.stage("free wiring", wires=wires)


def between(kit: Kit) -> None:
    """What leads to the next grid: a control, a fixed network, a tone control in free wiring, or the stage's own."""
    lot = kit.lot
    if lot.chance(0.45):
        level(kit, "volume")
    elif lot.chance(0.5):
        network = {"capacitor": kit.c(22e-9), "series_resistor": kit.r(330e3), "shunt_resistor": kit.r(470e3)}
        extra = kit.maybe(0.3, series_capacitor=("C", 330e-12), shunt_capacitor=("C", 100e-12))
        kit.stage("coupling", **network, **extra)
        kit.live = False
    elif lot.chance(0.3):
        pot, cut = kit.pot(250e3, "tone cut"), kit.c(4.7e-9)
        coupling, leak = kit.c(22e-9), kit.r(1e6)
        wires: Tables = {coupling: ["in", "out"], leak: ["out", "ground"]}
        wires |= {pot: {"top": "out", "wiper": "foot", "bottom": "foot"}, cut: ["foot", "ground"]}
        kit.stage("free wiring", wires=wires)
        kit.live = False


def level(kit: Kit, template: str) -> None:
    """A volume pot with or without its bright network."""
    lot = kit.lot
    roles: Tables = {"pot": kit.pot(lot.one((250e3, 500e3, 1e6)), lot.one(_KNOBS[template]))}
    roles |= {"coupling": kit.c(22e-9)} if kit.live else {}
    roles |= kit.maybe(0.25, bright_capacitor=("C", 120e-12))
    if "bright_capacitor" in roles:
        roles |= kit.maybe(0.2, bright_resistor=("R", 100e3))
    roles |= kit.maybe(0.15, track_resistor=("R", 1e6), foot_resistor=("R", 4.7e3))
    roles |= kit.maybe(0.2, series_resistor=("R", 220e3))
    if "series_resistor" in roles:
        roles |= kit.maybe(0.4, series_capacitor=("C", 330e-12))
    kit.stage(template, **roles)
    kit.live = False


def tone(kit: Kit) -> None:
    """A stack behind a follower, a stack on a plate, or none."""
    lot = kit.lot
    if kit.live and lot.chance(0.5):
        # A cathode far above its heater: not every type may.
        valve, kind = kit.triode(("12AX7", "12AU7"))
        roles = {"valve": valve, "supply": "B2", "cathode_resistor": kit.r(TRIODES[kind][0] * 1.2)}
        kit.stage("cathode follower", **roles, **kit.maybe(0.2, plate_resistor=("R", 1e3), grid_stopper=("R", 10e3)))
    elif not kit.live or lot.chance(0.5):
        return
    if kit.stages[-1]["template"] == "cathode follower" and lot.chance(0.2):
        level(kit, "volume")
        return
    stack = {"treble": kit.pot(250e3, "treble", ("linear",)), "bass": kit.pot(1e6, lot.one(("bass", "low")))}
    stack["middle"] = kit.pot(25e3, lot.one(("middle", "mids")), ("linear",)) if lot.chance(0.7) else kit.r(10e3)
    stack |= {"treble_capacitor": kit.c(330e-12), "bass_capacitor": kit.c(22e-9), "middle_capacitor": kit.c(22e-9)}
    kit.stage("tone stack", **stack, slope_resistor=kit.r(47e3))
    kit.live = False


def power(kit: Kit, kind: str, pentode: str) -> bool:
    """Inverter, output stage and feedback of a family; whether the output has fixed bias."""
    if kind.endswith("single"):
        if kind == "fed-back single" or not kit.live:
            driver(kit)
        return output(kit, "single-ended output", pentode, driven=kind == "fed-back single")
    if kind.endswith("split load"):
        if kind == "fed-back split load":
            driver(kit)
        split_load(kit)
        return output(kit, "push-pull output", pentode, driven=kind == "fed-back split load")
    pair = long_tailed_pair(kit, feedback=kind == "fed-back pair")
    biased = output(kit, "push-pull output", pentode)
    if kind == "fed-back pair":
        feedback(kit, pair)
    return biased


def driver(kit: Kit) -> None:
    """A stage with an open cathode: where feedback of the whole output stage can come in."""
    valve, kind = kit.triode()
    load, cathode, _, _ = TRIODES[kind]
    roles = {"valve": valve, "supply": "B2", "plate_load": kit.r(load), "cathode_resistor": kit.r(cathode)}
    roles |= {"coupling": kit.c(22e-9)} if kit.live else {}
    if kit.stages[-1]["template"] not in ("volume", "master volume"):
        roles |= {"grid_leak": kit.r(1e6)}
    kit.stage("triode stage", **roles)
    kit.live = True


def split_load(kit: Kit) -> None:
    """A split-load inverter."""
    valve, kind = kit.triode()
    load = {"12AX7": 56e3, "12AY7": 56e3, "6DJ8": 22e3}.get(kind, 39e3)
    bias = {"12AX7": 1500.0, "12AY7": 2200.0, "6DJ8": 1000.0, "12AU7": 2200.0}.get(kind, 1000.0)
    plate = kit.r(load)
    cathode = kit.new("R", kit.parts[plate])
    roles = {"valve": valve, "supply": "B2", "coupling": kit.c(22e-9), "grid_leak": kit.r(1e6)}
    roles |= {"plate_load": plate, "bias_resistor": kit.r(bias), "cathode_load": cathode}
    kit.stage("split-load inverter", **roles, **kit.maybe(0.3, grid_stopper=("R", 10e3)))


def long_tailed_pair(kit: Kit, feedback: bool) -> str:
    """A long-tailed pair, with its foot open where feedback comes in."""
    # Its cathodes stand far above their heaters: not every type may.
    first, kind = kit.triode(("12AX7", "12AU7"))
    load, _, bias, tail = TRIODES[kind]
    second = kit.new("V", kind)
    lot = kit.lot
    roles: Tables = {"valve_a": first, "valve_b": second, "supply": "B2", "coupling": kit.c(22e-9)}
    roles |= {"plate_load_a": kit.new("R", lot.near(0.82 * load, 0)), "plate_load_b": kit.new("R", lot.near(load, 0))}
    roles |= {"grid_leak_a": kit.new("R", 1e6), "grid_leak_b": kit.new("R", 1e6), "bias_resistor": kit.r(bias)}
    roles |= {"tail_resistor": kit.r(tail), "grid_b_capacitor": kit.c(100e-9, 1)}
    roles |= {"feedback_input": "yes"} if feedback else {}
    return kit.stage("long-tailed pair", **roles, **kit.maybe(0.4, plate_to_plate_capacitor=("C", 47e-12)))


def loudspeaker(kit: Kit) -> str:
    """A loudspeaker of 8 ohm."""
    lot = kit.lot
    given = {"resistance": "6.4", "resonance": str(lot.one((75, 85, 98))), "peak": str(lot.one((35, 45)))}
    return kit.new("LS", given | {"q": float(lot.one((4.0, 5.0))), "reactance": str(lot.one((5, 6)))})


def output(kit: Kit, template: str, pentode: str, driven: bool = False) -> bool:
    """An output stage; whether its bias is fixed.

    Parameters
    ----------
    kit : Kit
    template : str
        Single-ended or push-pull.
    pentode : str
        The type of its valves.
    driven : bool
        Feedback from a tap to the cathode of the stage that drives it.
    """
    lot = kit.lot
    _, _, ohms, _, two, one = PENTODES[pentode]
    single = template == "single-ended output"
    roles: Tables = {"supply": "B1", "screen_supply": "B2"}
    fixed = lot.chance(0.4)
    for side in ("",) if single else ("_a", "_b"):
        roles |= {f"valve{side}": kit.new("V", pentode), f"coupling{side}": kit.c(47e-9)}
        roles[f"grid_leak{side}"] = kit.r(220e3)
    for role, value, share in (("grid_stopper", 2.2e3, 0.7), ("screen_resistor", 470.0, 0.8)):
        if lot.chance(share):
            for side in ("",) if single else ("_a", "_b"):
                roles[f"{role}{side}"] = kit.new("R", value)
    cathodes(kit, roles, ohms, single, fixed)
    if lot.chance(0.1):
        roles["triode_connected"] = "yes"
        roles.pop("screen_supply")
    if lot.chance(0.15):
        roles |= {"snubber_resistor": kit.r(10e3), "snubber_capacitor": kit.c(1e-9)}
    taps = lot.one((["8"], ["4", "8"], ["4", "8", "16"], ["8", "16"]))
    reverse = driven and _inverts(template)
    given: Tables = {"primary": written(one if single else two), "taps": taps}
    given |= {"leakage": "15m", "capacitance": "500p", "inductance": "12" if single else "25"}
    given |= {"secondary": "reversed"} if reverse else {}
    transformer = kit.new("T", given)
    drive = kit.stages[-1 if single else -2]
    kit.stage(template, **roles, transformer=transformer, tap="tap8")
    if driven:
        wires: Any = {kit.r(33e3): [f"{transformer}.tap8", f"{drive['valve']}.cathode"]}
        kit.stage("free wiring", wires=wires)
    return fixed


def _inverts(template: str) -> bool:
    """Whether the plate at `primary_a` swings against the grid of the driving stage's valve, and the tap with it.

    A driver, (the plate of a split-load inverter,) and an output valve: a single-ended stage does not turn it round.
    """
    return template == "push-pull output"


def cathodes(kit: Kit, roles: Tables, ohms: float, single: bool, fixed: bool) -> None:
    """Fixed bias, one resistor, or one for each valve.

    Parameters
    ----------
    kit : Kit
    roles : dict
        Of the output stage; written to.
    ohms : float
        Cathode resistor of one valve [ohm].
    single : bool
        One valve alone.
    fixed : bool
        By a negative rail.
    """
    lot = kit.lot
    if fixed:
        roles["bias"] = "bias"
    elif single or lot.chance(0.7):
        roles["cathode_resistor"] = kit.new("R", lot.near(ohms if single else ohms / 2.0, 0))
        roles |= kit.maybe(0.9, cathode_bypass=("C", 100e-6))
    else:
        for side in ("_a", "_b"):
            roles[f"cathode_resistor{side}"] = kit.new("R", lot.near(ohms, 0))
            roles[f"cathode_bypass{side}"] = kit.new("C", 47e-6)


def feedback(kit: Kit, into: str) -> None:
    """The line from a tap to the foot of a long-tailed pair, with presence and depth or without."""
    lot = kit.lot
    transformer = kit.stages[-1]["transformer"]
    tap = lot.one(kit.parts[transformer]["taps"])
    line: Tables = {"resistor": kit.r(68e3), "shunt_resistor": kit.r(4.7e3, 0)}
    if lot.chance(0.3):
        line |= {"depth": kit.pot(500e3, lot.one(("depth", "resonance"))), "depth_capacitor": kit.c(6.8e-9, 1)}
    if lot.chance(0.6):
        pot = kit.pot(22e3, lot.one(("presence", "edge")), ("linear", "reverse audio 10 %"))
        line |= {lot.one(("presence", "presence_track")): pot, "presence_capacitor": kit.c(100e-9, 1)}
    kit.stage("feedback", from_=f"{transformer}.tap{tap}", into=into, **line)


def supplies(kit: Kit, volts: float, ohms: float, bias: float | None) -> None:
    """B1, B2 and B3 in a chain, and a bias rail where the output stage hangs on one.

    Parameters
    ----------
    kit : Kit
    volts : float
        Of the supply [V].
    ohms : float
        Before the first reservoir [ohm].
    bias : float or None
        Of the bias rail [V]; None without.
    """
    lot = kit.lot
    rails: list[Tables] = [{"name": "B1", "volts": round(volts * lot.rng.uniform(0.97, 1.02))}]
    # One valve alone draws what it plays: with less in its reservoirs a long preamp would motorboat.
    alone = any(each["template"] == "single-ended output" for each in kit.stages)
    rails[0] |= {"through": kit.new("R", ohms), "reservoir": kit.c(100e-6 if alone else 47e-6, 1)}
    for name, fed, drop in (("B2", "B1", 1e3), ("B3", "B2", 10e3 if volts < 350.0 else 22e3)):
        rails.append(
            {"name": name, "from": fed, "through": kit.r(drop), "reservoir": kit.c(47e-6 if alone else 22e-6, 1)}
        )
    if bias is not None:
        rails.append({"name": "bias", "volts": bias})
    kit.rails = rails
