"""The words that name a place by what it is: `second stage.cathode resistor.foot`, `gain pot.top`."""

from __future__ import annotations

import re
from dataclasses import dataclass

from ...base.errors import DescriptionError, nearest, shown
from .jobs import JOBS, PINS, SIDE_PLATES
from .networks import LINE_JOBS, STACK_JOBS
from .order import FOLLOWER, GAIN, INVERTER, OUTPUT

ORDINALS = ("first", "second", "third", "fourth", "fifth", "sixth", "seventh", "eighth", "ninth")
STACK, LINE, POT, TRANSFORMER, RAIL = "stack", "feedback line", "pot", "output transformer", "bias rail"
_WHICH = "|".join((*ORDINALS, "last", "any"))
_THINGS = (
    (re.compile(rf"(?P<which>{_WHICH}) stage"), GAIN),
    (re.compile(rf"(?:(?P<which>{_WHICH}) )?follower"), FOLLOWER),
    (re.compile(r"inverter"), INVERTER),
    (re.compile(r"(?P<which>each) output valve|output (?P<side>side [ab])|output valve"), OUTPUT),
    (re.compile(rf"(?P<which>{_WHICH}) level pot"), "level pot"),
    (re.compile(r"stack"), STACK),
    (re.compile(r"feedback line"), LINE),
    (re.compile(r"bias rail"), RAIL),
    (re.compile(r"output transformer"), TRANSFORMER),
    (re.compile(r"(?P<control>[^.\x00-\x1f\x7f]{1,60}) pot"), POT),
)
_SHORT = {"feedback resistor": "feedback line.resistor"}
_COUPLING = re.compile(r"coupling (after|before) ([a-z ]+)")
_LETTERS = {STACK: STACK_JOBS, LINE: LINE_JOBS}


@dataclass(frozen=True)
class Phrase:
    """A place said by what it is.

    `head` is the thing as it is written, `thing` its kind, `which` its number or "any" or "each", `control` the name
    of a pot's control; `job` is what is meant of it, "" for the thing itself, `end` a lug of that.
    """

    text: str
    head: str
    thing: str
    which: str
    control: str
    job: str
    end: str


def is_phrase(text: object) -> bool:
    """Whether a text begins with a thing that places are known by."""
    if not isinstance(text, str):
        return False
    head = _plain(text).partition(".")[0]
    return any(pattern.fullmatch(head) for pattern, _ in _THINGS)


def _plain(text: str) -> str:
    """A text in the one form of a place: what is short for another is written out."""
    head, dot, rest = text.partition(".")
    coupled = _COUPLING.fullmatch(head)
    if coupled:
        return f"{coupled[2]}.coupling {coupled[1]}{dot}{rest}"
    return f"{_SHORT.get(head, head)}{dot}{rest}"


def parse_phrase(text: str, where: str, bare: bool = False) -> Phrase:
    """Read a place that is said by what it is; `bare` ones may name a thing alone, such as "second stage".

    Raises
    ------
    DescriptionError
        Beginning with `where`, for words that mean nothing here, with what there is.
    """
    head, *rest = _plain(text).split(".")
    for pattern, thing in _THINGS:
        found = pattern.fullmatch(head)
        if found:
            given = {name: value or "" for name, value in found.groupdict().items()}
            which = given.get("side") or given.get("which", "")
            job, end = ("", "") if bare and not rest else _rest(thing, rest, text, where)
            return Phrase(text, head, thing, which, given.get("control", ""), job, end)
    raise DescriptionError(f"{where}: {shown(text)}: {shown(head)} is nothing that a place is known by; {things()}")


def things() -> str:
    """What places are known by, in words."""
    return (
        "there are first stage, second stage, ..., last stage, any stage, follower, inverter, each output valve, "
        "output side a, output side b, first level pot, a control's name and pot (gain pot), stack, feedback line, "
        "output transformer, bias rail"
    )


def _rest(thing: str, rest: list[str], text: str, where: str) -> tuple[str, str]:
    """The job and its end that the words behind a thing mean."""
    if thing in (POT, "level pot"):
        rest = ["", *rest]
    job, end, *more = [*rest, "", ""]
    known = jobs_of(thing)
    if more[2:] or any(more):
        raise DescriptionError(f"{where}: {shown(text)}: more dots than a place has")
    if job not in known and not (thing == TRANSFORMER and job):
        raise DescriptionError(f"{where}: {shown(text)}: {shown(job)} is nothing of it{nearest(job, known)}")
    ends = ends_of(thing, job)
    if end and end not in ends:
        raise DescriptionError(f"{where}: {shown(text)}: {shown(end)} is no end of it{nearest(end, ends)}")
    return job, end


def jobs_of(thing: str) -> tuple[str, ...]:
    """What there may be of a kind of thing, by name; "" where the thing itself is a part."""
    if thing in _LETTERS:
        return tuple(_LETTERS[thing])
    if thing in (GAIN, FOLLOWER, INVERTER, OUTPUT):
        pins = ("grid", "cathode", *SIDE_PLATES) if thing == INVERTER else PINS
        return (*pins, *(name for name, job in JOBS.items() if thing in job.owners))
    return ("",)


def ends_of(thing: str, job: str) -> tuple[str, ...]:
    """The names of the lugs of what a job means."""
    if job in JOBS and thing not in _LETTERS:
        return JOBS[job].ends or PINS
    if thing in (POT, "level pot") or job.endswith("pot"):
        return ("top", "wiper", "bottom")
    if thing == STACK:
        return ("top", "foot") if job == "middle resistor" else ("source end", "far end") if job != "foot" else ()
    return {"resistor": ("output end", "foot"), "shunt resistor": ("foot", "ground end"),
            "presence capacitor": ("pot end", "ground end")}.get(job, ()) if thing == LINE else ()  # fmt: skip


def letter_of(phrase: Phrase) -> str:
    """The letter that a part at such a place begins with; "" where a lug or a rail is meant."""
    if phrase.thing in _LETTERS:
        return _LETTERS[phrase.thing][phrase.job]
    if phrase.thing in (POT, "level pot"):
        return "P"
    if phrase.job in (*PINS, *SIDE_PLATES) or phrase.thing == RAIL:
        return ""
    return "T" if phrase.thing == TRANSFORMER else JOBS[phrase.job].letter
