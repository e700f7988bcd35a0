"""Power amps drawn by lot: phase inverters, what lies behind them, output stages, feedback and load."""

from __future__ import annotations

from ampsim.circuit.amp import Amp
from ampsim.library.loader import parse_amp
from tests.tools.random_effects import bias_tremolo, free_oscillator, lesson, opto_tremolo, reverb
from tests.tools.random_extras import extras, with_relay
from tests.tools.random_kit import PENTODES, USUAL_PENTODE, Kit, Lot, Tables, source, usual
from tests.tools.random_preamps import channels, follower_and_stack, preamp_stage
from tests.tools.random_semiconductors import effects_loop
from tests.tools.random_supplies import supplies


def drawn_amp(lot: Lot) -> Amp:
    """An amp put together from the stage templates."""
    kit = Kit(lot)
    source(kit)
    several = lot.chance(0.25)
    if several:
        channels(kit)
    left, first = int(lot.rng.integers(1, 4 if several else 5)), not several
    while left > 0:
        left -= preamp_stage(kit, first)
        first = False
    if lot.chance(0.5):
        follower_and_stack(kit)
    for share, drawn in ((0.12, reverb), (0.08, opto_tremolo), (0.2, effects_loop)):
        if lot.chance(share):
            drawn(kit)
    if lot.chance(0.4):
        kit.stage("master volume", pot=kit.pot(1e6), coupling=kit.c(22e-9))
    pentode = lot.one(PENTODES)
    supply = USUAL_PENTODE[pentode[:4]][0]
    power_amp(kit, pentode)
    rails, several = supplies(kit, supply), len(kit.rails)
    extras(kit)
    rails += kit.rails[several:]
    data = {"name": "drawn by lot", "parts": kit.parts, "rails": rails, "stages": kit.stages, "jacks": kit.jacks}
    amp = parse_amp(data, "lot.toml")
    return with_relay(amp, kit.extra) if kit.extra.chance(0.15) else amp


def power_amp(kit: Kit, pentode: str) -> None:
    if kit.lot.chance(0.3):
        single_ended(kit, pentode)
    else:
        pair = kit.lot.one(INVERTERS)(kit, kit.lot.chance(0.6))
        feedback = "feedback_input" in kit.stages[-1]
        uncoupled = between_lines(kit, pentode, kit.stages[-1]["template"].endswith("paraphase inverter"))
        push_pull(kit, pentode, feedback_into=pair if feedback else "", uncoupled=uncoupled)
    for share, drawn in ((0.075, bias_tremolo), (0.075, free_oscillator), (0.06, lesson)):
        if kit.lot.chance(share):
            drawn(kit)
    if kit.lot.chance(0.7):
        count = kit.lot.one((1, 1, 1, 2, 4))
        how = {} if count == 1 else {"arrangement": kit.lot.one(("parallel", "series"))}
        how |= {"arrangement": "series-parallel"} if count == 4 else {}
        kit.stage("load", load=[loudspeaker(kit) for _ in range(count)], **how)
    else:
        kit.stage("load", load=kit.r(8.0))


def loudspeaker(kit: Kit) -> str:
    impedance = {"resistance": kit.lot.spread(6.4), "resonance": kit.lot.spread(85.0), "peak": kit.lot.spread(45.0)}
    impedance |= {"q": kit.lot.spread(5.0), "reactance": kit.lot.spread(5.0)}
    return kit.new("LS", impedance | {"exponent": float(kit.lot.rng.uniform(0.5, 1.0))})


