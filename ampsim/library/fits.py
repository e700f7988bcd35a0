"""To which amps a mod fits: where it lands in each, and why not."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from pathlib import Path

from ..base.errors import DescriptionError
from ..base.wording import join_words
from ..circuit.amp import Amp, Mod
from ..circuit.build import build_circuit
from ..circuit.landing.choosing import ManyPlaces
from ..circuit.landing.conditions import jobs_in_words
from ..circuit.landing.site import site_of
from ..circuit.landing.spots import Spot
from ..circuit.landing.words import parse_phrase
from ..circuit.mods import touched_designators
from .files import models_in
from .landing import apply_mods
from .loader import load_amp, load_mod


@dataclass(frozen=True)
class Fit:
    """How a mod goes with an amp.

    Attributes
    ----------
    amp
        The amp's name, as files are named.
    modded
        The amp with the mod; None where it does not fit, or where more than one landing has to be chosen from.
    landing
        Where it lands, a line to each place.
    reason
        Why it does not fit; "" where it does.
    choose
        Whether it would fit in more than one place, which `reason` then lists.
    """

    amp: str
    modded: Amp | None
    landing: tuple[str, ...] = ()
    reason: str = ""
    choose: bool = False

    def __str__(self) -> str:
        """A line for the amp, and one to each place below it."""
        if self.modded is None:
            return f"{self.amp}: {'fits, but asks where' if self.choose else 'does not fit'}\n  {self.reason}"
        return "\n".join([f"{self.amp}: fits", *(f"  {line}" for line in self.landing)])


def fits(mod: Mod | str | Path, amps: Iterable[Amp | str | Path] | None = None) -> list[Fit]:
    """Say to which amps a mod fits.

    Parameters
    ----------
    mod : Mod, str or Path
        A mod, its file, or its name.
    amps : iterable of Amp, str or Path, optional
        Default: all that come along, and those of the shop's shelf.

    Returns
    -------
    list of Fit
        One to each amp.

    Raises
    ------
    DescriptionError
        For a mod or an amp that is not there or has mistakes.
    """
    wanted = mod if isinstance(mod, Mod) else load_mod(mod)
    return [_fit(wanted, each) for each in (sorted(models_in("amps")) if amps is None else amps)]


def _fit(mod: Mod, amp: Amp | str | Path) -> Fit:
    stock = amp if isinstance(amp, Amp) else load_amp(amp)
    name = stock.name if isinstance(amp, Amp) else Path(amp).name.removesuffix(".toml")
    try:
        modded = apply_mods(stock, mod)
        check_wiring(modded)
    except ManyPlaces as problem:
        return Fit(name, None, (), str(problem), True)
    except DescriptionError as problem:
        return Fit(name, None, (), str(problem).removeprefix(f"{mod.file}: "))
    (fitted,) = (each for each in modded.mods if each not in stock.mods)
    return Fit(name, modded, tuple(_landing(stock, fitted)))


def check_wiring(modded: Amp) -> None:
    """Wire an amp with each of its switches in every position.

    Raises
    ------
    DescriptionError
        For what is refused before it is simulated.
    """
    build_circuit(modded)
    for switch in modded.all_switches:
        for label in switch.labels:
            build_circuit(modded, ((switch.control, label),))


def _landing(stock: Amp, mod: Mod) -> Iterator[str]:
    """Where the places of a mod are in an amp; of one by designators what it touches, and what that does there."""
    site = site_of(stock)
    places: dict[str, list[str]] = {}
    for said, place in mod.landing:
        places.setdefault(said, []).append(place)
    for said, found in places.items():
        yield f"{said}: {join_words(list(dict.fromkeys(found)))}{_whose(said, found, stock)}"
    touched = {name.partition(".")[0] for name in touched_designators(mod)} if not places else set()
    touched |= (
        {place.partition(".")[0] for edit in mod.every_edit() for place in (edit.across, *edit.places)} - {""}
        if not places
        else set()
    )
    for part in sorted(touched & set(stock.part_by_designator)):
        doing = jobs_in_words(site, part)
        yield f"{part}: {join_words(doing)}" if doing else f"{part}: what it does there is not known by its wires"


def _whose(said: str, places: list[str], stock: Amp) -> str:
    """Which stage or pot it turned out to be, where the words leave that open."""
    head = parse_phrase(said, "").head.removeprefix("each ")
    parts = {place.partition(".")[0] for place in places}
    labels = [each.label for each in site_of(stock).things if parts <= each.designators]
    said_already = any(each.startswith(head) for each in labels) or len(parts) > 1 or not labels
    return "" if said_already else f", {labels[0].replace(f', the {head}', '')}"


def describe_places(amp: Amp) -> str:
    """The places that an amp has by what they are, each with the part there: the words that a mod may use."""
    lines = [f"{amp.name}: places by what they are"]
    for thing in site_of(amp).things:
        every = [(job, spot) for job, spots in thing.jobs.items() for spot in spots]
        lugs = [f"{job} {spot.designator}" for job, spot in every if "." in spot.designator]
        lines += ["", thing.label, *([f"  {', '.join(lugs)}"] if lugs else [])]
        lines += [
            f"  {job or 'itself'} {join_words(list(spot.parts))}{_ends(spot)}"
            for job, spot in every
            if "." not in spot.designator
        ]
    return "\n".join(lines)


def _ends(spot: Spot) -> str:
    ends = ", ".join(f"{end} {spot.place(end)}" for end, lug in spot.ends if end != lug)
    return f" ({ends})" if ends else ""
