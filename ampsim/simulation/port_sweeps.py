"""An amp seen from tracks, valves and loops at many positions of its knobs, by `small_signal` where that answers."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from functools import lru_cache
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from ..base.errors import AmpsimError
from ..circuit.amp import Amp
from ..circuit.build import Circuit, build_circuit
from ..circuit.loop_search import Cut
from ..circuit.positions import Switches
from ..circuit.stages.template import GROUND
from ..circuit.supply.averaged import supplied
from .devices import WRITERS
from .drives import with_probes
from .ports_algebra import Complex
from .request import Case
from .small_signal.still import still_parts
from .timestep.branches import Collector
from .timestep.state_space import PATH

if TYPE_CHECKING:  # what is compiled is loaded where it is used: most commands know these modules and need none of it
    from .small_signal.circuit import Rest, RestRow, Source

Setting = Mapping[str, float | str]
# Where is listened, besides the wires of a cut and the ports of laws.
_LISTENED = ("pot", "valve", "transistor")
_SILENT = -1
_MOST = 1_000_000  # numbers in the answers that are held at once


@dataclass(frozen=True, eq=False)
class Seen:
    """What was seen at one setting.

    Attributes
    ----------
    volts : ndarray
        At the nets heard [V], shape (nets, sources, f).
    amps : ndarray
        Through the wires of the cut, from the driving side [A], shape (wires, sources, f).
    rest : ndarray
        At the nets heard at rest [V], shape (nets,).
    slopes : ndarray
        How much the current through each port of a law changes with the volts at each [S], shape (ports, ports).
    row : dict
        Net to its place among those heard, -1 for what has no volts.
    """

    volts: Complex
    amps: Complex
    rest: NDArray[np.float64]
    slopes: NDArray[np.float64]
    row: Mapping[str, int]

    def across(self, first: str, second: str) -> Complex:
        """The volts between two nets [V], shape (sources, f)."""
        return self._at(first) - self._at(second)

    def resting(self, first: str, second: str) -> float:
        """The volts between two nets at rest [V]."""
        return _resting(self.rest, self.row[first]) - _resting(self.rest, self.row[second])

    def _at(self, net: str) -> Complex:
        place = self.row[net]
        return np.zeros(self.volts.shape[1:], complex) if place == _SILENT else self.volts[place]


def _resting(volts: NDArray[np.float64], place: int) -> float:
    return 0.0 if place == _SILENT else float(volts[place])


class Bench:
    """An amp with its switches in one position and the wires of a cut opened, to be driven from anywhere.

    Attributes
    ----------
    wired : Circuit
        With the wires opened.
    parts : Parts
        The same as numbers, the knobs as drawn.
    ports : tuple of (str, str)
        The nets of the ports of its laws, in the order of the seats; of a port that reads a flux its name and ground.
    """

    def __init__(self, amp: Amp, switches: Switches, cut: Cut) -> None:
        from .small_signal.circuit import SmallSignal

        whole = build_circuit(amp, switches)
        self.wired = with_probes(whole, cut)
        setting = amp.setting(dict(switches))
        self.parts, emfs = still_parts(self.wired, setting)
        self.ports = tuple(pair for seat in self.parts.seats for pair in seat.ports)
        wires = [(whole.net(places[0]), self.wired.net(places[0])) for places in cut]
        live = supplied(self.wired).live_nets
        pins = [net for each in self.wired.elements if each.kind in _LISTENED for _, net in each.pins]
        laws = [net for first, second in self.ports if first not in self.parts.fluxes for net in (first, second)]
        nets = dict.fromkeys([*(net for net in pins if net in live), *laws, *(net for pair in wires for net in pair)])
        heard = [net for net in nets if net != GROUND]
        # Ground, lugs without a part and what reads a flux have no volts to be heard.
        self._row = dict.fromkeys([GROUND, *self.parts.fluxes, *pins], _SILENT)
        self._row |= {net: number for number, net in enumerate(heard)}
        self._solver = SmallSignal(self.parts, heard, (), wires, emfs)
        # The solver takes away from a law what it lays beside it.
        self._paths = np.diag([PATH * (first not in self.parts.fluxes) for first, _ in self.ports])
        self._rests: dict[tuple[float, ...], RestRow] = {}

    def at_rest(self, settings: Sequence[Setting]) -> list[Mapping[str, float] | None]:
        """The volts of the nets heard at rest [V], at settings; None where no operating point was found."""
        rest = self._rest([track_ohms(self.wired, setting) for setting in settings])
        return [None if fault else {net: _resting(volts, place) for net, place in self._row.items()}
                for volts, fault in zip(rest.volts, rest.faults, strict=True)]  # fmt: skip

    def seen(
        self, settings: Sequence[Setting], hertz: NDArray[np.float64], sources: Sequence[Source]
    ) -> Iterator[Seen | None]:
        """What is seen at settings of the knobs, one after the other; None where there is no answer.

        Parameters
        ----------
        settings : sequence of mapping
            Every control with its rotation, or its position, which is that of the bench.
        hertz : ndarray
            Frequencies [Hz].
        sources : sequence of Source
            What drives it, one after the other.
        """
        values = [track_ohms(self.wired, setting) for setting in settings]
        self._rest(values)
        together = max(1, _MOST // (1 + len(sources) * len(hertz) * len(self._row)))
        for start in range(0, len(values), together):
            some = values[start : start + together]
            swept = self._solver.sweep(self._solver.variants(some), hertz, sources, self._rest(some))
            for number, fault in enumerate(swept.faults):
                yield None if fault else Seen(
                    np.moveaxis(swept.volts[number], 0, 1), np.moveaxis(swept.amps[number], 0, 1),
                    swept.rest.volts[number], swept.slopes[number] + self._paths, self._row,
                )  # fmt: skip

    def _rest(self, values: Sequence[Mapping[str, float]]) -> Rest:
        """Operating points, each found once."""
        from .small_signal.circuit import Rest

        keys = [tuple(each.values()) for each in values]
        fresh = {key: each for key, each in zip(keys, values, strict=True) if key not in self._rests}
        if fresh:
            found = self._solver.at_rest(self._solver.variants(list(fresh.values())))
            self._rests.update(zip(fresh, found.rows, strict=True))
        return Rest.of_rows([self._rests[key] for key in keys])


def track_ohms(wired: Circuit, setting: Setting) -> dict[str, float]:
    """The resistances of the stretches of every track [ohm], by their names in a netlist."""
    collector = Collector(setting)
    for element in wired.elements:
        if element.kind == "pot":
            WRITERS["pot"](collector, element, wired)
    return {each.name: each.value for each in collector.branches}


@lru_cache(maxsize=64)
def bench(amp: Amp, switches: Switches, cut: Cut = ()) -> Bench | None:
    """A bench for an amp with its switches in one position; None where the solver does not take it.

    Parameters
    ----------
    amp : Amp
    switches : tuple of (control, position)
        Every switch.
    cut : tuple
        The wires of a loop that are opened.
    """
    try:
        return Bench(amp, switches, cut)
    except (AmpsimError, np.linalg.LinAlgError):
        return None


def bench_of(case: Case, cut: Cut = ()) -> Bench | None:
    """The bench of a case, whose knobs may stand anywhere; None where our own solver does not take it."""
    return bench(case.amp, tuple((name, each) for name, each in case.setting.items() if isinstance(each, str)), cut)


def between(first: str, second: str) -> Source:
    """1 A into a net and out of another."""
    from .small_signal.circuit import Source

    return Source(amps={first: 1.0, second: -1.0})
