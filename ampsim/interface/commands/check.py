"""Say what was understood of a file: `ampsim check`."""

from __future__ import annotations

from pathlib import Path

from ...base.errors import DescriptionError
from ...base.tables import text_table
from ...circuit.build import build_circuit
from ...job.record.frozen import changed, open_job
from ...job.record.intake import intake
from ...job.record.reading import is_job, read
from ...library.files import load_amp, load_audition, load_mod, load_valve, read_toml
from ...library.overview import describe_amp, describe_mod
from ...studies.audition import changes_table, drawn_table


def explain(path: Path) -> str:
    """Say what was understood of an amp, mod, job or valve file, or of a job folder.

    Raises
    ------
    DescriptionError
        For every mistake, naming file, entry, offending value and the nearest valid thing.
    """
    if is_job(path):
        record = read(path)
        wrong = changed(record, path)
        return "\n\n".join([str(intake(record, None if wrong else open_job(record, path))), *wrong])
    data = read_toml(path)
    if "stages" in data:
        amp = load_amp(path)
        drawn = drawn_table(amp)
        printed = f"\n\nVoltages on the drawing\n{text_table(drawn)}" if not drawn.empty else ""
        return describe_amp(amp) + printed
    if "edits" in data or "switches" in data:
        return describe_mod(load_mod(path))
    if "amp" in data:
        job = load_audition(path)
        build_circuit(job.modded)
        changes = text_table(changes_table(job.stock, job.modded))
        views = "\n".join(f"  {view.title}: {len(view.positions)} positions" for view in job.views)
        return f"{job.name} ({path.name})\n\nAmp: {job.stock.name}\n\nWhat the mods do\n{changes}\n\nPictures\n{views}"
    if "law" in data:
        valve = load_valve(path)
        numbers = ", ".join(f"{name} {value:g}" for name, value in valve.parameters)
        return f"{valve.type}: {valve.family}, {valve.law}\n  {numbers}\n  source: {valve.source}"
    raise DescriptionError(
        f"{path}: neither an amp ([[stages]]), a mod ([[edits]] or [[switches]]), a job (amp = "
        "...) nor a valve (law = ...)"
    )
