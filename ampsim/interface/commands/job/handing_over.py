"""Proof and handing over: the test sheet, the shop's record, the owner's page, the apprentices' exercise."""

from __future__ import annotations

import argparse
from typing import TYPE_CHECKING

from ....base.caution import CAUTION_LINE
from ....base.errors import DescriptionError
from ....job.record.words import Phase
from ..common import page_clips, page_options, report, report_counted, report_step
from .common import (
    PAPERS,
    Steps,
    announce,
    drawn_mains,
    job_folder,
    mains_option,
    open_record_audition,
    output_path,
    paper_options,
)

if TYPE_CHECKING:
    from ....bench.proof.sheet import ProofSheet
    from ....job.record.data import Record
    from ....studies.audition_request import Audition


def add(steps: Steps) -> None:
    """Add the steps of proof and handing over."""
    steps.group("proof")
    proof = steps.step("proof", "test sheet: simulated against measured after the work, pass or fail", _proof)
    mains_option(proof)
    steps.group("handing over")
    record = steps.step("record", "the shop's record: HTML, and PDF for A4 or Letter", _record)
    record.add_argument("--topic", action="append", help="of the consequences these topics only, such as ratings")
    record.add_argument("--appendix", action="store_true", help="print the appendix too; the HTML file has it folded")
    mains_option(record)
    paper_options(record, "record")
    page = steps.step("page", "the page for the owner, in their words: HTML, and PDF", _page)
    page_options(page)
    paper_options(page, "page")
    howto = steps.step(
        "howto",
        "what the job taught, to publish: HTML, PDF and Markdown, without owner, serial number and prices",
        _howto,
    )
    howto.add_argument("--list", action="store_true", help="list what would be published, and write nothing")
    howto.add_argument("--yes", action="store_true", help="do not ask before it is written")
    paper_options(howto, "howto")
    exercise = steps.step("exercise", "the job as an exercise for apprentices, the answers withheld", _exercise)
    exercise.add_argument("--answers", action="store_true", help="also write the answers, to a file of their own")
    levels = "1: data and formulas are given; 2: data; 3: the drawings alone (default: 2)"
    exercise.add_argument("--level", type=int, default=2, choices=(1, 2, 3), help=levels)
    exercise.add_argument("--seed", type=int, default=0, help="the same gives the same questions (default: 0)")
    paper_options(exercise, "exercise")


def _proof_sheet(options: argparse.Namespace, record: Record, audition: Audition) -> ProofSheet:
    """The test sheet, the same on the screen and in the record."""
    from ....job.papers.handover import proof_of

    drawn = drawn_mains(options)
    if drawn is not None and not any(each.mains for each in record.rounds(Phase.AFTER)):
        raise DescriptionError("--mains-drawn: the mains was not measured after the mod: there is nothing to compare")
    return proof_of(audition, record, job_folder(options), drawn)


def _proof(options: argparse.Namespace) -> None:
    print(f"{_proof_sheet(options, *open_record_audition(options.folder)).text()}\n{CAUTION_LINE}")


def _record(options: argparse.Namespace) -> None:
    from ....job.papers.handover import CHECKED, gather_handover
    from ....job.papers.shop_record import shop_record

    record, audition = open_record_audition(options.folder)
    path = output_path(options, f"{PAPERS}/record.html")
    report("consequences, test sheet and pictures are worked out")
    tested = _proof_sheet(options, record, audition)
    found = gather_handover(
        audition, record, job_folder(options), topics=options.topic or CHECKED, tested=tested, progress=report_step
    )
    announce("record", shop_record(found, path, options.paper), options.paper, options.appendix)


def _page(options: argparse.Namespace) -> None:
    from ....job.page.photos import PagePhotos
    from ....job.page.wished import wishes_of
    from ....job.papers.owner_page import owner_page

    record, audition = open_record_audition(options.folder)
    path = output_path(options, f"{PAPERS}/page.html")
    clips, photos = page_clips(options, audition), PagePhotos(record, options.folder)
    wishes = wishes_of(record, job_folder(options))
    made = owner_page(audition, record, path, options.control, report_counted, clips, photos, wishes)
    announce("page", made, options.paper)
    for sentence in photos.left_out:
        print(sentence)


def _howto(options: argparse.Namespace) -> None:
    from ....job.howto.content import howto_of
    from ....job.howto.listing import publish_list
    from ....job.howto.public import public_job
    from ....job.howto.write import write_howto
    from ....job.record.reading import read_record

    path = output_path(options, f"{PAPERS}/howto.html")
    job = public_job(read_record(options.folder), options.folder)
    howto = howto_of(job)
    print(f"{publish_list(job, howto, path)}\n")
    if options.list:
        return
    if not options.yes and not _agreed():
        raise DescriptionError("nothing was written; with --yes it is")
    written = write_howto(howto, options.folder, path, options.paper)
    print(f"As Markdown, with its pictures beside it: {written.text}")
    announce("how-to", written.page, options.paper)
    print(f"\n{CAUTION_LINE}")


def _agreed() -> bool:
    """Ask whoever sits at the terminal; where nobody does, nobody agreed."""
    import sys

    if not sys.stdin or not sys.stdin.isatty():
        return False
    return input("Write it? [y/N] ").strip().lower() in ("y", "yes")


def _exercise(options: argparse.Namespace) -> None:
    from ....base.files import write_whole
    from ....job.papers.exercise import exercise

    audition = open_record_audition(options.folder)[1]
    path = output_path(options, f"{PAPERS}/exercise.html")
    found = exercise(audition, level=options.level, seed=options.seed)
    announce("exercise", write_whole(path, found.questions_html(options.paper)), options.paper)
    if options.answers:
        beside = path.with_name(f"{path.stem}-answers{path.suffix}")
        announce("sheet of answers", write_whole(beside, found.answers_html(options.paper)), options.paper)
