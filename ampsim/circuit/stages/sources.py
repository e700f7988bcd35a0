"""What stands before the amp: a plain test source, or a guitar with its pot and cable."""

from __future__ import annotations

from .template import GROUND, Kind, Role, StageBuilder, Template


def _generator(bench: StageBuilder) -> tuple[str, ...]:
    return (bench.through("resistance", "input"),)


def _guitar(bench: StageBuilder) -> tuple[str, ...]:
    coil = bench.through("pickup_resistance", "input", "pickup_coil")
    hot = bench.through("pickup_inductance", coil, "pickup")
    bench.across("pickup_capacitance", hot, GROUND)
    jack = hot
    if bench.has("volume"):
        jack = "guitar_jack"
        bench.put(bench.designators("volume")[0], top=hot, wiper=jack, bottom=GROUND)
    tone = bench.through("tone", hot)
    bench.across("tone_capacitor", tone, GROUND)
    bench.across("cable_capacitance", jack, GROUND)
    return (jack,)


GENERATOR = Template(
    "generator",
    Kind.SOURCE,
    "a test source of 1 V, with an optional source resistance",
    {"resistance": Role("source resistance", ("resistor",))},
    0,
    _generator,
)

GUITAR = Template(
    "guitar",
    Kind.INSTRUMENT,
    "a pickup (coil, its resistance and capacitance), the guitar's volume pot and the cable",
    {
        "pickup_inductance": Role("coil inductance", ("inductor",), True),
        "pickup_resistance": Role("coil resistance", ("resistor",), True),
        "pickup_capacitance": Role("coil capacitance", ("capacitor",)),
        "volume": Role("the guitar's volume pot", ("pot",)),
        "tone": Role("the guitar's tone pot or resistor", ("pot", "resistor")),
        "tone_capacitor": Role("the guitar's tone capacitor", ("capacitor",)),
        "cable_capacitance": Role("cable capacitance", ("capacitor",)),
    },
    0,
    _guitar,
)

TEMPLATES = (GENERATOR, GUITAR)
