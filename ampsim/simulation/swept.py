"""Sweeps and operating points of many variants of a circuit by the small-signal solver, a sample of them by ngspice.

As `in_time` does for transients: what the solver cannot do, ngspice does, and where the two differ in the sample by
more than `agreement.SWEPT_LIMIT` ngspice does everything.
"""

from __future__ import annotations

import hashlib
from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field, replace
from functools import cached_property, partial
from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import NDArray

from ..base.errors import AmpsimError, EngineError
from ..base.progress import SIMULATIONS, Progress, ProgressBar
from ..circuit.build import Circuit
from ..circuit.semiconductors.description import Semiconductor
from ..circuit.valves.description import Valve
from .agreement import SWEPT_LIMIT, Agreement, swept_difference
from .analyses import FrequencySweep, OperatingPoint
from .kept_lots import once_solved
from .netlist import Netlist, node_vector, write
from .ngspice.engine import Arrays, Outcome

if TYPE_CHECKING:
    from .timestep.branches import Parts

Array = NDArray[np.float64]
Sockets = Mapping[str, Valve | Semiconductor]
_CHUNK = 500  # variants that are solved together


@dataclass(frozen=True, eq=False)
class Lot:
    """Variants of a circuit with its knobs set, all to be asked the same.

    Attributes
    ----------
    wired, setting
        The circuit as drawn.
    analysis : FrequencySweep or OperatingPoint
    places : tuple of str
        Where it is listened to.
    sockets : sequence of mapping
        To each variant its very valves and transistors by designator.
    factors : mapping
        Name of a netlist's value to the factor [ratio] on it in each variant.
    about : object
        What tells these sockets from those of another lot, where they were drawn by lot; if None they do.
    others : mapping
        Variants that are circuits of their own, wired as this one, such as with another transformer.
    """

    wired: Circuit
    setting: Mapping[str, float | str]
    analysis: FrequencySweep | OperatingPoint
    places: tuple[str, ...]
    sockets: Sequence[Sockets] = ({},)
    factors: Mapping[str, Array] = field(default_factory=dict)
    about: object = None
    others: Mapping[int, Circuit] = field(default_factory=dict)

    @property
    def count(self) -> int:
        """How many variants."""
        return len(self.sockets)

    @property
    def asked(self) -> object:
        """All that its answers depend on, told apart by its `repr`."""
        factors = [(name, _digest(name, each)) for name, each in self.factors.items()]
        about = self.sockets if self.about is None else (self.count, self.about)
        return self.wired, [*self.setting.items()], self.analysis, self.places, about, factors, self.others

    def netlist(self, number: int) -> Netlist:
        """What ngspice reads of a variant."""
        wired = self.others.get(number, self.wired)
        own = write(wired, self.setting, self.analysis, self.places, sockets=self.sockets[number])
        values = [value * float(self.factors[name][number]) if name in self.factors else value
                  for name, value in own.value_by_part.items()]  # fmt: skip
        return Netlist(own.form, tuple(values))

    @cached_property
    def vectors(self) -> tuple[str, ...]:
        """What ngspice calls the volts of each place; "" for ground."""
        return tuple(node_vector(self.wired, place) for place in self.places)

    @cached_property
    def shape(self) -> tuple[int, ...]:
        """The shape of an answer to one variant: places, and frequencies of a sweep."""
        swept = () if isinstance(self.analysis, OperatingPoint) else (self.analysis.points,)
        return (len(self.places), *swept)

    def read(self, answer: Arrays) -> NDArray[Any]:
        """An answer of ngspice [V], in that shape; ground stays at 0 V."""
        found = np.zeros(self.shape, complex if self.shape[1:] else float)
        for row, name in enumerate(self.vectors):
            if name:
                found[row] = answer.vectors[name] if self.shape[1:] else answer.vectors[name][0].real
        return found

    def solve(self, tell: Callable[[int], object]) -> tuple[NDArray[Any], Sequence[str], str]:
        """The answer to each variant [V], why there is none ("" elsewhere), and a digest of what was asked.

        `tell` is called with how many are done.

        Raises
        ------
        AmpsimError
            When the solver has no answer to the circuit as drawn.
        """
        # Not before it is needed: what is compiled takes a third of a second to load, and takes the laws as they are.
        from .small_signal.circuit import SmallSignal, Variants
        from .small_signal.still import still_parts

        parts, emfs = still_parts(self.wired, self.setting)
        heard = [place for place, name in enumerate(self.vectors) if name]
        circuit = SmallSignal(parts, [self.wired.net(self.places[place]) for place in heard], emfs=emfs)
        table = np.tile(circuit.drawn, (self.count, 1))
        for column, name in enumerate(circuit.names):
            if name in self.factors:
                table[:, column] *= self.factors[name]
        refused = dict(self._put_others(table, parts))
        very = tuple({name.lower(): part for name, part in each.items()} for each in self.sockets)
        found = np.zeros((self.count, *self.shape), complex if self.shape[1:] else float)
        faults: list[str] = []
        for first in range(0, self.count, _CHUNK):
            some = slice(first, min(first + _CHUNK, self.count))
            variants = Variants(table[some], very[some])
            if isinstance(self.analysis, OperatingPoint):
                rest = circuit.at_rest(variants)
                found[some, heard] = rest.volts
                faults += rest.faults
            else:
                swept = circuit.sweep(variants, self.analysis.grid())
                found[some, heard] = swept.volts[:, 0]
                faults += swept.faults
            tell(some.stop)
        faults = [refused.get(number, fault) for number, fault in enumerate(faults)]
        about = self.sockets if self.about is None else self.about
        return found, faults, _digest((self.analysis, self.vectors, _build(parts), about), table)

    def _put_others(self, table: Array, parts: Parts) -> Iterator[tuple[int, str]]:
        """Put the values of other circuits into the table; those that cannot be there, and why."""
        from .small_signal.still import still_parts

        for number, wired in self.others.items():
            own, _ = still_parts(wired, self.setting)
            if _build(own) == _build(parts):
                table[number] = [each.value for each in own.branches]
            else:
                yield number, "a part changes more than its values"


