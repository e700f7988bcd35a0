"""Taking an amp in: the folder, the owner's wishes, what was seen, the caution sheet."""

from __future__ import annotations

import argparse

from .common import Steps, day, open_record


def add(steps: Steps) -> None:
    """Add the steps of taking in."""
    steps.group("taking in")
    begin_job = steps.step("begin", "take an amp in: make the folder and freeze its files into it", _begin)
    begin_job.add_argument("--amp", required=True, help="an amp file or the name of one")
    begin_job.add_argument("--mod", action="append", default=[], help="a mod file or name; repeatable")
    begin_job.add_argument("--name", default="", help="what the job is called, over its papers (default: the amp)")
    begin_job.add_argument("--owner", default="", help="what the owner is called")
    begin_job.add_argument("--serial", default="", help="the amp's serial number")
    begin_job.add_argument("--promised", type=day, help="the day it is promised for, such as 2027-03-01")
    begin_job.add_argument("--words", default="", help="what the owner asks for, in their words")
    add_wish = steps.step("wish", "write down one wish of the owner, and what answers it", _wish)
    add_wish.add_argument("words", help="in the owner's words")
    add_wish.add_argument("--file", default="", help="a wish file of the job that answers it (see take)")
    add_wish.add_argument("--entry", type=int, default=0, help="which wish of that file, from 1")
    add_wish.add_argument("--note", default="", help="what is done about it")
    note = steps.step("note", "write down what was seen, heard or smelt as the amp came", _note)
    note.add_argument("words")
    photo = steps.step("photo", "keep a photo, as it is, and what it shows; the plan and the record show it", _photo)
    photo.add_argument("file", help="JPEG, PNG or WebP")
    photo.add_argument("--of", required=True, help='a part (R4, V1A), "on arrival", "after the mod", or "step 7"')
    photo.add_argument("--note", default="", help="what there is to say of it")
    steps.step("cautions", "stored charge, bleeders and cautions of this amp, before it is opened", _cautions)


def _begin(options: argparse.Namespace) -> None:
    from ....circuit.build import build_circuit
    from ....job.record.beginning import begin_job
    from ....library.landing import apply_mods
    from ....library.loader import load_amp, load_mod

    # What cannot be wired is refused before there is a folder.
    build_circuit(apply_mods(load_amp(options.amp), *(load_mod(each) for each in options.mod)))
    called = {"name": options.name, "owner": options.owner, "words": options.words, "serial": options.serial}
    record = begin_job(options.folder, options.amp, options.mod, promised=options.promised, **called)
    print(f"Job '{record.name}' is in {options.folder}; look at the caution sheet before anything is opened:\n")
    _cautions(options)


def _wish(options: argparse.Namespace) -> None:
    from ....job.record.changing import add_wish
    from ....job.record.reading import read_record
    from ....job.record.saving import save_record

    record = add_wish(read_record(options.folder), options.words, options.file, options.entry, options.note)
    record = save_record(record, options.folder)
    print(f"Wish {len(record.wishes)}: {record.wishes[-1].words}")


def _note(options: argparse.Namespace) -> None:
    import datetime

    from ....job.record.changing import add_entry
    from ....job.record.reading import read_record
    from ....job.record.saving import save_record

    noted = {"date": datetime.date.today(), "note": options.words}
    record = save_record(add_entry(read_record(options.folder), "arrival", noted), options.folder)
    print(f"Noted: {record.arrival[-1].note}")


def _photo(options: argparse.Namespace) -> None:
    from ....job.papers.bench_plan import job_plan
    from ....job.record.photos import keep_photo, photo_subject
    from ....job.record.saving import save_record

    record, found = open_record(options)
    steps = job_plan(record, found).steps if options.of.strip().startswith("step ") else ()
    of = photo_subject(options.of, found.modded, steps)
    record = save_record(keep_photo(record, options.folder, options.file, of, note=options.note), options.folder)
    print(f"Kept as {record.photos[-1].file}: {of}")


def _cautions(options: argparse.Namespace) -> None:
    from ....work.cautions.sheet import caution_sheet

    print(caution_sheet(open_record(options)[1].modded).text())
