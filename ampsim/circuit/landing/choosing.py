"""Where the places of a mod land in an amp: what each may mean there, what must hold, and which one is left."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from itertools import product

from ...base.errors import DescriptionError
from ...base.wording import join_words
from ..amp import Amp, Mod
from .conditions import Asked, Volts, against
from .site import NoPlace, Site, Thing, site_of
from .words import Phrase, is_phrase, jobs_of, parse_phrase


class ManyPlaces(DescriptionError):
    """A mod lands in more than one place; the message lists them and says how to choose.

    Attributes
    ----------
    at
        What narrows it down to each of them, in signal order.
    """

    def __init__(self, message: str, at: Sequence[str]) -> None:
        super().__init__(message)
        self.at = tuple(at)


@dataclass(frozen=True)
class Wanted:
    """What a mod asks of an amp.

    Attributes
    ----------
    name, file
        Of the mod, for messages.
    places
        The places said by what they are, with whether a part as such is meant (and not only its lugs).
    expects
        Place, or designator, and what must hold there.
    """

    name: str
    file: str
    places: Mapping[str, bool]
    expects: Sequence[tuple[str, str]]


Landing = dict[str, tuple[str, ...]]
"""To each place as the mod says it the places of the amp: one, or as many as "each" means."""


@dataclass(frozen=True)
class Choice:
    """One way to land: the thing each head means, and the places."""

    things: tuple[tuple[Thing, ...], ...]
    landing: Landing

    @property
    def words(self) -> str:
        """Which things, in words."""
        return join_words([each.label for group in self.things for each in group]) if self.things else ""


def choose(site: Site, wanted: Wanted, volts: Volts, at: Sequence[str] = ()) -> Choice:
    """Find where a mod lands.

    Parameters
    ----------
    site : Site
        The amp.
    wanted : Wanted
        What the mod asks.
    volts : callable
        Volts at a place at rest [V]; asked only where the mod asks for a bias.
    at : sequence of str
        Things that narrow it down, such as "second stage".

    Raises
    ------
    NoPlace
        When it does not fit, with the reason.
    ManyPlaces
        When more than one landing is left.
    """
    for key, text in wanted.expects:
        if not is_phrase(key):
            _check_designator(site, wanted.file, key, text, volts)
    phrases = [parse_phrase(each, wanted.file) for each in wanted.places]
    phrases += [parse_phrase(each, wanted.file, bare=True) for each, _ in wanted.expects if is_phrase(each)]
    heads = list({each.head: each for each in phrases}.values())
    groups = [_fitting(site, wanted, head, phrases, volts) for head in heads]
    chosen = [Choice(tuple(things for things, _ in each), {k: v for _, part in each for k, v in part.items()})
              for each in product(*groups)]  # fmt: skip
    left = [each for each in chosen if _narrowed(site, each, at, wanted)]
    if not left:
        raise NoPlace(f"{wanted.name} does not land at {join_words(list(at))}; it would at {_listed(chosen)}")
    if len({tuple(sorted(each.landing.items())) for each in left}) > 1:
        head = next(each for each, group in zip(heads, groups, strict=True) if len(group) > 1)
        at = [_plain_label(each) for each in left]
        names = " or ".join(f"{wanted.file.removesuffix('.toml')} at {each}" for each in at[:3])
        raise ManyPlaces(
            f"{wanted.name} lands in {len(left)} places of {site.amp.name} ({head.head}): {_listed(left)}; say which, "
            f"written for example {names}",
            at,
        )
    return left[0]


def _plain_label(choice: Choice) -> str:
    """What narrows down to a choice: the first thing's label without what stands in brackets."""
    return choice.things[0][0].label.partition(" (")[0].partition(", the ")[0]


def _listed(choices: Iterable[Choice]) -> str:
    return "; ".join(f"{each.words}: {join_words(sorted({p for places in each.landing.values() for p in places}))}"
                     for each in choices)  # fmt: skip


def _narrowed(site: Site, choice: Choice, at: Sequence[str], wanted: Wanted) -> bool:
    mine = {each for group in choice.things for each in group}
    for text in at:
        meant = site.candidates(parse_phrase(text, wanted.file, bare=True))
        if not mine & {each for group in meant for each in group}:
            return False
    return True


def _fitting(
    site: Site, wanted: Wanted, head: Phrase, phrases: Sequence[Phrase], volts: Volts
) -> list[tuple[tuple[Thing, ...], Landing]]:
    """What a head may mean, with where the phrases that begin with it land."""
    found, reasons = [], []
    for things in site.candidates(head):
        try:
            landing = {
                phrase.text: _places(site, wanted, phrase, things) for phrase in phrases
                if phrase.head == head.head and phrase.text in wanted.places
            }  # fmt: skip
            reason = next(_wrong(site, wanted, head, things, volts), "")
        except NoPlace as problem:
            reason = str(problem)
        if reason:
            reasons.append(reason)
        else:
            found.append((things, landing))
    if not found:
        raise NoPlace("; ".join(dict.fromkeys(reasons)))
    return found


def _places(site: Site, wanted: Wanted, phrase: Phrase, things: Sequence[Thing]) -> tuple[str, ...]:
    places = []
    for thing in things:
        spots = site.spots(phrase, thing)
        wires = {frozenset(site.nets_of(each)) for each in spots}
        names = join_words([part for each in spots for part in each.parts])
        if len(spots) > 1 and (wanted.places[phrase.text] or len(wires) > 1):
            raise NoPlace(f"the {thing.label} has {names} as its {phrase.job}: which is meant cannot be said")
        if len(spots[0].parts) > 1 and not phrase.end and (wanted.places[phrase.text] or spots[0].in_a_row):
            how = "in a row" if spots[0].in_a_row else "side by side"
            raise NoPlace(f"the {thing.label} has {names} {how} as its {phrase.job}: a mod for it names one of them")
        places.append(spots[0].place(phrase.end) if phrase.end else spots[0].parts[0])
    return tuple(places)


def _wrong(site: Site, wanted: Wanted, head: Phrase, things: Sequence[Thing], volts: Volts) -> Iterator[str]:
    for key, text in wanted.expects:
        phrase = parse_phrase(key, wanted.file, bare=True) if is_phrase(key) else None
        for thing in things if phrase and phrase.head == head.head else ():
            whole = phrase is None or phrase.job not in jobs_of(phrase.thing)
            part = "" if whole or phrase is None else site.spots(phrase, thing)[0].designator
            if wrong := against(Asked(site, thing, part, volts), text, f"{wanted.file}: expects"):
                yield wrong


def check_parts(amp: Amp, mod: Mod) -> None:
    """Hold the parts that a mod names by designator against what it expects of them.

    Raises
    ------
    NoPlace
        For a part of another kind, or at another job, with what it is.
    """
    for part, text in mod.expects:
        _check_designator(site_of(amp), mod.file or mod.name, part, text, _no_volts)


def _no_volts(place: str) -> float:
    raise DescriptionError(f"the volts at {place} are not known before the amp is simulated")


def _check_designator(site: Site, file: str, part: str, text: str, volts: Volts) -> None:
    """Hold what a mod expects of a part against everything that the part does."""
    doing = [each for each in site.things if part in each.designators]
    nothing = Thing("part", "part", {})
    reasons = [against(Asked(site, each, part, volts), text, f"{file}: expects") for each in doing or [nothing]]
    if all(reasons):
        raise NoPlace(f"{file}: {part} was expected to be {text}: {reasons[0]}")
