"""`ampsim check`: what was understood of a file."""

from __future__ import annotations

import argparse
from pathlib import Path

from ...base.errors import DescriptionError
from .common import Commands

PLACE = 100


def add(commands: Commands) -> None:
    """Add "check"."""
    parser = commands.add_parser("check", help="say what was understood of an amp, mod, job or valve file")
    parser.add_argument("file", type=Path)
    parser.set_defaults(command=_check)


def _check(options: argparse.Namespace) -> None:
    print(explain(options.file))


def explain(path: Path) -> str:
    """Say what was understood of an amp, mod, job or valve file, or of a job folder.

    Raises
    ------
    DescriptionError
        For every mistake, naming file, entry, offending value and the nearest valid thing.
    """
    from ...job.record.reading import is_job
    from ...library.files import load_mod, read_toml
    from ...library.overview import describe_mod

    if is_job(path):
        return _job(path)
    data = read_toml(path)
    if "stages" in data:
        return _amp(path)
    if "edits" in data or "switches" in data:
        return describe_mod(load_mod(path))
    if "amp" in data:
        return _audition(path)
    if "law" in data:
        return _valve(path)
    raise DescriptionError(
        f"{path}: neither an amp ([[stages]]), a mod ([[edits]] or [[switches]]), a job (amp = "
        "...) nor a valve (law = ...)"
    )


def _job(path: Path) -> str:
    from ...job.record.frozen import frozen_faults, open_job
    from ...job.record.intake import intake
    from ...job.record.reading import read_record

    record = read_record(path)
    wrong = frozen_faults(record, path)
    return "\n\n".join([str(intake(record, None if wrong else open_job(record, path))), *wrong])


def _amp(path: Path) -> str:
    from ...base.tables import text_table
    from ...library.files import load_amp
    from ...library.overview import describe_amp
    from ...studies.audition import drawn_table

    amp = load_amp(path)
    drawn = drawn_table(amp)
    printed = f"\n\nVoltages on the drawing\n{text_table(drawn)}" if not drawn.empty else ""
    return describe_amp(amp) + printed


def _audition(path: Path) -> str:
    from ...base.tables import text_table
    from ...circuit.build import build_circuit
    from ...library.files import load_audition
    from ...studies.audition import changes_table

    audition = load_audition(path)
    build_circuit(audition.modded)
    changes = text_table(changes_table(audition.stock, audition.modded))
    views = "\n".join(f"  {view.title}: {len(view.positions)} positions" for view in audition.views)
    head = f"{audition.name} ({path.name})\n\nAmp: {audition.stock.name}"
    return f"{head}\n\nWhat the mods do\n{changes}\n\nPictures\n{views}"


def _valve(path: Path) -> str:
    from ...library.files import load_valve

    valve = load_valve(path)
    numbers = ", ".join(f"{name} {value:g}" for name, value in valve.parameters)
    return f"{valve.type}: {valve.family}, {valve.law}\n  {numbers}\n  source: {valve.source}"
