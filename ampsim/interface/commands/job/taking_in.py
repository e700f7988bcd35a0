"""Taking an amp in: the folder, the owner's wishes, what was seen, the caution sheet."""

from __future__ import annotations

import argparse
from pathlib import Path
from typing import TYPE_CHECKING

from ....base.errors import DescriptionError
from ....job.record.words import Audience
from .common import PICTURES, Steps, day, open_record, output_path, to_option

if TYPE_CHECKING:
    from ....job.record.data import Record
    from ....job.record.frozen import Opened
    from ....work.steps.step import Step


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
    photo.add_argument(
        "--for", dest="shown_to", action="append", default=[], choices=list(Audience),
        help="who sees it besides the shop: the owner, on their page, or everybody, in the how-to; repeatable",
    )  # fmt: skip
    mark = steps.step("mark", "place arrows with designators on a photo: a page to do it on, taken in as a file", _mark)
    mark.add_argument("photo", help="which: its number, or a piece of its file's name")
    mark.add_argument("--take", type=Path, help="the file that the page saved")
    to_option(mark, "the page", "pictures/arrows-PHOTO.html")
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
    from ....job.record.photos import keep_photo, photo_subject
    from ....job.record.saving import save_record

    record, found = open_record(options)
    steps = _steps(record, found) if options.of.strip().startswith("step ") else ()
    of = photo_subject(options.of, found.modded, steps)
    known = {"note": options.note, "shown_to": options.shown_to}
    record = save_record(keep_photo(record, options.folder, options.file, of, **known), options.folder)
    print(f"Photo {len(record.photos)} is kept as {record.photos[-1].file}: {of}")


def _steps(record: Record, found: Opened) -> tuple[Step, ...]:
    """The steps of the plan; a job without a mod has none."""
    from ....job.papers.bench_plan import job_plan

    return job_plan(record, found).steps if record.mods else ()


def _mark(options: argparse.Namespace) -> None:
    from ....job.marks.keeping import find_photo, keep_marks, mark_subjects, placed_on, read_marks_file
    from ....job.marks.page import write_marks_page

    record, found = open_record(options)
    number = find_photo(record, options.photo)
    subjects = mark_subjects(found.modded, _steps(record, found))
    if options.take:
        placed = read_marks_file(options.take, subjects)
        if (there := placed_on(record, number, placed)) != number:
            raise DescriptionError(f"{options.take}: these arrows were placed on photo {there}, not on photo {number}")
        photo = keep_marks(options.folder, number, placed).photos[number - 1]
        print(f"Photo {number} has {len(photo.marks)} arrow{'s' * (len(photo.marks) != 1)} now: {photo.of}")
        return
    path = output_path(options, f"{PICTURES}/arrows-{record.photos[number - 1].sha256[:8]}.html")
    page = write_marks_page(record, number, options.folder, subjects, path)
    print(f"The page to place arrows on is {page}; open it in any browser, also on a tablet.")
    print(f"Then: ampsim job mark {options.folder} {number} --take FILE")


def _cautions(options: argparse.Namespace) -> None:
    from ....work.cautions.sheet import caution_sheet

    found = open_record(options)[1]
    print(caution_sheet(found.modded, opened=found.stock).text())
