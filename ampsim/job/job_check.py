"""A whole job read and held together: every file and entry that people may edit, and what is wrong with each.

What reads sweeps, photos, plans and prices takes its time to load: it is, where a job has any.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from contextlib import suppress
from dataclasses import dataclass
from functools import cached_property
from pathlib import Path
from typing import TYPE_CHECKING

from ..base.errors import DescriptionError, shown
from ..base.files import printable, read_bounded
from ..base.wording import plain
from ..circuit.amp import Amp
from ..circuit.build import SPEAKER, build_circuit
from ..circuit.plugging import plug_in
from ..circuit.source import parse_source
from ..library.toml_lines import with_line
from .quote.sums import add_up, line_amount
from .record.billing import Bill
from .record.data import Record, Sweep
from .record.frozen import Opened, frozen_faults, open_audition, open_job
from .record.intake import intake
from .record.paths import path_inside
from .record.reading import job_file
from .record.words import Phase

if TYPE_CHECKING:
    from .marks.keeping import Subjects

DRILLING, MEASUREMENTS, SHOP = "drilling.toml", "measurements", "shop.toml"
_SIDE = 64  # pixels: a photo is decoded whole, and shown to nobody
_MOST_FILES = 2000


@dataclass(frozen=True)
class JobCheck:
    """What a check of a job found.

    Attributes
    ----------
    faults
        What is wrong: file, entry, value and what would do.
    remarks
        What need not be wrong: steps and places that amp and plan do not have as they are now; looked for once there
        are no faults.
    opened
        What the job opens to; None where it does not.
    """

    faults: tuple[str, ...]
    remarks: tuple[str, ...]
    opened: Opened | None


def check_job(record: Record, folder: str | Path) -> JobCheck:
    """Read every file of a job and hold its entries against the amp, the plan and one another.

    Parameters
    ----------
    record : Record
        As read from the folder.
    folder : str or Path
        The job folder, or its job file.

    Raises
    ------
    DescriptionError
        When a link leads out of the job folder.
    """
    faults = frozen_faults(record, folder)
    checked = _Check(record, job_file(folder))
    opened: Opened | None = None
    if not faults:
        try:
            opened = open_job(record, folder)
        except DescriptionError as problem:
            faults.append(str(problem))
    faults += [*checked.bills(), *checked.photos(), *checked.sessions(), *checked.beside()]
    remarks: list[str] = []
    if opened:
        against = _AgainstAmp(checked, opened)
        faults += [*against.whole_job(), *against.measured(), *against.sweeps(), *against.files()]
        remarks += against.remarks() if not faults else []
    else:
        remarks.append("What has to be held against the amp was not looked at, for the amp does not open.")
    return JobCheck(tuple(dict.fromkeys(faults)), tuple(dict.fromkeys(remarks)), opened)


def _problem(call: Callable[..., object], *given: object) -> str:
    """Why a call refuses what it is given; "" where it does not."""
    try:
        call(*given)
    except DescriptionError as problem:
        return str(problem)
    return ""


class _Check:
    """What can be looked at without the amp."""

    def __init__(self, record: Record, file: Path) -> None:
        self.record, self.path = record, file

    @cached_property
    def _text(self) -> str:
        return read_bounded(self.path).decode("utf-8", "replace")

    def fault(self, entry: str, words: str) -> str:
        """A fault of an entry of the job file, with its line."""
        return with_line(f"{self.record.file}: {entry}: {words}", self.record.file, self._text)

    def bills(self) -> Iterator[str]:
        """Quotes, invoices and orders that do not add up, or run backwards in time."""
        for kind, bills in (("quotes", self.record.quotes), ("invoices", self.record.invoices)):
            for number, bill in enumerate(bills, 1):
                yield from self._bill(f"{kind}[{number}]", bill)
        for number, order in enumerate(self.record.orders, 1):
            if order.arrived and order.arrived < order.date:
                yield self.fault(f"orders[{number}].arrived", f"{order.arrived} lies before {order.date}, its order")

    def _bill(self, entry: str, bill: Bill) -> Iterator[str]:
        for number, line in enumerate(bill.lines, 1):
            amount = line_amount(line.quantity, line.price, line.per, bill.places)
            if amount != line.amount:
                words = f"{line.amount:f}; {line.quantity:f} at {line.price:f} for {line.per:f} are {amount:f}"
                yield self.fault(f"{entry}.lines[{number}].amount", words)
        if problem := _problem(add_up, bill):
            yield self.fault(entry, problem)
        elif (whole := add_up(bill).total) != bill.total:
            yield self.fault(f"{entry}.total", f"{bill.total:f}; its lines come to {whole:f}")
        if bill.answered and bill.answered < bill.date:
            yield self.fault(f"{entry}.answered", f"{bill.answered} lies before {bill.date}, its own day")

    def photos(self) -> Iterator[str]:
        """Photos that are gone, changed or damaged."""
        if not self.record.photos:
            return
        from .record.photos import small_photo

        for number, photo in enumerate(self.record.photos, 1):
            if problem := _problem(small_photo, photo, self.path, _SIDE):
                yield self.fault(f"photos[{number}]", problem)

    def sessions(self) -> Iterator[str]:
        """Ticks whose kinds are no kinds of steps, or are not as many as the steps."""
        if not self.record.sessions:
            return
        from ..work.steps.step import Phase as KindOfStep

        known = [str(each) for each in KindOfStep]
        for number, session in enumerate(self.record.sessions, 1):
            entry = f"sessions[{number}].kinds"
            for kind, _ in session.kinds:
                if kind not in known:
                    yield self.fault(entry, f"{shown(kind)} is no kind of step; known: {', '.join(known)}")
            count = sum(each for _, each in session.kinds)
            if session.kinds and count != len(session.steps):
                yield self.fault(entry, f"{count} steps, and {len(session.steps)} are listed")

    def beside(self) -> Iterator[str]:
        """Price lists and a shop's sheet that lie in the job's folder."""
        home = self.path.parent
        paths = [*sorted(home.glob("*.csv"))[:_MOST_FILES], *home.glob(SHOP)]
        if not paths:
            return
        from .quote.explaining import describe_prices

        for path in paths:
            if problem := _problem(describe_prices, path):
                yield problem


class _AgainstAmp:
    """What the amp must have."""

    def __init__(self, check: _Check, opened: Opened) -> None:
        self._check, self._opened, self._record = check, opened, check.record

    def whole_job(self) -> Iterator[str]:
        """Wishes, what is to be shown, and the holes of the panel."""
        record, folder = self._record, self._check.path
        problems = [_problem(intake, record, self._opened)]
        if folder.with_name(DRILLING).exists() or folder.with_name(DRILLING).is_symlink():
            from .papers.drilling_request import asked_panel

            problems.append(_problem(asked_panel, self._opened, folder))
        if record.mods:
            problems.append(_problem(open_audition, record, folder))
        yield from filter(None, problems)

    def measured(self) -> Iterator[str]:
        """Rounds of voltages at places, or with controls, that the amp does not have."""
        if not self._record.measured:
            return
        from .record.measurements import check_controls, recorded_readings

        for number, each in enumerate(self._record.measured, 1):
            amp = self._opened.amp(each.phase)
            if problem := _problem(check_controls, amp, each.position) or _problem(recorded_readings, each, amp):
                yield self._check.fault(f"measured[{number}]", problem)

    def sweeps(self) -> Iterator[str]:
        """Sweeps whose file is gone or damaged, or that were taken where the amp has no such thing."""
        if not self._record.sweeps:
            return
        from .record.measurements import check_controls

        for number, each in enumerate(self._record.sweeps, 1):
            amp = self._opened.amp(each.phase)
            if problem := _problem(self._read_sweep, each.file):
                yield self._check.fault(f"sweeps[{number}].file", problem)
            for problem in (_problem(check_controls, amp, dict(each.at)), _problem(_heard, amp, each)):
                if problem:
                    yield self._check.fault(f"sweeps[{number}]", problem)

    def _read_sweep(self, name: str) -> None:
        from ..bench.sweeps.measured_sweep import read_sweep

        read_sweep(path_inside(self._check.path.parent, name))

    def files(self) -> Iterator[str]:
        """Files of measurements and of arrows that nobody can read."""
        home, known = self._check.path.parent, {each.file for each in self._record.sweeps}
        for path in _files(home / MEASUREMENTS):
            if f"{MEASUREMENTS}/{path.name}" not in known and (problem := self._unreadable(path)):
                yield f"{MEASUREMENTS}/{problem}"
        for path in home.glob("marks*.json"):
            from .marks.keeping import read_marks_file

            if problem := _problem(read_marks_file, path, self._subjects):
                yield problem

    def _unreadable(self, path: Path) -> str:
        """Why a file is neither a table of readings of the amp, with mods or without, nor a sweep; "" where it is."""
        from ..bench.diagnosis.readings import read_readings

        problems = [_problem(read_readings, path, amp) for amp in (self._opened.stock, self._opened.modded)]
        return problems[0] if all([*problems, _problem(self._read_sweep, f"{MEASUREMENTS}/{path.name}")]) else ""

    @cached_property
    def _subjects(self) -> Subjects:
        from .marks.keeping import mark_subjects

        return mark_subjects(self._opened.modded)

    def _plans(self) -> Iterator[set[str]]:
        """The words of the plan's steps; then, where somebody asks on, of every mod's way back, and of all together."""
        from .papers.bench_plan import job_plan

        mods = [mod.name for mod in self._opened.modded.mods]
        for undo in ((), *((name,) for name in mods), mods):
            with suppress(DescriptionError):  # of a mod that cannot go back alone
                steps = job_plan(self._record, self._opened, undo).steps
                yield {plain(words) for step in steps for words in (step.known_by, step.do)}

    def remarks(self) -> Iterator[str]:
        """Ticks, photos and arrows of what amp and plan do not have as they are now."""
        told: list[tuple[str, str]] = []
        for number, session in enumerate(self._record.sessions, 1):
            told += [(f"sessions[{number}].steps", words) for words in session.steps]
        for number, photo in enumerate(self._record.photos, 1):
            told.append((f"photos[{number}].of", photo.of))
            told += [(f"photos[{number}].marks[{place}].at", mark.at) for place, mark in enumerate(photo.marks, 1)]
        if not told:
            return
        known = {*self._subjects.names, *(each.value for each in Phase)}
        told = [(entry, words) for entry, words in told if words not in known]
        plans = self._plans()
        while told and (plan := next(plans, None)) is not None:
            told = [(entry, words) for entry, words in told if words not in plan]
        for entry, words in told:
            yield self._check.fault(entry, f"{shown(words)} is nothing that amp and plan have as they are now")


def _heard(amp: Amp, sweep: Sweep) -> None:
    """See that an amp has the place that was recorded, and where the sweep came from."""
    build_circuit(plug_in(amp, parse_source(sweep.source)) if sweep.source else amp).net(sweep.heard or SPEAKER)


def _files(folder: Path) -> list[Path]:
    """The files of a folder that are not hidden, by name."""
    if not folder.is_dir():
        return []
    found = sorted(each for each in folder.iterdir() if not each.name.startswith(".") and each.is_file())
    if len(found) > _MOST_FILES:
        raise DescriptionError(f"{printable(folder)}: {len(found):,} files; a job has at most {_MOST_FILES:,} in one")
    return found