def _build(parts: Parts) -> object:
    """All of a circuit but the values of its branches."""
    ends = [(each.kind, each.name, each.first, each.second) for each in parts.branches]
    seats = [(each.law, each.numbers, each.ports, each.name, each.valve and each.valve.grid_current)
             for each in parts.seats]  # fmt: skip
    return ends, parts.couplings, seats, dict(parts.held), parts.lines, dict(parts.fluxes)


def _digest(content: object, table: Array) -> str:
    return hashlib.sha256(repr(content).encode() + table.tobytes()).hexdigest()


@dataclass(frozen=True, eq=False)
class Answered:
    """Answers to lots, each of shape (variants, places[, frequencies]) [V]; NaN for what nobody could answer.

    `failures` are the reasons, by lot and variant; `digest` is of all that was asked, `notes` are ngspice's remarks.
    """

    values: list[NDArray[Any]]
    failures: dict[tuple[int, int], EngineError]
    agreement: Agreement
    digest: str
    notes: tuple[str, ...] = ()


Ngspice = Callable[[Iterator[Netlist], int], Sequence[Outcome]]
_Which = tuple[int, int]


def answer_lots(lots: Sequence[Lot], ngspice: Ngspice, checks: int = 2, progress: Progress | None = None) -> Answered:
    """Answer lots.

    Parameters
    ----------
    lots : sequence of Lot
        One that is there twice is answered once.
    ngspice : callable
        Takes netlists and how many they are to their outcomes, in order.
    checks : int
        How many variants ngspice does too: those that their content says.
    progress : callable
        See `base.progress`.
    """
    solved, refused, digests = _solved(lots, progress)
    digest = hashlib.sha256("".join(digests).encode()).hexdigest()
    every = _every(lots)
    left = [which for which in every if which in refused]
    sample = sorted((which for which in every if which not in refused), key=lambda which: _rank(digests, which))[
        :checks
    ]
    told = dict(zip([*sample, *left], _asked(lots, [*sample, *left], ngspice), strict=True))
    apart = [swept_difference(solved[lot][number], lots[lot].read(theirs)) for lot, number in sample
             if isinstance(theirs := told[lot, number], Arrays)]  # fmt: skip
    worst = max(apart, default=np.nan)
    if worst > SWEPT_LIMIT:
        whole = by_ngspice(lots, ngspice)
        return replace(whole, agreement=replace(whole.agreement, checked=len(apart), worst=worst))
    why = tuple(dict.fromkeys(refused.values()))
    agreement = Agreement(len(every) - len(left), len(left), len(apart), worst, why, swept=True)
    return _put(Answered(solved, {}, agreement, digest), lots, {which: told[which] for which in left})


