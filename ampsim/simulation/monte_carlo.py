"""What a whole run of amps would do: the same drawing built many times, each with other parts and other valves."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

import numpy as np
import xarray as xr

from ..base.errors import DescriptionError, EngineError, shown
from ..base.progress import Progress, quiet
from ..circuit.amp import Amp, Socket
from ..circuit.build import SPEAKER, Circuit, build_circuit
from ..circuit.positions import Position, control_coords, position_label
from ..circuit.semiconductors.device import Device
from ..circuit.signal_path import listening_points
from . import batch
from .agreement import AGREEMENT
from .analyses import Analysis, FrequencySweep, OperatingPoint
from .batch import Executor, Tally
from .facts import Fact, put
from .netlist import Netlist
from .ngspice.engine import Outcome
from .request import Case, Request, request
from .response import provenance
from .swept import Answered, Lot, Sockets, answer_lots, by_ngspice
from .tolerances import (
    BOTTLE_SHARE,
    TOLERANCE_SOURCE,
    VALVE_SWAP,
    Tolerances,
    part_factors,
    slots,
    sockets_of,
    valve_draws,
)
from .transistor_draws import device_sources, transistor_draws
from .valve_spreads import spread_of

_MOST = 100_000
TOLERANCES = Fact("tolerances", Tolerances)
"""The tolerances that parts and valves were drawn with."""
VALVE_SPREAD = Fact("valve_spread", dict[str, str])
"""What the spread of each valve type rests on; the text "none" where valves stay as they are."""
TRANSISTOR_SPREAD = Fact("transistor_spread", dict[str, str])
"""What the spread of each transistor type is; empty where they stay as they are."""
SWEEP = FrequencySweep(per_decade=15)


def spread(
    amps: Amp | Sequence[Amp],
    count: int = 200,
    seed: int = 0,
    positions: Iterable[Position] = ({},),
    analysis: FrequencySweep | OperatingPoint | None = None,
    tolerances: Tolerances | None = None,
    nodes: Sequence[str] | None = None,
    *,
    folder: str | Path | None = None,
    executor: Executor | None = None,
    workers: int | None = None,
    progress: Progress | None = None,
    tally: Callable[[Tally], object] | None = None,
) -> xr.Dataset:
    """Simulate `count` amps of one drawing, each with its own parts and valves: plain random sampling.

    Amp k of a seed has the same parts and valves in every variant and at every position, and does not depend on
    `count`, so differences between variants are paired. A percentile of n amps is known to about
    sqrt(p (1 - p) / n) over the density there: for 5 and 95 % of a normal spread 0.15 standard deviations with 200
    amps, 0.07 with 1000.

    Parameters
    ----------
    amps : Amp or sequence of Amp
        Variants of one drawing, such as stock and modded.
    count : int
        How many amps, at most 100,000.
    seed : int
        Names the run of amps; the same seed gives the same amps.
    positions : iterable of mapping
        As `simulate`.
    analysis : FrequencySweep or OperatingPoint
        Default: 20 Hz to 20 kHz, 15 points a decade.
    tolerances : Tolerances
        Default: `Tolerances()`; `scatter.VALVE_SWAP` changes the valves alone.
    nodes : sequence of str
        Places to listen at; default the loudspeaker, for an operating point every stage's output and every valve pin.
    folder, executor, workers, progress, tally
        As `batch.run`: where finished work is kept, and who does it. With a folder, an executor or a tally ngspice does
        all of it; else our own solver does, and ngspice a sample (`swept`).

    Returns
    -------
    xarray.Dataset
        `voltage` [V] with dims (variant, position, sample, node[, frequency]), NaN where a simulation failed (their
        number is in ``attrs["failed"]``), and `nominal` [V], the amp as drawn, without sample.

    Raises
    ------
    DescriptionError
        For unknown controls, positions or places, a valve whose law cannot be spread, or another analysis.
    EngineError
        When an amp as drawn gives no trustworthy answer, or no amp does.
    """
    asked = request(amps, positions)
    analysis = analysis or SWEEP
    if not isinstance(analysis, (FrequencySweep, OperatingPoint)) or not 1 <= count <= _MOST:
        raise DescriptionError(f"a spread of {shown(count)} amps: 1 to {_MOST:,} of a sweep or an operating point")
    places = tuple(nodes) if nodes is not None else _places(asked.variants[0], analysis)
    run = _Run(analysis, places, count, seed, tolerances or Tolerances())
    lots = run.lots(asked.cases)

    def ngspice(netlists: Iterable[Netlist], number: int) -> list[Outcome]:
        fresh, told = (each.with_fresh_load() for each in netlists), quiet if number < batch.CHUNK else progress
        return batch.run(
            fresh, folder=folder, executor=executor, workers=workers, progress=told, total=number, tally=tally
        )

    elsewhere = folder is not None or executor is not None or tally is not None
    found = by_ngspice(lots, ngspice) if elsewhere else answer_lots(lots, ngspice, progress=progress)
    return run.dataset(asked, found)


def valve_swap(stock: Amp, count: int, seed: int = 0, positions: Iterable[Position] = ({},), **more: Any) -> xr.Dataset:
    """What other valves alone do in the stock amp: `spread` with `scatter.VALVE_SWAP`, every part as drawn.

    Parameters
    ----------
    stock : Amp
    count : int
        How many sets of valves.
    seed : int
        The same seed draws the same valves.
    positions : iterable of mapping
        They may name controls that only a modded amp has: the stock amp is the same at all of those.
    **more
        Further arguments of `spread`.
    """
    wanted = [dict(position) for position in positions]
    own = [{name: value for name, value in each.items() if name in stock.controls} for each in wanted]
    distinct = [each for place, each in enumerate(own) if each not in own[:place]]
    found = spread(stock, count, seed, distinct, tolerances=VALVE_SWAP, **more)
    bare = found.drop_vars([name for name, coord in found.coords.items() if coord.dims == ("position",)])
    repeated = bare.isel(position=[distinct.index(each) for each in own])
    return repeated.assign_coords({"position": list(map(position_label, wanted)), **control_coords(wanted)})


def _places(amp: Amp, analysis: Analysis) -> tuple[str, ...]:
    if not isinstance(analysis, OperatingPoint):
        return (SPEAKER,)
    wired = build_circuit(amp)
    pins = (f"{e.designator}.{pin}" for e in wired.elements if e.kind == "valve" for pin, _ in e.pins)
    return tuple(dict.fromkeys((*listening_points(amp).values(), *pins)))


@dataclass
class _Run:
    """One run of amps: what is asked of each, and the digests of what was asked."""

    analysis: FrequencySweep | OperatingPoint
    places: tuple[str, ...]
    count: int
    seed: int
    tolerances: Tolerances
    _very: dict[object, tuple[Sockets, ...]] = field(default_factory=dict)

    def lots(self, cases: Iterable[Case]) -> list[Lot]:
        """For each variant and position the amp as drawn, then every amp of the run; equal ones are one lot."""
        known: dict[object, Lot] = {}
        found = []
        for case in cases:
            key = (case.amp.variant, *case.setting.items())
            if key not in known:
                known[key] = self._lot(case.wired, case.setting)
            found.append(known[key])
        return found

    def _lot(self, wired: Circuit, setting: Mapping[str, float | str]) -> Lot:
        factors = part_factors(wired, self.count, self.seed, self.tolerances)
        by_name = {name: np.concatenate([[1.0], factors[owner]]) for name, owner in slots(wired).items()
                   if owner in factors}  # fmt: skip
        about = (self.seed, self.count, self.tolerances)
        return Lot(wired, setting, self.analysis, self.places, ({}, *self._sockets(wired)), by_name, about)

    def _sockets(self, wired: Circuit) -> tuple[Sockets, ...]:
        """The very valves and transistors of each amp; the same at every position."""
        active = [each for each in wired.parts.values() if isinstance(each, (Socket, Device))]
        key = tuple((each.designator, each.type) for each in active)
        if key not in self._very:
            draws = valve_draws(wired, self.count, self.seed, self.tolerances)
            devices = transistor_draws(wired, self.count, self.seed, self.tolerances)
            self._very[key] = tuple(
                sockets_of(wired, draws, number) | {name: each[number] for name, each in devices.items()}
                for number in range(self.count)
            )
        return self._very[key]

    def dataset(self, asked: Request, found: Answered) -> xr.Dataset:
        """Label the answers.

        Raises
        ------
        EngineError
            When an amp as drawn has no answer, or none but those.
        """
        axis = {} if isinstance(self.analysis, OperatingPoint) else {"frequency": self.analysis.grid()}
        for number, case in enumerate(asked.cases):
            if (number, 0) in found.failures:
                case.arrays(found.failures[number, 0])
        shape = (*asked.shape, self.count + 1, len(self.places), *(grid.size for grid in axis.values()))
        voltage = np.stack(found.values).reshape(shape)
        dims = ("variant", "position", "sample", "node", *axis)
        coords = asked.coords() | {"sample": np.arange(self.count), "node": list(self.places)}
        coords |= {name: (name, grid, {"units": "Hz"}) for name, grid in axis.items()}
        data = {
            "voltage": (dims, voltage[:, :, 1:], {"units": "V"}),
            "nominal": ((*dims[:2], *dims[3:]), voltage[:, :, 0], {"units": "V"}),
        }
        return xr.Dataset(data, coords, self._attributes(asked, found))

    def _attributes(self, asked: Request, found: Answered) -> dict[str, Any]:
        variants, failures = asked.variants, [str(each) for each in found.failures.values()]
        if len(failures) >= self.count * len(asked.cases):
            raise EngineError(f"none of {self.count} amps gave an answer: {failures[0]}")
        facts = provenance(variants, self.analysis, [], [found]) | {"netlists_sha256": found.digest}
        facts |= {"seed": self.seed, "count": self.count, "failed": len(failures), "sampling": "plain random"}
        facts |= put(TOLERANCES, self.tolerances) | {"tolerance_source": TOLERANCE_SOURCE}
        facts |= put(VALVE_SPREAD, _spreads(variants)) if self.tolerances.valves else {VALVE_SPREAD.name: "none"}
        facts |= put(TRANSISTOR_SPREAD, _device_sources(variants, self.tolerances)) | put(AGREEMENT, found.agreement)
        return facts | {"bottle_share": BOTTLE_SHARE, "first_failure": failures[0] if failures else ""}


def _device_sources(variants: list[Amp], tolerances: Tolerances) -> dict[str, str]:
    wired = [build_circuit(amp) for amp in variants] if tolerances.transistors else []
    return {kind: words for each in wired for kind, words in device_sources(each).items()}


def _spreads(variants: list[Amp]) -> dict[str, str]:
    """What the spread of each valve type rests on."""
    found = {}
    for amp in variants:
        wired = build_circuit(amp)
        for element in wired.elements:
            part = wired.parts.get(element.designator)
            if isinstance(part, Socket):
                spread_ = spread_of(amp.valve_by_type[part.type])
                found[part.type] = f"{spread_.basis}: {spread_.source}"
    return found
