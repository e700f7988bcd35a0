"""Output stages: their valves, and the transformer."""

from __future__ import annotations

from typing import cast

from ...base.errors import nearest, shown
from ..transformer import Transformer, tap_pin
from .template import GROUND, Kind, Role, StageBuilder, Template
from .triodes import cathode_network
from .two_lines import both_sides


def _push_pull(bench: StageBuilder) -> tuple[str, ...]:
    transformer = _transformer(bench)
    shared = _shared_cathode(bench)
    plates = [_output_valves(bench, line, f"_{side}", shared) for side, line in zip("ab", bench.signal, strict=True)]
    bench.put(
        transformer.designator,
        primary_a=plates[0],
        centre=bench.rail("supply"),
        primary_b=plates[1],
        common=GROUND,
        **_further_pins(transformer, ("screen_a", "screen_b")),
    )
    snubber = bench.through("snubber_resistor", plates[0])
    bench.across("snubber_capacitor", snubber, plates[1])
    return (_output_tap(bench, transformer),)


def _shared_cathode(bench: StageBuilder) -> str:
    """The net of the cathodes of both sides; "" where each side has a resistor of its own, or each valve."""
    if bench.has("cathode_resistor"):
        shared = bench.net("cathode", "valve_a")
        cathode_network(bench, shared)
        return shared
    if bench.has("cathode_resistor_a") or bench.has("cathode_resistor_b"):
        return ""
    return GROUND


def _single_ended(bench: StageBuilder) -> tuple[str, ...]:
    transformer = _transformer(bench)
    each = len(bench.designators("valve")) > 1 and len(bench.designators("cathode_resistor")) > 1
    shared = "" if each else GROUND
    if bench.has("cathode_resistor") and not each:
        shared = bench.net("cathode")
        cathode_network(bench, shared)
    plate = _output_valves(bench, bench.signal[0], "", shared)
    supply = bench.rail("supply")
    further = _further_pins(transformer, ("screen_a",))
    bench.put(transformer.designator, primary_a=plate, primary_b=supply, common=GROUND, **further)
    snubber = bench.through("snubber_resistor", plate)
    bench.across("snubber_capacitor", snubber, supply)
    return (_output_tap(bench, transformer),)


def _transformer(bench: StageBuilder) -> Transformer:
    return cast("Transformer", bench.part(bench.designators("transformer")[0]))


def _further_pins(transformer: Transformer, screens: tuple[str, ...]) -> dict[str, str]:
    """The taps, the taps for screens and the windings of a transformer's own, each on a net named after it."""
    own = transformer.designator.lower()
    pins = [*map(tap_pin, transformer.taps), *(screens if transformer.screen_taps else ())]
    found = {pin: f"{own}_{pin}" for pin in pins}
    for each in transformer.windings:
        found |= {f"{each.name}_1": f"{own}_{each.name}_1", f"{each.name}_2": GROUND}
    return found


def _output_valves(bench: StageBuilder, signal: str, suffix: str, cathode: str) -> str:
    """Fit the valves of a side, in parallel where there are several; the net of their plates."""
    role = f"valve{suffix}"
    valves = bench.designators(role)
    driven = bench.through(f"coupling{suffix}", signal)
    bench.across(f"grid_leak{suffix}", driven, bench.rail("bias") if bench.has("bias") else GROUND)
    plate = bench.net("plate", role)
    grids = _for_each(bench, f"grid_stopper{suffix}", driven, "grid", valves)
    screens = _for_each(bench, f"screen_resistor{suffix}", _screen_feed(bench, suffix, plate), "screen", valves)
    cathodes = [cathode] * len(valves) if cathode else _own_cathodes(bench, suffix, valves)
    for valve, grid, screen, own in zip(valves, grids, screens, cathodes, strict=True):
        bench.seat(valve, plate, grid, own, screen)
    return plate


def _for_each(bench: StageBuilder, role: str, net: str, pin: str, valves: tuple[str, ...]) -> list[str]:
    """The net at a pin of each valve behind a resistor of its own, or one for all; the net itself without any."""
    given = bench.designators(role)
    if len(valves) == 1 or len(given) < 2:
        to = f"{valves[0].lower()}_{pin}" if given else ""
        return [bench.through(role, net, to) if given else net] * len(valves)
    _count(bench, role, valves)
    nets = [f"{valve.lower()}_{pin}" for valve in valves]
    for designator, to in zip(given, nets, strict=True):
        bench.put(designator, end1=net, end2=to)
    return nets


def _own_cathodes(bench: StageBuilder, suffix: str, valves: tuple[str, ...]) -> list[str]:
    """The cathode of each valve of a side on a resistor of its own, or all on that of the side."""
    cathodes = [f"{valve.lower()}_cathode" for valve in valves]
    resistors, bypasses = f"cathode_resistor{suffix}", f"cathode_bypass{suffix}"
    if len(valves) == 1 or len(bench.designators(resistors)) < 2:
        bench.across(resistors, cathodes[0], GROUND)
        bench.across(bypasses, cathodes[0], GROUND)
        return cathodes[:1] * len(valves)
    for role in (resistors, bypasses):
        if bench.has(role):
            _count(bench, role, valves)
        for designator, net in zip(bench.designators(role), cathodes, strict=False):
            bench.put(designator, end1=net, end2=GROUND)
    return cathodes