def transformer(kit: Kit, primary: float, tapped: bool, direct_amps: float) -> str:
    """An output transformer: its screens' taps where they are used, now and then a core that saturates or a winding.

    Parameters
    ----------
    kit : Kit
    primary : float
        To start from [ohm].
    tapped : bool
        Whether screens hang on it.
    direct_amps : float
        What a single-ended stage sends through it [A]; 0 in push-pull.
    """
    taps = kit.lot.one(([8.0], [4.0, 8.0, 16.0], [8.0, 16.0]))
    ohms = kit.lot.spread(primary)
    given: Tables = {"primary": ohms, "taps": taps, "secondary": kit.lot.one(("in phase", "reversed"))}
    for name, value in (("inductance", 25.0), ("leakage", 20e-3), ("primary_resistance", 250.0)):
        given |= {name: kit.lot.spread(value)} if kit.lot.chance(0.5) else {}
    for name, value in (("secondary_resistance", 0.5), ("capacitance", 600e-12)):
        given |= {name: kit.lot.spread(value)} if kit.lot.chance(0.5) else {}
    if "leakage" in given and not direct_amps and kit.lot.chance(0.3):
        given["leakage"] = [kit.lot.spread(given["leakage"] / 2.0) for _ in "ab"]
    if tapped or kit.lot.chance(0.1):
        given["screen_taps"] = float(kit.lot.rng.uniform(0.1, 0.6))
    if kit.lot.chance(0.25):
        given["inductance"] = ohms / (6.28 * kit.lot.rng.uniform(20.0, 60.0))
        given["core"] = {"power": kit.lot.spread(10.0), "from": kit.lot.spread(70.0)}
        given["core"] |= {"direct_current": direct_amps} if direct_amps else {}
    if kit.lot.chance(0.1):
        given["windings"] = [{"name": "extra", "ohms": kit.lot.spread(2.0)}]
    return kit.new("T", given)


def output_bias(kit: Kit, pentode: str, share: float) -> Tables:
    """Cathode bias or fixed bias; the screens as well."""
    _, ohms, volts, _ = USUAL_PENTODE[pentode[:4]]
    roles: Tables = {}
    if kit.lot.chance(0.5):
        roles |= {"cathode_resistor": kit.r(ohms * share)} | kit.maybe(0.8, cathode_bypass=("C", 100e-6))
    else:
        roles |= {"bias": volts}
    if kit.lot.chance(0.3):
        roles |= {kit.lot.one(("triode_connected", "ultra_linear")): "yes"}
    else:
        roles |= {"screen_supply": "B2"} if kit.lot.chance(0.7) else {}
        roles |= kit.maybe(0.2, common_screen_resistor=("R", 1e3))
    return roles | kit.maybe(0.2, snubber_resistor=("R", 10e3)) | {"supply": "B1"}


def valves(kit: Kit, pentode: str, count: int, side: str = "") -> Tables:
    """So many output valves side by side, each with its own stopper and screen resistor or none."""
    several = [kit.new("V", pentode) for _ in range(count)]
    roles: Tables = {f"valve{side}": several if count > 1 else several[0]}
    for role, ohms in (("grid_stopper", 2e3), ("screen_resistor", 470.0)):
        if kit.lot.chance(0.6):
            own = [kit.r(ohms) for _ in several]
            roles[f"{role}{side}"] = own if count > 1 else own[0]
    return roles


def single_ended(kit: Kit, pentode: str) -> None:
    count = kit.lot.one((1, 1, 1, 2))
    roles = output_bias(kit, pentode, 1.0 / count)
    roles |= {"coupling": kit.c(22e-9), "grid_leak": kit.r(330e3)} | valves(kit, pentode, count)
    roles |= {"transformer": transformer(kit, 5e3 / count, "ultra_linear" in roles, 0.06 * count)}
    if "snubber_resistor" in roles:
        roles |= {"snubber_capacitor": kit.c(2.2e-9)}
    kit.stage("single-ended output", **roles)


