"""The same job as an exercise for apprentices: the questions on one page, the answers on another."""

from __future__ import annotations

import random
from dataclasses import dataclass, field
from pathlib import Path

import pandas as pd

from ...base.errors import DescriptionError, shown
from ...base.files import file_word, write_whole
from ...bench.proof.sheet import ProofSheet, proof_sheet
from ...pictures.canvas import Picture
from ...studies.audition import changes_table
from ...studies.audition_request import Audition
from ...work.cautions.sheet import CautionSheet, caution_sheet
from ...work.parts_list.parts_list import PartsList, parts_list
from ...work.schematic.draw import schematic
from . import exercise_questions as ask
from .charge_questions import charge
from .exercise_questions import Question
from .html import figure, paper_html

LEVELS = {
    1: "What each needs and how it is worked out are given.",
    2: "What each needs is given.",
    3: "The drawings alone are given.",
}


@dataclass(frozen=True)
class ExerciseSheet:
    """The questions on a job, by heading, and what the apprentice is shown.

    Attributes
    ----------
    name, amp, variant
        Of the job, the amp and its mods.
    changes
        What the mods do.
    questions
        Each with its heading.
    drawings
        To a heading the drawing beside its questions.
    level
        1, 2 or 3; see `LEVELS`.
    """

    name: str
    amp: str
    variant: str
    changes: pd.DataFrame = field(hash=False, compare=False)
    questions: tuple[tuple[str, Question], ...]
    drawings: dict[str, Picture] = field(default_factory=dict, hash=False, compare=False, repr=False)
    level: int = 2

    def questions_html(self, paper: str = "A4") -> str:
        """The page with blanks; no answer stands in it, in no form.

        Raises
        ------
        DescriptionError
            For another paper than A4 and Letter.
        """
        intro = (
            f"Level {self.level}. {LEVELS[self.level]} Predict first, by hand and ear; measure or simulate after. "
            "The answers are on a page of their own."
        )
        return self._html("Exercise", intro, paper, answers=False)

    def answers_html(self, paper: str = "A4") -> str:
        """The page with the answers and the reasons.

        Raises
        ------
        DescriptionError
            For another paper than A4 and Letter.
        """
        return self._html("Answers", "For the one who marks.", paper, answers=True)

    def _html(self, kind: str, intro: str, paper: str, answers: bool) -> str:
        groups: dict[str, list[tuple[int, Question]]] = {}
        for number, (heading, each) in enumerate(self.questions, 1):
            groups.setdefault(heading, []).append((number, each))
        return paper_html(
            "exercise.html",
            paper,
            title=f"{kind}: {self.name}",
            above=f"{self.amp} with {self.variant}",
            intro=intro,
            changes=None if answers else self.changes,
            drawings={} if answers else {heading: figure(each) for heading, each in self.drawings.items()},
            groups=groups,
            answers=answers,
            level=1 if answers else self.level,
        )


def exercise(
    audition: Audition,
    tested: ProofSheet | None = None,
    parts: PartsList | None = None,
    cautions: CautionSheet | None = None,
    level: int = 2,
    seed: int = 0,
) -> ExerciseSheet:
    """Make the exercise of a job; every answer is computed from the job.

    The questions follow the order of the work: before anything is touched, at rest, then each mod alone, beside the
    drawing of the amp with it.

    Parameters
    ----------
    audition : Audition
    tested, parts, cautions
        Where they were worked out already.
    level : int
        1: data and formulas are given; 2: data; 3: the drawings alone.
    seed : int
        Draws the places and frequencies that are asked for; the same gives the same sheet.

    Raises
    ------
    DescriptionError
        For another level.
    EngineError
        When ngspice gives no trustworthy answer.
    """
    if level not in LEVELS or isinstance(level, bool):
        raise DescriptionError(f"no level {shown(level)}; there are 1 (all is given), 2 and 3 (the drawings alone)")
    draw = random.Random(f"{audition.name} {seed}")
    cautions = cautions or caution_sheet(audition.modded, opened=audition.stock)
    found = [("Before anything is touched", each) for each in charge(cautions)]
    tested = tested or proof_sheet(audition.modded)
    found += [("At rest", each) for each in ask.volts(tested, audition.modded, draw)]
    drawings = {}
    for mod in audition.modded.mods:
        heading, amp = f"{mod.name} alone", ask.alone(audition, mod)
        found += [(heading, each) for each in (*ask.positions(audition, mod, draw), ask.why(mod))]
        drawings[heading] = schematic(audition.modded if amp is None else amp)
    found += [("Driven", each) for each in ask.clips(audition)]
    found += [("Parts", each) for each in ask.loads(parts or parts_list(audition.stock, audition.modded))]
    return ExerciseSheet(
        audition.name,
        audition.stock.name,
        audition.modded.variant,
        changes_table(audition.stock, audition.modded),
        tuple(found),
        drawings,
        level,
    )


def write_exercise(sheet: ExerciseSheet, folder: str | Path, paper: str = "A4") -> tuple[Path, Path]:
    """Write questions and answers as two HTML files: "exercise-" and "answers-" with the job's name.

    Raises
    ------
    DescriptionError
        For another paper, or when a file cannot be written.
    """
    word = file_word(sheet.name)
    pages = {"exercise": sheet.questions_html(paper), "answers": sheet.answers_html(paper)}
    first, second = (write_whole(Path(folder, f"{name}-{word}.html"), text) for name, text in pages.items())
    return first, second