def _count(bench: StageBuilder, role: str, valves: tuple[str, ...]) -> None:
    given = len(bench.designators(role))
    if given != len(valves):
        raise bench.fault(f"{role}: {given} parts for {len(valves)} valves; one for each, or a single one for all")


def _screen_feed(bench: StageBuilder, suffix: str, plate: str) -> str:
    """Where the screens of a side are fed from."""
    if not bench.has("ultra_linear"):
        return plate if bench.has("triode_connected") else _screen_supply(bench)
    for other in ("triode_connected", "screen_supply", "common_screen_resistor"):
        if bench.has(other):
            raise bench.fault(f"the screens hang on the transformer (ultra_linear), so {other} feeds nothing")
    transformer = _transformer(bench)
    if not transformer.screen_taps:
        raise bench.fault(f"{transformer.designator} has no taps for screens; give it screen_taps, such as 0.43")
    return f"{transformer.designator.lower()}_screen{suffix or '_a'}"


def _screen_supply(bench: StageBuilder) -> str:
    rail = bench.rail("screen_supply") if bench.has("screen_supply") else bench.rail("supply")
    for designator in bench.designators("common_screen_resistor"):
        common = f"{designator.lower()}_2"
        if all(element.designator != designator for element in bench.elements):
            bench.put(designator, end1=rail, end2=common)
        return common
    return rail


def _output_tap(bench: StageBuilder, transformer: Transformer) -> str:
    taps = [tap_pin(ohms) for ohms in transformer.taps]
    tap = bench.word("tap") if bench.has("tap") else taps[-1]
    if tap not in taps:
        raise bench.fault(f"{shown(tap)} is no tap{nearest(tap, taps)}")
    return f"{transformer.designator.lower()}_{tap}"


def _one_tap(bench: StageBuilder) -> bool:
    return len(_transformer(bench).taps) <= 1


def _screens_elsewhere(bench: StageBuilder) -> bool:
    return bench.has("triode_connected") or bench.has("ultra_linear")


_EACH = "; of several valves one for each, or one for all"
_R, _C, _V = ("resistor",), ("capacitor",), ("valve",)
_OUTPUT = {
    "transformer": Role("output transformer", ("transformer",), True),
    "tap": Role("tap the load hangs on, such as tap8 (default: the largest)", ("word",), moot=_one_tap),
    "supply": Role("rail of the plates", ("rail",), True),
    "screen_supply": Role("rail of the screens (default: that of the plates)", ("rail",), moot=_screens_elsewhere),
    "common_screen_resistor": Role("one resistor feeding all screens", ("resistor",)),
    "triode_connected": Role("say yes for screens tied to the plates", ("word",)),
    "ultra_linear": Role("say yes for screens on the transformer's screen_taps", ("word",)),
    "bias": Role("negative rail for fixed bias; without it the grid leaks go to ground", ("rail",)),
    "cathode_resistor": Role("cathode resistor (shared in push-pull)", ("resistor",)),
    "cathode_bypass": Role("capacitor across it", ("capacitor",)),
    "snubber_resistor": Role("resistor of a damping network across the primary", ("resistor",)),
    "snubber_capacitor": Role("capacitor of it", ("capacitor",)),
}


PUSH_PULL = Template(
    "push-pull output",
    Kind.OUTPUT,
    "two output valves, or as many in parallel on each side, cathode or fixed bias, output transformer",
    {
        **both_sides("output valve, or several in parallel", _V, "valve", True, several=True),
        **both_sides("coupling capacitor", _C, "coupling"),
        **both_sides("grid leak", _R, "grid_leak"),
        **both_sides("grid stopper" + _EACH, _R, "grid_stopper"),
        **both_sides("screen resistor" + _EACH, _R, "screen_resistor"),
        **both_sides("own cathode resistor" + _EACH, _R, "cathode_resistor"),
        **both_sides("capacitor across the own cathode resistor", _C, "cathode_bypass"),
        **_OUTPUT,
    },
    2,
    _push_pull,
)

SINGLE_ENDED = Template(
    "single-ended output",
    Kind.OUTPUT,
    "one output valve in class A, or several in parallel, cathode or fixed bias, output transformer",
    {
        "valve": Role("output valve, or several in parallel", _V, True, several=True),
        "coupling": Role("coupling capacitor", _C),
        "grid_leak": Role("grid leak", _R),
        "grid_stopper": Role("grid stopper" + _EACH, _R),
        "screen_resistor": Role("screen resistor" + _EACH, _R),
        **_OUTPUT,
    },
    1,
    _single_ended,
)

TEMPLATES = (PUSH_PULL, SINGLE_ENDED)
