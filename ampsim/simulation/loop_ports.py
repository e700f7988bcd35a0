"""Loop gains at many positions of the knobs: ngspice reduces the amp to the tracks of its pots, the rest is algebra.

A knob that moves the bias is no port: every rotation of it that is asked for is another reduction.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from functools import lru_cache
from typing import TYPE_CHECKING, NamedTuple

import numpy as np
from numpy.typing import NDArray

from ..circuit.amp import Amp, Pot
from ..circuit.build import Circuit, circuit_at
from ..circuit.loop_search import Cut, Loop
from ..circuit.pot_tracks import track_stretches
from ..circuit.stages.template import GROUND
from .analyses import FrequencySweep, OperatingPoint
from .drives import with_probes
from .netlist import node_vector, slot_value, write
from .ngspice import engine
from .port_sweeps import Bench, Seen, bench_of, between
from .ports import PortCase, PortModel, loop_gains, reduce
from .ports_algebra import Complex, bias_moves, loop_gain_of_cut
from .request import Case

if TYPE_CHECKING:
    from .small_signal.circuit import Source

Settings = tuple[tuple[str, float | str], ...]
_ROTATIONS = (0.0, 0.5, 1.0)
_KEPT = 128
_MOST_ALONE = 3
_models: dict[tuple[Reduction, FrequencySweep, bool], PortModel] = {}


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
    def whole(self) -> Case:
        """The amp at the position."""
        return Case(self.amp, dict(self.position))

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
    cases: Sequence[Case],
    loops: Sequence[Loop | None],
    sweep: FrequencySweep,
    knobs: Sequence[str],
    solved: bool = True,
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
    solved : bool
        Whether our own solver answers what it can (`port_sweeps`); otherwise ngspice does it all.

    Raises
    ------
    EngineError
        When ngspice gives no trustworthy answer.
    """
    groups: dict[Reduction, list[int]] = {}
    for place, (case, loop) in enumerate(zip(cases, loops, strict=True)):
        if loop:
            groups.setdefault(reduction(case, loop.cut, knobs), []).append(place)
    found: list[Complex | None] = [None] * len(cases)
    alone = [place for each, own in groups.items() if solved and _few(each, len(own), sweep) for place in own]
    for place, row in _directly([cases[place] for place in alone], [loops[place] for place in alone], sweep):
        found[alone[place]] = row
    left = {each: own for each, own in groups.items() if found[own[0]] is None}
    worth = {each: own for each, own in left.items() if _worth(each, len(own), sweep, solved)}
    for (base, own), model in zip(worth.items(), _reduced(list(worth), sweep, solved), strict=True):
        changes = base.changes(cases[place] for place in own)
        free = ~bias_moves(model.volts, changes).any(axis=-1)
        rows = loop_gains(model, changes[free][..., None])
        for place, row in zip(np.array(own)[free], rows, strict=True):
            found[place] = row
    return found


def _worth(base: Reduction, positions: int, sweep: FrequencySweep, solved: bool) -> bool:
    """Whether positions cost less by a reduction than one simulation after the other."""
    known = (base, sweep, solved) in _models
    return known or _pays(base, positions) or (solved and bench_of(base.whole, base.cut) is not None)


def _few(base: Reduction, positions: int, sweep: FrequencySweep) -> bool:
    """Whether positions are sooner solved as they stand than by a reduction."""
    return positions <= _MOST_ALONE and (base, sweep, True) not in _models


def _directly(
    cases: Sequence[Case], loops: Sequence[Loop | None], sweep: FrequencySweep
) -> Iterator[tuple[int, Complex]]:
    """The loop gains of those of the cases that our own solver has an answer for, each at its position."""
    alike: dict[tuple[Bench, Cut], list[int]] = {}
    for place, (case, loop) in enumerate(zip(cases, loops, strict=True)):
        if loop and (own := bench_of(case, loop.cut)):
            alike.setdefault((own, loop.cut), []).append(place)
    for (own, cut), places in alike.items():
        answers = own.seen([cases[place].setting for place in places], sweep.grid(), _into_cut(own, cut))
        told = {place: _at_cut(own, cut, seen) for place, seen in zip(places, answers, strict=True) if seen}
        yield from zip(told, loop_gain_of_cut(np.array(list(told.values()))) if told else (), strict=True)


