"""Effects loops: a send, what stands between, a return; in series with the signal or in parallel with it."""

from __future__ import annotations

from .op_amps import amplifier
from .template import GROUND, Kind, Role, StageBuilder, Template


def _follower(bench: StageBuilder, role: str, signal: str, foot: str) -> str:
    """What drives or recovers without gain: a cathode follower, a source follower or an operational amplifier.

    Parameters
    ----------
    bench : StageBuilder
    role, foot : str
        The role it stands in, and that of its cathode or source resistor.
    signal : str
    """
    name = bench.designators(role)[0]
    if not bench.has("supply"):
        raise bench.fault(f"{name} needs the entry supply, the rail it is fed from")
    kind, supply = bench.part(name).kind, bench.rail("supply")
    if kind == "operational amplifier":
        out = bench.net("out", role)
        amplifier(bench, signal, out, out, role)
        return out
    if not bench.has(foot):
        raise bench.fault(f"{name} needs the entry {foot}, the resistor from its {_END[kind]} to ground")
    out = bench.net(_END[kind], role)
    if kind == "valve":
        bench.valve(role, supply, signal, out)
    else:
        bench.put(name, drain=supply, gate=signal, source=out)
    bench.across(foot, out, bench.rail("negative_supply") if bench.has("negative_supply") else GROUND)
    return out


_END = {"valve": "cathode", "transistor": "source"}


def _level(bench: StageBuilder, role: str, net: str) -> str:
    for pot in bench.designators(role):
        wiper = f"{pot.lower()}_wiper"
        bench.put(pot, top=net, wiper=wiper, bottom=GROUND)
        return wiper
    return net


def _loop(bench: StageBuilder) -> str:
    """From the signal through send, effect and return; the net of what comes back."""
    signal = bench.through("coupling", bench.signal[0])
    middle = bench.rail("bias") if bench.has("bias") else GROUND
    bench.across("input_leak", signal, middle)
    if bench.has("driver"):
        signal = _follower(bench, "driver", signal, "driver_resistor")
    send = bench.through("send_resistor", _level(bench, "send_level", bench.through("send_capacitor", signal)))
    bench.across("send_leak", send, GROUND)
    back = send
    for name in bench.designators("effect"):
        back = f"{name.lower()}_out"
        bench.pins("effect", {"in": send, "out": back, "ground": GROUND})
    back = _level(bench, "return_level", bench.through("return_capacitor", back))
    bench.across("return_leak", back, middle if bench.has("return_capacitor") else GROUND)
    if bench.has("recovery"):
        back = bench.through("recovery_capacitor", _follower(bench, "recovery", back, "recovery_resistor"))
        bench.across("output_leak", back, GROUND)
    return back


def _series(bench: StageBuilder) -> tuple[str, ...]:
    return (_loop(bench),)


def _parallel(bench: StageBuilder) -> tuple[str, ...]:
    dry = bench.through("dry_resistor", bench.signal[0])
    wet = bench.through("wet_resistor", _loop(bench))
    for pot in bench.designators("mix"):
        mixed = f"{pot.lower()}_wiper"
        bench.put(pot, top=wet, wiper=mixed, bottom=dry)
        return (mixed,)
    if not (bench.has("dry_resistor") and bench.has("wet_resistor")):
        raise bench.fault("dry and wet meet in a mix pot, or in a dry_resistor and a wet_resistor")
    bench.joins.append((dry, wet))
    return (dry,)


_R, _C, _POT = ("resistor",), ("capacitor",), ("pot",)
_FOLLOWER = ("valve", "transistor", "operational amplifier")
_LOOP = {
    "coupling": Role("capacitor from the stage before", _C),
    "input_leak": Role("resistor from the driver's input to ground, or to the rail named as bias", _R),
    "bias": Role("rail that the leaks of driver and recovery end at", ("rail",)),
    "driver": Role("follower before the send: a triode, a transistor or an operational amplifier", _FOLLOWER),
    "supply": Role("rail of driver and recovery", ("rail",)),
    "negative_supply": Role("their negative rail (default: ground)", ("rail",)),
    "driver_resistor": Role("cathode or source resistor of the driver", _R),
    "send_capacitor": Role("capacitor behind the driver", _C),
    "send_level": Role("pot before the send", _POT),
    "send_resistor": Role("resistor in series with the send", _R),
    "send_leak": Role("resistor from the send to ground", _R),
    "effect": Role("what stands between send and return; without it they are bridged", ("effect",)),
    "return_capacitor": Role("capacitor behind the return", _C),
    "return_level": Role("pot behind the return", _POT),
    "return_leak": Role("resistor from the return to ground", _R),
    "recovery": Role("follower behind the return; gain comes from a stage that follows", _FOLLOWER),
    "recovery_resistor": Role("cathode or source resistor of the recovery", _R),
    "recovery_capacitor": Role("capacitor behind the recovery", _C),
    "output_leak": Role("resistor from there to ground", _R),
}

SERIES = Template(
    "series effects loop",
    Kind.FOLLOWER,
    "send and return in the signal's way, with a driver, levels and a recovery follower as wanted",
    _LOOP,
    1,
    _series,
)

PARALLEL = Template(
    "parallel effects loop",
    Kind.FOLLOWER,
    "send and return beside the signal, mixed to it by a pot or by two resistors",
    {
        **_LOOP,
        "dry_resistor": Role("resistor in the way past the loop", _R),
        "wet_resistor": Role("resistor behind the loop", _R),
        "mix": Role("pot from past the loop (down) to behind it (up)", _POT),
    },
    1,
    _parallel,
)

TEMPLATES = (SERIES, PARALLEL)
