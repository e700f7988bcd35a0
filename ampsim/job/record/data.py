"""What is written down of a job: whose amp, what they wish, in which state it is, what was measured, what changed."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import date as Date
from typing import Any

from .billing import Bill, CountedOff, Order
from .words import Audience, Phase, Status

FORMAT = 9


@dataclass(frozen=True)
class OwnersWish:
    """One wish in the owner's words, tied to a wish of the finder, to a note, or to both.

    `wish` names a frozen wish file and `entry` says which of its wishes, from 1; `note` says what is done about it.
    """

    words: str
    wish: str = ""
    entry: int = 0
    note: str = ""


@dataclass(frozen=True)
class State:
    """The job has a status from a date on."""

    state: Status
    date: Date
    note: str = ""


@dataclass(frozen=True)
class Note:
    """Something seen, heard or smelt, and when."""

    date: Date
    note: str


@dataclass(frozen=True)
class Measured:
    """Voltages measured in one go.

    `volts` pairs a place with its voltage to ground [V]; `mains` [V] and `meter` (input resistance, [ohm]) are None
    where nobody wrote them down. `mains_drawn` is the mains that the drawing's volts hold for [V]; `at` pairs a control
    with where it stood, others stood as drawn. `source` says what was plugged in ("": what the amp file has).
    """

    phase: Phase
    date: Date
    volts: tuple[tuple[str, float], ...]
    mains: float | None = None
    meter: float | None = None
    mains_drawn: float | None = None
    at: tuple[tuple[str, float | str], ...] = ()
    source: str = ""

    @property
    def position(self) -> dict[str, float | str]:
        """Where the controls stood."""
        return dict(self.at)


@dataclass(frozen=True)
class Sweep:
    """A measured sweep: a file of the job folder.

    `at` pairs a control with where it stood; those that are not named stood where the job compares. `source` says what
    it came from ("": nobody wrote it down), `heard` the place that was recorded ("": the loudspeaker).
    """

    phase: Phase
    date: Date
    file: str
    note: str = ""
    at: tuple[tuple[str, float | str], ...] = ()
    source: str = ""
    heard: str = ""


@dataclass(frozen=True)
class Choice:
    """Candidates that were held side by side, and the one that was taken.

    `asked` is what was compared, as it was typed; `note` says why it was chosen, `found` a line to each candidate.
    """

    date: Date
    asked: str
    chosen: str
    note: str = ""
    found: str = ""


@dataclass(frozen=True)
class Blind:
    """Positions compared by ear alone: the hidden one was one of `among`, and named right so often."""

    date: Date
    among: tuple[str, ...]
    rounds: int
    right: int
    note: str = ""


@dataclass(frozen=True)
class Session:
    """Steps of the plan that somebody did in one go, in the plan's own words.

    `minutes` is how long they took [min], 0 where nobody wrote that down; `kinds` how many steps of each kind they
    were, by the phases of the plan, () where that was not kept.
    """

    date: Date
    steps: tuple[str, ...]
    minutes: int = 0
    by: str = ""
    note: str = ""
    kinds: tuple[tuple[str, int], ...] = ()


@dataclass(frozen=True)
class Mark:
    """An arrow on a photo.

    `x` and `y` say where its tip is on the upright photo, as fractions [ratio] of width from the left and of height
    from the top; `at` what it points at: a designator, a place, or the words of a step of the plan.
    """

    x: float
    y: float
    at: str
    text: str = ""


@dataclass(frozen=True)
class Photo:
    """A photo in the job folder, as it came from the camera, with the sha256 that it had then.

    `of` says what it shows: a designator, a phase such as "on arrival", or the words of a step of the plan. `marks`
    are kept beside it and never in it.
    """

    date: Date
    file: str
    sha256: str
    of: str
    note: str = ""
    marks: tuple[Mark, ...] = ()
    shown_to: tuple[Audience, ...] = ()


@dataclass(frozen=True)
class Frozen:
    """A file as it was when it was frozen into the job.

    `file` is what it is called; `kept` where it lies in the folder of frozen files: the same, or another name where
    that one was taken. `ampsim` is the version that froze it.
    """

    file: str
    sha256: str
    ampsim: str
    date: Date
    kept: str = ""

    @property
    def place(self) -> str:
        """Where it lies in the job folder."""
        return f"frozen/{self.kept or self.file}"


@dataclass(frozen=True)
class Change:
    """What an entry was before it changed; `before` or `after` is None where there was, or is, no such entry."""

    date: Date
    entry: str
    before: Any = field(default=None, hash=False)
    after: Any = field(default=None, hash=False)


@dataclass(frozen=True)
class Record:
    """A job as its file tells it.

    Attributes
    ----------
    name, owner
        What the job and the amp's owner are called.
    serial, promised
        The amp's serial number, and the day it was promised for; "" and None where nobody wrote them down.
    words
        What the owner asks for, as they said it; lines are kept.
    wishes, states, arrival, measured, sweeps, choices, blind, sessions, photos, quotes, orders, invoices, counted
        See their classes; `arrival` is the state of the amp when it came.
    amp, mods, drawer
        Names of frozen files; the drawer may be "".
    mounting
        How parts are mounted where the amp file does not say it, or says otherwise: designator to words.
    audition, positions
        What to show and where to listen, and positions that the panel keeps: entries as they stand.
    history
        What entries were before, in the order of the changes.
    frozen
        The files that the job opens from; none while a job of format 1 has not been saved.
    format, seen, file
        Of the file it was read from, its sha256 ("" when there was none), and what it is called, for messages.
    beyond
        Entries of a newer format that were not understood.
    """

    name: str
    amp: str
    mods: tuple[str, ...] = ()
    owner: str = ""
    serial: str = ""
    promised: Date | None = None
    words: str = ""
    drawer: str = ""
    wishes: tuple[OwnersWish, ...] = ()
    states: tuple[State, ...] = ()
    arrival: tuple[Note, ...] = ()
    measured: tuple[Measured, ...] = ()
    sweeps: tuple[Sweep, ...] = ()
    choices: tuple[Choice, ...] = ()
    blind: tuple[Blind, ...] = ()
    sessions: tuple[Session, ...] = ()
    photos: tuple[Photo, ...] = ()
    mounting: tuple[tuple[str, str], ...] = ()
    quotes: tuple[Bill, ...] = ()
    orders: tuple[Order, ...] = ()
    invoices: tuple[Bill, ...] = ()
    counted: tuple[CountedOff, ...] = ()
    audition: Mapping[str, Any] = field(default_factory=dict, hash=False)
    positions: tuple[Mapping[str, Any], ...] = field(default=(), hash=False)
    history: tuple[Change, ...] = ()
    frozen: tuple[Frozen, ...] = ()
    format: int = FORMAT
    beyond: tuple[str, ...] = field(default=(), compare=False)
    seen: str = field(default="", compare=False)
    file: str = field(default="job.toml", compare=False)

    @property
    def state(self) -> str:
        """Its state now; "" before it was taken in."""
        return str(self.states[-1].state) if self.states else ""

    def rounds(self, phase: Phase) -> list[Measured]:
        """Rounds of voltages measured in a phase, the last one last; those of one day as they were entered."""
        return sorted((each for each in self.measured if each.phase == phase), key=lambda each: each.date)

    @property
    def mains_drawn(self) -> float | None:
        """Mains that the drawing's volts hold for [V], as the last round says that says it; None where none does."""
        told = [each.mains_drawn for each in sorted(self.measured, key=lambda each: each.date)]
        return next((each for each in reversed(told) if each is not None), None)

    def latest_sweeps(self, phase: Phase) -> list[Sweep]:
        """Of a phase the last sweep from each source, at each place and position, the last one last."""
        found: dict[object, Sweep] = {}
        for each in sorted((each for each in self.sweeps if each.phase == phase), key=lambda each: each.date):
            key = (each.source, each.heard, frozenset(each.at))
            found.pop(key, None)
            found[key] = each
        return list(found.values())
