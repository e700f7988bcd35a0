"""At any time of a job: telling it, its state, other files taken in, frozen ones accepted, any entry changed."""

from __future__ import annotations

import argparse
from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING, Any

from ....base.errors import DescriptionError, nearest, shown
from ....job.record.words import Status
from .common import Steps, open_record

if TYPE_CHECKING:
    from ....job.record.data import Record

# Kinds of files that a job takes in; `library.kinds` says by what they are known.
_KINDS = ("amp", "mod", "wishes", "drawer")


def add(steps: Steps) -> None:
    """Add the steps that may come at any time."""
    steps.group("at any time")
    steps.step("show", "tell the job: wishes, states, what was seen and measured, what was before", _show)
    state = steps.step("state", "enter the state that the job is in now", _state)
    state.add_argument("state", help=f"one of: {', '.join(Status)}")
    state.add_argument("--note", default="", help="why, or what for")
    freeze_files = steps.step("take", "freeze one more file into the job: a mod, another amp, a drawer, wishes", _take)
    freeze_files.add_argument("file", help="a file, or the name of one that comes with ampsim")
    freeze_files.add_argument("--as", dest="kind", choices=_KINDS, help="what it is, where its name does not tell")
    steps.step("accept", "take the frozen files as they are now, after somebody edited them", _accept)
    change_entry = steps.step("change", "give an entry of the job file another value; the one before is kept", _change)
    change_entry.add_argument("entry", help="such as owner, wishes[2].note, measured[1].volts.V1A.plate, mods")
    change_entry.add_argument("value", nargs="?", help='a text, a number, a date, or as TOML writes it: ["one", "two"]')
    change_entry.add_argument("--take-out", action="store_true", help="take the entry out instead")


def _show(options: argparse.Namespace) -> None:
    from ....job.record.intake import intake
    from ....work.cautions.sheet import caution_sheet

    record, found = open_record(options)
    print(intake(record, found, caution_sheet(found.modded, opened=found.stock).text()))


def _state(options: argparse.Namespace) -> None:
    from ....job.record.changing import enter_status
    from ....job.record.reading import read_record
    from ....job.record.saving import save_record

    record = save_record(enter_status(read_record(options.folder), options.state, note=options.note), options.folder)
    print(f"Job '{record.name}' is now: {record.state}")


def _take(options: argparse.Namespace) -> None:
    from ....job.record.frozen import freeze_files
    from ....job.record.reading import read_record
    from ....job.record.saving import save_record

    record, kind = read_record(options.folder), options.kind or _kind(options.file)
    if kind == "mod":
        record = _with_mod(record, options)
    elif kind == "amp":
        record = _with_amp(record, options)
    elif kind == "wishes":
        record = freeze_files(record, options.folder, wishes=[options.file])
    else:
        record = freeze_files(record, options.folder, drawer=options.file)
    record = save_record(record, options.folder)
    print(f"Taken in as {kind}: {Path(options.file).name}. Frozen now: {', '.join(e.file for e in record.frozen)}")


def _kind(file: str) -> str:
    """What a file is, by its lists; a name, by the folder of models that knows it."""
    from ....library.files import read_toml
    from ....library.kinds import KINDS, listing
    from ....library.mod_names import split_landing

    path, known = Path(split_landing(file)[0]), listing()
    is_file = path.suffix == ".toml" and path.is_file()
    tables = read_toml(path) if is_file else {}
    kinds = [
        kind for kind in _KINDS if (KINDS[kind].fits(tables) if is_file else path.stem in known[KINDS[kind].folder])
    ]
    if len(kinds) == 1:
        return kinds[0]
    if kinds:
        raise DescriptionError(f"{shown(path.name)} may be {' or '.join(kinds)}; say which with --as")
    if is_file:
        wanted = "; ".join(f"{kind}: {' or '.join(f'[[{each}]]' for each in KINDS[kind].markers)}" for kind in _KINDS)
        raise DescriptionError(f"{shown(path.name)}: not a file that a job takes in ({wanted})")
    names = [name for kind in _KINDS for name in known[KINDS[kind].folder]]
    raise DescriptionError(f"{shown(file)}: no such file, and no model has this name{nearest(path.stem, names)}")


