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
    """A mains transformer with a rectifier valve, two diodes or a bridge, and a winding for the bias."""
    lot = kit.lot
    kind = lot.one(("valve", "valve", "diodes", "bridge"))
    each = volts / 1.3 * lot.rng.uniform(0.8, 1.15)
    shape = f"{each:.0f}" if kind == "bridge" else f"{each:.0f}-0-{each:.0f}"
    windings: Tables = {"ht": {"volts": shape, "resistance": lot.spread(80.0)}}
    if bias is not None:
        windings["bias"] = {"volts": f"{1.6 * abs(bias):.0f}", "resistance": lot.spread(30.0)}
    own = {"mains": "230", "primary_resistance": lot.spread(8.0), "windings": windings}
    transformer = kit.new("PT", own)
    roles: Tables = {"transformer": transformer}
    if kind == "valve":
        roles |= {"rectifier": kit.new("V", lot.one(RECTIFIERS))}
        roles |= kit.maybe(0.4, plate_resistor_a=("R", 47.0))
        roles |= {"plate_resistor_b": kit.r(47.0)} if "plate_resistor_a" in roles else {}
    elif kind == "diodes":
        roles |= {f"diode_{side}": kit.new("D", "1N4007") for side in "ab"}
    else:
        roles |= {"rectifier": kit.new("BR", "1N4007")}
    kit.stage("power supply", **roles)
    first: Tables = {"name": "B1", "from": kit.stages[-1]["name"], "reservoir": kit.c(47e-6)}
    if lot.chance(0.15):
        own = {"inductance": lot.spread(8.0), "resistance": lot.spread(100.0)}
        first |= {"through": kit.new("CH", own)}
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