def _into_cut(own: Bench, cut: Cut) -> list[Source]:
    """1 A into each wire of a cut, then 1 V in each."""
    from .small_signal.circuit import Source

    probes = [own.wired.net(places[0]) for places in cut]
    return [*(Source(amps={net: 1.0}) for net in probes), *(Source(wires={number: 1.0}) for number in range(len(cut)))]


def _at_cut(own: Bench, cut: Cut, seen: Seen) -> Complex:
    """The volts of the wires of a cut [V], then the currents through them [A], shape (2 n, sources, f)."""
    return np.array([*(seen.across(own.wired.net(places[0]), GROUND) for places in cut), *seen.amps])


def _pays(base: Reduction, positions: int) -> bool:
    return base.runs < 2 * len(base.cut) * positions


def _reduced(bases: Sequence[Reduction], sweep: FrequencySweep, solved: bool) -> list[PortModel]:
    if len(_models) > _KEPT:
        _models.clear()
    # Found once: another thread may forget it.
    known = {base: model for base in bases if (model := _models.get((base, sweep, solved)))}
    fresh = [base for base in bases if base not in known]
    known |= _solved(fresh, sweep) if solved else {}
    left = [base for base in fresh if base not in known]
    known |= dict(zip(left, reduce([base.case for base in left], sweep) if left else [], strict=True))
    _models.update({(base, sweep, solved): model for base, model in known.items()})
    return [known[base] for base in bases]


def _solved(bases: Sequence[Reduction], sweep: FrequencySweep) -> dict[Reduction, PortModel]:
    """Those of the reductions that need no simulator."""
    benches: dict[Bench, list[Reduction]] = {}
    for base in bases:
        if own := bench_of(base.whole, base.cut):
            benches.setdefault(own, []).append(base)
    found: dict[Reduction, PortModel] = {}
    for own, alike in benches.items():
        wired, cut = own.wired, alike[0].cut
        pairs = [(wired.net(each.first), wired.net(each.second)) for each in alike[0].stretches]
        sources = [*_into_cut(own, cut), *(between(*pair) for pair in pairs)]
        answers = own.seen([dict(base.position) for base in alike], sweep.grid(), sources)
        for base, seen in zip(alike, answers, strict=True):
            if seen is not None:
                across = np.array([seen.across(*pair) for pair in pairs]).reshape(-1, len(sources), sweep.points)
                volts, into = np.array([seen.resting(*pair) for pair in pairs]), _at_cut(own, cut, seen)
                wires = 2 * len(cut)
                found[base] = PortModel(base.case, sweep.grid(), across[:, :wires], into[:, :wires],
                                        across[:, wires:], into[:, wires:], volts, 0)  # fmt: skip
    return found


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
    resting = resting_volts(Case(amp, switches), places)
    for each in stretches:
        turned = [_siemens(each, setting | {each.pot.control: rotation}) for rotation in _ROTATIONS]
        change = np.array(turned) - _siemens(each, setting)
        if bias_moves(np.array(resting[each.first] - resting[each.second]), change).any():
            yield each.pot.control


def resting_volts(case: Case, places: tuple[str, ...]) -> dict[str, float]:
    """The volts at places at rest [V].

    Raises
    ------
    EngineError
        When no operating point is found.
    """
    if not places:
        return {}
    wired, setting = case.wired, case.setting
    own = bench_of(case)
    if own and (known := own.at_rest([setting])[0]):
        return {place: known[wired.net(place)] for place in places}
    answer = case.arrays(engine.run([write(wired, setting, OperatingPoint(), places)])[0], "at rest")
    vectors = {place: node_vector(wired, place) for place in places}
    return {place: float(answer.vectors[vector][0].real) if vector else 0.0 for place, vector in vectors.items()}


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
