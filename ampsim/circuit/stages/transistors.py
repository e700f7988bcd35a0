"""Stages with a field-effect transistor: gain with the source in common, and source followers."""

from __future__ import annotations

from .op_amps import OUTPUT, handed_on
from .template import GROUND, Kind, Role, StageBuilder, Template


def _gate(bench: StageBuilder) -> str:
    """What drives the gate: coupling, leak or divider, stopper; without a coupling capacitor straight on."""
    signal = bench.through("coupling", bench.signal[0])
    bench.across("gate_leak", signal, bench.rail("bias") if bench.has("bias") else GROUND)
    if bench.has("gate_high_resistor"):
        bench.across("gate_high_resistor", bench.rail("supply"), signal)
    return bench.through("gate_stopper", signal)


def _source_foot(bench: StageBuilder) -> str:
    return bench.rail("negative_supply") if bench.has("negative_supply") else GROUND


def _stage(bench: StageBuilder) -> tuple[str, ...]:
    gate, drain = _gate(bench), bench.net("drain", "transistor")
    source = bench.net("source", "transistor") if bench.has("source_resistor") else _source_foot(bench)
    bench.put(bench.designators("transistor")[0], drain=drain, gate=gate, source=source)
    bench.across("drain_load", bench.rail("supply"), drain)
    bench.across("drain_load_capacitor", bench.rail("supply"), drain)
    bench.across("drain_gate_capacitor", drain, gate)
    bench.across("source_resistor", source, _source_foot(bench))
    bench.across("source_bypass", source, bench.through("bypass_resistor", _source_foot(bench)))
    return handed_on(bench, drain)


def _follower(bench: StageBuilder) -> tuple[str, ...]:
    gate, source = _gate(bench), bench.net("source", "transistor")
    drain = bench.through("drain_resistor", bench.rail("supply"))
    bench.put(bench.designators("transistor")[0], drain=drain, gate=gate, source=source)
    bench.across("source_resistor", source, _source_foot(bench))
    zeners = bench.has("gate_zener")
    # Its anode at the source: alone it holds the gate within a zener's volts above and a diode's below.
    far = bench.through("gate_zener", source, "" if bench.has("gate_zener_2") else gate) if zeners else gate
    bench.across("gate_zener_2", gate, far)
    return handed_on(bench, source)


_R, _C = ("resistor",), ("capacitor",)
_GATE = {
    "transistor": Role("JFET or MOSFET", ("transistor",), True),
    "supply": Role("rail of the drain", ("rail",), True),
    "negative_supply": Role("rail that the source resistor ends at (default: ground)", ("rail",)),
    "coupling": Role("capacitor from the stage before; without it the gate sits straight on what is before", _C),
    "gate_leak": Role("resistor from the input to ground, or to the rail named as bias", _R),
    "bias": Role("rail that the gate leak ends at", ("rail",)),
    "gate_high_resistor": Role("resistor from the supply to the input: with the leak a divider", _R),
    "gate_stopper": Role("resistor in series with the gate", _R),
}

FET_STAGE = Template(
    "transistor stage",
    Kind.GAIN,
    "one JFET or MOSFET with its source in common, as an input stage",
    {
        **_GATE,
        "drain_load": Role("resistor from the supply to the drain", _R, True),
        "drain_load_capacitor": Role("capacitor across the drain load", _C),
        "drain_gate_capacitor": Role("capacitor from drain to gate", _C),
        "source_resistor": Role("source resistor", _R),
        "source_bypass": Role("capacitor across it", _C),
        "bypass_resistor": Role("resistor in series with the bypass capacitor", _R),
        **OUTPUT,
    },
    1,
    _stage,
)

SOURCE_FOLLOWER = Template(
    "source follower",
    Kind.FOLLOWER,
    "one JFET or MOSFET that follows its gate: a buffer, a driver of grids; DC coupled without a coupling capacitor",
    {
        **_GATE,
        "source_resistor": Role("resistor from the source on", _R, True),
        "drain_resistor": Role("resistor from the supply to the drain", _R),
        "gate_zener": Role("zener diode from source to gate that protects it", ("diode",)),
        "gate_zener_2": Role("second one from the gate, back to back with it: a depletion type needs it", ("diode",)),
        **OUTPUT,
    },
    1,
    _follower,
)

TEMPLATES = (FET_STAGE, SOURCE_FOLLOWER)
