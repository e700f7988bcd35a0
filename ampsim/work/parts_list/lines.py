"""One line of the parts list to each part that a mod brings or changes."""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Any

import numpy as np
import pandas as pd

from ...circuit.amp import Amp, AnyPart, Edit, Mod, Part, Pot, Socket
from ...circuit.build import Circuit, circuit_at
from ...circuit.designators import body_of
from ...circuit.mods import describe_part, where
from ...circuit.positions import Position, setting_clause
from ...circuit.semiconductors.device import Device
from ...measures.labels import records
from ...studies.ratings.parts import worst_parts
from ...studies.ratings.usual import MAINS, WATTS_FACTOR
from ...studies.search.wishes import Drawer, Stocked
from ..new_parts import part_put_in, rewiring_words, switches_on, work_mods
from .preferred_values import Preferred, nearest_preferred, nearest_track
from .ratings_needed import PULSE_FACTOR, Rating, Surroundings, capacitor_rating, pot_rating, resistor_rating
from .surroundings import surroundings
from .switch_need import SwitchNeed, name_in_wiring, needs_of, switch_need

_NOTHING = Rating(math.nan, math.nan, math.nan, "", "")
_UNKNOWN = Rating(math.nan, math.nan, math.nan, "", "not in circuit in the positions looked at: rating not worked out")


@dataclass(frozen=True)
class PartLine:
    """What to get for one part.

    `part` is its designator, `mod` whose doing, `when` in which switch positions ("always"), `place` where it goes.
    `kind` and `wanted` say what it is; `preferred` the nearest preferred value (None for valves and switches).
    `rating` what to ask for; `carries_watts`, `pulse_watts` and `carries_volts` what it carries at worst (NaN: not
    known or of no matter). `wired` is how a variable resistor is wired, `switch` what a switch needs, `at_hand` what
    lies in the drawer, `stocked`, in words ("buy" where nothing that serves does, "" without a drawer). `gang` is how
    many sections or tracks of one body it stands for, 0 where those are not alike.
    """

    part: str
    mod: str
    when: str
    place: str
    kind: str
    wanted: str
    value: float = math.nan
    preferred: Preferred | None = None
    rating: Rating = _NOTHING
    carries_watts: float = math.nan
    pulse_watts: float = math.nan
    carries_volts: float = math.nan
    taper: str = ""
    wired: str = ""
    switch: SwitchNeed | None = None
    at_hand: str = ""
    stocked: Stocked | None = None
    gang: int = 1

    @property
    def watts_margin(self) -> float:
        """Rated over carried mean watts [ratio]."""
        return self.rating.watts / self.carries_watts if self.carries_watts > 0.0 else math.nan

    @property
    def volts_margin(self) -> float:
        """Rated over highest volts [ratio]."""
        return self.rating.volts / self.carries_volts if self.carries_volts > 0.0 else math.nan


@dataclass(frozen=True)
class _AskedPart:
    """A part that a mod brings or gives another value, and when."""

    mod: Mod
    part: AnyPart
    edit: Edit
    when: str


def part_lines(
    stock: Amp, modded: Amp, carried: pd.DataFrame, positions: Sequence[Position], drawer: Drawer | None
) -> Iterator[PartLine]:
    """Every line, in the order of mods and edits; switches come last in each mod.

    Parameters
    ----------
    stock, modded : Amp
        The mods that the first has not are listed.
    carried : pandas.DataFrame
        What parts carry, as `part_ratings` gives it, of the modded amp at least.
    positions : sequence of mapping
        Where that was asked.
    drawer : Drawer
        Looked in before buying; None for no drawer.
    """
    table = carried[carried["variant"] == modded.variant]
    seen = [(position, circuit_at(modded, position)) for position in positions]
    found: list[PartLine] = []
    for mod in work_mods(stock, modded):
        coils = {switch.designator for switch in mod.switches if switch.coil is not None}
        asked_for = [asked for asked in _parts_asked(modded, mod) if asked.part.designator not in coils]
        found += [_line(modded, asked, table, seen, drawer) for asked in asked_for]
        found += [
            PartLine(need.designator, mod.name, "always", switch.control, "switch", need.kind, switch=need,
                     at_hand="buy" if drawer else "")
            for switch in mod.switches if not switch.shaft for need in needs_of(modded, switch)
        ]  # fmt: skip
    for line in _whole_bodies(found):
        on = switches_on(modded, line.part)
        yield _with_switch(line, switch_need(modded, on[0])) if on else line