def _with_mod(record: Record, options: argparse.Namespace) -> Record:
    """The job with one mod more (or another version of one it has), once all of them were found to go together."""
    from ....circuit.build import build_circuit
    from ....job.record.frozen import freeze_files, open_job
    from ....library.landing import apply_mods
    from ....library.loader import load_mod
    from ....library.mod_names import called

    found = open_job(record, options.folder)
    name = called(options.file)
    others = [mod for each, mod in zip(record.mods, found.modded.mods, strict=True) if each != name]
    build_circuit(apply_mods(found.stock, *others, load_mod(options.file)))
    taken = freeze_files(record, options.folder, mods=[options.file])
    return replace(taken, mods=tuple(dict.fromkeys([*record.mods, *taken.mods])))


def _with_amp(record: Record, options: argparse.Namespace) -> Record:
    """The job with another amp, once its mods were found to go with that one."""
    from ....circuit.build import build_circuit
    from ....job.record.frozen import freeze_files, open_job
    from ....library.landing import apply_mods, check_landings
    from ....library.loader import load_amp

    amp, mods = load_amp(options.file), open_job(record, options.folder).modded.mods
    check_landings(amp, mods)
    build_circuit(apply_mods(amp, *mods))
    return freeze_files(record, options.folder, amp=options.file)


def _accept(options: argparse.Namespace) -> None:
    from ....job.record.frozen import accept_frozen, frozen_faults
    from ....job.record.reading import read_record
    from ....job.record.saving import save_record

    record = read_record(options.folder)
    wrong = frozen_faults(record, options.folder)
    save_record(accept_frozen(record, options.folder), options.folder)
    print("\n".join(["Accepted as it is now:", *wrong] if wrong else ["Every frozen file is as it was."]))


def _change(options: argparse.Namespace) -> None:
    from ....job.record.reading import read_record
    from ....job.record.saving import save_record

    if (options.value is None) is not options.take_out:
        raise DescriptionError(f"{shown(options.entry)}: give either a value or --take-out")
    record = read_record(options.folder)
    made = _change_checked(record, options)
    if made == record:
        print(f"{options.entry} has this value already")
        return
    line = save_record(made, options.folder).history[-1]
    print(f"{line.entry} was: {'nothing' if line.before is None else line.before}")
    print(f"{line.entry} is: {'taken out' if line.after is None else line.after}")


def _change_checked(record: Record, options: argparse.Namespace) -> Record:
    """The record with the entry changed; refused where the job opened before and would not any more."""
    from ....job.record.changing import change_entry

    sound = _fault(record, options) is None
    first: DescriptionError | None = None
    for value in _values(options.value):
        try:
            made = change_entry(record, options.entry, value)
        except DescriptionError as problem:
            first = first or problem
            continue
        fault = _fault(made, options) if sound else None
        if fault is None:
            return made
        first = first or fault
    raise first or DescriptionError(f"{shown(options.entry)}: nothing to change")


def _fault(record: Record, options: argparse.Namespace) -> DescriptionError | None:
    from ....job.record.frozen import open_audition, open_job

    try:
        if record.mods:
            open_audition(record, options.folder)
        else:
            open_job(record, options.folder)
    except DescriptionError as problem:
        return problem
    return None


def _values(text: str | None) -> Iterator[Any]:
    """What a typed value may mean: as TOML would write it, else the text itself."""
    from ....library.files import toml_tables

    if text is None:
        yield None
        return
    try:
        tables = toml_tables(f"value = {text}".encode(errors="replace"), "value")
    except DescriptionError:
        tables = {}
    if list(tables) == ["value"]:
        yield tables["value"]
    yield text
