"""Mods that fit any amp: one is read without an amp, and landed in one, which makes it a mod by designators."""

from __future__ import annotations

import contextlib
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field, replace
from functools import lru_cache
from typing import Any

from ..base.entries import Entry
from ..base.errors import DescriptionError, shown
from ..base.wording import join_words
from ..circuit import mods as circuit_mods
from ..circuit.amp import Amp, Mod
from ..circuit.landing.choosing import Wanted, choose
from ..circuit.landing.conditions import asks_volts, read_condition
from ..circuit.landing.site import NoPlace, site_of
from ..circuit.landing.words import is_phrase, parse_phrase
from ..simulation.drawn_volts import volts_at_rest
from .mod_names import split_landing
from .mods import read_mod
from .parts import TypeFinder
from .role_tables import Tables, in_its_words, places_wanted, trial_landing, trial_value, value_in, with_landing


@dataclass(frozen=True)
class RoleMod(Mod):
    """A mod that says places by what they are, or what must hold at them, before it is landed in an amp.

    `at` narrows it down; parts, edits and switches are those that it has anywhere, with places that mean nothing.
    """

    tables: Mapping[str, Any] = field(default_factory=dict, compare=False, hash=False)
    find_type: TypeFinder | None = field(default=None, compare=False, hash=False)
    at: tuple[str, ...] = ()


def read_any_mod(data: Mapping[str, object], file: str, find_type: TypeFinder) -> Mod:
    """Make a Mod of a mod file's tables; a `RoleMod` where an amp is needed to know its places.

    Raises
    ------
    DescriptionError
        As `read_mod`, and for places and conditions that mean nothing.
    """
    try:
        return _read_any(dict(data), file, find_type)
    except RecursionError:
        raise DescriptionError(f"{file}: tables within tables, too deep to be a mod") from None


def _read_any(tables: Tables, file: str, find_type: TypeFinder) -> Mod:
    if "landing" in tables:
        return read_mod({key: each for key, each in tables.items() if key != "expects"}, file, find_type)
    places = places_wanted(tables)
    expects = _expectations(tables, file)
    plain = {key: each for key, each in tables.items() if key != "expects"}
    needs_amp = places or any(is_phrase(key) or asks_volts(text) for key, text in expects)
    if not needs_amp or not isinstance(tables.get("parts", {}), dict):
        return replace(read_mod(plain, file, find_type), expects=expects)
    landing = trial_landing(places, file)
    try:
        trial = read_mod(with_landing(plain, landing, frozenset(), trial_value, file), file, find_type)
    except DescriptionError as problem:
        raise DescriptionError(in_its_words(str(problem), landing)) from None
    wants = tuple(dict.fromkeys([*places, *(key for key, _ in expects)]))
    fields = {
        name: getattr(trial, name) for name in Mod.__dataclass_fields__ if name not in ("wants", "landing", "expects")
    }
    return RoleMod(**fields, wants=wants, tables=tables, find_type=find_type, expects=expects)


def _expectations(tables: Tables, file: str) -> tuple[tuple[str, str], ...]:
    top = Entry({"expects": tables.get("expects", {})}, file)
    entry = top.table("expects")
    found = []
    for key in entry.names():
        if is_phrase(key):
            parse_phrase(key, f"{file}: expects", bare=True)
        else:
            entry.check_designator(key, key)
        given = entry.raw(key)
        for text in given if isinstance(given, list) else [given]:
            if not isinstance(text, str):
                raise entry.fail(key, f"{shown(text)} does not say what must hold")
            read_condition(text, f"{file}: expects: {key}")
            found.append((key, text))
    return tuple(found)


def narrowed(mod: Mod, at: str) -> Mod:
    """A mod that lands at the things named, such as "second stage", and is called so.

    Raises
    ------
    DescriptionError
        For a mod by designators, and for words that mean nothing.
    """
    if not isinstance(mod, RoleMod):
        raise DescriptionError(
            f"{mod.file}: says its places by designator, so it lands where it says; leave out 'at {at}'"
        )
    names = tuple(each.strip() for each in at.split(","))
    for each in names:
        parse_phrase(each, f"{mod.file}: at", bare=True)
    return replace(mod, at=names, name=f"{mod.name} at {at}")


