"""The pop that every amp makes: its high voltage is switched on while the valves are hot."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import fields, replace
from functools import lru_cache

import numpy as np
from numpy.typing import NDArray

from ...circuit.amp import Amp
from ...circuit.build import SPEAKER, build_circuit
from ...circuit.positions import Switches, switches_at
from ...circuit.stages.template import Element
from ...circuit.supply.averaged import supplied
from ...circuit.switches.moving import Contact, ContactData, MovingCircuit
from ...simulation.analyses import Transient
from ...simulation.netlist import node_vector
from ...simulation.ngspice.engine import Arrays, Outcome
from ...simulation.request import Case
from ...simulation.stimuli import Throw
from ...simulation.timed_run import TimedRun
from ...simulation.timestep.pace import Pace

_CONTACT = "STANDBY"
_STEP, _TOLERANCE = 200e-6, 1e-4
PACE = Pace(100e-6, ((5e-6, 31.25e-9),), miss=0.01)
"""Of the solver after contacts have moved: in steps of a spike's length first, then in some that adapt, as a stage may
clip or come back at any time. Of 11 mods on 9 amps, against even steps that are 16 times as short as the usual ones
were (0.5 to 400 us): peaks within 0.1 %, at worst 1.6 %; in the usual ones 27 % were lost where a stage came back late,
37 % of spikes."""


def standby_run(case: Case) -> TimedRun | None:
    """What is to be simulated; None where there is no high voltage to switch."""
    wired = standby_circuit(case.amp, switches_at(case.amp, case.setting))
    if wired is None:
        return None
    return TimedRun(wired, case.setting, Transient(Throw(), _STEP, _TOLERANCE), (SPEAKER,), PACE)


def standby_peaks(runs: Sequence[TimedRun | None], outcomes: Iterable[Outcome]) -> NDArray[np.float64]:
    """The largest swing at the output of each run [V]; outcomes are of those that are, and NaN stands for the rest."""
    answers = iter(outcomes)
    return np.array([np.nan if run is None else _peak(run, answers) for run in runs])


def _peak(run: TimedRun, answers: Iterator[Outcome]) -> float:
    outcome, vector = next(answers), node_vector(run.wired, SPEAKER)
    return float(np.abs(outcome.vectors[vector]).max()) if isinstance(outcome, Arrays) and vector else np.nan


@lru_cache(maxsize=64)
def standby_circuit(amp: Amp, switches: Switches) -> MovingCircuit | None:
    """The amp with a contact behind every source of high voltage, open before and closed after; None without one.

    The filter capacitors are empty before; supplies below ground stay on, as behind a standby switch.
    """
    wired, data = supplied(build_circuit(amp, switches)), ContactData()
    sources = {rail.name for rail in wired.amp.rails if rail.volts is not None and rail.volts > 0.0}
    elements: list[Element] = []
    contacts: dict[str, Contact] = {}
    for element in wired.elements:
        if element.kind != "rail" or element.designator not in sources:
            elements.append(element)
            continue
        net, name = element.net("1"), f"{_CONTACT}_{len(contacts)}"
        behind = f"{net}_standby"
        contacts[name] = Contact(name, "after", data.on, data.off)
        elements += [
            replace(element, pins=(("1", behind),)),
            Element(name, "contact", (("1", behind), ("2", net)), "supply"),
        ]
    if not contacts:
        return None
    soldered = {each.name: getattr(wired, each.name) for each in fields(wired)}
    return MovingCircuit(**soldered | {"elements": tuple(elements)}, contacts=contacts)
