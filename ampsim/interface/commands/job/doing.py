"""Doing the work: what to buy, how it is wired, in which order."""

from __future__ import annotations

import argparse
from dataclasses import replace
from pathlib import Path

from ....base.caution import CAUTION
from .common import PAPERS, PICTURES, Steps, announce, job_folder, open_record, output_path, paper_options, to_option

_SIZES = "105x74, 105x57, 99x68, 70x37 or 64x38 on A4; 102x51, 102x85 or 67x25 on Letter; page or page Letter"


def add(steps: Steps) -> None:
    """Add the steps of doing."""
    steps.group("doing")
    parts = steps.step("parts", "what to buy, rated for what it carries", _parts)
    parts.add_argument("--to", type=Path, help="also write the list as CSV to this file")
    wiring = steps.step(
        "wiring", "from-to list, contacts of every switch, and the schematic of what is touched", _wiring
    )
    to_option(wiring, "folder for the schematic", "pictures")
    wiring.add_argument("--whole", action="store_true", help="draw the whole amp, not only what the mods touch")
    plan = steps.step("plan", "the plan to work by, with boxes to tick: HTML for a tablet, and PDF", _plan)
    paper_options(plan, "plan")
    drilling = steps.step("drilling", "drilling sheet and strip for the panel, 1:1, as PDF", _drilling)
    to_option(drilling, "the PDF", "papers/drilling.pdf")
    drilling.add_argument("--paper", choices=("A4", "Letter"), default="A4", help="default: A4")
    drilling.add_argument("--bodies", action="store_true", help="list the bodies that a part may have, with sources")
    labels = steps.step("labels", "labels for the amp and for the bag of its old parts, as PDF", _labels)
    to_option(labels, "the PDF", "papers/labels.pdf")
    labels.add_argument("--size", default="105x74", help=f"width by height in mm (default: 105x74): {_SIZES}")
    labels.add_argument("--first", type=int, default=1, help="the first label of the sheet that is still there")
    labels.add_argument("--mark", default="", help="what the shop calls the job (default: the folder's name)")
    labels.add_argument("--owner", action="store_true", help="print the owner's name; else nothing that has it is")
    done = steps.step("done", "tick off steps of the plan: who did them, and how long it took", _done)
    done.add_argument("number", nargs="+", help="which steps, such as 3 5-8")
    done.add_argument("--by", default="", help="who did them")
    done.add_argument("--minutes", type=int, default=0, help="how long they took together")
    done.add_argument("--note", default="", help="what there is to say of them")
    order = steps.step("steps", "the work in a safe order, with what to measure after each step", _steps)
    for each in (plan, done, order):
        each.add_argument("--undo", action="append", default=[], metavar="MOD", help="the way back of this mod alone")


def _parts(options: argparse.Namespace) -> None:
    from ....work.parts_list.parts_list import parts_list

    found = open_record(options)[1]
    listed = parts_list(found.stock, found.modded, drawer=found.drawer)
    print(listed.text())
    if options.to:
        print(f"\nThe list is in {listed.write(options.to)}")


def _wiring(options: argparse.Namespace) -> None:
    from ....job.papers.wiring import wiring_text
    from ....pictures.export import save_picture
    from ....work.schematic.draw import schematic
    from ....work.wiring.readback import wiring

    amp = open_record(options)[1].modded
    told = wiring_text(wiring(amp))
    drawn = save_picture(schematic(amp, options.whole), output_path(options, PICTURES) / "schematic")
    print(f"{told}\n\nThe schematic is {' and '.join(map(str, drawn))}\n\n{CAUTION}")


def _plan(options: argparse.Namespace) -> None:
    from ....job.papers.bench_plan import bench_plan
    from ....job.papers.drilling import drilling_sheet, write_drilling
    from ....job.papers.drilling_request import BESIDE
    from ....work.holes.panel_parts import panel_work

    record, found = open_record(options)
    path = output_path(options, f"{PAPERS}/{'way back' if options.undo else 'plan'}.html")
    made = bench_plan(record, found, options.folder, path, options.paper, options.undo)
    announce("way back" if options.undo else "plan", made, options.paper, appendix=True)
    if not options.undo and panel_work(found.stock, found.modded).parts:
        sheet = drilling_sheet(record, found, job_folder(options))
        print(f"To print at 100 %: {write_drilling(sheet, path.with_name(BESIDE), options.paper)}")
    print(f"\n{CAUTION}")


def _drilling(options: argparse.Namespace) -> None:
    from ....job.papers.drilling import drilling_sheet, write_drilling
    from ....job.papers.drilling_request import BESIDE, FILE, bodies_text, request_text

    if options.bodies:
        print(f"{bodies_text()}\n\n{CAUTION}")
        return
    sheet = drilling_sheet(*open_record(options), job_folder(options))
    if sheet.empty:
        print("This job puts nothing new through the panel: there is nothing to drill")
        return
    path = write_drilling(sheet, output_path(options, f"{PAPERS}/{BESIDE}"), options.paper)
    print(f"The drilling sheet is {path}; print it at 100 % on {options.paper} and measure its rulers")
    print("".join(f"\nToo near: {each}" for each in sheet.near).lstrip("\n") or "Nothing stands too near another")
    if any(each.ours for each in sheet.row):
        print(f"\nWhere holes go is ours so far. Yours, in {FILE} of the job's folder:\n")
        print(request_text(sheet.zero, sheet.row))
    print(f"\n{CAUTION}")


def _labels(options: argparse.Namespace) -> None:
    from ....job.papers.labels import SIZES, job_labels, write_labels

    record, found = open_record(options)
    mark = options.mark or job_folder(options).resolve().name
    labels = job_labels(record, found, mark=mark, with_owner=options.owner)
    path = write_labels(labels, output_path(options, f"{PAPERS}/labels.pdf"), options.size, options.first)
    print(f"The labels are {path}; print them at 100 % on {SIZES[options.size].paper}")
    if labels.left_out:
        print(
            f"Left out, for the owner's name is in it: {', '.join(labels.left_out)} (--owner prints it, --mark another)"
        )
    if labels.bag is None:
        print("No part comes out for good: there is no label for a bag")
    print(f"\n{CAUTION}")


def _done(options: argparse.Namespace) -> None:
    from ....job.papers.bench_plan import job_plan
    from ....job.record.saving import save_record
    from ....job.record.sessions import asked_steps, keep_session, sessions_of

    record, found = open_record(options)
    steps = job_plan(record, found, options.undo).steps
    numbers = asked_steps(steps, options.number)
    known = {"minutes": options.minutes, "by": options.by, "note": options.note}
    record = save_record(keep_session(record, steps, numbers, **known), options.folder)
    stand = zip(steps, sessions_of(record, steps), strict=True)
    left = [n for n, (step, done) in enumerate(stand, 1) if done is None and not step.phase.always_anew]
    print(f"{len(numbers)} step{'s' * (len(numbers) != 1)} ticked off; {len(left)} left")
    if left:
        print(f"Next, once the amp is safe: {left[0]}. {steps[left[0] - 1].do}\n\n{CAUTION}")


def _steps(options: argparse.Namespace) -> None:
    from ....job.papers.drilling_request import drilled_as_asked
    from ....job.record.quiet_switches import wishes_quiet_switches
    from ....work.steps.work_plan import undo_plan, work_steps

    record, found = open_record(options)
    if options.undo:
        print(undo_plan(found.modded, options.undo).text())
        return
    plan = work_steps(found.stock, found.modded, quiet_switches=wishes_quiet_switches(record))
    plan = replace(plan, steps=drilled_as_asked(plan.steps, found, job_folder(options)))
    print(plan.text())
