"""Supplies of amps drawn by lot: rails of their own, or transformer, rectifier, choke and bias from the mains."""

from __future__ import annotations

from ampsim.library.files import models
from tests.tools.random_kit import Kit, Tables

RECTIFIERS = tuple(sorted(path.stem for path in (models() / "rectifiers").glob("*.toml")))


def supplies(kit: Kit, volts: float) -> list[Tables]:
    """The rails B1, B2 and B3, a bias where the output stage hangs on one, and those that semiconductors have."""
    bias = next((stage["bias"] for stage in kit.stages if "bias" in stage), None)
    kit.stages = [stage | ({"bias": "bias"} if "bias" in stage else {}) for stage in kit.stages]
    if kit.lot.chance(0.3):
        rails = from_mains(kit, volts, bias)
    else:
        rails = [{"name": "B1", "volts": kit.lot.spread(volts)}]
        rails[0] |= {"through": kit.r(100.0), "reservoir": kit.c(47e-6)} if kit.lot.chance(0.8) else {}
        rails += [] if bias is None else moved(kit, {"volts": kit.lot.spread(bias)})
    for name, fed, ohms in (("B2", "B1", 2.2e3), ("B3", "B2", 10e3)):
        choke = name == "B2" and kit.lot.chance(0.2)
        own = {"inductance": kit.lot.spread(8.0), "resistance": kit.lot.spread(200.0)}
        through = kit.new("CH", own) if choke else kit.r(ohms)
        rails.append({"name": name, "from": fed, "through": through, "reservoir": kit.c(22e-6)})
    return rails + kit.rails


def moved(kit: Kit, source: Tables) -> list[Tables]:
    """The rail of the bias; where a tremolo moves it, behind a resistor from one that stands still."""
    if not any(stage.get("into") == "bias" for stage in kit.stages):
        return [{"name": "bias"} | source]
    return [{"name": "C"} | source, {"name": "bias", "from": "C", "through": kit.r(100e3)}]


def from_mains(kit: Kit, volts: float, bias: float | None) -> list[Tables]:
    """A mains transformer with a rectifier valve, diodes, a bridge or a doubler, and a winding for the bias."""
    lot = kit.lot
    kind = lot.one(("valve", "valve", "diodes", "bridge"))
    each = volts / 1.3 * lot.rng.uniform(0.8, 1.15)
    kind = "doubler" if kit.extra.chance(0.2) else kind
    single = {"bridge": each, "doubler": 0.5 * each}.get(kind)
    shape = f"{each:.0f}-0-{each:.0f}" if single is None else f"{single:.0f}"
    windings: Tables = {"ht": {"volts": shape, "resistance": lot.spread(80.0)}}
    if bias is not None:
        windings["bias"] = {"volts": f"{1.6 * abs(bias):.0f}", "resistance": lot.spread(30.0)}
    own = {"mains": "230", "primary_resistance": lot.spread(8.0), "windings": windings} | further(kit, windings)
    transformer = kit.new("PT", own)
    name = kit.stage("voltage doubler" if kind == "doubler" else "power supply", transformer=transformer,
                     **rectifiers(kit, kind))  # fmt: skip
    first: Tables = {"name": "B1", "from": name, "reservoir": kit.c(47e-6)}
    if lot.chance(0.15):
        own = {"inductance": lot.spread(8.0), "resistance": lot.spread(100.0)}
        first |= {"through": kit.new("CH", own)}
    elif kit.extra.chance(0.15):
        first |= {
            "through": kit.new("NTC", {"cold": kit.extra.spread(150.0), "warm": kit.extra.spread(6.0), "current": 0.4})
        }
    kit.rails += second_supply(kit, transformer) if "low" in windings else []
    if bias is None:
        return [first]
    supply: Tables = {"winding": f"{transformer}.bias_a", "diode": kit.new("D", "1N4007"), "reservoir": kit.c(47e-6)}
    supply |= {"dropper": kit.r(2.2e3), "filter": kit.c(47e-6), "series_resistor": kit.r(470.0)}
    if lot.chance(0.7):
        supply |= {"adjustment": kit.pot(22e3), "range_resistor": kit.r(22e3)} | kit.maybe(
            0.3, top_resistor=("R", 4.7e3)
        )
    else:
        supply |= {"range_resistor": kit.r(22e3)}
    kit.stage("bias supply", **supply, **kit.maybe(0.3, bleeder=("R", 47e3)))
    return [first, *moved(kit, {"from": kit.stages[-1]["name"]})]


def further(kit: Kit, windings: Tables) -> Tables:
    """Windings for heaters and for a low supply, and a thermistor before the primary, each now and then."""
    lot = kit.extra
    if lot.chance(0.3):
        windings["heaters"] = {"volts": "6.3", "resistance": lot.spread(0.05), "current": 4.0, "load": 3.0}
    if lot.chance(0.3):
        windings["low"] = {"volts": lot.one(("12", "15-0-15")), "resistance": lot.spread(1.0)}
    warm = {"cold": lot.spread(120.0), "warm": lot.spread(1.2), "current": 2.0}
    return {"inrush": warm, "draws": lot.spread(0.6)} if lot.chance(0.15) else {}


def rectifiers(kit: Kit, kind: str) -> Tables:
    """What makes direct current of a winding."""
    if kind == "doubler":
        roles: Tables = {f"{half}_diode": kit.new("D", "1N4007") for half in ("upper", "lower")}
        roles |= {f"{half}_capacitor": kit.new("C", kit.extra.spread(100e-6)) for half in ("upper", "lower")}
        if kit.extra.chance(0.6):
            roles |= {f"{half}_bleeder": kit.new("R", kit.extra.spread(220e3)) for half in ("upper", "lower")}
        return roles
    if kind == "valve":
        roles = {"rectifier": kit.new("V", kit.lot.one(RECTIFIERS))}
        roles |= kit.maybe(0.4, plate_resistor_a=("R", 47.0))
        return roles | ({"plate_resistor_b": kit.r(47.0)} if "plate_resistor_a" in roles else {})
    if kind == "diodes":
        return {f"diode_{side}": kit.new("D", "1N4007") for side in "ab"}
    return {"rectifier": kit.new("BR", "1N4007")}


def second_supply(kit: Kit, transformer: str) -> list[Tables]:
    """A low rail from a winding of its own, with a load."""
    lot, centred = kit.extra, "-" in kit.parts[transformer]["windings"]["low"]["volts"]
    roles: Tables = {f"diode_{side}": kit.new("D", "1N4007") for side in "ab"} if centred else {}
    roles |= {} if centred else {"rectifier": kit.new("BR", "1N4007")}
    name = kit.stage("power supply", transformer=transformer, winding="low", **roles)
    kit.stage("free wiring", wires={kit.new("R", lot.spread(1e3)): ["BY", "ground"]})
    return [{"name": "BY", "from": name, "reservoir": kit.new("C", lot.spread(470e-6))}]
