"""What was played once is not played again: the numbers of `Playing`, kept under all that they depend on."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import asdict
from typing import Any

from ...circuit.amp import Amp
from ...circuit.build import SPEAKER, circuit_at
from ...circuit.nets import INPUT
from ...circuit.positions import Position
from ...simulation.analyses import FrequencySweep
from ...simulation.kept_work import worked_out
from ...simulation.netlist import write
from .drive import Drive
from .figures import Hiss, Playing
from .pops import Pop, Why


def play_once(amps: Sequence[Amp], steps: Sequence[Position], work_out: Callable[[], Playing]) -> Playing:
    """What is kept of these amps at these positions; else it is worked out, and kept where nothing is missing.

    Parameters
    ----------
    amps : sequence of Amp
    steps : sequence of mapping
        Positions of switches; knobs stand as drawn.
    work_out : callable
        Gives it anew.
    """
    asked = ("playing", [_named(amp, steps) for amp in amps], [sorted(step.items()) for step in steps])
    return worked_out(asked, _read, lambda found: None if found.missing else asdict(found), work_out)


def _named(amp: Amp, steps: Sequence[Position]) -> tuple[Any, ...]:
    """All of an amp that counts: its circuits, what its switches can do, and what its stages are called."""
    settings = [amp.setting(step) for step in ({}, *steps)]
    netlists = [write(circuit_at(amp, each), each, FrequencySweep(), (SPEAKER, INPUT)).digest for each in settings]
    return amp.variant, netlists, repr(amp.all_switches), [stage.name for stage in amp.stages]


def _read(facts: Mapping[str, Any]) -> Playing:
    return Playing(
        {label: _drive(each) for label, each in facts["stock"].items()},
        {label: _drive(each) for label, each in facts["modded"].items()},
        {label: Hiss(**each) for label, each in facts["hiss"].items()},
        {label: (float(one), float(other)) for label, (one, other) in facts["back"].items()},
        tuple(Pop(each["control"], each["peak"], each["loud"], Why(each["why"])) for each in facts["pops"]),
        tuple(facts["missing"]),
    )


def _drive(facts: Mapping[str, Any]) -> Drive:
    return Drive(facts["overload"], facts["beyond"], facts["first"], tuple((x, y) for x, y in facts["curve"]))
