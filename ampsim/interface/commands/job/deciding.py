"""Deciding what is done: values that meet the owner's wishes, how it sounds, what it does besides."""

from __future__ import annotations

import argparse
from datetime import date
from pathlib import Path
from typing import TYPE_CHECKING

from ....base.errors import DescriptionError, nearest, shown
from ....base.wording import join_words
from ..common import all_option, at_option, report_step, topic_option
from ..compare import SEVERAL, asked_at, hear, show_side_by_side
from ..consequences import print_consequences
from ..find import print_values
from ..hearing import add_listening_options
from .common import PAPERS, PICTURES, Steps, open_record, open_record_audition, output_path, to_option

if TYPE_CHECKING:
    from ....job.record.choosing import Choosing
    from ....job.record.data import Record
    from ....job.record.frozen import Opened
    from ....studies.candidates.comparison import Comparison
    from ....studies.candidates.question import Position, Question
    from ....studies.search.wishes import WishList


def add(steps: Steps) -> None:
    """Add the steps of deciding."""
    steps.group("deciding with the owner")
    find_values = steps.step("find", "part values that meet the wishes of a wish file of the job", _find)
    find_values.add_argument("file", nargs="?", default="", help="which wish file, where several are tied to wishes")
    to_option(find_values, "folder for the pictures", "pictures")
    side = steps.step(
        "compare",
        "candidates for one question side by side; what is chosen becomes a mod of the job",
        _compare,
    )
    side.add_argument("candidate", nargs="+", help="as in ampsim compare; mods of the job go by their names in it")
    at_option(side, "as drawn", SEVERAL)
    side.add_argument("--chosen", help="the candidate that is taken, as the tables call it: frozen as a mod")
    side.add_argument("--note", default="", help="why it was chosen")
    side.add_argument("--hear", action="store_true", help="leave a page to listen to them, blind too, and WAV files")
    add_listening_options(side)
    to_option(side, "folder for picture and sounds", "pictures")
    blind = steps.step("blind", "take in the result of a blind comparison, as a player gave it", _blind)
    blind.add_argument("line", help='the line that the player gave, from "Heard blind:" to its end')
    blind.add_argument("--note", default="", help="who listened, and how")
    audition = steps.step("audition", "stock against modded: tables, and pictures of every view", _audition)
    to_option(audition, "folder for the pictures", "pictures")
    sheet = steps.step("consequences", "what the mods do besides tone, as one HTML file", _consequences)
    topic_option(sheet)
    all_option(sheet)
    to_option(sheet, "the file", "papers/consequences.html")


def _find(options: argparse.Namespace) -> None:
    print_values(_wishes(*open_record(options), options.file), output_path(options, PICTURES))


def _wishes(record: Record, found: Opened, file: str) -> WishList:
    """The wish file of the job that was named, or its only one."""
    known, name = found.wishes, Path(file).name.removesuffix(".toml")
    if not known:
        raise DescriptionError(
            f'{record.file}: wishes: none is tied to a wish file; "take" one in, then "wish ... --file"'
        )
    if not name and len(known) == 1:
        return next(iter(known.values()))
    if name not in known:
        what = shown(file) if file else "which wish file"
        raise DescriptionError(f"{what}: not a wish file that a wish of this job is tied to{nearest(name, known)}")
    return known[name]


def _compare(options: argparse.Namespace) -> None:
    from ....job.record.choosing import weigh_choice
    from ....job.record.reading import read_record

    folder, (asked, positions) = output_path(options, PICTURES), _question(options)
    if options.chosen is not None and options.chosen not in asked.labels:
        known = f"{join_words(asked.labels)}{nearest(options.chosen, asked.labels)}"
        raise DescriptionError(f"--chosen: {shown(options.chosen)} is none of {known}")
    choosing = None
    if options.chosen is not None:
        choosing = weigh_choice(read_record(options.folder), options.folder, asked, options.chosen)
    found = show_side_by_side(asked, positions, folder, pop=False)
    if options.hear:
        hear(asked, options, folder)
    if choosing is not None:
        _keep_choice(options, found, choosing)


def _question(options: argparse.Namespace) -> tuple[Question, list[Position]]:
    """The job's amp, as it is played and listened to there, and the candidates."""
    from ....circuit.plugging import plug_in
    from ....library.candidates import read_candidates
    from ....library.loader import load_mod

    record, found = open_record(options)
    own = dict(zip(record.mods, found.modded.mods, strict=True))
    brought = [each.designator for mod in own.values() for each in (*mod.parts, *mod.switches)]
    source, place = (str(record.audition.get(key, "")) for key in ("source", "listen_at"))
    amp = plug_in(found.stock, source, "source") if source else found.stock
    asked = read_candidates(
        amp, options.candidate, None, place or "speaker", lambda name: own.get(name) or load_mod(name), brought
    )
    return asked_at(asked, options.at)


def _keep_choice(options: argparse.Namespace, found: list[Comparison], choosing: Choosing) -> None:
    from ....circuit.positions import position_label
    from ....job.record.changing import add_entry
    from ....job.record.choosing import choice_reason, take_choice
    from ....job.record.reading import read_record
    from ....job.record.saving import save_record

    places = [position_label(each.question.at) for each in found]
    asked, today = f"{'; '.join(options.candidate)} ({' or '.join(places)})", date.today()
    lines = [
        line if len(found) == 1 else f"{place}: {line}"
        for place, each in zip(places, found, strict=True)
        for line in each.lines
    ]
    table = {"date": today, "asked": asked, "chosen": options.chosen}
    table |= {key: value for key, value in (("note", options.note), ("found", "\n".join(lines))) if value}
    record = add_entry(read_record(options.folder), "choices", table)
    record = take_choice(record, options.folder, choosing, choice_reason(asked, options.note, today))
    save_record(record, options.folder)
    print(f"\nKept in the job: {options.chosen}, with what was found of every candidate")
    print(f"Mods of the job now: {', '.join(choosing.mods) or 'none'}")
    if choosing.out:
        print(f"Out of the job, as candidates that were not chosen: {', '.join(choosing.out)}")


def _blind(options: argparse.Namespace) -> None:
    from ....job.record.blind import keep_blind
    from ....job.record.reading import read_record
    from ....job.record.saving import save_record
    from ....measures.blind import read_line

    found = read_line(options.line)
    save_record(keep_blind(read_record(options.folder), found, options.note), options.folder)
    print(f"Kept in the job: {found.words}")


def _audition(options: argparse.Namespace) -> None:
    from ....studies.audition import audition

    asked = open_record_audition(options.folder)[1]
    print(audition(asked, output_path(options, PICTURES), report_step).text)


def _consequences(options: argparse.Namespace) -> None:
    audition = open_record_audition(options.folder)[1]
    print_consequences(audition, options.topic, output_path(options, f"{PAPERS}/consequences.html"), options.all)
