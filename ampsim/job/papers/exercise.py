"""The same job as an exercise for apprentices: the questions on one page, the answers on another."""

from __future__ import annotations

import math
from collections.abc import Iterator
from contextlib import suppress
from dataclasses import dataclass, field
from pathlib import Path

import pandas as pd

from ...base.errors import DescriptionError
from ...base.files import file_word, write_whole
from ...base.wording import in_decibels, in_hertz, minus
from ...bench.proof.limits import ProofRow
from ...bench.proof.sheet import ProofSheet, proof_sheet
from ...circuit.amp import Amp, Mod
from ...circuit.mods import apply_mods
from ...circuit.nets import INPUT
from ...circuit.positions import every_position, setting_clause
from ...measures.labels import records
from ...measures.sweep import gain_at
from ...pictures.canvas import Picture
from ...simulation.analyses import FrequencySweep
from ...simulation.response import simulate
from ...studies.audition import changes_table
from ...studies.audition_request import Audition, Setting
from ...studies.headroom.measures import WHOLE, clipping_table
from ...studies.headroom.simulate import headroom
from ...work.cautions.sheet import CautionSheet, caution_sheet
from ...work.parts_list.parts_list import PartsList, parts_list
from ...work.schematic.draw import schematic
from .html import figure, paper_html

AT = (100.0, 3000.0)
_MOST_POSITIONS = 8
_MOST_PLACES = 6
_CLOSE_DB = 1.0


@dataclass(frozen=True)
class Question:
    """One question. `answer` is the number (in `unit`) or the words; from `low` to `high` a number is near enough."""

    ask: str
    answer: float | str
    unit: str = ""
    low: float = math.nan
    high: float = math.nan
    reason: str = ""

    @property
    def answer_text(self) -> str:
        """The answer in words."""
        if isinstance(self.answer, str):
            return self.answer
        return _amount(self.answer, self.unit)

    @property
    def explanation(self) -> str:
        """How near is near enough, and the reason."""
        if isinstance(self.answer, str) or math.isnan(self.low):
            return self.reason
        return f"({_amount(self.low, self.unit)} to {_amount(self.high, self.unit)} is near enough) {self.reason}"

    def accepts(self, given: float | str) -> bool:
        """Whether a given answer is near enough; words count whatever their case."""
        if isinstance(self.answer, str):
            return str(given).strip().casefold() == self.answer.casefold()
        try:
            return self.low <= float(given) <= self.high
        except ValueError:
            return False


@dataclass(frozen=True)
class ExerciseSheet:
    """The questions on a job, by heading, and what the apprentice is shown."""

    name: str
    amp: str
    variant: str
    changes: pd.DataFrame = field(hash=False, compare=False)
    questions: tuple[tuple[str, Question], ...]
    drawing: Picture | None = field(default=None, hash=False, compare=False, repr=False)

    def questions_html(self, paper: str = "A4") -> str:
        """The page with blanks; no answer stands in it, in no form.

        Raises
        ------
        DescriptionError
            For another paper than A4 and Letter.
        """
        intro = "Predict first, by hand and ear; measure or simulate after. The answers are on a page of their own."
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
            drawing=None if answers or self.drawing is None else figure(self.drawing),
            groups=groups,
            answers=answers,
        )


