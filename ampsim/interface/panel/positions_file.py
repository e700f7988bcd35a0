"""Positions in a job file: written so that nothing is lost, and read back with every entry checked."""

from __future__ import annotations

import tomllib
from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import Any

from ...base.entries import Entry
from ...base.errors import DescriptionError, nearest, shown
from ...base.files import check_name, printable, read_bounded, write_whole
from ...base.line_ends import decode_lines, with_ends
from ...base.quantities import format_value
from ...base.wording import one_line
from ...circuit.amp import Amp
from ...circuit.values import quantity_of
from ...job.record.merging import MARK, fresh_text
from ...job.record.reading import job_file, parse_record, read_record
from ...job.record.saving import keep_positions
from ...library.files import read_toml
from ...library.kinds import listing
from ...library.loader import FILE
from ...library.toml_lines import with_line
from .simulator import Position

PANEL = "the panel"  # the name under which the panel's own position is kept


def write_positions(
    path: Path,
    positions: Sequence[Position],
    stock: Amp,
    modded: Amp,
    listen_at: str,
    known: Sequence[Position] = (),
) -> None:
    """Put positions into a job file; what else it holds stays as it is. A file that is missing is begun.

    In a job folder they go into its record.

    Parameters
    ----------
    path : Path
        The job's folder, or a job file.
    positions : sequence of Position
        The panel's own, and the held ones.
    stock, modded : Amp
        What the panel shows.
    listen_at : str
        The place listened at, for a file that is begun.
    known : sequence of Position
        Those that the panel read or wrote there last; others found in a record stay as well.

    Raises
    ------
    DescriptionError
        When the file is no job file, or cannot be written (no room left, no permission); the old file then stays.
    """
    if _is_record(path):
        tables = [_table(each, modded) for each in known]
        found = read_record(path).positions
        seen = [each for each in found if _rewritten(each, stock, modded) in tables]
        keep_positions(path, [_table(each, modded) for each in positions], seen, PANEL)
        return
    _refuse_lost_folder(path)
    head, end = _head(path) if path.exists() else (_new_head(path, stock, modded, listen_at), "\n")
    blocks = fresh_text({"positions": [_table(each, modded) for each in positions]} if positions else {}, heading="")
    text = f"{head.rstrip()}\n\n{MARK}\n\n{blocks}"
    tomllib.loads(text)
    write_whole(path, with_ends(text, end))


def read_positions(path: Path, stock: Amp, modded: Amp) -> list[Position]:
    """The positions of a job file, in order.

    Raises
    ------
    DescriptionError
        For a file that cannot be read, and for controls, positions and parts that the amps do not have.
    """
    if not _is_record(path):
        top = Entry(read_toml(path), path.name)
        return [_read(each, stock, modded) for each in top.tables("positions")]
    file = job_file(path)
    data, name = read_bounded(file), printable(file.name)
    top = Entry({"positions": list(parse_record(data, name).positions)}, name)
    try:
        return [_read(each, stock, modded) for each in top.tables("positions")]
    except DescriptionError as problem:
        raise DescriptionError(with_line(str(problem), name, data.decode())) from None


def _is_record(path: Path) -> bool:
    """Whether it is a job folder or the file of one, and no plain job file; a name that cannot be one is refused."""
    check_name(path if "\0" in str(path) else path.resolve())
    return path.is_dir() or (path.is_file() and "format" in read_toml(path))


def _refuse_lost_folder(path: Path) -> None:
    """A folder that was moved or deleted must not come back as a file, nor be made anew somewhere without a word."""
    remedy = "the positions are still on the panel: give another file or folder and save again"
    if not path.parent.is_dir():
        raise DescriptionError(f"{path}: not saved: there is no folder {path.parent}; {remedy}")
    if path.suffix != ".toml":
        raise DescriptionError(
            f"{path}: not saved: there is no such folder (moved or deleted?), and the name of a job file ends in "
            f".toml; {remedy}"
        )


def _rewritten(table: Mapping[str, Any], stock: Amp, modded: Amp) -> dict[str, Any] | None:
    """A position of the record as the panel would write it; None for one that these amps cannot stand at."""
    try:
        return _table(_read(Entry(table, FILE), stock, modded), modded)
    except DescriptionError:
        return None


def _read(entry: Entry, stock: Amp, modded: Amp) -> Position:
    controls = {**stock.controls, **modded.controls}
    at, values = entry.table("at"), entry.table("values")
    settings: dict[str, float | str] = {}
    for name in at.names():
        if name not in controls:
            raise at.fail(name, f"no control {shown(name)} in {modded.name}{nearest(name, controls)}")
        switch = controls[name].kind == "switch"
        settings[name] = at.choice(name, controls[name].positions) if switch else at.number(name, 0.0, 1.0)
    parts = {}
    for name in values.names():
        if not hasattr(modded.part_by_designator.get(name), "value"):
            raise values.fail(name, f"no part with a value {shown(name)}{nearest(name, modded.part_by_designator)}")
        parts[name] = values.value(name, quantity_of(modded, name))
    found = Position(entry.label("name"), settings, parts)
    entry.finish()
    return found


def _head(path: Path) -> tuple[str, str]:
    """The file's own text, without the positions that the panel wrote, and how its lines end."""
    before = read_toml(path)
    text, end = decode_lines(read_bounded(path))
    head = text[: text.index(MARK)] if MARK in text else text
    kept = {name: table for name, table in before.items() if name != "positions"}
    if "amp" not in before or tomllib.loads(head) != kept:
        raise DescriptionError(
            f"{path.name}: not written: it is no job file, or holds entries below the panel's line or positions "
            "above it, which would be lost; choose another file"
        )
    return head, end


def _new_head(path: Path, stock: Amp, modded: Amp, listen_at: str) -> str:
    mods = [_model(mod.file, "mods") for mod in modded.mods if mod.file]
    tables = {"name": one_line(path.stem[:60]), "amp": _model(stock.file, "amps"), "mods": mods}
    return fresh_text({**tables, "listen_at": listen_at}, heading="")


def _model(file: str, folder: str) -> str:
    """How a job names a model: the bare name when it comes with ampsim, else the file beside the job."""
    stem = Path(file).stem
    return stem if stem in listing()[folder] else file


def _table(position: Position, modded: Amp) -> dict[str, Any]:
    values = {name: format_value(value, quantity_of(modded, name)) for name, value in position.values.items()}
    return {"name": one_line(position.name), "at": dict(position.settings)} | ({"values": values} if values else {})
