"""Output stages: their valves, and the transformer."""

from __future__ import annotations

from typing import cast

from ...base.errors import nearest, shown
from ..transformer import Transformer, tap_pin
from .template import GROUND, Kind, Role, StageBuilder, Template
from .triodes import cathode_network


def _push_pull(bench: StageBuilder) -> tuple[str, ...]:
    transformer = bench.designators("transformer")[0]
    cathodes = _shared_cathode(bench)
    plates = []
    for side, signal in zip("ab", bench.signal, strict=True):
        plates.append(_output_valve(bench, signal, f"_{side}", cathodes or f"{bench.net('cathode', 'valve_' + side)}"))
        if not cathodes:
            _own_cathode(bench, side)
    taps = _taps(bench, transformer)
    bench.put(
        transformer,
        primary_a=plates[0],
        centre=bench.rail("supply"),
        primary_b=plates[1],
        common=GROUND,
        **taps,
    )
    snubber = bench.through("snubber_resistor", plates[0])
    bench.across("snubber_capacitor", snubber, plates[1])
    return (_output_tap(bench, transformer),)


def _shared_cathode(bench: StageBuilder) -> str:
    if bench.has("cathode_resistor"):
        shared = bench.net("cathode", "valve_a")
        cathode_network(bench, shared)
        return shared
    if bench.has("cathode_resistor_a") or bench.has("cathode_resistor_b"):
        return ""
    return GROUND


def _own_cathode(bench: StageBuilder, side: str) -> None:
    cathode = bench.net("cathode", f"valve_{side}")
    bench.across(f"cathode_resistor_{side}", cathode, GROUND)
    bench.across(f"cathode_bypass_{side}", cathode, GROUND)


def _single_ended(bench: StageBuilder) -> tuple[str, ...]:
    transformer = bench.designators("transformer")[0]
    cathode = bench.net("cathode") if bench.has("cathode_resistor") else GROUND
    cathode_network(bench, cathode)
    plate = _output_valve(bench, bench.signal[0], "", cathode)
    taps = _taps(bench, transformer)
    bench.put(transformer, primary_a=plate, primary_b=bench.rail("supply"), common=GROUND, **taps)
    snubber = bench.through("snubber_resistor", plate)
    bench.across("snubber_capacitor", snubber, bench.rail("supply"))
    return (_output_tap(bench, transformer),)


def _output_valve(bench: StageBuilder, signal: str, suffix: str, cathode: str) -> str:
    role = f"valve{suffix}"
    driven = bench.through(f"coupling{suffix}", signal)
    bench.across(f"grid_leak{suffix}", driven, bench.rail("bias") if bench.has("bias") else GROUND)
    grid = bench.net("grid", role)
    grid = bench.through(f"grid_stopper{suffix}", driven, grid) if bench.has(f"grid_stopper{suffix}") else driven
    plate = bench.net("plate", role)
    bench.valve(role, plate, grid, cathode, _screen(bench, suffix, plate))
    return plate


def _screen(bench: StageBuilder, suffix: str, plate: str) -> str:
    supply = plate if bench.has("triode_connected") else _screen_supply(bench)
    if bench.has(f"screen_resistor{suffix}"):
        return bench.through(f"screen_resistor{suffix}", supply, bench.net("screen", f"valve{suffix}"))
    return supply


def _screen_supply(bench: StageBuilder) -> str:
    rail = bench.rail("screen_supply") if bench.has("screen_supply") else bench.rail("supply")
    for designator in bench.designators("common_screen_resistor"):
        common = f"{designator.lower()}_2"
        if all(element.designator != designator for element in bench.elements):
            bench.put(designator, end1=rail, end2=common)
        return common
    return rail


def _taps(bench: StageBuilder, transformer: str) -> dict[str, str]:
    part = cast("Transformer", bench.part(transformer))
    return {tap_pin(ohms): f"{transformer.lower()}_{tap_pin(ohms)}" for ohms in part.taps}


def _output_tap(bench: StageBuilder, transformer: str) -> str:
    part = cast("Transformer", bench.part(transformer))
    taps = [tap_pin(ohms) for ohms in part.taps]
    tap = bench.word("tap") if bench.has("tap") else tap_pin(max(part.taps))
    if tap not in taps:
        raise bench.fault(f"{shown(tap)} is no tap{nearest(tap, taps)}")
    return f"{transformer.lower()}_{tap}"


def _both(about: str, kinds: tuple[str, ...], name: str, required: bool = False) -> dict[str, Role]:
    return {f"{name}_{side}": Role(f"{about}, side {side}", kinds, required) for side in "ab"}


_OUTPUT = {
    "transformer": Role("output transformer", ("transformer",), True),
    "tap": Role("tap the load hangs on, such as tap8 (default: the largest)", ("word",)),
    "supply": Role("rail of the plates", ("rail",), True),
    "screen_supply": Role("rail of the screens (default: that of the plates)", ("rail",)),
    "common_screen_resistor": Role("one resistor feeding all screens", ("resistor",)),
    "triode_connected": Role("say yes for screens tied to the plates", ("word",)),
    "bias": Role("negative rail for fixed bias; without it the grid leaks go to ground", ("rail",)),
    "cathode_resistor": Role("cathode resistor (shared in push-pull)", ("resistor",)),
    "cathode_bypass": Role("capacitor across it", ("capacitor",)),
    "snubber_resistor": Role("resistor of a damping network across the primary", ("resistor",)),
    "snubber_capacitor": Role("capacitor of it", ("capacitor",)),
}
_R, _C, _V = ("resistor",), ("capacitor",), ("valve",)

PUSH_PULL = Template(
    "push-pull output",
    Kind.OUTPUT,
    "two output valves, cathode or fixed bias, output transformer",
    {
        **_both("output valve", _V, "valve", True),
        **_both("coupling capacitor", _C, "coupling"),
        **_both("grid leak", _R, "grid_leak"),
        **_both("grid stopper", _R, "grid_stopper"),
        **_both("screen resistor", _R, "screen_resistor"),
        **_both("own cathode resistor", _R, "cathode_resistor"),
        **_both("capacitor across the own cathode resistor", _C, "cathode_bypass"),
        **_OUTPUT,
    },
    2,
    _push_pull,
)

SINGLE_ENDED = Template(
    "single-ended output",
    Kind.OUTPUT,
    "one output valve in class A, cathode or fixed bias, output transformer",
    {
        "valve": Role("output valve", _V, True),
        "coupling": Role("coupling capacitor", _C),
        "grid_leak": Role("grid leak", _R),
        "grid_stopper": Role("grid stopper", _R),
        "screen_resistor": Role("screen resistor", _R),
        **_OUTPUT,
    },
    1,
    _single_ended,
)

TEMPLATES = (PUSH_PULL, SINGLE_ENDED)
