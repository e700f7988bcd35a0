"""Spread and sensitivity: the mod in a hundred amps, beside another set of valves; which parts matter."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import asdict

import pandas as pd
import xarray as xr

from ...base.progress import Progress
from ...circuit.amp import Amp, Socket
from ...circuit.build import build_circuit
from ...circuit.positions import position_label
from ...circuit.valves_in_use import valves_in_use
from ...pictures.canvas import Picture
from ...simulation.analyses import OperatingPoint
from ...simulation.facts import get
from ...simulation.monte_carlo import TOLERANCES, TRANSISTOR_SPREAD, VALVE_SPREAD, spread, valve_swap
from ...simulation.tolerances import Tolerances
from ...simulation.valve_spreads import spreads
from ..agreement import agreement_findings, agreement_of, agreement_words
from ..combinations import combined_labels, where_it_tells
from ..section import Examination, Section
from . import TITLE
from .combined import with_least_change
from .findings import failures, named_by_settings, run_findings, stand_out_findings, stand_out_table
from .measures import LEVEL, rest_table, spread_table, stand_out
from .picture import spread_picture
from .sensitivity import sensitivity
from .sensitivity_picture import sensitivity_picture
from .sensitivity_table import sensitivity_table

COUNT, SEED = 100, 1
_MOST_ROWS = 15
_LEAST_VOLTS = 0.1
_LEVELS = "gain of a run of amps"


def section(examined: Examination, progress: Progress | None = None) -> Section:
    """Build a hundred amps of each variant at every position, swap their valves, and rank the parts."""
    played = with_least_change(examined)
    made = _section(played, progress)
    closer = where_it_tells(played, made.findings)
    return _section(closer, progress) if closer else made


def _section(examined: Examination, progress: Progress | None) -> Section:
    variants = examined.variants
    unknown = sorted({name for amp in variants for name in _unspread(amp)})
    tolerances = Tolerances(valves=0.0) if unknown else Tolerances()
    run = spread(variants, COUNT, SEED, examined.every, tolerances=tolerances, progress=progress)
    run = run.assign_attrs(combined_labels(examined))
    rest = spread(variants[-1], COUNT, SEED, examined.positions[:1], OperatingPoint(), tolerances, progress=progress)
    moved = sensitivity(variants[-1], examined.positions[:1], progress=progress)
    ranked = sensitivity_table(moved)
    tables = {
        _LEVELS: _levels(run),
        f"which parts matter, the first {_MOST_ROWS}": ranked.head(_MOST_ROWS),
        "volts at rest in a run of amps": _rest(rest),
    }
    drawn = {"sensitivity": _bars(ranked, examined)}
    findings, swept = run_findings(run), [run, rest, moved]
    if len(variants) > 1 and not unknown and valves_in_use(examined.stock):
        swap = valve_swap(examined.stock, COUNT, SEED, examined.every, progress=progress)
        rows = stand_out(run, swap)
        named = {str(position): f"spread, {position}" for position in run["position"].values}
        told = named_by_settings(stand_out_findings(rows, variants[-1].variant, named), rows, run)
        told_at = {each.position for each in told} | {position_label(each) for each in examined.positions}
        drawn |= {name: spread_picture(run, swap, position) for position, name in named.items() if position in told_at}
        findings = [*told, *findings, *failures(swap)]
        swept.append(swap)
        tables = {"the mod against a valve swap": stand_out_table(rows), **tables}
    agreement = agreement_of(*swept)
    findings += agreement_findings(agreement, TITLE, variants[-1].variant)
    notes = (*_notes(run, unknown), agreement_words(agreement))
    return Section(TITLE, tuple(findings), tables, drawn, notes, (_LEVELS,))


def _levels(run: xr.Dataset) -> pd.DataFrame:
    """The level alone; the stock amp once where a switch it lacks makes no difference."""
    table = spread_table(run)
    level = table[table["part of the band"] == LEVEL].drop(columns="part of the band")
    return level.drop_duplicates([name for name in level if name != "position"]).reset_index(drop=True)


def _rest(rest: xr.Dataset) -> pd.DataFrame:
    """Places that carry volts."""
    table = rest_table(rest)
    return table[table["as drawn [V]"].abs() > _LEAST_VOLTS].reset_index(drop=True)


def _unspread(amp: Amp) -> Iterator[str]:
    wired = build_circuit(amp)
    parts = (wired.parts.get(element.designator) for element in wired.elements)
    types = {part.type for part in parts if isinstance(part, Socket)}
    return (name for name in types if not spreads(amp.valve_by_type[name]))


def _bars(ranked: pd.DataFrame, examined: Examination) -> Picture:
    amp = examined.modded
    heading = f"{amp.name}, {amp.variant}: which parts matter"
    return sensitivity_picture(ranked, heading, "gain at the loudspeaker, mean from 80 Hz to 6 kHz", _MOST_ROWS)


def _notes(run: xr.Dataset, unknown: list[str]) -> Iterator[str]:
    kinds = asdict(get(run, TOLERANCES))
    shares = ", ".join(
        f"{name} {100.0 * share:g} %" for name, share in kinds.items() if name not in ("valves", "transistors")
    )
    yield (
        f"{run.attrs['count']} amps, seed {run.attrs['seed']}, plain random sampling, the same parts and valves in "
        f"stock and modded. Tolerances: {shares} (electrolytics: from 1 uF); {run.attrs['tolerance_source']}. "
        "Transformers, loudspeaker and supply stay as drawn."
    )
    for kind, source in get(run, TRANSISTOR_SPREAD).items():
        yield f"Spread of the {kind}: {source}. Sorted ones lie closer; measure one before it is fitted."
    if unknown:
        yield (
            f"Valves stay as they are, and the mod is not held against a valve swap: the laws of {', '.join(unknown)} "
            "have no parameters for the spread of bias, mu and gm."
        )
        return
    for kind, source in get(run, VALVE_SPREAD).items():
        yield f"Spread of the {kind}: {source}."
    yield (
        f"Sections of one bottle are alike to {run.attrs['bottle_share']:g} (a guess, no source); output valves are "
        "not matched. Percentiles carry the standard error of so few amps; with 1000 it is a third."
    )
