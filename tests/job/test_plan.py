"""The plan to work by: every step with its box, what was done kept in the job, safety never ticked off for good."""

from __future__ import annotations

import datetime
import re
from dataclasses import replace
from html import unescape
from pathlib import Path

import pytest

from ampsim.base.errors import DescriptionError
from ampsim.base.wording import plain
from ampsim.interface.commands.main import main
from ampsim.job.papers.bench_plan import bench_plan, bench_plan_html, job_plan
from ampsim.job.papers.pdf import write_pdf
from ampsim.job.record.beginning import begin_job
from ampsim.job.record.data import Record
from ampsim.job.record.frozen import Opened, freeze_files, open_job
from ampsim.job.record.reading import read_record
from ampsim.job.record.saving import save_record
from ampsim.job.record.sessions import asked_steps, keep_session, sessions_of
from ampsim.work.steps.step import Step

DAY = datetime.date(2027, 2, 3)
Job = tuple[Path, Record, Opened]


@pytest.fixture(scope="module")
def made(tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = tmp_path_factory.mktemp("plan") / "job"
    begin_job(folder, "rehearsal-room", ["volume-bright"], owner="<b>O. Wner</b>")
    return folder


@pytest.fixture(scope="module")
def steps(made: Path) -> tuple[Step, ...]:
    record = read_record(made)
    return job_plan(record, open_job(record, made)).steps


@pytest.fixture
def job(made: Path) -> Job:
    record = replace(read_record(made), sessions=())
    return made, record, open_job(record, made)


def test_every_step_stands_once_with_a_box_and_its_readings(job: Job, steps: tuple[Step, ...]) -> None:
    folder, record, found = job
    page = bench_plan_html(record, found, folder)
    assert [int(each) for each in re.findall(r'data-step="(\d+)"', page)] == list(range(1, len(steps) + 1))
    text = unescape(page)
    assert all(plain(step.do) in text and all(check.words in text for check in step.checks) for step in steps)
    assert "<b>O. Wner" not in page
    assert "lethal" in page
    assert "default-src 'none'; script-src 'sha256-" in text


def test_steps_are_ticked_off_by_their_words_and_kept(job: Job, steps: tuple[Step, ...]) -> None:
    folder, record, found = job
    first = next(n for n, each in enumerate(steps, 1) if not each.phase.always_anew)
    kept = keep_session(record, steps, [1, first, len(steps)], minutes=25, by="A. Hand", note="warm", date=DAY)
    kept = save_record(kept, folder)
    assert read_record(folder).sessions == kept.sessions
    done = [n for n, each in enumerate(sessions_of(kept, steps), 1) if each]
    assert done == [first, len(steps)]
    page = bench_plan_html(kept, found, folder)
    assert page.count("checked disabled") == 2
    assert "0 h 25 min so far" in page
    assert f"done {DAY}, A. Hand" in page
    grown = freeze_files(kept, folder, mods=["tight-switch"])
    both = open_job(replace(grown, mods=(*kept.mods, "tight-switch")), folder)
    again = sessions_of(kept, job_plan(kept, both).steps)
    assert all(each is None or each == kept.sessions[0] for each in again)


def test_a_step_that_stands_twice_is_done_once_for_each_time(job: Job, steps: tuple[Step, ...]) -> None:
    record = job[1]
    last = steps[-1]
    twice = (*steps, last)
    once = keep_session(record, twice, [len(steps)])
    assert [each is not None for each in sessions_of(once, twice)][-2:] == [True, False]
    both = keep_session(once, twice, [len(twice)])
    assert [each is not None for each in sessions_of(both, twice)][-2:] == [True, True]


def test_safety_is_never_done_for_good(job: Job, steps: tuple[Step, ...]) -> None:
    record = job[1]
    all_done = keep_session(record, steps, range(1, len(steps) + 1))
    for step, done in zip(steps, sessions_of(all_done, steps), strict=True):
        assert (done is None) is (step.phase.always_anew)


@pytest.mark.parametrize("asked", [["0"], ["99"], ["3-1"], ["x"], ["1-999"], ["-2"], ["1.5"]])
def test_steps_that_are_none_are_refused(asked: list[str], steps: tuple[Step, ...]) -> None:
    with pytest.raises(DescriptionError, match=r"the plan has the steps|is no step"):
        asked_steps(steps, asked)
    assert asked_steps(steps, ["5-6", "2", "6"]) == [2, 5, 6]


def test_on_paper_it_holds_every_step(job: Job, steps: tuple[Step, ...], tmp_path: Path) -> None:
    pypdfium2 = pytest.importorskip("pypdfium2")
    folder, record, found = job
    path = write_pdf(bench_plan(record, found, folder, tmp_path / "plan.html"), appendix=True)
    text = " ".join("".join(page.get_textpage().get_text_range() for page in pypdfium2.PdfDocument(path)).split())
    assert all(f"{number}." in text for number in range(1, len(steps) + 1))
    assert "The way back" in text


def test_the_way_back_of_one_mod_has_a_plan_of_its_own(tmp_path: Path) -> None:
    folder = tmp_path / "job"
    begin_job(folder, "rehearsal-room", ["volume-bright", "tight-switch"])
    record = read_record(folder)
    found = open_job(record, folder)
    first, second = (mod.name for mod in found.modded.mods)
    back = job_plan(record, found, [first]).steps
    page = unescape(bench_plan_html(record, found, folder, undo=[first]))
    assert [int(each) for each in re.findall(r'data-step="(\d+)"', page)] == list(range(1, len(back) + 1))
    assert all(plain(step.do) in page for step in back)
    there = job_plan(record, found).steps
    assert {step.do for step in there} & {step.do for step in back}  # the same words in both, such as a cold check
    for one, other in ((there, back), (back, there)):
        kept = keep_session(record, one, range(1, len(one) + 1), date=DAY)
        assert sessions_of(kept, one)[-1] is not None
        assert not any(sessions_of(kept, other))
    whole = unescape(bench_plan_html(record, found, folder))
    assert all(f"Only {name}" in whole for name in (first, second))
    assert main(["job", "steps", str(folder), "--undo", first]) == 0
    assert main(["job", "steps", str(folder), "--undo", "another"]) != 0
