"""Amps with several jacks: a pair of input jacks mixed by 68k each, and an effects return, in front of any stages."""

from __future__ import annotations

from dataclasses import replace

from ampsim.circuit.amp import Amp, Part, Stage
from ampsim.circuit.source import Jack
from ampsim.circuit.stages import Kind, stages_of

HIGH, LOW, RETURN = "high", "low", "return"
MIXING = 68e3


def with_jacks(amp: Amp, back: str = "") -> Amp:
    """The amp with a high and a low jack before its first stage, and a return before the stage `back`.

    The low jack's contact holds it on the high one's tip, the high one's on ground: played high, the two mixing
    resistors are in parallel; played low, they halve the signal.
    """
    parts = (Part("R971", "resistor", MIXING), Part("R972", "resistor", MIXING), Part("R973", "resistor", 1e6))
    wires = (
        ("R973", (("1", "in"), ("2", "ground"))),
        ("R971", (("1", "in"), ("2", "out"))),
        ("R972", (("1", "low"), ("2", "out"))),
    )
    plugged = stages_of(amp, Kind.INSTRUMENT, Kind.SOURCE)
    inputs = Stage("inputs", "free wiring", (("wires", wires),))
    before = [stage for stage in amp.stages if stage.name in plugged]
    stages = (*before, inputs, *(stage for stage in amp.stages if stage.name not in plugged))
    jacks = (Jack(HIGH, "R971.1", "ground"), Jack(LOW, "R972.1", HIGH))
    jacks += (Jack(RETURN, before=back),) if back else ()
    return replace(amp, name=f"{amp.name} with jacks", parts=(*amp.parts, *parts), stages=stages, jacks=jacks)
