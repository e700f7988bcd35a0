"""An amp at a position of its switches as one table, from which every position of its knobs is computed.

`port_table` reduces the amp to the ports of its pots and of parts whose value is set, as far as they leave the bias
alone; `PortTable.respond` gives the response where they stand, `port_tables.js` does the same in a browser from what
`PortTable.packed` says. What moves the bias is in `moving`: of that a table holds one place, and has to be taken anew.
"""

from __future__ import annotations

import base64
from collections.abc import Collection, Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from importlib.resources import files
from typing import Any, NamedTuple

import numpy as np
from numpy.typing import NDArray

from ..base.progress import Progress
from ..circuit.amp import Amp
from ..circuit.values import with_values
from .analyses import FrequencySweep
from .ports import PortCase, PortModel, reduce, simulate_directly
from .ports_algebra import Complex, bias_moves, without_first
from .turned_parts import Settings, TurnedPart, base_value, follows, knob_dial, part_dial, turned_parts

Spans = Mapping[str, tuple[float, float]]
# What the track of a pot lets through of a grid's leakage moves the bias, by millivolts: as long as no response differs
# by more than this, the table stands for it.
LEAST_DB = 0.007
_ROUNDED_DB = 0.001
_HEARD = 1e-10  # V; below it a difference in decibels means nothing


@dataclass(frozen=True, eq=False)
class PortTable:
    """An amp with its switches in one position, for every place of its knobs and parts.

    Attributes
    ----------
    amp : Amp
        With the values that the table was taken with.
    position : mapping
        Where everything stood: the switches, and knobs that move the bias.
    places : tuple of str
        Where it is listened.
    ports : tuple of TurnedPart
        What turns.
    moving : tuple of str
        Dials ("knob tremolo", "part R5") that move the bias here, and of which the table holds one place only.
    frequency : ndarray
        [Hz], shape (f,).
    table : ndarray
        Ports, then places by ports, then source; shape (k + o, k + 1, f). A port in series gives and takes volts in
        series and minus the amperes through it, another amperes across and volts.
    """

    amp: Amp
    position: Mapping[str, float | str]
    places: tuple[str, ...]
    ports: tuple[TurnedPart, ...]
    moving: tuple[str, ...]
    frequency: NDArray[np.float64]
    table: Complex

    def respond(self, at: Sequence[Settings]) -> Complex:
        """Voltage at the places for 1 V at the source, shape (settings, o, f); dials not named are at the table's."""
        table = self.table[None]
        for port in self.ports:
            change = np.array([port.change(each, self.frequency) for each in at])
            table = without_first(table, change)
        return np.asarray(table[:, :, 0])

    @property
    def dials(self) -> tuple[str, ...]:
        """What turns in the table, each once."""
        return tuple(dict.fromkeys(dial for port in self.ports for dial in port.dials))

    def heard_at(self, place: str) -> PortTable:
        """The same table with one of its places."""
        ports = len(self.ports)
        rows = [*range(ports), ports + self.places.index(place)]
        return replace(self, places=(place,), table=self.table[rows])

    def facts(self, short: bool = False) -> dict[str, Any]:
        """What `loadPortTable` of `port_tables.js` needs besides the numbers, as plain data; `short`: in 32 bits."""
        return {
            "places": list(self.places),
            "ports": [port.facts() for port in self.ports],
            "moving": list(self.moving),
            "frequency": self.frequency.tolist(),
            "bits": 32 if short else 64,
        }

    def numbers(self, short: bool = False) -> bytes:
        """The table itself: pairs of little-endian floats, row by row, of 64 bits or `short`."""
        return self.table.astype("<c8" if short else "<c16").tobytes()

    def packed(self, short: bool = False) -> dict[str, Any]:
        """Facts, and the numbers as base64 in "data".

        Parameters
        ----------
        short : bool
            Write numbers in 32 bits, as long as no response at the ends and in the middle of the dials suffers by more
            than 0.001 dB.
        """
        short = short and self._short_enough()
        return {**self.facts(short), "data": base64.b64encode(self.numbers(short)).decode()}

    def _short_enough(self) -> bool:
        at = _samples(self.ports)
        rounded = replace(self, table=self.table.astype(np.complex64).astype(complex))
        return _apart_db(rounded.respond(at), self.respond(at)) <= _ROUNDED_DB


class _How(NamedTuple):
    """What all simulations for one table are called with."""

    sweep: FrequencySweep
    workers: int | None
    progress: Progress | None


def port_table(
    amp: Amp,
    position: Mapping[str, float | str],
    places: Sequence[str],
    knobs: Collection[str] | None = None,
    spans: Spans | None = None,
    sweep: FrequencySweep | None = None,
    known: Collection[str] = (),
    workers: int | None = None,
    progress: Progress | None = None,
) -> PortTable:
    """Take the table of an amp at a position of its switches.

    Parameters
    ----------
    amp : Amp
        With the values that parts have now.
    position : mapping
        Switches as they are to stand; knobs that move the bias, or that are not among `knobs`, stay where this says.
    places : sequence of str
        Where to listen.
    knobs : collection of str
        Which are to turn; default all.
    spans : mapping
        Parts whose value is set: designator to the least and the most [ohm, F or H].
    sweep : FrequencySweep
        Default 20 Hz to 20 kHz, 151 frequencies.
    known : collection of str
        Dials that move the bias at a position beside this one: those are not tried here.
    workers, progress
        As `engine.run`.

    Raises
    ------
    DescriptionError
        For unknown places, controls or parts.
    EngineError
        When ngspice gives no trustworthy answer.
    """
    how = _How(sweep or FrequencySweep(), workers, progress)
    setting, spans = amp.setting(position), spans or {}
    wanted = [name for name, each in amp.controls.items() if each.kind == "knob" and (knobs is None or name in knobs)]
    does = {name: follows(amp, setting, name, span) for name, span in spans.items()}
    dials = {*map(knob_dial, wanted), *map(part_dial, spans)}
    moving = {part_dial(name) for name, follow in does.items() if follow is False} | (dials & set(known))
    still = {name: span for name, span in spans.items() if does[name]}
    while True:
        free = frozenset(name for name in wanted if knob_dial(name) not in moving)
        parts = {name: span for name, span in still.items() if part_dial(name) not in moving}
        found, volts = _taken(amp, setting, tuple(places), free, parts, how)
        more = set(_moves(found, volts, how))
        if not more:
            return replace(found, moving=tuple(sorted(moving)))
        moving |= more


