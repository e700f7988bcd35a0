"""Candidates as people say them: "1u or 22u across R11", "R4 = 2k2 or none", "gain = linear or audio 10 %", mods."""

from __future__ import annotations

import math
import re
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from dataclasses import replace
from itertools import count, product
from typing import Any

from ..base.errors import DescriptionError, nearest, shown
from ..base.quantities import FARAD, OHM, format_value, parse_value
from ..circuit.amp import Amp, Mod, Pot
from ..circuit.landing.words import is_phrase
from ..circuit.positions import setting_words
from ..circuit.tapers import parse_taper
from ..pictures.candidates import MOST_CANDIDATES
from ..studies.audition_request import last_position
from ..studies.candidates.question import Candidate, Position, Question
from .landing import apply_mods
from .loader import load_mod, parse_mod

NONE = ("none", "nothing", "no")
_WAYS = re.compile(r"(?P<values>.+?)\s+(?P<way>across|between|in series at)\s+(?P<place>.+)")
_SWAP = re.compile(r"(?P<part>[^=]+?)\s*=\s*(?P<values>.+)")
_REASON = "A candidate of a comparison."
_BARE = re.compile(r"[\d.,]+")  # without a unit or a letter for one
Made = str | Mapping[str, Any]
Piece = tuple[str, Mod | None, Made]
"""What it is called, what is fitted, and the name or the entries that this came from."""


def read_candidates(
    amp: Amp,
    candidates: Sequence[str | Mod | Sequence[Mod]] | str,
    at: Position | None = None,
    listen_at: str = "speaker",
    find_mod: Callable[[str], Mod] = load_mod,
    taken: Iterable[str] = (),
) -> Question:
    """Make a question of an amp and candidates.

    Parameters
    ----------
    amp : Amp
        What the candidates are held against; with mods fitted or not.
    candidates : sequence
        Each a text, a mod, or several mods that are one candidate. A text names one or more candidates:
        "1u or 22u across R11" (fitted in parallel; "between PLACE and PLACE" and "in series at PLACE" likewise),
        "R4 = 2k2 or 3k3" (another value or type in a part's place), "gain = linear or audio 10 %" (another taper of the
        pots of a knob), names of mods and files; "none" fits nothing, or takes the part out. "+" puts several into one
        candidate; where those have alternatives, every combination is a candidate.
    at : mapping
        Where the controls stand (rotations 0 to 1 [ratio]); default as drawn, those that a candidate brings at their
        last position or turned up.
    listen_at : str
        The place listened at; default the loudspeaker.
    find_mod : callable
        From a name in a text to a mod; default from file or shelf.
    taken : iterable of str
        Designators besides those of the amp that no part of a candidate may have.

    Raises
    ------
    DescriptionError
        For what is no candidate, or does not fit this amp.
    """
    given = [candidates] if isinstance(candidates, str) else list(candidates)
    found = [candidate for each in given for candidate in _candidates(amp, each, find_mod, taken)]
    apart = _read_apart(amp, found) - set(at or {})
    own = {name: value for name, value in _own_controls(amp, found).items() if name not in apart}
    standing = tuple(_standing(each, amp, apart) for each in found)
    return Question(amp, standing, own | dict(at or {}), listen_at)


def _read_apart(amp: Amp, found: Sequence[Candidate]) -> set[str]:
    """Switches of one name that candidates bring with positions of their own: no position is one for all."""
    known: dict[str, set[tuple[str, ...]]] = {}
    for each in found:
        for switch in each.amp.all_switches:
            if switch.control not in amp.controls:
                known.setdefault(switch.control, set()).add(tuple(name for name, _ in switch.positions))
    return {name for name, sets in known.items() if len(sets) > 1}


def _standing(candidate: Candidate, amp: Amp, apart: set[str]) -> Candidate:
    """A candidate with such switches as if drawn in their last position, which its label says."""
    own = [name for name in candidate.amp.controls if name in apart and name not in amp.controls]
    if not own:
        return candidate
    at = {name: last_position(candidate.amp, name) for name in own}
    mods = tuple(
        replace(mod, switches=tuple(
            replace(each, drawn=str(at[each.control])) if each.control in at else each for each in mod.switches
        ))
        for mod in candidate.amp.mods
    )  # fmt: skip
    settings = ", ".join(setting_words(name, value) for name, value in at.items())
    return replace(candidate, label=f"{candidate.label} ({settings})", amp=replace(candidate.amp, mods=mods))


def _own_controls(amp: Amp, found: Sequence[Candidate]) -> Position:
    """Where the controls stand that candidates bring: so that they show what they do."""
    return {
        name: last_position(each.amp, name) for each in found for name in each.amp.controls if name not in amp.controls
    }


def _candidates(
    amp: Amp, given: str | Mod | Sequence[Mod], find_mod: Callable[[str], Mod], taken: Iterable[str]
) -> Iterator[Candidate]:
    if isinstance(given, Mod):
        given = [given]
    if not isinstance(given, str):
        yield Candidate(" + ".join(mod.name for mod in given), apply_mods(amp, *given))
        return
    names = _free_names([*amp.part_by_designator, *taken])
    ways = [list(_alternatives(amp, piece.strip(), names, find_mod)) for piece in re.split(r"\s\+\s", given)]
    if (combined := math.prod(map(len, ways))) > MOST_CANDIDATES:
        raise DescriptionError(f"{shown(given)}: {combined} candidates; at most {MOST_CANDIDATES} can be told apart")
    for pieces in product(*ways):
        mods = [mod for _, mod, _ in pieces if mod is not None]
        made_of = tuple(made for _, mod, made in pieces if mod is not None)
        label = " + ".join(label for label, _, _ in pieces)
        yield Candidate(label, apply_mods(amp, *mods) if mods else amp, made_of)


