"""The plan to work by: what is needed, the drawing, every step with its readings and a box to tick."""

from __future__ import annotations

import hashlib
import shlex
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from importlib.resources import files
from itertools import groupby
from pathlib import Path

import pandas as pd
from markupsafe import Markup

from ...base.errors import DescriptionError
from ...base.files import write_whole
from ...base.html import script_digests
from ...base.wording import plain, with_capitals
from ...circuit.amp import Amp
from ...circuit.mods import without_mods
from ...work.holes.panel_parts import panel_work
from ...work.new_parts import new_mods
from ...work.parts_list.parts_list import parts_list
from ...work.steps.mounted import said_once
from ...work.steps.step import Phase, Step
from ...work.steps.way_back import back_steps
from ...work.steps.work_plan import WorkPlan, undo_plan, work_steps
from ...work.wiring.readback import wiring
from ..record.data import Photo, Record, Session
from ..record.frozen import Opened
from ..record.quiet_switches import wishes_quiet_switches
from ..record.sessions import sessions_of
from .drilling_request import BESIDE, drilled_as_asked
from .html import data_url, drawing_words, paper_html
from .photos import ShownPhoto, shown_photos
from .shop_tables import fitted_parts, part_words
from .wiring import wiring_drawings, wiring_tables


@dataclass(frozen=True)
class PlanStep:
    """A step as the plan shows it: its number, what to do, what to read, and the session in which it was done."""

    number: int
    step: Step
    done: Session | None
    photos: list[ShownPhoto]

    @property
    def done_words(self) -> str:
        """When it was done, by whom; "" while it is not."""
        if self.done is None:
            return ""
        return ", ".join(filter(None, [f"done {self.done.date}", self.done.by]))


def job_plan(record: Record, found: Opened, undo: Sequence[str] = ()) -> WorkPlan:
    """The steps of a job, as its plan and the command that ticks them off count them.

    Parameters
    ----------
    record : Record
    found : Opened
    undo : sequence of str
        Mods whose way back it is; none for the way there.

    Raises
    ------
    DescriptionError
        When the job has no mod, or not this one.
    """
    if undo:
        return undo_plan(found.modded, undo)
    return work_steps(found.stock, found.modded, quiet_switches=wishes_quiet_switches(record))


def bench_plan(
    record: Record, found: Opened, folder: str | Path, path: str | Path, paper: str = "A4", undo: Sequence[str] = ()
) -> Path:
    """Write the plan of a job as one HTML file.

    Parameters
    ----------
    record : Record
    found : Opened
        What `open_job` gives.
    folder : str or Path
        The job's folder, where its photos are.
    path : str or Path
        The file.
    paper : str
        "A4" or "Letter".
    undo : sequence of str
        Mods whose way back it is; none for the way there.

    Raises
    ------
    DescriptionError
        When the job has no mod, or the file cannot be written; an older one then stays as it was.
    """
    return write_whole(Path(path), bench_plan_html(record, found, folder, paper, undo))


def bench_plan_html(
    record: Record, found: Opened, folder: str | Path, paper: str = "A4", undo: Sequence[str] = ()
) -> str:
    """The whole file, from the same as `bench_plan`.

    Boxes that are ticked on a screen stay ticked there, and the page says how the job takes them in.

    Parameters
    ----------
    record, found, folder, paper, undo
        As those of `bench_plan`.
    """
    plan = job_plan(record, found, undo)
    if not undo:
        plan = replace(plan, steps=drilled_as_asked(plan.steps, found, folder))
    done = sessions_of(record, plan.steps)
    steps = [
        PlanStep(number, step, done[number - 1], shown_photos(_of_step(record, step), folder, beside=True))
        for number, step in enumerate(plan.steps, 1)
    ]
    at_steps = {photo for step in plan.steps for photo in _of_step(record, step)}
    left = sum(each.done is None and not each.step.phase.always_anew for each in steps)
    script = (files(__package__) / "bench_plan.js").read_text("utf-8")
    owner = f", for {record.owner}" if record.owner and record.owner not in record.name else ""
    stays = without_mods(found.modded, undo) if undo else found.modded
    parts = parts_list(found.stock, stays, drawer=found.drawer) if stays.mods else None
    return paper_html(
        "bench_plan.html",
        paper,
        title=f"{'Way back' if undo else 'Plan'}: {record.name}{owner}",
        above=f"{plan.amp}, {plan.variant}",
        intro=f"{len(steps)} steps, {f'{left} left' if left else 'all done'}. {_took(record)}".strip(),
        again=[str(each) for each in Phase if each.always_anew],
        notes=plan.notes,
        parts=pd.DataFrame() if undo or parts is None else fitted_parts(parts),
        rated=part_words(parts) if parts else {},
        drawings=_drawings_back(found.modded, stays) if undo else wiring_drawings(found.modded),
        back=bool(undo),
        more="".join(f" --undo {shlex.quote(name)}" for name in undo),
        wires={} if undo else wiring_tables(wiring(found.modded)),
        loose=shown_photos((each for each in record.photos if each not in at_steps), folder),
        phases=list(_phases(steps)),
        undo=plan.undo,
        ways=dict(_ways_back(found)) if not undo else {},
        drilling=BESIDE if not undo and panel_work(found.stock, found.modded).parts else "",
        sessions=sessions_table(record),
        key=_key(record, plan.steps),
        script=Markup(script),
        allowed=script_digests([script]),
        data_url=data_url,
        drawing_words=drawing_words,
    )


def _drawings_back(now: Amp, then: Amp) -> dict[str, str]:
    """The circuit that the way back begins at, and the one that it leads to where that still has mods."""
    drawn = {"The circuit as it is": wiring_drawings(now)}
    if then.mods:
        drawn["The circuit once it is out"] = wiring_drawings(then)
    return {title: next(iter(each.values())) for title, each in drawn.items() if each}


def _ways_back(found: Opened) -> Iterator[tuple[str, list[str]]]:
    """What the iron does on the way back of each of several mods alone; or why it cannot come out alone."""
    mods = new_mods(found.stock, found.modded)
    for mod in mods if len(mods) > 1 else ():
        try:
            left = without_mods(found.modded, [mod.name])
        except DescriptionError as problem:
            yield mod.name, [f"{with_capitals(str(problem))}."]
            continue
        steps = said_once(back_steps(left, found.modded))
        yield mod.name, [" ".join([step.do, *step.how]) for step in steps]


def _of_step(record: Record, step: Step) -> list[Photo]:
    return [each for each in record.photos if each.of == plain(step.do)]


def sessions_table(record: Record) -> pd.DataFrame:
    """What was done when: date, steps, minutes [min], by whom, note."""
    rows = [
        (str(each.date), len(each.steps), each.minutes or "", each.by, " ".join(each.note.split()))
        for each in record.sessions
    ]
    return pd.DataFrame(rows, columns=["date", "steps", "minutes", "by", "note"])


def _phases(steps: Sequence[PlanStep]) -> Iterator[tuple[str, list[PlanStep]]]:
    for phase, group in groupby(steps, key=lambda each: each.step.phase):
        yield str(phase), list(group)


def _took(record: Record) -> str:
    minutes = sum(each.minutes for each in record.sessions)
    return f"{minutes // 60} h {minutes % 60:02d} min so far." if minutes else ""


def _key(record: Record, steps: Sequence[Step]) -> str:
    """What the browser keeps the ticks of this plan under; another plan has another."""
    text = "\0".join([record.name, *(each.known_by for each in steps)])
    return f"plan-{hashlib.sha256(text.encode()).hexdigest()[:16]}"
