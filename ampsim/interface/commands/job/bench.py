"""At the bench: volts and sweeps that were measured, and what they say of the amp."""

from __future__ import annotations

import argparse
from pathlib import Path
from typing import TYPE_CHECKING

from ....base.caution import CAUTION_LINE
from ....base.errors import DescriptionError
from ..common import asked_position, at_option, heard_option, report, source_option, sweep_remarks
from .common import (
    MEASUREMENTS,
    PICTURES,
    Steps,
    asked_phase,
    drawn_mains,
    mains_option,
    open_record,
    open_record_audition,
    output_path,
    round_option,
    to_option,
)

if TYPE_CHECKING:
    from ....circuit.positions import Position
    from ....job.record.data import Measured, Record
    from ....job.record.words import Phase


def add(steps: Steps) -> None:
    """Add the steps of the bench; readings and sweep come again after the work."""
    steps.group("at the bench, on arrival and again after the work")
    readings = steps.step("readings", "write down measured volts, with the mains and the meter", _readings)
    readings.add_argument("file", type=Path, help="CSV (place; volts) or TOML, with mains and meter where known")
    readings.add_argument("--mains", help="the mains while measuring, such as 231, where the file does not tell")
    mains_option(readings)
    at_option(readings, "as drawn")
    source_option(readings, "as the file tells, else what the amp file has")
    round_option(readings)
    diagnose = steps.step(
        "diagnose", "drawing, simulated and measured side by side; the likeliest fault; what to measure next", _diagnose
    )
    diagnose.add_argument("file", type=Path, nargs="?", help="readings that are not in the job (default: its last)")
    mains_option(diagnose)
    to_option(diagnose, "the picture", "pictures/volts-ROUND.png")
    round_option(diagnose)
    sweep = steps.step("sweep", "keep a measured sweep (columns, or a WAV recording) and lay it over the amp", _sweep)
    sweep.add_argument("file", type=Path, help='CSV of frequency and dB, or the recording of "ampsim tone"')
    at_option(sweep, "where the job compares")
    source_option(sweep, "what fits best: the guitar of the amp file, or a generator at a jack")
    heard_option(sweep)
    sweep.add_argument("--note", default="", help="how it was measured")
    sweep.add_argument("--fit", action="append", default=[], help="a part whose value to find; up to three")
    to_option(sweep, "the picture", "pictures/sweep-ROUND.png")
    round_option(sweep)


def _readings(options: argparse.Namespace) -> None:
    from ....bench.diagnosis.readings import read_readings
    from ....circuit.plugging import plug_in
    from ....job.record.measurements import keep_readings
    from ....job.record.words import Phase

    record, found = open_record(options)
    phase = asked_phase(options)
    amp, drawn = found.amp(phase), drawn_mains(options)
    amp = plug_in(amp, options.source, "--source") if options.source else amp
    at = asked_position(amp, options.at)
    known = {"mains": options.mains, "mains_drawn": drawn, "at": at, "source": options.source}
    record = keep_readings(record, options.folder, options.file, phase, **known)
    names = read_readings(options.file, amp, at).names
    last = record.measured[-1]
    beside = [name for name in names if " " in name]
    print(f"Round {len(record.measured)}, {phase}: {_describe_round(last)}")
    if beside:
        print(f"Between two places, so in the file kept in {MEASUREMENTS} alone: {', '.join(beside)}")
    print(f"Next: ampsim job {'diagnose' if phase == Phase.ARRIVAL else 'proof'} {options.folder}\n\n{CAUTION_LINE}")


def _describe_round(measured: Measured) -> str:
    from ....base.quantities import OHM, format_value
    from ....circuit.positions import position_label

    told = [f"{output_path} {volts:g} V" for output_path, volts in measured.volts]
    told += [f"mains {measured.mains:g} V"] if measured.mains is not None else ["mains not measured"]
    told += [f"{measured.mains_drawn:g} V in the drawing"] if measured.mains_drawn is not None else []
    told += [f"meter {format_value(measured.meter, OHM)}"] if measured.meter is not None else []
    told += [f"plugged in: {measured.source}"] if measured.source else []
    told += [f"controls at {position_label(measured.position)}"] if measured.at else []
    return ", ".join(told)


