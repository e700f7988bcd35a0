"""The plan on a tablet: ticks stay, and the line that takes them into the job names the steps that were ticked."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import pytest

from ampsim.job.papers.bench_plan import bench_plan, job_plan
from ampsim.job.record.beginning import begin_job
from ampsim.job.record.frozen import open_job
from ampsim.job.record.sessions import asked_steps, keep_session

pytest.importorskip("playwright")
MOD = """
name = "less treble"
reason = "A duller plate."
parts = { C109 = "470p" }
edits = [{ fit = "C109", across = "R3" }]
"""


def test_ticks_stay_and_the_line_names_them(chromium: Any, tmp_path: Path) -> None:
    (tmp_path / "mod.toml").write_text(MOD, "utf-8")
    record = begin_job(tmp_path / "job", "lesson-stage", [tmp_path / "mod.toml"])
    found = open_job(record, tmp_path / "job")
    path = bench_plan(record, found, tmp_path / "job", tmp_path / "plan.html")
    page = chromium.new_page(viewport={"width": 800, "height": 1100})
    problems: list[str] = []
    page.on("console", lambda told: problems.append(told.text) if told.type == "error" else None)
    page.on("pageerror", lambda problem: problems.append(str(problem)))
    page.goto(path.as_uri())
    assert not page.locator("#ticked").is_visible()
    for number in (7, 5, 6, 2):
        page.locator(f"[data-step='{number}']").check()
    assert page.locator("#line").inner_text().startswith("ampsim job done FOLDER 2 5-7 ")
    page.reload()
    assert page.locator("#line").inner_text().startswith("ampsim job done FOLDER 2 5-7 ")
    assert page.locator("input.tick:checked").count() == 4
    assert page.evaluate("document.documentElement.scrollWidth <= innerWidth")
    numbers = asked_steps(job_plan(record, found).steps, ["2", "5-7"])
    bench_plan(keep_session(record, job_plan(record, found).steps, numbers), found, tmp_path / "job", path)
    page.reload()
    done = page.locator("input.tick:disabled").evaluate_all("all => all.map(each => each.dataset.step)")
    assert set(done) <= {"2", "5", "6", "7"}
    assert page.locator("#ticked").is_visible() is (len(done) < 4)
    assert problems == []
    page.close()
