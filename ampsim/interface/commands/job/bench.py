"""At the bench: volts and sweeps that were measured, and what they say of the amp."""

from __future__ import annotations

import argparse
from pathlib import Path
from typing import TYPE_CHECKING

from ....base.caution import CAUTION
from ....base.errors import DescriptionError, nearest, shown
from ....job.record.data import Phase
from ..common import report, sweep_remarks
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
    from ....circuit.amp import Amp
    from ....circuit.positions import Position
    from ....job.record.data import Measured, Record


def add(steps: Steps) -> None:
    """Add the steps of the bench; readings and sweep come again after the work."""
    steps.group("at the bench, on arrival and again after the work")
    readings = steps.step("readings", "write down measured volts, with the mains and the meter", _readings)
    readings.add_argument("file", type=Path, help="CSV (place; volts) or TOML, with mains and meter where known")
    readings.add_argument("--mains", help="the mains while measuring, such as 231, where the file does not tell")
    mains_option(readings)
    _at_option(readings, "as drawn")
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
    _at_option(sweep, "where the job compares")
    sweep.add_argument("--note", default="", help="how it was measured")
    sweep.add_argument("--fit", action="append", default=[], help="a part whose value to find; up to three")
    to_option(sweep, "the picture", "pictures/sweep-ROUND.png")
    round_option(sweep)


def _at_option(step: argparse.ArgumentParser, default: str) -> None:
    step.add_argument(
        "--at",
        action="append",
        default=[],
        metavar="CONTROL=WHERE",
        help=f"where a control stood, such as gain=0.3 (0 to 1) or bright=120p; repeatable (default: {default})",
    )


def _readings(options: argparse.Namespace) -> None:
    from ....bench.diagnosis.readings import read_readings
    from ....job.record.measurements import keep_readings

    record, found = open_record(options)
    phase = asked_phase(options)
    amp, drawn = found.amp(phase), drawn_mains(options)
    at = dict(_control_position(amp, each) for each in options.at)
    record = keep_readings(record, options.folder, options.file, phase, mains=options.mains, mains_drawn=drawn, at=at)
    names = read_readings(options.file, amp, at).names
    last = record.measured[-1]
    beside = [name for name in names if " " in name]
    print(f"Round {len(record.measured)}, {phase}: {_describe_round(last)}")
    if beside:
        print(f"Between two places, so in the file kept in {MEASUREMENTS} alone: {', '.join(beside)}")
    print(f"Next: ampsim job {'diagnose' if phase == Phase.ARRIVAL else 'proof'} {options.folder}\n\n{CAUTION}")


def _control_position(amp: Amp, text: str) -> tuple[str, float | str]:
    """A control and where it stood, as typed."""
    name, _, where = (part.strip() for part in text.partition("="))
    if name not in amp.controls:
        raise DescriptionError(f"--at: {amp.name} has no control {shown(name)}{nearest(name, amp.controls)}")
    if amp.controls[name].kind == "switch":
        return name, where
    try:
        return name, float(where.replace(",", "."))
    except ValueError:
        raise DescriptionError(f"--at: {shown(text)} does not say where a control stood, such as gain=0.3") from None


def _describe_round(measured: Measured) -> str:
    from ....base.quantities import OHM, format_value
    from ....circuit.positions import position_label

    told = [f"{output_path} {volts:g} V" for output_path, volts in measured.volts]
    told += [f"mains {measured.mains:g} V"] if measured.mains is not None else ["mains not measured"]
    told += [f"{measured.mains_drawn:g} V in the drawing"] if measured.mains_drawn is not None else []
    told += [f"meter {format_value(measured.meter, OHM)}"] if measured.meter is not None else []
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
        raise DescriptionError(f"job.toml: measured: nothing {phase} yet; enter it with: ampsim job readings")
    return rounds[-1]


def _sweep(options: argparse.Namespace) -> None:
    from ....base.tables import text_table
    from ....bench.proof.sweeps import compare_with_drawing, describe_position
    from ....bench.sweeps.compare import difference_table, sweep_findings
    from ....bench.sweeps.fit import fit_parts
    from ....bench.sweeps.measured_sweep import read_sweep
    from ....bench.sweeps.picture import compared_picture
    from ....job.record.measurements import keep_sweep
    from ....pictures.export import save_picture

    record, found = open_record(options)
    phase = asked_phase(options)
    at = open_record_audition(options.folder)[1].compare_at if record.mods else {}
    measured, amp = read_sweep(options.file), found.amp(phase)
    told_at = dict(_control_position(amp, each) for each in options.at)
    at = at | told_at
    compared = compare_with_drawing(amp, at, measured)
    stood = {name: value for name, value in at.items() if name in amp.controls}
    fitted = fit_parts(amp, measured, options.fit, stood) if options.fit else None
    record = keep_sweep(record, options.folder, options.file, phase, options.note, at=told_at)
    path = output_path(options, f"{PICTURES}/sweep-{phase.replace(' ', '-')}.png")
    save_picture(compared_picture(compared, f"Sweep {phase}: measured over simulated"), path)
    told = sweep_remarks(measured)
    where = describe_position(amp, at)
    told += [f"Kept as {record.sweeps[-1].file}; held against {amp.variant} with the controls at: {where}"]
    told += [each.words for each in sweep_findings(compared, amp.variant, where)]
    told += [text_table(difference_table(compared))]
    told += [fitted.words()] if fitted else []
    print("\n\n".join([*told, f"The picture is {path}", CAUTION]))
