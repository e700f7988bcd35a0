"""Loop gains at many positions of the knobs: ngspice reduces the amp to the tracks of its pots, the rest is algebra.

A knob that moves the bias is no port: every rotation of it that is asked for is another reduction.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from functools import lru_cache
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from ..circuit.amp import Amp, Pot
from ..circuit.build import Circuit, circuit_at
from ..circuit.loop_search import Cut, Loop
from ..circuit.pot_tracks import track_stretches
from .analyses import FrequencySweep, OperatingPoint
from .drives import with_probes
from .netlist import node_vector, slot_value, write
from .ngspice import engine
from .ports import PortCase, PortModel, loop_gains, reduce
from .ports_algebra import Complex, bias_moves
from .request import Case

Settings = tuple[tuple[str, float | str], ...]
_ROTATIONS = (0.0, 0.5, 1.0)
_KEPT = 128
_models: dict[tuple[Reduction, FrequencySweep], PortModel] = {}


class _Stretch(NamedTuple):
    """A stretch of a pot's track between two nets."""

    pot: Pot
    name: str
    first: str
    second: str


class Reduction(NamedTuple):
    """An amp at a position, reduced with the cut of its loop to the tracks of some knobs that leave the bias alone."""

    amp: Amp
    position: Settings
    cut: Cut
    knobs: tuple[str, ...]

    @property
    def wired(self) -> Circuit:
        """The circuit with the wires of the cut opened."""
        return _opened(self)[0]

    @property
    def stretches(self) -> tuple[_Stretch, ...]:
        """What its ports lie beside."""
        return _opened(self)[1]

    @property
    def case(self) -> PortCase:
        """What is reduced."""
        ports = tuple((each.first, each.second) for each in self.stretches)
        return PortCase(self.amp, dict(self.position), ports, cut=self.cut)

    @property
    def runs(self) -> int:
        """How many simulations it takes."""
        return 1 + 2 * len(self.cut) + len(self.stretches)

    def changes(self, cases: Iterable[Case]) -> NDArray[np.float64]:
        """New less drawn conductance of each stretch [S] in cases, shape (cases, ports)."""
        here, settings = dict(self.position), [case.setting for case in cases]
        found = np.zeros((len(settings), len(self.stretches)))
        for column, each in enumerate(self.stretches):
            knob, drawn = each.pot.control, _siemens(each, here)
            turned = {setting[knob]: setting for setting in settings}
            change = {rotation: _siemens(each, setting) - drawn for rotation, setting in turned.items()}
            found[:, column] = [change[setting[knob]] for setting in settings]
        return found


@lru_cache(maxsize=_KEPT)
def _opened(base: Reduction) -> tuple[Circuit, tuple[_Stretch, ...]]:
    wired = with_probes(circuit_at(base.amp, dict(base.position)), base.cut)
    return wired, tuple(_stretches(wired, base.knobs))


def gains_by_ports(
    cases: Sequence[Case], loops: Sequence[Loop | None], sweep: FrequencySweep, knobs: Sequence[str]
) -> list[Complex | None]:
    """Loop gains of cases that differ in knobs, each shape (f,); None where it is to be simulated as it stands.

    That is where there is no loop, where a simulation of each takes less than a reduction, and where a track that
    should be free of direct current carries some after all.

    Parameters
    ----------
    cases : sequence of Case
    loops : sequence of Loop or None
        The loop of each.
    sweep : FrequencySweep
        Frequencies.
    knobs : sequence of str
        Those that are turned.

    Raises
    ------
    EngineError
        When ngspice gives no trustworthy answer.
    """
    groups: dict[Reduction, list[int]] = {}
    for place, (case, loop) in enumerate(zip(cases, loops, strict=True)):
        if loop:
            groups.setdefault(reduction(case, loop.cut, knobs), []).append(place)
    worth = {each: own for each, own in groups.items() if (each, sweep) in _models or _pays(each, len(own))}
    found: list[Complex | None] = [None] * len(cases)
    for (base, own), model in zip(worth.items(), _reduced(list(worth), sweep), strict=True):
        changes = base.changes(cases[place] for place in own)
        free = ~bias_moves(model.volts, changes).any(axis=-1)
        rows = loop_gains(model, changes[free][..., None])
        for place, row in zip(np.array(own)[free], rows, strict=True):
            found[place] = row
    return found


def _pays(base: Reduction, positions: int) -> bool:
    return base.runs < 2 * len(base.cut) * positions


def _reduced(bases: Sequence[Reduction], sweep: FrequencySweep) -> list[PortModel]:
    if len(_models) > _KEPT:
        _models.clear()
    fresh = [base for base in bases if (base, sweep) not in _models]
    models = reduce([base.case for base in fresh], sweep) if fresh else []
    known = {(base, sweep): model for base, model in zip(fresh, models, strict=True)}
    _models.update(known)
    return [_models[base, sweep] for base in bases]


def reduction(case: Case, cut: Cut, knobs: Sequence[str]) -> Reduction:
    """What a case is reduced to: the knobs that leave the bias alone as drawn, all else where it stands.

    Raises
    ------
    EngineError
        When ngspice gives no trustworthy answer at rest.
    """
    setting, drawn = case.setting, _drawn(case.amp)
    free = _free_knobs(case.amp, tuple((name, each) for name, each in setting.items() if isinstance(each, str)))
    turned = tuple(name for name in setting if name in free and name in knobs)
    position = tuple((name, drawn[name] if name in turned else value) for name, value in setting.items())
    return Reduction(case.amp, position, cut, turned)


@lru_cache(maxsize=32)
def _drawn(amp: Amp) -> dict[str, float | str]:
    return amp.setting({})


@lru_cache(maxsize=_KEPT)
def _free_knobs(amp: Amp, switches: Settings) -> frozenset[str]:
    """The knobs that carry no direct current wherever they stand, the others as drawn."""
    knobs = frozenset(name for name, control in amp.controls.items() if control.kind == "knob")
    return knobs - frozenset(_moving_bias(amp, dict(switches), knobs))


def _moving_bias(amp: Amp, switches: dict[str, float | str], knobs: Iterable[str]) -> Iterator[str]:
    wired, setting = circuit_at(amp, switches), amp.setting(switches)
    stretches = list(_stretches(wired, knobs))
    places = tuple(dict.fromkeys(place for each in stretches for place in (each.first, each.second)))
    if not stretches:
        return
    netlist = write(wired, setting, OperatingPoint(), places)
    answer = Case(amp, switches).arrays(engine.run([netlist])[0], "at rest")

    def volts(place: str) -> float:
        vector = node_vector(wired, place)
        return float(answer.vectors[vector][0].real) if vector else 0.0

    for each in stretches:
        turned = [_siemens(each, setting | {each.pot.control: rotation}) for rotation in _ROTATIONS]
        change = np.array(turned) - _siemens(each, setting)
        if bias_moves(np.array(volts(each.first) - volts(each.second)), change).any():
            yield each.pot.control


def _stretches(wired: Circuit, knobs: Iterable[str]) -> Iterator[_Stretch]:
    wanted = set(knobs)
    for element in wired.elements:
        pot = wired.parts.get(element.designator)
        if isinstance(pot, Pot) and pot.control in wanted:
            for name, first, second in track_stretches(element):
                if element.net(first) != element.net(second):
                    ends = (f"{pot.designator}.{pin}" for pin in (first, second))
                    yield _Stretch(pot, name, *ends)


def _siemens(stretch: _Stretch, setting: dict[str, float | str]) -> float:
    return 1.0 / slot_value(stretch.pot, stretch.name, setting)
