"""Everything that is handed over of a job, gathered once: what is there is used, what is missing is worked out."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

import pandas as pd
import xarray as xr

from ... import __version__
from ...base.errors import DescriptionError
from ...bench.proof.sheet import ProofSheet, proof_sheet
from ...bench.proof.sweeps import compare_with_drawing
from ...bench.sweeps.picture import compared_picture
from ...pictures.canvas import Picture
from ...pictures.overlay import overlay_picture
from ...simulation.analyses import FrequencySweep
from ...simulation.ngspice import engine
from ...simulation.response import simulate
from ...studies.audition import changes_table
from ...studies.audition_request import Audition
from ...studies.sheet.sheet import Sheet, consequences, examine
from ...work.cautions.sheet import CautionSheet, caution_sheet
from ...work.parts_list.parts_list import PartsList, parts_list
from ...work.steps.work_plan import WorkPlan, work_steps
from ...work.wiring.readback import wiring
from ..record.data import Phase, Record
from .sweeps import measured_sweeps, sweep_position, work_over
from .volts import Volts, measured_volts
from .wiring import wiring_drawings, wiring_tables

CHECKED = ("ratings", "stability", "noise", "pop", "spread")


@dataclass(frozen=True)
class Handover:
    """What is handed over.

    `tables` and `drawings` (SVG, as ampsim draws it) come from elsewhere, such as the wiring; `versions` name what
    computed it all; `volts` are the rounds that were measured.
    """

    audition: Audition
    changes: pd.DataFrame = field(hash=False)
    cautions: CautionSheet
    parts: PartsList
    plan: WorkPlan
    proof: ProofSheet
    sheet: Sheet | None = None
    record: Record | None = None
    pictures: Mapping[str, Picture] = field(default_factory=dict, hash=False)
    tables: Mapping[str, Mapping[str, pd.DataFrame]] = field(default_factory=dict, hash=False)
    drawings: Mapping[str, str] = field(default_factory=dict, hash=False)
    versions: Mapping[str, str] = field(default_factory=dict, hash=False)
    volts: tuple[Volts, ...] = ()


def gather_handover(
    audition: Audition,
    record: Record | None = None,
    folder: str | Path | None = None,
    *,
    sheet: Sheet | None = None,
    topics: Sequence[str] = CHECKED,
    cautions: CautionSheet | None = None,
    parts: PartsList | None = None,
    plan: WorkPlan | None = None,
    tested: ProofSheet | None = None,
    tables: Mapping[str, Mapping[str, pd.DataFrame]] | None = None,
    drawings: Mapping[str, str] | None = None,
) -> Handover:
    """Gather what is handed over of a job.

    Parameters
    ----------
    audition : Audition
        Such as `open_audition` gives.
    record : Record
        Whose amp, in which words, what was measured: the last voltages "after the mod" make the test sheet.
    folder : str or Path
        The job's folder, where the sweeps that the record names are.
    sheet : Sheet
        The consequence sheet; worked out when not given.
    topics : sequence of str
        What the sheet is worked out for; it is left out when there are none.
    cautions, parts, plan, tested
        Where they were worked out already.
    tables, drawings : mapping
        What the record shows besides: by heading, title to table; title to SVG text. Default: the wiring and its
        schematic, where they were found.

    Raises
    ------
    DescriptionError, EngineError
        As what is worked out.
    """
    engine.warm_up()
    stock, modded = audition.stock, audition.modded
    compared = simulate([stock, modded], FrequencySweep(), [audition.compare_at], [audition.listen_at])
    drawn = {"overlay": overlay_picture(compared, audition.listen_at, title=audition.compare_title)}
    cautions = cautions or caution_sheet(modded)
    checked = sheet or (consequences(examine(stock, modded), topics) if topics else None)
    swept = measured_sweeps(record, folder)
    tested = tested or _proof_sheet(audition, record, swept)
    drawn |= _sweep_pictures(audition, record, swept, tested)
    versions = {"ampsim": __version__, **engine.versions()}
    return Handover(
        audition,
        changes_table(stock, modded),
        cautions,
        parts or parts_list(stock, modded),
        plan or work_steps(stock, modded),
        tested,
        checked,
        record,
        drawn,
        dict(tables if tables is not None else _wiring_tables(audition)),
        dict(drawings if drawings is not None else _schematics(audition)),
        versions,
        measured_volts(audition, record),
    )


def proof_of(
    audition: Audition, record: Record | None = None, folder: str | Path | None = None, mains_drawn: float | None = None
) -> ProofSheet:
    """The test sheet of a job: its last voltages and its last sweep "after the mod".

    Parameters
    ----------
    audition, record, folder
        As `gather`.
    mains_drawn : float
        Mains that the drawing's volts hold for [V], see `proof_sheet`; as the record says by default.

    Raises
    ------
    DescriptionError, EngineError
        As `proof_sheet` and `measured_sweeps`.
    """
    return _proof_sheet(audition, record, measured_sweeps(record, folder), mains_drawn)


def _proof_sheet(
    audition: Audition, record: Record | None, swept: Mapping[Phase, xr.Dataset], mains_drawn: float | None = None
) -> ProofSheet:
    after = Phase.AFTER
    asked = (
        {f"Sweep {after}": (audition.modded, sweep_position(audition, record, after), swept[after])}
        if after in swept
        else {}
    )
    told = last_voltages(record) | ({} if mains_drawn is None else {"mains_drawn": mains_drawn})
    return proof_sheet(audition.modded, **told, sweeps=asked)


def _sweep_pictures(
    audition: Audition, record: Record | None, swept: Mapping[Phase, xr.Dataset], tested: ProofSheet
) -> dict[str, Picture]:
    """Measured over simulated: as the amp came, after the work, and what the work changed."""
    found = {}
    if (arrival := Phase.ARRIVAL) in swept:
        # The amp may have come with a fault: this one is shown, not judged.
        found[f"Sweep {arrival}"] = compare_with_drawing(
            audition.stock, sweep_position(audition, record, arrival), swept[arrival]
        )
    found |= {each.name: each.found for each in tested.sweeps}
    changed = work_over(audition, swept, record)
    found |= {} if changed is None else {"What the work changed, sweep after less sweep before": changed}
    return {name: compared_picture(each, f"{name}: measured over simulated") for name, each in found.items()}


def _wiring_tables(audition: Audition) -> dict[str, dict[str, pd.DataFrame]]:
    try:
        return {"Wiring": wiring_tables(wiring(audition.modded))}
    except DescriptionError as problem:
        return {"Wiring": {"": pd.DataFrame([(str(problem),)], columns=["no wiring was worked out"])}}


def _schematics(audition: Audition) -> dict[str, str]:
    """None where no wiring was found to draw, which the tables say."""
    try:
        return wiring_drawings(audition.modded)
    except DescriptionError:
        return {}


def last_voltages(record: Record | None, phase: Phase = Phase.AFTER) -> dict[str, Any]:
    """The last voltages of a phase and how they were measured, as `proof` takes them; nothing when there are none."""
    found = record.rounds(phase) if record else []
    if not found:
        return {}
    last = found[-1]
    how = {"meter": last.meter, "mains": last.mains, "mains_drawn": last.mains_drawn, "position": last.position}
    return {"volts": dict(last.volts), **how}