def _taken(
    amp: Amp,
    setting: Mapping[str, float | str],
    places: tuple[str, ...],
    knobs: frozenset[str],
    spans: Spans,
    how: _How,
) -> tuple[PortTable, NDArray[np.float64]]:
    """The table, and the voltage across each port at rest [V]."""
    base = with_values(amp, {name: base_value(amp, name, span) for name, span in spans.items()})
    zero = {**setting, **dict.fromkeys(knobs, 0.0)}
    ports = turned_parts(base, zero, knobs, spans)
    (model,) = reduce([PortCase(base, zero, tuple(port.port for port in ports), places)], *how)
    table = _in_series(model, ports)
    return PortTable(base, zero, places, tuple(ports), (), model.frequency, table), model.volts


def _in_series(model: PortModel, ports: Sequence[TurnedPart]) -> Complex:
    """A model's table with volts in series with a short where a port is counted so (Thevenin's and Norton's rules)."""
    table = model.table()
    for place, port in enumerate(ports):
        if port.in_series:
            ohms = port.at_table
            table[:, place] /= ohms
            table[place] /= -ohms
            table[place, place] += 1.0 / ohms**2
    return table


def _moves(found: PortTable, volts: NDArray[np.float64], how: _How) -> list[str]:
    """The dials that move the bias so far that a response differs from ngspice's own."""
    suspects: dict[str, TurnedPart] = {}
    for port, across in zip(found.ports, volts, strict=True):
        changes = np.array([port.direct_change(at) for at in _samples([port])])
        if bias_moves(across, changes).any():
            suspects |= dict.fromkeys(port.dials, port)
    if not suspects:
        return []
    middle = {dial: at for dial, at in _all_at(found.ports, 1).items() if dial not in suspects}
    alone = [
        (dial, {**middle, dial: at})
        for dial, port in suspects.items()
        for at in port.places_of(dial)
        if at != (0.0 if dial == port.knob else port.part.value)
    ]
    apart = dict.fromkeys(suspects, 0.0)
    for (dial, _), each in zip(alone, _apart_from_direct(found, [at for _, at in alone], how), strict=True):
        apart[dial] = max(apart[dial], each)
    movers = [dial for dial, each in apart.items() if not each <= LEAST_DB]
    if movers or len(suspects) == 1:
        return movers
    together = _apart_from_direct(found, [_all_at(found.ports, end) for end in (1, 2)], how)
    return [] if max(together) <= LEAST_DB else [max(apart, key=lambda dial: apart[dial])]


def _apart_from_direct(found: PortTable, at: Sequence[Settings], how: _How) -> list[float]:
    """The most by which the table differs from a simulation of the whole amp, at each of some settings [dB]."""
    cases = [PortCase(*_stand(found, each), (), found.places) for each in at]
    direct = simulate_directly(cases, *how)
    return [_apart_db(one, other) for one, other in zip(found.respond(at), direct, strict=True)]


def _stand(found: PortTable, at: Settings) -> tuple[Amp, dict[str, float | str]]:
    """The amp, and its position, with the dials of a table somewhere."""
    by_name = {part_dial(port.part.designator): port.part.designator for port in found.ports}
    values = {by_name[dial]: value for dial, value in at.items() if dial in by_name}
    knobs = {name: at[knob_dial(name)] for name in found.amp.controls if knob_dial(name) in at}
    return with_values(found.amp, values), {**found.position, **knobs}


def _all_at(ports: Iterable[TurnedPart], end: int) -> dict[str, float]:
    return {dial: port.places_of(dial)[end] for port in ports for dial in port.dials}


def _samples(ports: Sequence[TurnedPart]) -> list[dict[str, float]]:
    """All dials at one end, in the middle, at the other, and each alone at its ends."""
    middle = _all_at(ports, 1)
    owner = {dial: port for port in ports for dial in port.dials}
    alone = [{**middle, dial: port.places_of(dial)[end]} for dial, port in owner.items() for end in (0, 2)]
    return [_all_at(ports, 0), middle, _all_at(ports, 2), *alone]


def _apart_db(one: Complex, other: Complex) -> float:
    """The most by which two responses differ where any is heard [dB]."""
    levels = np.abs(np.stack([one, other]))
    heard = levels.max(axis=0) > _HEARD
    with np.errstate(divide="ignore", invalid="ignore"):
        apart = np.abs(np.log10(levels[0, heard] / levels[1, heard]))
    return float(20.0 * apart.max()) if apart.size else 0.0


def port_script() -> str:
    """`port_tables.js`: functions only, nothing runs by itself and nothing is fetched."""
    return (files(__package__) / "port_tables.js").read_text("utf-8")