def by_ngspice(lots: Sequence[Lot], ngspice: Ngspice) -> Answered:
    """Answer lots by ngspice alone; `lots` and `ngspice` as those of `answer_lots`."""
    every = _every(lots)
    digest = hashlib.sha256()

    def read(netlists: Iterator[Netlist], count: int) -> Sequence[Outcome]:
        def taken() -> Iterator[Netlist]:
            for netlist in netlists:
                digest.update(netlist.digest.encode())
                yield netlist

        return ngspice(taken(), count)

    told = dict(zip(every, _asked(lots, every, read), strict=True))
    nothing = [np.full((lot.count, *lot.shape), np.nan, complex if lot.shape[1:] else float) for lot in lots]
    found = Answered(nothing, {}, Agreement(0, len(every), swept=True), digest.hexdigest())
    return _put(found, lots, told)


def _every(lots: Sequence[Lot]) -> list[_Which]:
    return [(lot, number) for lot, each in enumerate(lots) for number in range(each.count)]


def _put(found: Answered, lots: Sequence[Lot], told: Mapping[_Which, Outcome]) -> Answered:
    """With what ngspice said of some."""
    for (lot, number), outcome in told.items():
        if isinstance(outcome, Arrays):
            found.values[lot][number] = lots[lot].read(outcome)
        else:
            found.values[lot][number], found.failures[lot, number] = np.nan, outcome
    notes = tuple(note for each in told.values() if isinstance(each, Arrays) for note in each.notes)
    return replace(found, notes=notes)


def _asked(lots: Sequence[Lot], which: Sequence[_Which], ngspice: Ngspice) -> Sequence[Outcome]:
    return ngspice((lots[lot].netlist(number) for lot, number in which), len(which)) if which else []


def _rank(digests: Sequence[str], which: _Which) -> str:
    return hashlib.sha256(f"{digests[which[0]]} {which[1]}".encode()).hexdigest()


def _solved(lots: Sequence[Lot], progress: Progress | None) -> tuple[list[NDArray[Any]], dict[_Which, str], list[str]]:
    """The solver's answers, why it refused, and digests of what was asked."""
    values, refused, digests = list[NDArray[Any]](), dict[_Which, str](), list[str]()
    known: dict[int, int] = {}
    total, done = sum(lot.count for lot in lots), 0
    with ProgressBar() as bar:
        tell = progress or bar
        for number, lot in enumerate(lots):
            same = known.setdefault(id(lot), number)
            if same == number:
                found, faults, digest = _of_one(lot, partial(_tell, tell, done, total))
            else:
                faults = [refused.get((same, place), "") for place in range(lot.count)]
                found, digest = values[same].copy(), digests[same]
            values.append(found)
            digests.append(digest)
            refused |= {(number, place): fault for place, fault in enumerate(faults) if fault}
            done += lot.count
            tell(done, total, SIMULATIONS)
    return values, refused, digests


def _tell(progress: Progress, before: int, total: int, here: int) -> None:
    progress(before + here, total, SIMULATIONS)


def _of_one(lot: Lot, tell: Callable[[int], object]) -> tuple[NDArray[Any], Sequence[str], str]:
    shape, kind = (lot.count, *lot.shape), complex if lot.shape[1:] else float
    try:
        return once_solved(lot.asked, shape, kind, partial(lot.solve, tell))
    except AmpsimError as problem:
        return (
            np.full(shape, np.nan, kind),
            [str(problem) or "no reason given"] * lot.count,
            _digest(lot.places, np.zeros(0)),
        )
