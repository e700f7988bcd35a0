"""Where channels meet: resistors from each line to one point."""

from __future__ import annotations

from .template import GROUND, Kind, Role, StageBuilder, Template


def _mixer(bench: StageBuilder) -> tuple[str, ...]:
    resistors, capacitors = bench.designators("mixing_resistor"), bench.designators("coupling")
    out = "mix_" + resistors[0].lower()
    for given, what in ((resistors, "mixing resistors"), (capacitors, "coupling capacitors")):
        if given and len(given) != len(bench.signal):
            raise bench.fault(f"{len(bench.signal)} lines meet here and there are {len(given)} {what}; one for each")
    for number, line in enumerate(bench.signal):
        near = line
        if capacitors:
            near = f"{capacitors[number].lower()}_2"
            bench.put(capacitors[number], end1=line, end2=near)
        bench.put(resistors[number], end1=near, end2=out)
    bench.across("leak", out, GROUND)
    return (out,)


MIXER = Template(
    "mixer",
    Kind.NETWORK,
    "two or more lines that meet through a resistor each; name them as input, such as two channels or two jacks",
    {
        "mixing_resistor": Role("a resistor for each line, in the order of input", ("resistor",), True),
        "coupling": Role("a capacitor before each of them", ("capacitor",)),
        "leak": Role("resistor from the point where they meet to ground", ("resistor",)),
    },
    2,
    _mixer,
)

TEMPLATES = (MIXER,)