_GANGS = {1: "", 2: "dual ", 3: "triple ", 4: "quadruple "}


def _whole_bodies(lines: Sequence[PartLine]) -> Iterator[PartLine]:
    """The lines with the sections of one body as one: what is bought is a double valve, a ganged pot."""
    groups: dict[tuple[str, str, str, str], list[PartLine]] = {}
    for line in lines:
        body = body_of(line.part) if line.kind in ("pot", "valve") else line.part
        groups.setdefault((body, line.mod, line.when, line.kind), []).append(line)
    for (body, *_), group in groups.items():
        yield _one_body(body, group) if len(group) > 1 else group[0]


def _one_body(body: str, group: Sequence[PartLine]) -> PartLine:
    worst = max(group, key=lambda line: (line.rating.watts, line.rating.volts))
    wanted = dict.fromkeys(line.wanted for line in group)
    gang = _GANGS.get(len(group), f"{len(group)} x ") if worst.kind == "pot" else ""
    alike = f"{gang}{group[0].wanted}"
    each = " and ".join(f"{line.wanted} ({line.part})" for line in group)
    places = dict.fromkeys(line.place for line in group)
    place = next(iter(places)) if len(places) == 1 else "; ".join(f"{line.part} {line.place}" for line in group)
    same = len(wanted) == 1
    return replace(
        worst, part=body, wanted=alike if same else f"{gang}{each}", place=place, gang=len(group) if same else 0
    )


def _with_switch(line: PartLine, need: SwitchNeed) -> PartLine:
    """A pot with a switch on its shaft: one part."""
    kind = need.kind.replace(f" on the shaft of {line.part}", " on its shaft")
    kind = kind.replace(f" the track of {line.part}", " its track")
    return replace(line, wanted=f"{line.wanted} pot with {kind}", switch=need)


def _parts_asked(amp: Amp, mod: Mod) -> Iterator[_AskedPart]:
    """Parts fitted or replaced, each once with all the positions that have it."""
    labelled = [(edit, "") for edit in mod.edits]
    labelled += [
        (e, setting_clause(s.control, label)) for s in mod.switches for label, edits in s.positions for e in edits
    ]
    whens: dict[tuple[AnyPart, Edit], list[str]] = {}
    for edit, label in labelled:
        part = part_put_in(amp, edit)
        if part is not None:
            whens.setdefault((part, edit), []).append(label)
    for (part, edit), labels in whens.items():
        yield _AskedPart(mod, part, edit, "always" if "" in labels else ", ".join(labels))


def _line(
    amp: Amp, asked: _AskedPart, table: pd.DataFrame, seen: Sequence[tuple[Position, Circuit]], drawer: Drawer | None
) -> PartLine:
    part, edit = asked.part, asked.edit
    name = name_in_wiring(amp, part)
    place = f"in place of {describe_part(amp.part_by_designator[part.designator])}"
    place += f", wired as {name}" if name != part.designator else ""
    place = where(edit) if edit.action == "fit" else place
    base = PartLine(part.designator, asked.mod.name, asked.when, place, part.kind, describe_part(part))
    if not isinstance(part, (Part, Pot)):
        return replace(base, at_hand="buy" if drawer else "", rating=_type_rating(amp, part))
    line = replace(
        base, value=part.value, preferred=(nearest_track if part.kind == "pot" else nearest_preferred)(part.value)
    )
    if isinstance(part, Pot):
        line = replace(line, taper=part.taper, wired=edit.wired)
    carried = _worst_readings(table, part)
    line = (
        replace(line, rating=_UNKNOWN)
        if carried is None
        else _with_rating(line, carried, surroundings(amp, part, seen))
    )
    return with_drawer(line, drawer) if drawer else line