def exercise(
    audition: Audition,
    tested: ProofSheet | None = None,
    parts: PartsList | None = None,
    cautions: CautionSheet | None = None,
) -> ExerciseSheet:
    """Make the exercise of a job; every answer is computed from the job.

    The questions follow the order of the work: before anything is touched, at rest, what each position does.

    Parameters
    ----------
    audition : Audition
    tested, parts, cautions
        Where they were worked out already.

    Raises
    ------
    EngineError
        When ngspice gives no trustworthy answer.
    """
    cautions = cautions or caution_sheet(audition.modded)
    found = [("Before anything is touched", each) for each in _charge(cautions)]
    found += [("At rest", each) for each in _volts(tested or proof_sheet(audition.modded))]
    found += [("What each position does", each) for each in _positions(audition)]
    found += [("Why", _why(mod)) for mod in audition.modded.mods]
    found += [("Driven", each) for each in _clips(audition)]
    found += [("Parts", each) for each in _load(parts or parts_list(audition.stock, audition.modded))]
    return ExerciseSheet(
        audition.name,
        audition.stock.name,
        audition.modded.variant,
        changes_table(audition.stock, audition.modded),
        tuple(found),
        schematic(audition.modded),
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


def _amount(value: float, unit: str) -> str:
    return in_decibels(value, sign=True) if unit == "dB" else minus(f"{value:.3g} {unit}")


def _charge(sheet: CautionSheet) -> Iterator[Question]:
    held = sheet.table
    if held.empty:
        return
    row = max(records(held), key=lambda each: float(each["cold [J]"]))
    yield Question(
        "Which capacitor holds the most energy when the valves are cold?", str(row["part"]),
        reason=f"{row['cold [J]']:.3g} J at {row['cold [V]']:.0f} V: C V squared, halved.",
    )  # fmt: skip
    seconds = float(row["to 60 V as wired [s]"])
    reason = "The bleeder and C set the time: R C ln(V / 60)."
    ask = f"How many seconds after switching off does {row['part']} need to fall under 60 V, nothing else helping?"
    if math.isinf(seconds):
        yield Question(f"{ask} (Write never where nothing bleeds it.)", "never", reason="No bleeder: discharge it.")
    else:
        yield Question(ask, seconds, "s", 0.8 * seconds, 1.2 * seconds, f"{reason} Discharge and verify all the same.")


def _volts(sheet: ProofSheet) -> Iterator[Question]:
    """Of plates, cathodes and rails, evenly over the chart."""
    rows = [row for row in sheet.rows if abs(row.expected) > 0.5]
    step = max(1, math.ceil(len(rows) / _MOST_PLACES))
    yield from (_place(row) for row in rows[::step])


def _place(row: ProofRow) -> Question:
    reason = "Limits by the spread of parts and valves, and the mains."
    return Question(f"How many volts stand at {row.place}?", row.expected, "V", row.low, row.high, reason)


def _positions(audition: Audition) -> Iterator[Question]:
    """What each mod does alone, at every position of what it adds: the effect of one is not asked as that of all."""
    most = max(1, _MOST_POSITIONS // max(1, len(audition.modded.mods)))
    for mod in audition.modded.mods:
        for amp in _alone(audition, mod):
            yield from _changes(audition, amp, mod, most)


def _why(mod: Mod) -> Question:
    ask = f"In a sentence or two: why would an owner want {mod.name}, and what would you listen for?"
    return Question(ask, mod.reason, reason="A model answer; other words may be as good.")


def _alone(audition: Audition, mod: Mod) -> Iterator[Amp]:
    """The amp with one mod and no other; nothing for one that needs what another brings."""
    with suppress(DescriptionError):
        yield apply_mods(audition.stock, mod)


def _changes(audition: Audition, amp: Amp, mod: Mod, most: int) -> Iterator[Question]:
    asked: list[Setting] = []
    for name in (name for name in amp.controls if name not in audition.stock.controls):
        drawn = amp.controls[name].drawn
        asked += [each for each in every_position(amp, name, rotations=(0.0, 1.0)) if each[name] != drawn]
    asked = asked[:most] or [{}]
    response = simulate([audition.stock, amp], FrequencySweep(), asked, [audition.listen_at, INPUT])
    levels = gain_at(response, AT, audition.listen_at).transpose("variant", "position", "frequency").values
    for place, position in enumerate(asked):
        for number, at in enumerate(AT):
            change = float(levels[1, place, number] - levels[0, place, number])
            if math.isfinite(change):
                ask = (
                    f"{mod.name} alone, {_in_words(position)}, all else as drawn: by how many dB does "
                    f"{in_hertz(at)} change against stock?"
                )
                yield Question(ask, change, "dB", change - _CLOSE_DB, change + _CLOSE_DB, mod.reason)


def _in_words(position: Setting) -> str:
    """As it is said at the amp: a switch by the name of its position, knobs from 0 to 10."""
    texts = [
        f'{name} switched to "{value}"' if isinstance(value, str) else setting_clause(name, value)
        for name, value in position.items()
    ]
    return ", ".join(texts) or "as drawn"


def _clips(audition: Audition) -> Iterator[Question]:
    response = headroom([audition.stock, audition.modded], [audition.compare_at])
    table = clipping_table(response)
    for variant, rows in table[table["stage"] != WHOLE].groupby("variant", sort=False):
        reached = rows[rows["clips at [V]"] < math.inf]
        if reached.empty:
            continue
        first = min(records(reached), key=lambda each: float(each["clips at [V]"]))
        names = ", ".join(map(str, rows["stage"]))
        amp = audition.stock if variant == audition.stock.variant else audition.modded
        at = {name: value for name, value in audition.compare_at.items() if name in amp.controls}
        which = "Stock" if amp is audition.stock else "With the mods"
        ask = f"{which}, {_in_words(at)}: which stage clips first ({names})?"
        reason = f"At {first['clips at [V]']:.3g} V peak {response.attrs['source']}: {first['how']}."
        yield Question(ask, str(first["stage"]), reason=reason)


def _load(parts: PartsList) -> Iterator[Question]:
    for column, unit, what in (("carries [W]", "W", "watts"), ("carries [V]", "V", "volts")):
        table = parts.table.dropna(subset=column)  # a switch or a valve carries nothing that is counted here
        if len(table) < 2:
            continue
        row = max(records(table), key=lambda each: float(each[column]))
        if float(row[column]) > 0.0:
            names = ", ".join(map(str, table["part"]))
            ask = f"Which of the parts that the mods bring ({names}) carries the most {what}?"
            yield Question(ask, str(row["part"]), reason=f"{float(row[column]):.3g} {unit} at worst.")
