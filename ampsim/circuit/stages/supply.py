"""Power supplies: from the mains transformer to the rails that an amp is fed from."""

from __future__ import annotations

from dataclasses import replace
from typing import cast

from ...base.errors import nearest, shown
from ..supply.transformer import MainsTransformer, Winding
from .template import GROUND, Kind, Role, StageBuilder, Template, supply_net

_R, _C = ("resistor",), ("capacitor",)


def _power(bench: StageBuilder) -> tuple[str, ...]:
    winding = _winding(bench)
    bridge = [each for each in bench.designators("rectifier") if bench.part(each).kind == "bridge rectifier"]
    # The winding under a bridge floats; of every other one the middle, or its end b, is on the chassis.
    ends = _transformer(bench, None if bridge else bench.through("centre_resistor", GROUND, ""))
    plates = [bench.through(f"plate_resistor_{side}", net) for side, net in zip("ab", ends, strict=True)]
    out = supply_net(bench.stage.name)
    for rectifier in bench.designators("rectifier"):
        if rectifier in bridge:
            bench.put(rectifier, ac1=plates[0], ac2=plates[1], plus=out, minus=GROUND)
        else:
            bench.put(rectifier, plate_a=plates[0], plate_b=plates[1] if winding.centre else plates[0], cathode=out)
    for side, plate in zip("ab", plates, strict=True):
        bench.across(f"diode_{side}", plate, out)
    if not any(map(bench.has, ("rectifier", "diode_a", "diode_b"))):
        raise bench.fault("a power supply needs a rectifier: 'rectifier', or 'diode_a' and 'diode_b'")
    return bench.signal


def _doubler(bench: StageBuilder) -> tuple[str, ...]:
    """The winding lies between the middle of two capacitors in series and the diodes that charge one of them each."""
    middle, out = f"{bench.designators('lower_capacitor')[0].lower()}_middle", supply_net(bench.stage.name)
    end = bench.through("series_resistor", _transformer(bench, middle)[0])
    bench.across("upper_diode", end, out)
    bench.across("lower_diode", GROUND, end)
    for role, first, second in (("upper", out, middle), ("lower", middle, GROUND)):
        bench.across(f"{role}_capacitor", first, second)
        bench.across(f"{role}_bleeder", first, second)
    return bench.signal


def _transformer(bench: StageBuilder, held: str | None) -> tuple[str, str]:
    """Fit the transformer, or of one that another stage has fitted the winding in use; the nets of both its ends.

    Parameters
    ----------
    bench : StageBuilder
    held : str or None
        Net of that winding's middle, or without one of its end b; None where it floats.
    """
    (transformer,) = bench.designators("transformer")
    part, own = cast("MainsTransformer", bench.part(transformer)), _winding(bench)
    sharing = {
        stage.name: _winding(replace(bench, stage=stage))
        for stage in bench.amp.stages
        if stage.template in (POWER.name, DOUBLER.name) and dict(stage.roles)["transformer"] == transformer
    }
    rival = next((name for name, each in sharing.items() if each == own and name != bench.stage.name), "")
    if rival:
        free = [each.name for each in part.windings if each not in sharing.values()]
        more = f'; not rectified yet: {", ".join(free)} (winding = "{free[0]}")' if free else ""
        raise bench.fault(f"winding '{own.name}' of {transformer} is rectified in '{rival}' too{more}")
    nets = {pin: f"{transformer.lower()}_{pin}" for pin in part.pins}
    if bench.stage.name == next(iter(sharing)):
        nets |= {_middle(each): GROUND for each in part.windings if each not in sharing.values()}
        nets |= {} if held is None else {_middle(own): held}
        bench.put(transformer, **nets)
    elif held is not None:
        bench.joins.append((nets[_middle(own)], held))
    return nets[f"{own.name}_a"], nets[f"{own.name}_b"]


def _middle(winding: Winding) -> str:
    """The pin of a winding that is held still where it does not float."""
    return f"{winding.name}_{'centre' if winding.centre else 'b'}"


