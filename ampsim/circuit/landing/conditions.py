"""What must hold at a place: of a stage ("a triode biased colder than -2 V"), of a part ("a cathode resistor")."""

from __future__ import annotations

import re
from collections.abc import Callable, Iterator
from dataclasses import dataclass

from ...base.errors import DescriptionError, shown
from ...base.quantities import FARAD, OHM, format_value, parse_value
from ...base.wording import in_volts, join_words
from ..amp import Part, Pot
from .jobs import JOBS
from .networks import LINE_JOBS, STACK_JOBS
from .order import FOLLOWER, GAIN, INVERTER, OUTPUT
from .site import Site, Thing
from .words import LINE

Volts = Callable[[str], float]
"""Volts at a place at rest [V]."""


@dataclass(frozen=True)
class Asked:
    """Where a condition is looked at: an amp, a thing of it, the part that is meant ("" for the thing), volts."""

    site: Site
    thing: Thing
    part: str
    volts: Volts


Check = Callable[[Asked, "re.Match[str]"], str]
"""Says what speaks against it; "" where it holds."""


def _kind(asked: Asked, found: re.Match[str]) -> str:
    wanted = found[0].replace("output stage", OUTPUT)
    return "" if asked.thing.kind == wanted else f"is no {wanted}"


def _family(asked: Asked, found: re.Match[str]) -> str:
    valve = asked.thing.stage.valves[0] if asked.thing.stage else None
    family = ("pentode" if "screen" in dict(valve.pins) else "triode") if valve else "no valve"
    return "" if family == found[0] else f"is a {family}, no {found[0]}" if valve else "has no valve"


def _bias(asked: Asked, found: re.Match[str]) -> str:
    if not asked.thing.stage:
        return "has no valve, so no bias"
    name = asked.thing.stage.valves[0].designator
    volts = asked.volts(f"{name}.grid") - asked.volts(f"{name}.cathode")
    limit = float(found[2].replace("\u2212", "-"))
    colder = found[1] == "colder"
    return (
        ""
        if (volts < limit if colder else volts > limit)
        else f"is biased at {in_volts(volts)}, not {found[1]} than {in_volts(limit)}"
    )


def _resting(asked: Asked, found: re.Match[str]) -> str:
    """Where a plate rests between ground and its supply: near it the valve is close to cut-off, whatever its type."""
    loads = asked.thing.jobs.get("plate load", ())
    if not asked.thing.stage or not loads:
        return "has no plate load to rest behind"
    wired = asked.site.signal.ways.wired
    top = wired.net(loads[0].place("supply end"))
    rail = next((each.name for each in asked.site.amp.rails if wired.net(each.name) == top), None)
    if rail is None:
        return "has a plate load that ends on no rail"
    share = 100.0 * asked.volts(f"{asked.thing.stage.valves[-1].designator}.plate") / asked.volts(rail)
    limit, above = float(found[2]), found[1] == "above"
    holds = share > limit if above else share < limit
    return "" if holds else f"rests at {share:.0f} % of its supply, not {found[1]} {limit:g} %"


def _bypassed(asked: Asked, found: re.Match[str]) -> str:
    spots = asked.thing.jobs.get("cathode bypass", ())
    if found[1]:
        return f"has its cathode bypassed by {join_words([each.designator for each in spots])}" if spots else ""
    return "" if spots else "has no capacitor across its cathode resistor"


def _bias_kind(asked: Asked, found: re.Match[str]) -> str:
    fixed = not asked.thing.jobs.get("cathode resistor")
    return "" if fixed == (found[1] == "fixed") else f"has {'fixed' if fixed else 'cathode'} bias"


def _sides(asked: Asked, found: re.Match[str]) -> str:
    several = bool(asked.thing.stage and asked.thing.stage.side)
    return "" if several == (found[0] == "push-pull") else f"is {'push-pull' if several else 'single-ended'}"


def _part_kind(asked: Asked, found: re.Match[str]) -> str:
    part = asked.site.amp.part_by_designator.get(asked.part)
    kind = part.kind if part else "no part"
    return "" if kind == found[0] else f"is a {kind}, no {found[0]}"


def _value(asked: Asked, found: re.Match[str]) -> str:
    part = asked.site.amp.part_by_designator.get(asked.part)
    if not isinstance(part, (Part, Pot)) or part.kind == "inductor":
        return "has no value to compare"
    quantity = FARAD if part.kind == "capacitor" else OHM
    limit = parse_value(found[2], quantity, found[0])
    holds = part.value >= limit * (1 - 1e-9) if found[1] == "least" else part.value <= limit * (1 + 1e-9)
    return (
        "" if holds else f"is {format_value(part.value, quantity)}, not at {found[1]} {format_value(limit, quantity)}"
    )


