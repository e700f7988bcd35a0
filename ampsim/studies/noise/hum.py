"""Hum at the output: ripple of the supply by the node it comes from, and leakage from the heaters."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
import xarray as xr
from numpy.typing import NDArray

from ...base.progress import Progress, part_of
from ...circuit.amp import Amp
from ...circuit.build import SPEAKER
from ...circuit.positions import Position
from ...simulation.agreement import SWEPT_LIMIT
from ...simulation.analyses import RippleSweep
from ...simulation.facts import Fact, put
from ...simulation.request import answers, request
from ...simulation.response import provenance
from .hum_plan import ASSUMED, HARMONICS, Found, Mains, Plan
from .hum_solved import heard_by_solver

_FEWEST = 3  # of fewer, ngspice alone is as quick as a check


@dataclass(frozen=True)
class Solvers:
    """How many amps at positions our own solver answered, of how many, and how far [ratio] ngspice's is from one."""

    solved: int
    of: int
    apart: float


SOLVERS = Fact("solvers", Solvers)
"""Who answered; beyond `SWEPT_LIMIT` every answer is ngspice's."""


def hum_spectrum(
    amps: Amp | Sequence[Amp],
    positions: Iterable[Position] = ({},),
    mains: Mains | None = None,
    output: str = SPEAKER,
    progress: Progress | None = None,
) -> xr.Dataset:
    """Hum at the output of one or more variants over positions of their controls, with the input silent.

    Ripple enters at every supply node by itself, heater leakage at every cathode.

    Parameters
    ----------
    amps : Amp or sequence of Amp
    positions : iterable of mapping
        As in `simulate`.
    mains : Mains
        What is assumed.
    output : str
        Where to listen; default the loudspeaker's terminals.
    progress : callable
        Called with (done, total).

    Returns
    -------
    xarray.Dataset
        `hum` [V rms], complex, dims (variant, position, frequency), at ten multiples of twice the mains frequency;
        `contribution`, the same by the supply node (`rail`) it comes from, and `ripple` at these nodes; contributions
        add up, with their phases. `heater` [V rms] dims (variant, position, valve), at the mains frequency. Of each
        `supply` with a reservoir: its current `drawn` [A] at rest and its `swing` [V peak to peak].

    Raises
    ------
    DescriptionError
        For unknown controls, positions or places.
    EngineError
        When ngspice gives no trustworthy answer, or the contributions do not add up to what comes straight from the
        ripple of the reservoirs.

    Notes
    -----
    The ripple of a supply from the mains is that of `supplies_at_rest`. Of a given rail it is an estimate: full-
    wave rectifier, capacitance C that feeds the current I at rest for a whole half period, so a sawtooth of I / (2
    f C) peak to peak (rectifier theory, from memory; it is a little too much); harmonic n of a sawtooth has 1/(pi
    n) of that as its peak. From the reservoir on the amp itself filters it. The contribution of a node is its
    ripple times the gain from there to the output with every supply node held by an ideal source (superposition). A
    rail drawn as a source without a reservoir is taken as smooth.
    """
    asked = request(amps, positions)
    plans = [Plan(case, mains or Mains(), output) for case in asked.cases]
    solved = heard_by_solver(plans) if len(plans) >= _FEWEST else [None] * len(plans)
    sample = len(plans) - len(asked.positions)
    asks = [place for place, each in enumerate(solved) if each is None or place == sample]
    runs = _Runs([plans[place] for place in asks], progress)
    found = {place: plans[place].hum(heard) for place, heard in zip(asks, runs.heard, strict=True)}
    ours = {place: plans[place].hum(heard) for place, heard in enumerate(solved) if heard is not None}
    apart = _apart(ours[sample], found[sample]) if sample in ours else 0.0
    if apart <= SWEPT_LIMIT:
        found |= ours
    elif ours:
        runs = _Runs(plans, progress)
        found = {place: plan.hum(heard) for place, (plan, heard) in enumerate(zip(plans, runs.heard, strict=True))}
    facts = provenance(asked.variants, RippleSweep(), runs.netlists, runs.answers)
    facts |= {"output": output, **put(ASSUMED, plans[0].mains), "pair": ", ".join(plans[0].apart)}
    facts |= put(SOLVERS, Solvers(len(ours), len(plans), apart))
    each = [found[place] for place in range(len(plans))]
    return _dataset(each, asked.shape, plans[0].frequency).assign_coords(asked.coords()).assign_attrs(facts)


