"""Why an amp has no answer in time: whether it stays at rest at all, in words that say what to do instead."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from typing import Protocol

from ..base.errors import AmpsimError, EngineError
from ..base.wording import in_hertz, join_words
from ..circuit.build import Circuit
from ..circuit.feedback import find_loop
from .ngspice.engine import Outcome

_UNITS = ((1.0, "s"), (1e3, "ms"), (1e6, "us"))
_PLACE = "the sheet's topic `stability` says at which positions"


class _Run(Protocol):
    @property
    def wired(self) -> Circuit: ...

    @property
    def setting(self) -> Mapping[str, float | str]: ...


def reasons(runs: Sequence[_Run], outcomes: Sequence[Outcome]) -> list[Outcome]:
    """Outcomes of transients, each failure among them as `reason` has it."""
    return [
        reason(run.wired, run.setting, each) if isinstance(each, EngineError) else each
        for run, each in zip(runs, outcomes, strict=True)
    ]


def reason(wired: Circuit, setting: Mapping[str, float | str], failure: EngineError) -> EngineError:
    """The failure of a transient as a person can use it: that of an amp that does not stay at rest says so.

    Parameters
    ----------
    wired : Circuit
        With its switches as the setting says.
    setting : mapping
        Every control with its rotation or position.
    failure : EngineError
        What the simulator says; it stays the cause.
    """
    from .timestep.poles import rightmost_pole

    try:
        pole = rightmost_pole(wired, setting)
    except AmpsimError:
        return failure
    if not pole.real > 0.0:
        return failure
    found = EngineError(f"{wired.amp.name} {_words(pole)}: it has no answer in time. {_advice(wired, setting)}")
    found.__cause__ = failure
    return found


def _words(pole: complex) -> str:
    hertz = abs(pole.imag) / (2.0 * math.pi)
    seconds = math.log(10.0) / pole.real
    time = next(
        f"{float(f'{seconds * many:.2g}'):g} {unit}" for many, unit in _UNITS if seconds * many >= 1.0 or unit == "us"
    )
    grows = f"what disturbs it grows tenfold in {time}"
    if hertz > 0.0:
        return f"oscillates by itself near {in_hertz(float(f'{hertz:.2g}'))} ({grows})"
    return f"does not stay at rest here ({grows})"


def _advice(wired: Circuit, setting: Mapping[str, float | str]) -> str:
    switches = tuple((name, value) for name, value in setting.items() if isinstance(value, str))
    loop = find_loop(wired.amp, switches)
    if loop is None:
        return f"No loop leads back from its output: look at gain, coupling and supply of its stages; {_PLACE}."
    places = join_words([place for net in loop.cut for place in net])
    return (
        f"Its feedback leads back at {places}: with the loop open there (lift that end), or with `secondary` of its "
        f"transformer the other way round, it shows whether that is the cause; {_PLACE}."
    )