def named_as(mod: Mod, word: str, at: str) -> Mod:
    """A mod that was read under a name, narrowed down to what the name says behind "at"."""
    end = split_landing(word.removesuffix(".toml"))[1]
    if not at and isinstance(mod, RoleMod) and end and all(is_phrase(each.strip()) for each in end.split(",")):
        at = end
    return narrowed(mod, at) if at else mod


def land_mods(amp: Amp, mods: Sequence[Mod]) -> list[tuple[Mod, Tables]]:
    """Find where mods land in an amp: to each the mod by designators with its tables, which are a mod file's.

    Tables of one that has its places already are empty. Parts are called as nothing in the amp or another mod is.

    Raises
    ------
    DescriptionError
        When a mod does not fit, with the reason, or lands in more than one place, with all of them.
    """
    known = {*amp.part_by_designator, *(each.designator for each in amp.all_switches)}
    for mod in mods:
        if not isinstance(mod, RoleMod):
            known |= _brought(mod)
    landed: dict[int, tuple[Mod, Tables]] = {}
    for number, mod in sorted(enumerate(mods), key=lambda each: each[1].name):
        landed[number] = (mod, {})
        if isinstance(mod, RoleMod):
            landed[number] = _land(amp, mod, frozenset(known))
            known |= _brought(landed[number][0])
    return [landed[number] for number in range(len(mods))]


def _brought(mod: Mod) -> set[str]:
    return {*(each.designator for each in mod.parts), *(each.designator for each in mod.switches)}


def _land(amp: Amp, mod: RoleMod, taken: frozenset[str]) -> tuple[Mod, Tables]:
    tables = {**mod.tables, "name": mod.name}
    wanted = Wanted(mod.name, mod.file, places_wanted(tables), mod.expects)
    site = site_of(amp)
    drawn = site.amp

    def volts(place: str) -> float:
        return _volts_of(drawn)[place]

    try:
        choice = choose(site, wanted, volts, mod.at)
    except NoPlace as problem:
        raise NoPlace(f"{mod.file}: {str(problem).removeprefix(f'{mod.file}: ')}") from None
    done = with_landing(tables, choice.landing, taken, value_in(drawn), mod.file)
    if mod.find_type is None:
        raise DescriptionError(f"{mod.file}: was not read from a file or tables")
    return read_mod(done, mod.file, mod.find_type), done


@lru_cache(maxsize=32)
def _volts_of(amp: Amp) -> dict[str, float]:
    return {place: ours for place, _, ours, _ in volts_at_rest(amp)}


def land(amp: Amp, mod: Mod, at: str = "") -> Mod:
    """The mod with its places found in an amp, at the things that `at` names ("second stage"): as `land_mods` of one.

    Raises
    ------
    DescriptionError
        As `land_mods`.
    """
    return land_mods(amp, [narrowed(mod, at) if at else mod])[0][0]


def apply_mods(amp: Amp, *mods: Mod) -> Amp:
    """Fit mods to an amp and return the new amp; those that say places by what they are land first.

    Parameters
    ----------
    amp : Amp
        The amp to work on, with or without mods.
    *mods : Mod
        Mods to fit. Their order cannot matter: what they touch may not overlap.

    Returns
    -------
    Amp
        The amp with the mods added to `Amp.mods`, sorted by name.

    Raises
    ------
    DescriptionError
        As `circuit.mods.apply_mods`; and when a mod does not fit, with the reason, or lands in more than one place.
    """
    return circuit_mods.apply_mods(amp, *(mod for mod, _ in land_mods(amp, mods)))


def check_landings(amp: Amp, mods: Iterable[Mod]) -> None:
    """Refuse mods that landed in one amp and would land elsewhere in another.

    Raises
    ------
    DescriptionError
        Naming mod and place.
    """
    for mod in mods:
        said: dict[str, list[str]] = {}
        for text, place in mod.landing:
            said.setdefault(text, []).append(place)
        for text, places in said.items():
            if places not in _meant(amp, mod.file, text):
                raise DescriptionError(
                    f"{mod.file}: {text} was {join_words(places)}, and is not in {amp.name}; take the mod in again"
                )


def _meant(amp: Amp, file: str, text: str) -> list[list[str]]:
    """What a place may be in an amp."""
    site, phrase, found = site_of(amp), parse_phrase(text, file), []
    with contextlib.suppress(NoPlace):
        for things in site.candidates(phrase):
            spots = [site.spots(phrase, thing)[0] for thing in things]
            found.append([each.place(phrase.end) if phrase.end else each.parts[0] for each in spots])
    return found
