"""Arrows placed on a photo by mouse, finger and keys: what the page saves is what the job takes in."""

from __future__ import annotations

import json
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest
from PIL import Image

from ampsim.interface.photo_marks import PhotoMarks
from ampsim.job.marks.keeping import Subjects, keep_marks, read_marks_file
from ampsim.job.marks.page import write_marks_page
from ampsim.job.record.beginning import begin_job
from ampsim.job.record.data import Mark
from ampsim.job.record.photos import keep_photo
from ampsim.job.record.reading import read_record
from ampsim.job.record.saving import save_record

pytest.importorskip("playwright")
SUBJECTS = Subjects(("R4", "V1A.plate", "C1"), ("Look <b>well</b>.", "Fit C1."))


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    Image.new("RGB", (800, 600), (30, 60, 30)).save(tmp_path / "board.jpg")
    record = begin_job(tmp_path / "job", "lesson-stage")
    save_record(keep_photo(record, tmp_path / "job", tmp_path / "board.jpg", "R4"), tmp_path / "job")
    return tmp_path / "job"


@pytest.fixture(params=[(1200, False), (400, True)], ids=["wide", "touch"])
def page(chromium: Any, folder: Path, tmp_path: Path, request: pytest.FixtureRequest) -> Iterator[Any]:
    wide, touch = request.param
    context = chromium.new_context(viewport={"width": wide, "height": 900}, has_touch=touch)
    made = context.new_page()
    problems: list[str] = []
    made.on("console", lambda told: problems.append(told.text) if told.type == "error" else None)
    made.on("pageerror", lambda problem: problems.append(str(problem)))
    made.goto(write_marks_page(read_record(folder), 1, folder, SUBJECTS, tmp_path / "page.html").as_uri())
    yield made
    assert made.evaluate("document.documentElement.scrollWidth <= innerWidth")
    assert problems == []
    context.close()


def saved(page: Any, path: Path) -> dict[str, Any]:
    with page.expect_download() as download:
        page.get_by_role("button", name="Save the arrows").click()
    download.value.save_as(path)
    return json.loads(path.read_text("utf-8"))  # type: ignore[no-any-return]


def test_by_hand(page: Any, folder: Path, tmp_path: Path) -> None:
    photo = page.locator(".marks-photo")
    box = photo.bounding_box()
    touch = page.evaluate("navigator.maxTouchPoints > 0")
    for x, y, at, text in ((0.25, 0.75, "r4", "<i>new</i>"), (0.5, 0.25, "step 2", "")):
        spot = {"x": x * box["width"], "y": y * box["height"]}
        photo.tap(position=spot) if touch else photo.click(position=spot)
        page.get_by_label("Points at").fill(at)
        page.get_by_label("Words").fill(text)
        page.get_by_role("button", name="Place the arrow").click()
    assert page.locator(".marks-list li").count() == 2
    page.get_by_role("button", name="Take away: step 2").click()
    assert page.locator(".marks-list li").count() == 1
    page.get_by_role("button", name="Take back the last").click()
    assert page.locator(".marks-photo text").all_text_contents() == ["R4", "step 2"]
    told = saved(page, tmp_path / "m.json")
    assert [(each["at"], each.get("text")) for each in told["marks"]] == [("R4", "<i>new</i>"), ("Fit C1.", None)]
    read = read_marks_file(tmp_path / "m.json", SUBJECTS)
    assert [(each.x, each.y) for each in read.marks] == [
        (pytest.approx(0.25, abs=0.01), pytest.approx(0.75, abs=0.01)),
        (pytest.approx(0.5, abs=0.01), pytest.approx(0.25, abs=0.01)),
    ]
    made = keep_marks(folder, 1, read)
    assert set(read.marks) <= set(made.photos[0].marks)


def test_by_keys_alone(page: Any, tmp_path: Path) -> None:
    page.locator(".marks-photo").focus()
    for key in ("ArrowRight", "ArrowRight", "Shift+ArrowDown", "Enter"):
        page.keyboard.press(key)
    page.keyboard.type("R99")
    page.keyboard.press("Enter")
    assert "R99" in page.locator(".marks-said").inner_text()
    page.get_by_label("Points at").fill("V1A.plate")
    page.keyboard.press("Enter")
    page.keyboard.press("Control+z")
    assert "Taken back" in page.locator(".marks-said").inner_text()
    page.keyboard.press("Enter")
    page.keyboard.type("C1")
    page.keyboard.press("Enter")
    before = saved(page, tmp_path / "m.json")
    placed = [each for each in before["marks"] if each not in before["before"]]
    assert placed == [{"x": 0.52, "y": 0.55, "at": "C1"}]
    assert read_marks_file(tmp_path / "m.json", SUBJECTS).marks[-1] == Mark(0.52, 0.55, "C1")


_NOTEBOOK = """async ([script, state]) => {
  const heard = {};
  window.model = {
    get: (name) => state[name],
    set: (name, value) => { state[name] = value; },
    save_changes: () => { window.sent = state.marks; },
    on: (event, listener) => { heard[event] = listener; },
    off: (event) => delete heard[event],
  };
  window.answer = (marks, said) => {
    Object.assign(state, { marks, said });
    ["change:marks", "change:said"].forEach((event) => heard[event]());
  };
  const widget = await import(URL.createObjectURL(new Blob([script], { type: "text/javascript" })));
  widget.default.render({ model: window.model, el: document.body });
}"""


def test_in_a_notebook_every_arrow_goes_to_the_kernel_and_its_answer_is_shown(chromium: Any, folder: Path) -> None:
    widget = PhotoMarks(folder, 1, SUBJECTS)
    page = chromium.new_page()
    page.evaluate(_NOTEBOOK, [widget._esm, {"start": widget.start, "marks": widget.marks, "said": ""}])
    page.get_by_label("Points at").fill("C1")
    page.keyboard.press("Enter")
    widget.set_state({"marks": page.evaluate("window.sent")})
    assert read_record(folder).photos[0].marks == (Mark(0.5, 0.5, "C1"),)
    page.evaluate("([marks, said]) => window.answer(marks, said)", [widget.marks, widget.said])
    assert page.locator(".marks-said").inner_text() == "Kept in the job: 1."
    assert page.locator(".marks-photo text").all_text_contents() == ["C1"]
    page.close()
    widget.close()
