"""Diodes in the signal's way: pairs that clip, across it and in it, and those that protect an input."""

from __future__ import annotations

from .template import GROUND, Kind, Role, StageBuilder, Template

_D = ("diode",)


def back_to_back(bench: StageBuilder, first: str, second: str) -> None:
    """Fit the clipping diodes there are, one way and the other, each with those in series with it.

    Parameters
    ----------
    bench : StageBuilder
    first, second : str
        The nets they lie between.
    """
    for way, (start, end) in (("forward", (first, second)), ("backward", (second, first))):
        chain = [role for role in (f"{way}_diode", f"{way}_diode_2", f"{way}_diode_3") if bench.has(role)]
        at = start
        for role in chain:
            at = bench.through(role, at, end if role == chain[-1] else "")


def clipping_roles(between: str) -> dict[str, Role]:
    """Roles of up to three diodes in series each way; with as many both ways they clip evenly."""
    ways = {"forward": between, "backward": "the other way round"}
    return {
        f"{way}_diode{number}": Role(f"diode {where}{more}", _D)
        for way, where in ways.items()
        for number, more in (("", ""), ("_2", ", a second one in series"), ("_3", ", a third one"))
    }


def _pair(bench: StageBuilder) -> tuple[str, ...]:
    after = bench.through("series_resistor", bench.through("coupling", bench.signal[0]))
    back_to_back(bench, after, GROUND)
    bench.across("shunt_resistor", after, GROUND)
    bench.across("shunt_capacitor", after, GROUND)
    return (bench.through("output_capacitor", after),)


def _in_series(bench: StageBuilder) -> tuple[str, ...]:
    before = bench.through("series_resistor", bench.through("coupling", bench.signal[0]))
    after = f"{bench.designators('forward_diode')[0].lower()}_far"
    back_to_back(bench, before, after)
    bench.across("bypass_resistor", before, after)
    bench.across("bypass_capacitor", before, after)
    bench.across("load_resistor", after, GROUND)
    return (after,)


def _protection(bench: StageBuilder) -> tuple[str, ...]:
    after = bench.through("series_resistor", bench.signal[0])
    low = bench.rail("negative_supply") if bench.has("negative_supply") else GROUND
    bench.across("high_diode", after, bench.rail("supply"))
    bench.across("low_diode", low, after)
    return (after,)


_R, _C = ("resistor",), ("capacitor",)

CLIPPING_PAIR = Template(
    "clipping pair",
    Kind.NETWORK,
    "diodes back to back from the signal to ground; more of them one way clip unevenly",
    {
        "coupling": Role("capacitor from the stage before", _C),
        "series_resistor": Role("resistor that the diodes work against", _R),
        **clipping_roles("from the signal to ground"),
        "shunt_resistor": Role("resistor to ground", _R),
        "shunt_capacitor": Role("capacitor to ground", _C),
        "output_capacitor": Role("capacitor to what follows", _C),
    },
    1,
    _pair,
)

SERIES_CLIPPING = Template(
    "series diodes",
    Kind.NETWORK,
    "diodes back to back in the signal's way: what is smaller than they need does not pass",
    {
        "coupling": Role("capacitor from the stage before", _C),
        "series_resistor": Role("resistor before the diodes", _R),
        **clipping_roles("in the signal's way") | {"forward_diode": Role("diode in the signal's way", _D, True)},
        "bypass_resistor": Role("resistor across the diodes", _R),
        "bypass_capacitor": Role("capacitor across the diodes", _C),
        "load_resistor": Role("resistor behind them to ground", _R, True),
    },
    1,
    _in_series,
)

PROTECTION = Template(
    "input protection",
    Kind.NETWORK,
    "diodes that keep an input between the supplies",
    {
        "supply": Role("rail that the upper diode leads to", ("rail",), True),
        "negative_supply": Role("rail that the lower diode comes from (default: ground)", ("rail",)),
        "series_resistor": Role("resistor that limits what flows through the diodes", _R, True),
        "high_diode": Role("diode from the signal to the supply", _D, True),
        "low_diode": Role("diode from ground, or the negative supply, to the signal", _D, True),
    },
    1,
    _protection,
)

TEMPLATES = (CLIPPING_PAIR, SERIES_CLIPPING, PROTECTION)
