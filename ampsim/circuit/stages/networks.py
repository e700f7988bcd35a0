"""Passive networks between valves: coupling and attenuation, volume pots, the three-band stack, and free wiring."""

from __future__ import annotations

from typing import cast

from .template import GROUND, Kind, Role, StageBuilder, Template, net_word


def _coupling(bench: StageBuilder) -> tuple[str, ...]:
    after = bench.through("capacitor", bench.signal[0])
    bench.across("input_leak", after, GROUND)
    out = bench.through("series_resistor", after)
    bench.across("series_capacitor", after, out)
    bench.across("shunt_resistor", out, GROUND)
    bench.across("shunt_capacitor", out, GROUND)
    return (out,)


def _volume(bench: StageBuilder) -> tuple[str, ...]:
    after = bench.through("coupling", bench.signal[0])
    top = bench.through("series_resistor", after)
    bench.across("series_capacitor", after, top)
    pot = bench.designators("pot")[0]
    wiper, bottom = f"{pot.lower()}_wiper", f"{pot.lower()}_bottom"
    if not bench.has("foot_resistor"):
        bottom = GROUND
    bench.put(pot, top=top, wiper=wiper, bottom=bottom)
    bench.across("foot_resistor", bottom, GROUND)
    bright = bench.through("bright_resistor", top) if bench.has("bright_capacitor") else top
    bench.across("bright_capacitor", bright, wiper)
    bench.across("track_resistor", top, bottom)
    return (wiper,)


def _tone_stack(bench: StageBuilder) -> tuple[str, ...]:
    (source,) = bench.signal[:1]
    treble, bass = bench.designators("treble")[0], bench.designators("bass")[0]
    top, low, out = (f"{treble.lower()}_{pin}" for pin in ("top", "bottom", "wiper"))
    slope, middle_top = bench.through("slope_resistor", source), f"{bass.lower()}_bottom"
    bench.across("treble_capacitor", source, top)
    bench.across("bass_capacitor", slope, low)
    bench.put(treble, top=top, wiper=out, bottom=low)
    bench.put(bass, top=low, wiper=low, bottom=middle_top)
    middle = bench.designators("middle")[0]
    if bench.part(middle).kind == "pot":
        wiper = f"{middle.lower()}_wiper"
        bench.put(middle, top=middle_top, wiper=wiper, bottom=GROUND)
    else:
        wiper = middle_top
        bench.across("middle", middle_top, GROUND)
    bench.across("middle_capacitor", slope, wiper)
    return (out,)


def _free(bench: StageBuilder) -> tuple[str, ...]:
    wired = cast("tuple[tuple[str, tuple[tuple[str, str], ...]], ...]", dict(bench.stage.roles)["wires"])
    wires = {designator: dict(pins) for designator, pins in wired}
    nets = {"in": bench.signal[0] if bench.signal else "input"}
    if len(bench.signal) > 1:
        nets["in_b"] = bench.signal[1]
    outs = [name for pins in wires.values() for name in pins.values() if name in ("out", "out_b")]
    for designator, pins in wires.items():
        named = {("end" if pin.isdigit() else "") + pin: _free_net(bench, net, nets) for pin, net in pins.items()}
        bench.put(designator, **named)
    ends = tuple(_free_net(bench, name, nets) for name in ("out", "out_b") if name in outs)
    return ends or bench.signal


def _free_net(bench: StageBuilder, name: str, nets: dict[str, str]) -> str:
    if name == "ground":
        return GROUND
    if name in {rail.name for rail in bench.amp.rails}:
        return f"rail_{name.lower()}"
    if "." in name:
        return "@" + name
    # The stage's number keeps its nets apart from those of stages of a like name, and from those of parts and rails.
    number = bench.amp.stages.index(bench.stage) + 1
    return nets.get(name) or f"n{number}_{net_word(bench.stage.name)[:40]}_{name.lower()}"


_RC = {
    "series_resistor": Role("resistor in series", ("resistor",)),
    "series_capacitor": Role("capacitor across the series resistor", ("capacitor",)),
}

COUPLING = Template(
    "coupling",
    Kind.NETWORK,
    "coupling capacitor and fixed attenuator: capacitor, series resistor (with capacitor across it), shunt",
    {
        "capacitor": Role("coupling capacitor", ("capacitor",)),
        "input_leak": Role("resistor to ground straight after the coupling capacitor", ("resistor",)),
        **_RC,
        "shunt_resistor": Role("resistor to ground", ("resistor",)),
        "shunt_capacitor": Role("capacitor to ground", ("capacitor",)),
    },
    1,
    _coupling,
)

_VOLUME_ROLES = {
    "pot": Role("the pot", ("pot",), True),
    "coupling": Role("capacitor from the stage before", ("capacitor",)),
    **_RC,
    "bright_capacitor": Role("capacitor from the top of the track to the wiper", ("capacitor",)),
    "bright_resistor": Role("resistor in series with the bright capacitor", ("resistor",)),
    "track_resistor": Role("resistor across the track", ("resistor",)),
    "foot_resistor": Role("resistor between the bottom of the track and ground", ("resistor",)),
}

VOLUME = Template("volume", Kind.NETWORK, "volume or gain pot with its bright network", _VOLUME_ROLES, 1, _volume)
MASTER_VOLUME = Template("master volume", Kind.MASTER, "a volume pot after the preamp", _VOLUME_ROLES, 1, _volume)

TONE_STACK = Template(
    "tone stack",
    Kind.NETWORK,
    "passive three-band tone stack",
    {
        "treble_capacitor": Role("capacitor to the top of the treble pot", ("capacitor",), True),
        "slope_resistor": Role("slope resistor", ("resistor",), True),
        "bass_capacitor": Role("capacitor to the bottom of the treble pot", ("capacitor",), True),
        "middle_capacitor": Role("capacitor to the middle pot", ("capacitor",), True),
        "treble": Role("treble pot", ("pot",), True),
        "bass": Role("bass pot, wired as a variable resistor", ("pot",), True),
        "middle": Role("middle pot, or a fixed resistor", ("pot", "resistor"), True),
    },
    1,
    _tone_stack,
)

FREE = Template(
    "free wiring",
    Kind.ANY,
    "any network: every part's pins on named nets (in, out, ground, a rail, a place, or a name of your own)",
    {"wires": Role("designator = pins on nets", ("wires",), True)},
    0,
    _free,
)

TEMPLATES = (COUPLING, VOLUME, MASTER_VOLUME, TONE_STACK, FREE)