def _diagnose(options: argparse.Namespace) -> None:
    from ....bench.diagnosis.picture import volts_picture
    from ....bench.diagnosis.readings import read_readings
    from ....bench.diagnosis.report import diagnose
    from ....job.record.measurements import recorded_readings
    from ....pictures.export import save_picture

    record, found = open_record(options)
    phase = asked_phase(options)
    amp = found.amp(phase)
    drawn = drawn_mains(options)
    if options.file and drawn is not None:
        raise DescriptionError("--mains-drawn: a file of readings tells it itself, in a row mains_drawn")
    at: Position = {}
    if options.file:
        read = read_readings(options.file, amp)
    else:
        last = _last(record, phase)
        if drawn is None and last.mains is not None:
            drawn = last.mains_drawn if last.mains_drawn is not None else record.mains_drawn
        read, at = recorded_readings(last, amp, mains_drawn=drawn), last.position
    told = diagnose(amp, read, at, progress=_progress)
    path = output_path(options, f"{PICTURES}/volts-{phase.replace(' ', '-')}.png")
    save_picture(volts_picture(told.table, f"{amp.name}, {amp.variant}: volts {phase}"), path)
    print(f"{told.text()}\nThe picture is {path}")


def _progress(done: int, total: int, _: str) -> None:
    if done == total:
        report(f"{total} simulations done")


def _last(record: Record, phase: Phase) -> Measured:
    """The last round of a phase."""
    rounds = record.rounds(phase)
    if not rounds:
        raise DescriptionError(f"{record.file}: measured: nothing {phase} yet; enter it with: ampsim job readings")
    return rounds[-1]


def _sweep(options: argparse.Namespace) -> None:
    from ....base.tables import text_table
    from ....bench.proof.sweeps import sweep_proof, take_sweep
    from ....bench.sweeps.compare import difference_table
    from ....bench.sweeps.fit import fit_parts
    from ....bench.sweeps.measured_sweep import read_sweep
    from ....bench.sweeps.picture import compared_picture
    from ....circuit.plugging import plug_in
    from ....job.record.measurements import keep_sweep
    from ....pictures.export import save_picture

    record, found = open_record(options)
    phase = asked_phase(options)
    at = open_record_audition(options.folder)[1].compare_at if record.mods else {}
    measured, amp = read_sweep(options.file), found.amp(phase)
    known = plug_in(amp, options.source, "--source") if options.source else amp
    told_at = asked_position(known, options.at)
    taken = take_sweep("", amp, at | told_at, measured, options.heard, options.source)
    proved = sweep_proof(taken)
    stood = {name: value for name, value in taken.position.items() if name in taken.amp.controls}
    fitted = fit_parts(taken.amp, measured, options.fit, stood, node=taken.heard) if options.fit else None
    before = len(record.sweeps)
    record = keep_sweep(
        record, options.folder, options.file, phase, options.note, at=told_at, source=options.source,
        heard=taken.heard,
    )  # fmt: skip
    path = output_path(options, f"{PICTURES}/sweep-{phase.replace(' ', '-')}.png")
    save_picture(compared_picture(proved.found, f"Sweep {phase}: measured over simulated"), path)
    told = sweep_remarks(measured)
    kept = f"Kept as {record.sweeps[-1].file}" if len(record.sweeps) > before else "The job holds this sweep already"
    told += [f"{kept}; held against {amp.variant}", proved.words]
    told += [] if taken.source_known else ["What a sweep came from is written down with --source"]
    told += [text_table(difference_table(proved.found))]
    told += [fitted.words()] if fitted else []
    print("\n\n".join([*told, f"The picture is {path}", CAUTION_LINE]))
