"""The tables of ports that a page holds: one per combination of what moves the bias, every knob in each."""

from __future__ import annotations

import base64
import itertools
from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from typing import Any

import numpy as np
from numpy.typing import NDArray

from ...base.errors import DescriptionError
from ...base.progress import Progress
from ...circuit.amp import Amp
from ...circuit.build import SPEAKER, build_circuit
from ...circuit.nets import INPUT
from ...circuit.signal_path import active_stages
from ...simulation.port_tables import PortTable, port_table
from ...simulation.turned_parts import knob_dial
from ...studies.audition_request import Audition, Setting
from .choices import Range

Array = NDArray[np.float64]
MOST_BYTES = 440_000  # that tables may take on a page: all of it stays below 700 kB
NO_SIGNAL_DB = -300.0  # no signal at all has no level, and a line must be somewhere
_MOST_SAMPLES = 250
BASS_HZ, TONE_HZ = 100.0, 400.0
"""What reaches each stage is told at these: of the tone that headroom is played with, and of bass."""
Outputs = Mapping[str, tuple[str, ...]]
"""To each stage what it hands on: a place, or two of which the voltage between them counts."""


@dataclass(frozen=True)
class PageTables:
    """What a page computes from.

    Attributes
    ----------
    offered : Range
        What can be chosen.
    place : str
        Where it is listened.
    tables : tuple of PortTable
        Each different one once.
    stock, modded : tuple of int
        Which table holds for each of ``offered.steps()``.
    """

    offered: Range
    place: str
    tables: tuple[PortTable, ...] = field(repr=False)
    stock: tuple[int, ...] = ()
    modded: tuple[int, ...] = ()
    driven: tuple[PortTable, ...] = field(default=(), repr=False)
    outputs: tuple[Outputs, Outputs] = field(default=({}, {}), hash=False)

    @property
    def frequency(self) -> Array:
        """Of the gains [Hz]."""
        return self.tables[0].frequency

    def gains(self, setting: Setting) -> tuple[Array, Array]:
        """Gain of the stock and of the modded amp [dB] where the choices stand, each of shape (f,)."""
        (rows,) = self.gains_of([setting])
        return rows[0], rows[1]

    def gains_of(self, settings: list[Setting]) -> Array:
        """The same at many positions [dB], shape (settings, 2, f)."""
        return np.array([
            [_levels(self.tables[which[self._step(each)]].respond([self._dials(each)])[0, 0]) for which in self._both]
            for each in settings
        ])  # fmt: skip

    def stage_gains(self, setting: Setting) -> tuple[dict[str, tuple[float, float]], ...]:
        """Gain to the output of each stage of either amp [dB], near `BASS_HZ` and near `TONE_HZ`."""
        step, found = self._step(setting), []
        for outputs, which in zip(self.outputs, self._both, strict=True):
            table = self.driven[which[step]]
            heard = dict(zip(table.places, table.respond([self._dials(setting)])[0], strict=True))
            rows = {name: [heard[place] for place in places] for name, places in outputs.items()}
            levels = {name: _levels(each[0] - each[1] if len(each) == 2 else each[0]) for name, each in rows.items()}
            found.append({name: (float(bass), float(tone)) for name, (bass, tone) in levels.items()})
        return tuple(found)

    @property
    def _both(self) -> tuple[tuple[int, ...], tuple[int, ...]]:
        return self.stock, self.modded

    def _step(self, setting: Setting) -> int:
        found = 0
        for choice in self.offered.stepped:
            found = found * len(choice.values) + choice.values.index(setting[choice.name])
        return found

    def _dials(self, setting: Setting) -> dict[str, float]:
        return {knob_dial(each.name): float(setting[each.name]) for each in self.offered.smooth}

    def samples(self) -> list[Setting]:
        """Where the page opens, and the ends and middles of all knobs together, at every step."""
        names = [each.name for each in self.offered.smooth]
        steps = self.offered.steps()
        marks: tuple[float, ...] = (0.0, 0.5, 1.0)
        if len(steps) * len(marks) ** len(names) > _MOST_SAMPLES:
            marks = (0.0, 1.0)
        turns: list[Setting] = [
            dict(zip(names, each, strict=True)) for each in itertools.product(marks, repeat=len(names))
        ]
        found = [each | turn for each in steps for turn in turns]
        return [self.offered.start(), *found[:: max(1, len(found) // _MOST_SAMPLES)]]

    def packed(self) -> dict[str, Any]:
        """Plain data for the page's script."""
        tables = [each.packed(short=True) for each in self.tables]
        frequency = tables[0]["frequency"]
        for each in tables:
            del each["frequency"]
        for each, driven in zip(tables, self.driven, strict=True):
            own = driven.table[len(driven.ports) :].astype("<c8").tobytes()
            each["driven"] = {"places": list(driven.places), "data": base64.b64encode(own).decode()}
        columns = _columns(self.frequency)
        return {
            "frequency": frequency, "tables": tables, "stock": self.stock, "modded": self.modded, "columns": columns,
            "outputs": [{name: list(places) for name, places in each.items()} for each in self.outputs],
        }  # fmt: skip

    def size(self) -> int:
        """Characters that the tables take on a page."""
        return sum(len(each["data"]) + len(each["driven"]["data"]) for each in self.packed()["tables"])


def _levels(response: NDArray[np.complex128]) -> Array:
    return np.asarray(20.0 * np.log10(np.maximum(np.abs(response), 10.0 ** (NO_SIGNAL_DB / 20.0))))


def take_tables(audition: Audition, offered: Range, progress: Progress | None = None) -> PageTables:
    """Take the tables of both amps, with as many of the offered knobs as there is room for.

    Parameters
    ----------
    audition : Audition
    offered : Range
        What is to be offered; a knob that moves the bias comes back in steps.
    progress : callable
        Called with (done, total, word) after each table.

    Raises
    ------
    DescriptionError
        When what must be offered does not fit into a page.
    EngineError
        When ngspice gives no trustworthy answer.
    """
    while True:
        try:
            found, moving = _taken(audition, offered, progress)
        except _TooMuch:
            found, moving = None, []
        if moving:
            offered = _stepped(offered, moving)
        elif found is not None and found.size() <= MOST_BYTES:
            return found
        else:
            offered = offered.without(_least_wanted(offered))


class _TooMuch(Exception):
    """The tables of these choices would be too large."""


def _stepped(offered: Range, moving: list[str]) -> Range:
    """With knobs that move the bias in steps, without those for which there is no room."""
    try:
        return offered.in_steps(moving)
    except DescriptionError:
        spare = [each.name for each in offered.choices if each.name in moving and not each.wanted]
        if not spare:
            raise
        return offered.without(spare[-1])


def _least_wanted(offered: Range) -> str:
    spare = [each.name for each in offered.choices if not each.wanted]
    if not spare:
        names = ", ".join(each.name for each in offered.choices)
        raise DescriptionError(f"{names}: the page would become larger than {MOST_BYTES / 1e3:.0f} kB; name fewer")
    return spare[-1]


def _taken(audition: Audition, offered: Range, progress: Progress | None) -> tuple[PageTables, list[str]]:
    """The tables; and the knobs that move the bias somewhere, of which tables hold one place only."""
    tables: list[PortTable] = []
    numbers: dict[Any, int] = {}
    moving: dict[str, None] = {}
    knobs = [each.name for each in offered.smooth]
    steps = offered.steps()
    amps = (audition.stock, audition.modded)
    which: list[list[int]] = [[], []]
    size = 0
    # The input is asked for as well: a position that grounds the listening point then is silent, not refused.
    places = list(dict.fromkeys([audition.listen_at, *([] if audition.listen_at == SPEAKER else [INPUT])]))
    outputs = [_outputs(amp) for amp in amps]
    beside = [list(dict.fromkeys(itertools.chain(*each.values()))) for each in outputs]
    driven: list[PortTable] = []
    for done, (setting, (at, amp)) in enumerate(itertools.product(steps, enumerate(amps)), 1):
        known = {name: value for name, value in setting.items() if name in amp.controls}
        key = (at, tuple(value for name, value in known.items() if name not in knobs))
        if key not in numbers:
            whole = port_table(amp, known, list(dict.fromkeys([*places, *beside[at]])), knobs)
            table = _heard_at(whole, places)
            driven.append(_at_two(_heard_at(whole, beside[at])))
            moving |= dict.fromkeys(name for name in knobs if knob_dial(name) in table.moving)
            numbers[key] = len(tables)
            tables.append(table)
            size += len(table.packed(short=True)["data"])
            if size > MOST_BYTES and not moving:
                raise _TooMuch
        which[at].append(numbers[key])
        if progress:
            progress(done, len(amps) * len(steps), "tables")
    found = PageTables(
        offered, audition.listen_at, tuple(tables), tuple(which[0]), tuple(which[1]), tuple(driven),
        (outputs[0], outputs[1]),
    )  # fmt: skip
    return found, list(moving)


def _outputs(amp: Amp) -> Outputs:
    return {stage.name: stage.outputs for stage in active_stages(build_circuit(amp))}


def _heard_at(table: PortTable, places: list[str]) -> PortTable:
    """The same table with some of its places."""
    ports = len(table.ports)
    rows = [*range(ports), *(ports + table.places.index(place) for place in places)]
    return replace(table, places=tuple(places), table=table.table[rows])


def _at_two(table: PortTable) -> PortTable:
    columns = _columns(table.frequency)
    return replace(table, frequency=table.frequency[columns], table=table.table[..., columns])


def _columns(frequency: Array) -> list[int]:
    """Where the frequencies nearest to `BASS_HZ` and `TONE_HZ` stand."""
    return [int(np.argmin(np.abs(np.log(frequency / each)))) for each in (BASS_HZ, TONE_HZ)]