def jobs_in_words(site: Site, part: str) -> list[str]:
    """What a part does in an amp, each job with whose it is."""
    return [
        f"{job}{' of' if not job.startswith('coupling') else ''} the {thing.label}" if job else thing.label
        for thing in site.things
        for job, spots in thing.jobs.items()
        if part in {name for each in spots for name in each.parts}
    ]


_JOBS = sorted({*JOBS, *STACK_JOBS, *LINE_JOBS} - {"foot", "valve", "resistor"}, key=len, reverse=True)


def _job(asked: Asked, found: re.Match[str]) -> str:
    spots = asked.thing.jobs.get(found[0], ())
    if asked.part in {part for each in spots for part in each.parts}:
        return ""
    return _instead(asked, found[0])


def _instead(asked: Asked, wanted: str) -> str:
    """What a part is that is not what was wanted."""
    if asked.part not in asked.site.amp.part_by_designator:
        return "is not in the amp"
    does = jobs_in_words(asked.site, asked.part)
    return f"is no {wanted}{f', but the {join_words(does)}' if does else ', as far as its wires tell'}"


def _known_by(asked: Asked, found: re.Match[str]) -> str:
    site = asked.site
    lines = {part for each in site.of(LINE) for spot in each.jobs.get("resistor", ()) for part in spot.parts}
    pots = {each.designator for each in site.signal.level_pots}
    if asked.part in {"feedback resistor": lines, "level pot": pots}[found[0]]:
        return ""
    return _instead(asked, found[0])


_STAGE_CHECKS: tuple[tuple[re.Pattern[str], Check], ...] = (
    (re.compile(f"{GAIN}|{FOLLOWER}|{INVERTER}|{OUTPUT}|output stage"), _kind),
    (re.compile("triode|pentode"), _family),
    (re.compile("biased (colder|warmer) than ([-\u2212]?[0-9]+(?:\\.[0-9]+)?) ?V"), _bias),
    (re.compile("resting (above|below) ([0-9]+) ?% of its supply"), _resting),
    (re.compile("(un)?bypassed(?: cathode)?"), _bypassed),
    (re.compile("(fixed|cathode) bias"), _bias_kind),
    (re.compile("push-pull|single-ended"), _sides),
)
_PART_CHECKS: tuple[tuple[re.Pattern[str], Check], ...] = (
    (re.compile("feedback resistor|level pot"), _known_by),
    (re.compile("|".join(map(re.escape, _JOBS))), _job),
    (re.compile("resistor|capacitor|pot"), _part_kind),
    (re.compile("at (least|most) ([0-9][0-9A-Za-z.]*)"), _value),
)
_FILLING = re.compile(r"(?:an?|the|of|with|and|is|whose|that)\b|[,;]|\s+")


def read_condition(text: str, where: str) -> tuple[tuple[Check, re.Match[str]], ...]:
    """Read what must hold, in words.

    Raises
    ------
    DescriptionError
        Beginning with `where`, for words that mean nothing here, with what there is.
    """
    found: list[tuple[Check, re.Match[str]]] = []
    at = 0
    while at < len(text):
        filling = _FILLING.match(text, at)
        tried = ((check, pattern.match(text, at)) for pattern, check in (*_PART_CHECKS, *_STAGE_CHECKS))
        hit = None if filling else next(((check, match) for check, match in tried if match), None)
        if filling is None and hit is None:
            raise DescriptionError(f"{where}: {shown(text[at:])} is no condition; {conditions_in_words()}")
        if hit:
            found.append(hit)
        at = filling.end() if filling else found[-1][1].end()
    if not found:
        raise DescriptionError(f"{where}: {shown(text)} asks nothing; {conditions_in_words()}")
    return tuple(found)


def conditions_in_words() -> str:
    """What can be asked, in words."""
    return (
        "there are gain stage, follower, inverter, output valve; triode, pentode; biased colder than -2 V, biased "
        "warmer than -2 V; resting above 80 % of its supply, resting below 50 % of its supply; bypassed, unbypassed; "
        "fixed bias, cathode bias; push-pull, single-ended; of a part what it does (cathode resistor, plate load, "
        "...), resistor, capacitor, pot, at least 1k, at most 1M"
    )


def asks_volts(text: str) -> bool:
    """Whether a condition can only be held against an amp at rest."""
    return any(check in (_bias, _resting) for check, _ in read_condition(text, "expects"))


def against(asked: Asked, text: str, where: str) -> str:
    """What speaks against a condition at a place, in words; "" where it holds."""
    return next(_failures(asked, text, where), "")


def _failures(asked: Asked, text: str, where: str) -> Iterator[str]:
    for check, match in read_condition(text, where):
        if wrong := check(asked, match):
            whose = f" of the {asked.thing.label}" if asked.thing.jobs and check in (_part_kind, _value) else ""
            of_part = asked.part and check in (_job, _known_by, _part_kind, _value)
            subject = f"{asked.part}{whose}" if of_part else f"the {asked.thing.label}"
            yield f"{subject} {wrong}"