def push_pull(kit: Kit, pentode: str, feedback_into: str, uncoupled: bool = False) -> None:
    count = kit.lot.one((1, 1, 1, 2))
    roles = output_bias(kit, pentode, 0.5 / count)
    if uncoupled and "bias" in roles:
        kit.stages[-1]["bias"] = roles["bias"]
    for side in "ab":
        roles |= {} if uncoupled else {f"coupling_{side}": kit.c(22e-9), f"grid_leak_{side}": kit.r(220e3)}
        roles |= valves(kit, pentode, count, f"_{side}")
    if "cathode_resistor" in roles and count == 1 and kit.lot.chance(0.2):
        ohms = USUAL_PENTODE[pentode[:4]][1]
        kit.parts.pop(roles.pop("cathode_resistor"))
        kit.parts.pop(roles.pop("cathode_bypass", ""), None)
        roles |= {"cathode_resistor_a": kit.r(ohms), "cathode_resistor_b": kit.r(ohms)}
        roles |= kit.maybe(0.6, cathode_bypass_a=("C", 100e-6), cathode_bypass_b=("C", 100e-6))
    if "snubber_resistor" in roles:
        roles |= {"snubber_capacitor": kit.c(2.2e-9)}
    name = transformer(kit, USUAL_PENTODE[pentode[:4]][3] / count, "ultra_linear" in roles, 0.0)
    kit.stage("push-pull output", **roles, transformer=name)
    if feedback_into:
        line = kit.maybe(0.5, shunt_resistor=("R", 4.7e3))
        if kit.lot.chance(0.5):
            line |= {"depth": kit.pot(500e3), "depth_capacitor": kit.c(6.8e-9)}
        if kit.lot.chance(0.6):
            line |= {kit.lot.one(("presence", "presence_track")): kit.pot(22e3), "presence_capacitor": kit.c(100e-9)}
        tap = f"tap{kit.parts[name]['taps'][-1]:g}"
        kit.stage("feedback", from_=f"{name}.{tap}", into=feedback_into, resistor=kit.r(47e3), **line)


def between_lines(kit: Kit, pentode: str, coupled: bool) -> bool:
    """A cut or a master between the lines; whether the output grids have their capacitors and leaks already."""
    lot = kit.lot
    if lot.chance(0.2):
        kit.stage(
            "treble cut", pot=kit.pot(250e3), capacitor=kit.c(4.7e-9), **kit.maybe(0.3, end_resistor=("R", 4.7e3))
        )
    if not lot.chance(0.3):
        return False
    lines: Tables = {} if coupled else {f"coupling_{side}": kit.c(22e-9) for side in "ab"}
    if lot.chance(0.5):
        lines |= {f"pot_{side}": kit.pot(470e3) for side in "ab"}
        kit.stage(
            "master after the inverter", **lines, **kit.maybe(0.5, grid_leak_a=("R", 2.2e6), grid_leak_b=("R", 2.2e6))
        )
    else:
        lines |= {f"grid_leak_{side}": kit.r(220e3) for side in "ab"}
        kit.stage("cross-line master", pot=kit.pot(1e6), **lines, **kit.maybe(0.5, end_resistor=("R", 1e3)))
    return True


def split_load(kit: Kit, feedback: bool) -> str:
    valve, _ = kit.triode()
    roles = {"valve": valve, "supply": "B2", "plate_load": kit.r(56e3), "cathode_load": kit.r(56e3)}
    if kit.lot.chance(0.8):
        roles |= {"coupling": kit.c(22e-9), "grid_leak": kit.r(1e6), "bias_resistor": kit.r(1500.0)}
    return kit.stage("split-load inverter", **roles, **kit.maybe(0.3, grid_stopper=("R", 10e3)))


def long_tailed_pair(kit: Kit, feedback: bool) -> str:
    first, kind = kit.triode()
    second = kit.new("V", kind)
    load = usual(kind)[0]
    roles: Tables = {"valve_a": first, "valve_b": second, "supply": "B2", "coupling": kit.c(22e-9)}
    roles |= {"plate_load_a": kit.r(load), "plate_load_b": kit.r(load)}
    roles |= {"grid_leak_a": kit.r(1e6), "grid_leak_b": kit.r(1e6), "bias_resistor": kit.r(470.0)}
    roles |= {"tail_resistor": kit.r(10e3), "grid_b_capacitor": kit.c(100e-9)}
    roles |= {"feedback_input": "yes"} if feedback else {}
    return kit.stage("long-tailed pair", **roles, **kit.maybe(0.4, plate_to_plate_capacitor=("C", 47e-12)))