def _type_rating(amp: Amp, part: AnyPart) -> Rating:
    if isinstance(part, Device):
        why = "what it carries against its type's limits is in the sheet"
        spread, sections = (getattr(amp.semiconductor_by_type[part.type], each) for each in ("spread", "sections"))
        if sections > 1:
            why = f"{sections} in a package: {body_of(part.designator)} is bought once; {why}"
        if spread:
            within = " and ".join(f"{name.replace('_', ' ')} from {low:g} to {high:g}" for name, low, high in spread)
            why = f"specimens scatter, {within}: measure it before it is fitted; {why}"
        return Rating(math.nan, math.nan, math.nan, "", why)
    if isinstance(part, Socket):
        why = "check its bias and its limits in the sheet before it is powered"
        return Rating(math.nan, math.nan, math.nan, "tested valve", f"{why}. {rewiring_words(amp, part)}".rstrip(". "))
    return Rating(math.nan, math.nan, math.nan, "", "")


def _worst_readings(table: pd.DataFrame, part: Part | Pot) -> dict[str, Any] | None:
    """The worst readings of a part while it has this value."""
    own = table[(table["part"] == part.designator) & ((table["value"] / part.value - 1.0).abs() < 1e-9)]
    return records(worst_parts(own))[0] if len(own) else None


def _with_rating(line: PartLine, carried: Mapping[str, Any], stands: Surroundings) -> PartLine:
    rating = {"resistor": resistor_rating, "capacitor": capacitor_rating, "pot": pot_rating}.get(line.kind)
    found = rating(carried, stands) if rating else _COIL
    watts = carried["needs [W]"] / WATTS_FACTOR
    return replace(line, rating=found, carries_watts=watts, pulse_watts=carried["pulse [W]"],
                   carries_volts=carried["needs [V]"])  # fmt: skip


_COIL = Rating(math.nan, math.nan, 0.1, "coil", "its direct current is not worked out")


def with_drawer(line: PartLine, drawer: Drawer) -> PartLine:
    """A line with what the drawer has for it: rated for the watts, the peaks and the volts that it asks for."""
    watts = np.fmax(WATTS_FACTOR * line.carries_watts, line.pulse_watts / PULSE_FACTOR)
    volts = MAINS * line.carries_volts
    stocked, words = find_in_drawer(drawer, line.kind, line.value, watts, volts)
    if stocked is not None:
        words += "; its rating was not worked out" if math.isnan(line.carries_volts) else "; check its kind"
    return replace(line, at_hand=words, stocked=stocked)


_SAME = 1e-6


def find_in_drawer(drawer: Drawer, kind: str, value: float, watts: float, volts: float) -> tuple[Stocked | None, str]:
    """The drawer's part of this value that stands the watts and volts, weakest first, and what is said of it.

    Parameters
    ----------
    drawer : Drawer
    kind : str
        "resistor" or "capacitor"; a drawer keeps nothing else.
    value : float
        [ohm or F].
    watts, volts : float
        What it must stand; NaN where that does not matter.
    """
    if kind not in ("resistor", "capacitor"):
        return None, "buy"
    same = [each for each in drawer.parts if each.kind == kind and abs(each.value / value - 1.0) < _SAME]
    good = [each for each in same if each.stands(watts, volts)]
    if good:
        best = min(good, key=lambda each: (each.volts, each.watts))
        return best, f"in the drawer: {best.words}"
    if not same:
        return None, "buy"
    why = "stands too little" if same[0].is_rated else "is not said to stand anything"
    return None, f"buy: the drawer's {same[0].words} {why}"