class _Runs:
    """What ngspice says of plans."""

    def __init__(self, plans: Sequence[Plan], progress: Progress | None) -> None:
        steps, cases = sum(plan.runs for plan in plans), [plan.case for plan in plans]
        rest = [plan.at_rest() for plan in plans]
        resting = answers(cases, rest, progress=part_of(progress, 0, steps))
        runs = [plan.sweeps(answer) for plan, answer in zip(plans, resting, strict=True)]
        flat = [netlist for group in runs for netlist in group]
        whose = [case for case, group in zip(cases, runs, strict=True) for _ in group]
        swept = answers(whose, flat, progress=part_of(progress, len(plans), steps))
        left = iter(swept)
        self.netlists, self.answers = [*rest, *flat], [*resting, *swept]
        self.heard = [plan.heard(answer, [next(left) for _ in group])
                      for plan, answer, group in zip(plans, resting, runs, strict=True)]  # fmt: skip


def _apart(ours: Found, theirs: Found) -> float:
    """How far [ratio] the hum of two solvers is apart, as a share of the loudest harmonic and of the worst heater."""
    volts = np.abs(theirs.hum).max(initial=0.0)
    rows = [(np.abs(ours.hum - theirs.hum).max(initial=0.0), volts)]
    heaters = np.array([[ours.heater[name], each] for name, each in theirs.heater.items()]).reshape(-1, 2)
    rows.append((np.abs(heaters[:, 0] - heaters[:, 1]).max(initial=0.0), heaters[:, 1].max(initial=0.0)))
    return float(max(difference / whole if whole else 0.0 for difference, whole in rows))


def _dataset(found: Sequence[Found], shape: tuple[int, int], frequency: NDArray[Any]) -> xr.Dataset:
    dims, volts = ("variant", "position"), {"units": "V"}

    def table(kind: str, dim: str, units: str) -> tuple[list[str], Any]:
        rows = [getattr(each, kind) for each in found]
        labels = list(dict.fromkeys(name for row in rows for name, value in row.items() if np.any(value)))
        blank: Any = np.zeros(HARMONICS, complex) if dim == "rail" else 0.0
        values = np.array([[row.get(name, blank) for name in labels] for row in rows])
        values = values.reshape(*shape, len(labels), *(() if dim != "rail" else (HARMONICS,)))
        return labels, ((*dims, dim, *(("frequency",) if dim == "rail" else ())), values, {"units": units})

    rails, shares = table("contribution", "rail", "V")
    valves, heater = table("heater", "valve", "V")
    supplies, drawn = table("drawn", "supply", "A")
    swing = np.array([[each.swing[name] for name in supplies] for each in found]).reshape(*shape, len(supplies))
    ripple = np.array([[each.ripple.get(name, np.zeros(HARMONICS)) for name in rails] for each in found])
    hum = np.array([each.hum for each in found]).reshape(*shape, HARMONICS)
    data = {
        "hum": ((*dims, "frequency"), hum, volts),
        "contribution": shares,
        "ripple": ((*dims, "rail", "frequency"), ripple.reshape(*shape, len(rails), HARMONICS), volts),
        "heater": heater,
        "drawn": drawn,
        "swing": ((*dims, "supply"), swing, volts),
    }
    axis = ("frequency", frequency, {"units": "Hz"})
    return xr.Dataset(data, {"rail": rails, "valve": valves, "supply": supplies, "frequency": axis})
