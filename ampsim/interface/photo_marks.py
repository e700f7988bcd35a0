"""Arrows on a photo of a job, placed in a notebook: the widget, and what the browser sends it."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace
from pathlib import Path
from typing import Any

import anywidget
import traitlets

from ..audio.player.front_end import HIDDEN, show_with_words
from ..audio.player.widget import KEEP_KEYS
from ..base.errors import AmpsimError
from ..job.marks.keeping import Placed, Subjects, find_photo, keep_marks, mark_subjects, read_placed
from ..job.marks.page import marks_facts, marks_script, marks_style
from ..job.papers.bench_plan import job_plan
from ..job.record.data import Mark
from ..job.record.frozen import open_job
from ..job.record.reading import read_record
from ..job.record.tables import mark_table

_RENDER = """
function render({ model, el }) {
  const root = document.createElement("div");
  el.append(root);
  keepKeys(root);
  const start = { ...model.get("start"), marks: model.get("marks") };
  const page = markPhoto(root, start, (marks) => {
    model.set("marks", marks);
    model.save_changes();
  });
  const take = () => page.take(model.get("marks"));
  const tell = () => page.tell(model.get("said"));
  model.on("change:marks", take);
  model.on("change:said", tell);
  return () => {
    model.off("change:marks", take);
    model.off("change:said", tell);
  };
}

export default { render };
"""


def mark_photo(folder: str | Path, photo: str | int) -> PhotoMarks:
    """Place arrows on a photo of a job in a notebook; every change is kept in the job at once.

    Parameters
    ----------
    folder : str or Path
        The job folder.
    photo : str or int
        Its number from 1, or a piece of its file's name.

    Returns
    -------
    PhotoMarks
        A widget; put it on the last line of a cell.

    Raises
    ------
    DescriptionError
        When there is no such photo, or it is not as it was kept.
    """
    record = read_record(folder)
    found = open_job(record, folder)
    steps = job_plan(record, found).steps if record.mods else ()
    number = find_photo(record, str(photo))
    return PhotoMarks(folder, number, mark_subjects(found.modded, steps))


class PhotoMarks(anywidget.AnyWidget):
    """A photo to place arrows on; `mark_photo` makes one. `arrows` are those that the job has now."""

    _esm = marks_script() + KEEP_KEYS + _RENDER
    _css = marks_style() + HIDDEN

    start = traitlets.Dict().tag(sync=True)
    marks: Any = traitlets.List().tag(sync=True)
    said = traitlets.Unicode().tag(sync=True)

    def __init__(self, folder: str | Path, number: int, subjects: Subjects) -> None:
        record = read_record(folder)
        self._folder, self._number, self._subjects = folder, number, subjects
        self._sha256 = record.photos[number - 1].sha256
        self.arrows: tuple[Mark, ...] = record.photos[number - 1].marks
        facts = marks_facts(record, number, folder, subjects)
        super().__init__(marks=facts.pop("marks"), start=facts)

    def _ipython_display_(self) -> None:
        """In a notebook: the widget, and words where it cannot be shown."""
        words = f"A photo with {len(self.arrows)} arrow{'' if len(self.arrows) == 1 else 's'}."
        show_with_words(super()._repr_mimebundle_(), "The photo and its arrows", words)

    def set_state(self, sync_data: Any) -> None:
        """Take arrows from the browser, if they are some, into the job; nothing else is the browser's to set."""
        sent = sync_data.get("marks") if isinstance(sync_data, Mapping) else None
        try:
            self._keep(sent)
            said = f"Kept in the job: {len(self.arrows)}."
        except AmpsimError as problem:
            said = str(problem)
        with self.hold_sync():
            self.marks, self.said = [mark_table(each) for each in self.arrows], said
        self.send_state(["marks", "said"])  # the page may stand where the job does not

    def _keep(self, sent: object) -> None:
        before = [mark_table(each) for each in self.arrows]
        table = {"sha256": self._sha256, "before": before, "marks": sent}
        placed: Placed = read_placed(table, self._subjects, "the photo in the notebook")
        record = keep_marks(self._folder, self._number, replace(placed, before=self.arrows))
        self.arrows = next(each.marks for each in record.photos if each.sha256 == self._sha256)