def _winding(bench: StageBuilder) -> Winding:
    """The winding in use."""
    part = cast("MainsTransformer", bench.part(bench.designators("transformer")[0]))
    names = [each.name for each in part.windings]
    name = bench.word("winding") if bench.has("winding") else names[0]
    if name not in names:
        raise bench.fault(f"{shown(name)} is no winding of {part.designator}{nearest(name, names)}")
    return part.windings[names.index(name)]


def _bias(bench: StageBuilder) -> tuple[str, ...]:
    source = "@" + bench.word("winding")
    limited = bench.through("series_resistor", source)
    first = f"{bench.designators('reservoir')[0].lower()}_bias"
    # Current flows from the reservoir back into the winding, so that the reservoir comes to lie below ground.
    bench.across("diode", first, limited)
    bench.across("reservoir", first, GROUND)
    bench.across("bleeder", first, GROUND)
    second = bench.through("dropper", first)
    bench.across("filter", second, GROUND)
    out = supply_net(bench.stage.name)
    for pot in bench.designators("adjustment"):
        foot = bench.through("range_resistor", GROUND)
        top = bench.through("top_resistor", second)
        bench.put(pot, top=top, wiper=out, bottom=foot)
    if not bench.has("adjustment"):
        bench.joins.append((second, out))
        bench.across("range_resistor", out, GROUND)
    return bench.signal


def _one_winding(bench: StageBuilder) -> bool:
    part = cast("MainsTransformer", bench.part(bench.designators("transformer")[0]))
    return len(part.windings) == 1


POWER = Template(
    "power supply",
    Kind.SUPPLY,
    "mains transformer and rectifier; a rail 'from' this stage begins behind them, with its choke and reservoir",
    {
        "transformer": Role("mains transformer", ("mains transformer",), True),
        "winding": Role("name of the winding that is rectified (default: the first)", ("word",), moot=_one_winding),
        "rectifier": Role("rectifier valve or bridge", ("rectifier valve", "bridge rectifier")),
        "diode_a": Role("diode from end a of the winding", ("diode",)),
        "diode_b": Role("diode from end b of the winding", ("diode",)),
        "plate_resistor_a": Role("resistor before the rectifier at end a", _R),
        "plate_resistor_b": Role("resistor before the rectifier at end b", _R),
        "centre_resistor": Role("resistor between the winding's middle and ground", _R),
    },
    0,
    _power,
)

DOUBLER = Template(
    "voltage doubler",
    Kind.SUPPLY,
    "mains transformer, two diodes and two capacitors in series; a rail 'from' this stage begins behind them",
    {
        "transformer": Role("mains transformer", ("mains transformer",), True),
        "winding": Role("name of the winding that is rectified (default: the first)", ("word",), moot=_one_winding),
        "series_resistor": Role("resistor between end a of the winding and the diodes", _R),
        "upper_diode": Role("diode to the rail", ("diode",), True),
        "lower_diode": Role("diode from ground", ("diode",), True),
        "upper_capacitor": Role("capacitor from the rail to the middle, where end b of the winding is", _C, True),
        "lower_capacitor": Role("capacitor from the middle to ground", _C, True),
        "upper_bleeder": Role("resistor across the upper capacitor", _R),
        "lower_bleeder": Role("resistor across the lower capacitor", _R),
    },
    0,
    _doubler,
)

BIAS = Template(
    "bias supply",
    Kind.SUPPLY,
    "negative volts from a winding or a tap of the mains transformer, with adjustment; a rail is 'from' this stage",
    {
        "winding": Role("place where its current comes from, such as PT1.bias_a or PT1.ht_tap", ("place",), True),
        "series_resistor": Role("resistor before the diode", _R),
        "diode": Role("diode, its cathode towards the winding", ("diode",), True),
        "reservoir": Role("reservoir capacitor", _C, True),
        "bleeder": Role("resistor across the reservoir", _R),
        "dropper": Role("resistor to the filter", _R),
        "filter": Role("filter capacitor behind the dropper", _C),
        "adjustment": Role("bias pot, its top at the filter; its wiper is the rail", ("pot",)),
        "top_resistor": Role("resistor between the filter and the top of the pot", _R),
        "range_resistor": Role("resistor between the pot's bottom and ground; without a pot the lower divider", _R),
    },
    0,
    _bias,
)

TEMPLATES = (POWER, DOUBLER, BIAS)
