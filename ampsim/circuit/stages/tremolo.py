"""Tremolo: a valve oscillator with three sections of resistor and capacitor, or one of any wiring."""

from __future__ import annotations

from .networks import FREE
from .template import GROUND, Kind, Role, StageBuilder, Template, place_net


def _bias_tremolo(bench: StageBuilder) -> tuple[str, ...]:
    _hand_on(bench, _oscillator(bench))
    return bench.signal


def _opto_tremolo(bench: StageBuilder) -> tuple[str, ...]:
    grid = bench.through("coupling", _oscillator(bench))
    bench.across("driver_grid_leak", grid, GROUND)
    plate, cathode = bench.net("plate", "driver"), bench.net("cathode", "driver")
    lamp = bench.through("lamp_resistor", bench.rail("supply"), f"{bench.designators('coupler')[0].lower()}_anode")
    bench.valve("driver", plate, grid, cathode)
    bench.across("driver_cathode_resistor", cathode, GROUND)
    out = bench.through("series_resistor", bench.signal[0])
    foot = GROUND
    for pot in bench.designators("intensity"):
        # Turned up there is less resistance between cell and ground, so more is taken away.
        foot = f"{pot.lower()}_top"
        bench.put(pot, top=foot, wiper=GROUND, bottom=GROUND)
    bench.pins("coupler", {"anode": lamp, "cathode": plate, "cell1": out, "cell2": foot})
    return (out,)


def _oscillator(bench: StageBuilder) -> str:
    """The valve and its three sections; the net of its plate."""
    plate, grid = bench.net("plate"), bench.net("grid")
    cathode = bench.net("cathode") if bench.has("cathode_resistor") else GROUND
    bench.valve("valve", plate, grid, cathode)
    bench.across("plate_load", bench.rail("supply"), plate)
    bench.across("cathode_resistor", cathode, GROUND)
    bench.across("cathode_bypass", cathode, GROUND)
    first = bench.through("shift_capacitor_a", plate)
    bench.across("shift_resistor_a", first, _speed(bench))
    second = bench.through("shift_capacitor_b", first)
    bench.across("shift_resistor_b", second, GROUND)
    bench.through("shift_capacitor_c", second, grid)
    bench.across("grid_leak", grid, GROUND)
    return plate


def _speed(bench: StageBuilder) -> str:
    """The foot of the first resistor: turned up the pot has less resistance, so the tremolo is faster."""
    for pot in bench.designators("speed"):
        foot = f"{pot.lower()}_top"
        bench.put(pot, top=foot, wiper=GROUND, bottom=GROUND)
        return foot
    return GROUND


def _hand_on(bench: StageBuilder, plate: str) -> None:
    """From the plate by the depth control to what is moved."""
    net = bench.through("coupling", plate)
    for pot in bench.designators("depth"):
        net, top = f"{pot.lower()}_wiper", net
        bench.put(pot, top=top, wiper=net, bottom=GROUND)
    net = bench.through("output_capacitor", net)
    bench.through("series_resistor", net, place_net(bench, bench.word("into")))


_RESISTOR, _CAPACITOR = ("resistor",), ("capacitor",)

_LADDER = {
    "valve": Role("triode", ("valve",), True),
    "supply": Role("rail of the plate load", ("rail",), True),
    "plate_load": Role("plate load resistor", _RESISTOR, True),
    "cathode_resistor": Role("cathode resistor", _RESISTOR),
    "cathode_bypass": Role("capacitor across it", _CAPACITOR),
    "shift_capacitor_a": Role("capacitor from the plate to the first section", _CAPACITOR, True),
    "shift_resistor_a": Role("resistor of the first section", _RESISTOR, True),
    "speed": Role("pot between that resistor and ground; turned up it is faster", ("pot",)),
    "shift_capacitor_b": Role("capacitor to the second section", _CAPACITOR, True),
    "shift_resistor_b": Role("resistor of the second section to ground", _RESISTOR, True),
    "shift_capacitor_c": Role("capacitor to the grid", _CAPACITOR, True),
    "grid_leak": Role("resistor from the grid to ground", _RESISTOR, True),
}

TREMOLO_OSCILLATOR = Template(
    "tremolo oscillator",
    Kind.OSCILLATOR,
    "an oscillator by three sections of phase shift, its speed and depth, and what it moves; the signal passes by",
    {
        **_LADDER,
        "coupling": Role("capacitor from the plate to the depth control", _CAPACITOR, True),
        "depth": Role("pot that sets how far it moves what it moves", ("pot",)),
        "output_capacitor": Role("capacitor behind the depth control", _CAPACITOR),
        "series_resistor": Role("resistor to what it moves", _RESISTOR, True),
        "into": Role("rail or place that it moves, such as the rail of the output valves' bias", ("word",), True),
    },
    1,
    _bias_tremolo,
)

OPTO_TREMOLO = Template(
    "opto tremolo",
    Kind.OSCILLATOR,
    "such an oscillator with a driver that lights an opto-coupler, whose cell takes signal away",
    {
        **_LADDER,
        "coupling": Role("capacitor from the oscillator's plate to the driver", _CAPACITOR, True),
        "driver": Role("triode whose plate current lights the coupler", ("valve",), True),
        "driver_grid_leak": Role("resistor from the driver's grid to ground", _RESISTOR, True),
        "driver_cathode_resistor": Role("cathode resistor of the driver", _RESISTOR, True),
        "lamp_resistor": Role("resistor between the supply and the coupler's diode", _RESISTOR),
        "coupler": Role("opto-coupler", ("opto-coupler",), True),
        "series_resistor": Role("resistor in the signal before the cell", _RESISTOR, True),
        "intensity": Role("pot between the cell and ground; turned up the tremolo is deeper", ("pot",)),
    },
    1,
    _opto_tremolo,
)

FREE_OSCILLATOR = Template(
    "oscillator of any wiring",
    Kind.OSCILLATOR,
    "any oscillator that is meant: as free wiring, the first valve or transistor keeps it going",
    FREE.roles,
    0,
    FREE.build,
)

TEMPLATES = (TREMOLO_OSCILLATOR, OPTO_TREMOLO, FREE_OSCILLATOR)