def _free_names(designators: Iterable[str]) -> Iterator[str]:
    """Numbers for parts that none of these has."""
    taken = {re.sub(r"\D", "", each) for each in designators}
    return (str(number) for number in count(901) if str(number) not in taken)


def _alternatives(amp: Amp, text: str, numbers: Iterator[str], find_mod: Callable[[str], Mod]) -> Iterator[Piece]:
    """What one text says: a label and a mod to each alternative; no mod where nothing is fitted."""
    fitted, swapped = _WAYS.fullmatch(text), _SWAP.fullmatch(text)
    if fitted and all(_is_value(each) for each in _split(fitted["values"])):
        where = _where(amp, fitted["way"], fitted["place"])
        for value in _split(fitted["values"]):
            label = f"{value} {fitted['way']} {fitted['place']}"
            yield (label, None, "") if value in NONE else _fitting(value, where, label, next(numbers))
    elif fitted and not text.endswith(".toml"):
        wrong = next(each for each in _split(fitted["values"]) if not _is_value(each))
        raise DescriptionError(
            f"{shown(text)}: {shown(wrong)} is no value; a resistor is written as 2k2, a capacitor as 22n or 1u, "
            f"nothing there as {NONE[0]}"
        )
    elif swapped:
        for value in _split(swapped["values"]):
            yield _swap(amp, swapped["part"].strip(), value)
    else:
        # Where a mod lands may be several things: "warmer at first stage, second stage" is one.
        for name in re.split(r"\s+or\s+", text) if " at " in text else _split(text):
            mod = _named_mod(name, find_mod)
            yield mod.name, mod, name


def _named_mod(name: str, find_mod: Callable[[str], Mod]) -> Mod:
    try:
        return find_mod(name)
    except DescriptionError as problem:
        raise DescriptionError(
            f"{problem}. A value is written as 'R4 = 2k2' or '1u across R4', a taper as 'gain = linear'"
        ) from None


def _split(values: str) -> list[str]:
    return [each.strip() for each in re.split(r",\s+|\s+or\s+", values) if each.strip()]


def _is_value(text: str) -> bool:
    return text in NONE or bool(_kinds(text))


def _kinds(text: str) -> list[str]:
    """The letters of the parts that a value may be one of."""
    found = []
    for letter, quantity in (("R", OHM), ("C", FARAD)):
        try:
            parse_value(text, quantity)
        except DescriptionError:
            continue
        found.append(letter)
    return found


def _fitting(value: str, where: dict[str, Any], label: str, number: str) -> Piece:
    kinds = _kinds(value)
    if len(kinds) > 1 or (_BARE.fullmatch(value) and parse_value(value, OHM) < 1.0):
        raise DescriptionError(f"{shown(label)}: {value} may be a resistor or a capacitor; write its unit, ohm or F")
    name = f"{kinds[0]}{number}"
    return _mod(label, [{"fit": name, **where}], {name: value})


def _where(amp: Amp, way: str, place: str) -> dict[str, Any]:
    if way == "between":
        ends = re.split(r"\s+and\s+|,\s*", place)
        if len(ends) != 2:
            raise DescriptionError(f"between {shown(place)}: name two places, such as between P1.top and P1.wiper")
        return {"between": ends}
    if way == "in series at":
        return {"in_series_at": place}
    name = place if is_phrase(place) else _one_part(_parts_named(amp, place), place)
    track = isinstance(amp.part_by_designator.get(name), Pot)
    return {"between": [f"{name}.top", f"{name}.bottom"]} if track else {"across": name}


def _one_part(found: tuple[str, ...], word: str) -> str:
    if len(found) > 1:
        raise DescriptionError(f"{shown(word)} turns {' and '.join(found)}; name one of them")
    return found[0]


def _parts_named(amp: Amp, word: str) -> tuple[str, ...]:
    """The parts that a designator or the name of a knob means; a phrase by role is kept as it is."""
    if word in amp.controls and amp.controls[word].kind == "knob":
        return amp.controls[word].designators
    bodies = {each.rstrip("ABCD") for each in amp.part_by_designator}
    if word in amp.part_by_designator or word in bodies or is_phrase(word):
        return (word,)
    known = [*amp.part_by_designator, *amp.controls]
    raise DescriptionError(f"{amp.name} has no part or knob {shown(word)}{nearest(word, known)}")


def _swap(amp: Amp, name: str, value: str) -> Piece:
    parts = _parts_named(amp, name)
    if value in NONE:
        return _mod(f"{name} out", [{"lift": each} for each in parts], {})
    edits = [{"replace": each, "with": _with_track(amp, each, value)} for each in parts]
    return _mod(f"{name} {value}", edits, {})


def _with_track(amp: Amp, name: str, value: str) -> str:
    """What is put in a part's place; of a pot of which a taper alone is named, its own track with it."""
    part = amp.part_by_designator.get(name)
    if not isinstance(part, Pot):
        return value
    try:
        taper = parse_taper(value)
    except DescriptionError:
        return value
    return f"{format_value(part.value, OHM)} {taper}"


def _mod(name: str, edits: list[dict[str, Any]], parts: dict[str, str]) -> Piece:
    tables = {"name": name, "reason": _REASON, "parts": parts, "edits": edits}
    return name, parse_mod(tables, f"candidate {shown(name)}"), tables
