"""Everything that is handed over of a job, gathered once: what is there is used, what is missing is worked out."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from pathlib import Path

import pandas as pd

from ... import __version__
from ...base.errors import DescriptionError
from ...base.progress import Progress
from ...bench.proof.rounds import Round
from ...bench.proof.sheet import ProofSheet, proof_of_rounds
from ...bench.proof.sweeps import SweepTaken, compare_with_drawing
from ...bench.sweeps.picture import compared_picture
from ...circuit.source import DRAWN_SOURCE, parse_source
from ...pictures.canvas import Picture
from ...pictures.overlay import overlay_picture
from ...simulation.analyses import FrequencySweep
from ...simulation.ngspice import engine
from ...simulation.response import simulate
from ...studies.audition import changes_table
from ...studies.audition_request import Audition
from ...studies.sheet.sheet import Sheet, consequences, examine
from ...studies.stability.steady import unsteady_positions, unsteady_words
from ...work.cautions.sheet import CautionSheet, caution_sheet
from ...work.parts_list.parts_list import PartsList, parts_list
from ...work.steps.work_plan import WorkPlan, work_steps
from ...work.wiring.readback import wiring
from ..record.data import Record
from ..record.quiet_switches import wishes_quiet_switches
from ..record.words import Phase
from .photos import ShownPhoto, shown_photos
from .sweeps import taken_sweeps, work_over
from .volts import Volts, measured_volts
from .wiring import wiring_drawings, wiring_tables

CHECKED = ("ratings", "stability", "noise", "pop", "spread")


@dataclass(frozen=True)
class Handover:
    """What is handed over.

    `tables` and `drawings` (SVG, as ampsim draws it) come from elsewhere, such as the wiring; `versions` name what
    computed it all; `volts` are the rounds that were measured, `photos` those that the job keeps.
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
    photos: tuple[ShownPhoto, ...] = ()


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
    progress: Progress | None = None,
) -> Handover:
    """Gather what is handed over of a job.

    Parameters
    ----------
    audition : Audition
        Such as `open_audition` gives.
    record : Record
        Whose amp, in which words, what was measured: the latest voltages "after the mod" make the test sheet.
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
    progress : callable
        As in `consequences`.

    Raises
    ------
    DescriptionError, EngineError
        As what is worked out.
    """
    engine.warm_up()
    stock, modded = audition.stock, audition.modded
    compared = simulate([stock, modded], FrequencySweep(), [audition.compare_at], [audition.listen_at])
    drawn = {"overlay": overlay_picture(compared, audition.listen_at, title=audition.compare_title)}
    if unsteady := unsteady_words(unsteady_positions([stock, modded], [audition.compare_at])):
        drawn["overlay"].stamp(["OSCILLATES, not as drawn here:", *unsteady])
    cautions = cautions or caution_sheet(modded)
    checked = sheet or (consequences(examine(stock, modded), topics, progress) if topics else None)
    swept = {phase: taken_sweeps(audition, record, folder, phase) for phase in Phase}
    tested = tested or _proof_sheet(audition, record, swept[Phase.AFTER])
    drawn |= _sweep_pictures(swept, tested)
    versions = {"ampsim": __version__, **engine.versions()}
    return Handover(
        audition,
        changes_table(stock, modded),
        cautions,
        parts or parts_list(stock, modded),
        plan or work_steps(stock, modded, quiet_switches=record is not None and wishes_quiet_switches(record)),
        tested,
        checked,
        record,
        drawn,
        dict(tables if tables is not None else _wiring_tables(audition)),
        dict(drawings if drawings is not None else _schematics(audition)),
        versions,
        measured_volts(audition, record),
        tuple(shown_photos(record.photos, folder)) if record and folder else (),
    )


def proof_of(
    audition: Audition, record: Record | None = None, folder: str | Path | None = None, mains_drawn: float | None = None
) -> ProofSheet:
    """The test sheet of a job: the latest of its voltages and sweeps "after the mod" at each place and position.

    Parameters
    ----------
    audition, record, folder
        As `gather`.
    mains_drawn : float
        Mains that the drawing's volts hold for [V], see `proof_sheet`; as the record says by default.

    Raises
    ------
    DescriptionError, EngineError
        As `proof_sheet` and `taken_sweeps`.
    """
    return _proof_sheet(audition, record, taken_sweeps(audition, record, folder, Phase.AFTER), mains_drawn)


def _proof_sheet(
    audition: Audition, record: Record | None, swept: Sequence[SweepTaken], mains_drawn: float | None = None
) -> ProofSheet:
    return proof_of_rounds(audition.modded, rounds_of(record, mains_drawn), sweeps=swept)


def _sweep_pictures(swept: Mapping[Phase, Sequence[SweepTaken]], tested: ProofSheet) -> dict[str, Picture]:
    """Measured over simulated: as the amp came, after the work, and what the work changed."""
    # The amp may have come with a fault: these are shown, not judged.
    found = {
        each.name: compare_with_drawing(each.amp, each.position, each.measured, each.heard)
        for each in swept[Phase.ARRIVAL]
    }
    found |= {each.name: each.found for each in tested.sweeps}
    changed = work_over(swept[Phase.ARRIVAL], swept[Phase.AFTER])
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


def rounds_of(record: Record | None, mains_drawn: float | None = None, phase: Phase = Phase.AFTER) -> list[Round]:
    """The voltages of a phase as the test sheet takes them, round by round.

    Parameters
    ----------
    record : Record
    mains_drawn : float
        Mains that the drawing's volts hold for [V]. Default: as each round says, else as any other does, for it is a
        matter of the drawing.
    phase : Phase
    """
    rounds = record.rounds(phase) if record else []
    drawn = record.mains_drawn if record else None
    return [
        Round(
            dict(each.volts),
            each.position,
            each.mains,
            next((volts for volts in (mains_drawn, each.mains_drawn, drawn) if volts is not None), None),
            each.meter,
            parse_source(each.source) if each.source else DRAWN_SOURCE,
            str(number),
            each.date,
        )
        for number, each in enumerate(rounds, 1)
    ]