def fixed_split_load(kit: Kit, feedback: bool) -> str:
    valve, _ = kit.triode()
    roles = {"valve": valve, "supply": "B2", "plate_load": kit.r(56e3), "cathode_load": kit.r(56e3)}
    roles |= {"coupling": kit.c(22e-9), "grid_leak": kit.r(1e6), "divider_top": kit.r(1e6)}
    roles |= {"divider_bottom": kit.r(330e3)} | kit.maybe(0.7, divider_capacitor=("C", 100e-9))
    return kit.stage("fixed-bias split-load inverter", **roles, **kit.maybe(0.3, grid_stopper=("R", 10e3)))


def paraphase(kit: Kit, feedback: bool) -> str:
    first, kind = kit.triode()
    load, ohms = usual(kind)
    roles: Tables = {"valve_a": first, "valve_b": kit.new("V", kind), "supply": "B2", "coupling": kit.c(22e-9)}
    roles |= {"grid_leak": kit.r(1e6)} | kit.maybe(0.3, grid_stopper=("R", 33e3))
    roles |= {f"plate_load_{side}": kit.r(load) for side in "ab"} | {f"coupling_{side}": kit.c(22e-9) for side in "ab"}
    if kit.lot.chance(0.5):
        roles |= {"cathode_resistor": kit.r(ohms / 2)} | kit.maybe(0.7, cathode_bypass=("C", 22e-6))
    else:
        roles |= {f"cathode_resistor_{side}": kit.r(ohms) for side in "ab"}
        roles |= kit.maybe(0.7, cathode_bypass_a=("C", 22e-6), cathode_bypass_b=("C", 22e-6))
    if kit.lot.chance(0.5):
        roles |= {"divider_top": kit.r(470e3), "divider_bottom": kit.r(10e3), "output_leak_b": kit.r(470e3)}
        return kit.stage("paraphase inverter", **roles, **kit.maybe(0.2, divider_capacitor=("C", 10e-12)))
    roles |= {f"output_leak_{side}": kit.r(470e3) for side in "ab"}
    return kit.stage("floating paraphase inverter", **roles, common_leak=kit.r(220e3))


def direct_pair(kit: Kit, feedback: bool) -> str:
    """A pair straight on the plate of a triode stage of its own."""
    driver, kind = kit.triode()
    load, ohms = usual(kind)
    own = {"coupling": kit.c(22e-9), "grid_leak": kit.r(1e6)}
    own |= {"valve": driver, "supply": "B3", "plate_load": kit.r(2 * load), "cathode_resistor": kit.r(ohms)}
    kit.stage("triode stage", **own)
    first, kind = kit.triode()
    load = usual(kind)[0]
    roles: Tables = {
        "valve_a": first,
        "valve_b": kit.new("V", kind),
        "supply": "B1",
        "tail_resistor": kit.r(0.8 * load),
    }
    roles |= {f"plate_load_{side}": kit.r(load) for side in "ab"}
    roles |= {"grid_b_resistor": kit.r(1e6), "grid_b_capacitor": kit.c(100e-9)}
    roles |= {"feedback_input": "yes"} if feedback else {}
    return kit.stage("direct-coupled long-tailed pair", **roles, **kit.maybe(0.3, grid_stopper=("R", 33e3)))


# Each is told whether a feedback line is to come in, and gives the name of its stage.
INVERTERS = [split_load, fixed_split_load, paraphase, long_tailed_pair, long_tailed_pair, direct_pair]
