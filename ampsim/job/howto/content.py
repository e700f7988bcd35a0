"""What the how-to says, as blocks that page and Markdown are both made of."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field, replace

import numpy as np
import pandas as pd

from ...base.errors import DescriptionError
from ...base.wording import in_decibels, in_hertz
from ...circuit.amp import Amp, Mod
from ...circuit.build import SPEAKER, build_circuit
from ...circuit.designators import part_of
from ...circuit.positions import position_label, setting_words
from ...library.landing import apply_mods
from ...measures.sweep import gain_at
from ...pictures.export import svg
from ...simulation.analyses import FrequencySweep
from ...simulation.response import simulate
from ...studies.audition import changes_table
from ...studies.audition_request import Setting
from ...studies.stability.steady import unsteady_positions, unsteady_words
from ...work.cautions.sheet import caution_sheet
from ...work.parts_list.parts_list import PartsList, parts_list
from ...work.schematic.draw import schematic
from ..marks.overlay import mark_words, photo_svg
from ..papers.photos import ShownPhoto
from ..papers.shop_tables import charge_tables, fitted_parts
from .private_words import strings_within
from .public import PublicChoice, PublicJob, PublicPhoto

_TURNS = (0.0, 0.5, 1.0)  # of a knob that a mod adds
_MOST_POSITIONS = 9
_SILENT = -200.0  # dB: nothing comes out
_COMPUTED = (
    "All numbers are computed from the drawing with nominal values; nothing here was measured. Another amp of the same "
    "drawing has other valves and other tolerances: measure before and after."
)


@dataclass(frozen=True)
class Words:
    """A paragraph; `quiet` is set small, `quoted` is what somebody said."""

    text: str
    kind: str = ""


@dataclass(frozen=True)
class Bullets:
    """A list."""

    items: tuple[str, ...]
    kind: str = "bullets"


@dataclass(frozen=True)
class Grid:
    """A table with its caption."""

    table: pd.DataFrame = field(hash=False)
    caption: str = ""
    kind: str = "grid"


@dataclass(frozen=True)
class Sheet:
    """A drawing as SVG text, and what it is called."""

    drawing: str
    title: str
    kind: str = "sheet"


@dataclass(frozen=True)
class Photos:
    """Photos side by side."""

    shown: tuple[ShownPhoto, ...]
    kind: str = "photos"


Block = Words | Bullets | Grid | Sheet | Photos


@dataclass(frozen=True)
class Part:
    """A part of the how-to under its heading; one with nothing in it is left out."""

    title: str
    blocks: tuple[Block, ...]


@dataclass(frozen=True)
class HowTo:
    """The whole how-to: title, the line above it, and its parts, cautions first."""

    title: str
    above: str
    intro: str
    parts: tuple[Part, ...]


def howto_of(job: PublicJob) -> HowTo:
    """Work the how-to out of what may be published, and of nothing else.

    Raises
    ------
    DescriptionError, EngineError
        As what is worked out.
    """
    mods = _in_order(job)
    left = list(job.photos)
    told = parts_list(job.stock, job.modded)
    by_mod = [_mod_part(job, mods[:number], mods[number], told, left) for number in range(len(mods))]
    names = {mod.name for mod in mods}
    others = [each for each in job.choices if each.chosen not in names]
    parts = [
        Part("Cautions", tuple(_cautions(job))),
        Part("What was asked", tuple(_asked(job))),
        Part("The circuit before", (Sheet(svg(schematic(job.stock)), "The circuit before the work"),)),
        Part("The circuit after", (Sheet(svg(schematic(job.modded)), "The circuit after the work"),)),
        *by_mod,
        Part("What else was tried", tuple(_tried(others))),
        Part("Photos", _shown(left)),
        Part("How this was worked out", (Words(_COMPUTED), *(Words(each, "quiet") for each in told.notes))),
    ]
    count = f"{len(mods)} mods, each with its reason" if len(mods) > 1 else "One mod: its reason"
    return HowTo(
        f"{job.modded.variant}: how it is done",
        job.stock.name,
        f"{count}, what it does in numbers, its parts, and what was tried beside it.",
        tuple(each for each in parts if each.blocks),
    )


def _cautions(job: PublicJob) -> Iterator[Block]:
    unsteady = unsteady_words(unsteady_positions([job.stock, job.modded], [job.at]))
    if unsteady:
        yield Words(f"OSCILLATES, not as told here: {' '.join(unsteady)}")
    sheet = caution_sheet(job.modded, opened=job.stock)
    yield Bullets(sheet.sentences)
    for title, table in charge_tables(sheet).items():
        yield Grid(table, title)
    if sheet.unknown:
        yield Words("What these cautions do not know", "heading")
        yield Bullets(sheet.unknown)


def _asked(job: PublicJob) -> Iterator[Block]:
    if job.words.strip():
        yield Words(job.words, "quoted")
    if job.wishes:
        yield Bullets(tuple(" ".join(each.split()) for each in job.wishes))


def _in_order(job: PublicJob) -> list[Mod]:
    """The mods, each after those without whose parts it cannot be fitted."""
    left, done = list(job.modded.mods), list[Mod]()
    while left:
        mod = next((each for each in left if _goes(job.stock, [*done, each])), left[0])
        left.remove(mod)
        done.append(mod)
    return done


def _goes(stock: Amp, mods: Sequence[Mod]) -> bool:
    try:
        build_circuit(apply_mods(stock, *mods))
    except DescriptionError:
        return False
    return True


def _mod_part(job: PublicJob, first: Sequence[Mod], mod: Mod, told: PartsList, left: list[PublicPhoto]) -> Part:
    """One mod: reason, photos (taken from those that are `left`), what it changes, what that does, its parts.

    Parameters
    ----------
    job : PublicJob
    first : sequence of Mod
        Those that are fitted before it.
    mod : Mod
    told : PartsList
        Of all mods.
    left : list of PublicPhoto
        Photos that stand nowhere yet.
    """
    before, after = apply_mods(job.stock, *first) if first else job.stock, apply_mods(job.stock, *first, mod)
    own = _own_photos(mod, left)
    left[:] = [each for each in left if each not in own]
    lines = tuple(each for each in told.lines if each.mod == mod.name)
    changes = changes_table(job.stock, job.modded)
    changes = changes[changes["mod"] == mod.name].drop(columns="mod").reset_index(drop=True)
    numbers = _numbers(job, before, after)
    blocks: list[Block] = [Words(mod.reason)]
    blocks += [Words(f"The practice is from: {mod.source}", "quiet")] if mod.source else []
    blocks += _shown(own)
    blocks += [Grid(changes, "what is changed")] if not changes.empty else []
    blocks += [Grid(numbers, "what it does to the gain [dB]"), Words(_stands(job, before, after), "quiet")]
    blocks += [Grid(fitted_parts(replace(told, lines=lines)), "its parts, as strong as they must be")] if lines else []
    tried = [each for each in job.choices if each.chosen == mod.name]
    blocks += [Words("What else was tried, and why it was not taken", "heading"), *_tried(tried)] if tried else []
    return Part(
        f"Mod {len(first) + 1}: {mod.name}" if len(job.modded.mods) > 1 else f"The mod: {mod.name}", tuple(blocks)
    )


def _own_photos(mod: Mod, photos: Sequence[PublicPhoto]) -> list[PublicPhoto]:
    """Photos of a part that the mod brings or works at, or with an arrow at one."""
    touched = {part.designator for part in mod.parts} | {switch.designator for switch in mod.switches}
    touched |= {part_of(text) for text in strings_within(mod.every_edit())}
    return [each for each in photos if {part_of(each.of), *(part_of(mark.at) for mark in each.marks)} & touched]


def _shown(photos: Sequence[PublicPhoto]) -> tuple[Photos, ...]:
    shown = tuple(
        ShownPhoto(photo_svg(each.picture, each.marks, each.of), each.of, tuple(mark_words(each.marks)))
        for each in photos
    )
    return (Photos(shown),) if shown else ()


def _settings(job: PublicJob, before: Amp, after: Amp) -> list[tuple[str, Setting]]:
    """Where the numbers are taken: at each position of what the mod adds, by its words."""
    rest = {name: value for name, value in job.at.items() if name in after.controls}
    found: list[tuple[str, Setting]] = []
    for name, control in after.controls.items():
        if name not in before.controls:
            values = control.positions if control.kind == "switch" else _TURNS
            found += [(setting_words(name, value), {**rest, name: value}) for value in values]
    return found[:_MOST_POSITIONS] or [("fitted", rest)]


def _numbers(job: PublicJob, before: Amp, after: Amp) -> pd.DataFrame:
    """What the mod changes at each of its positions [dB]: its gain less that of the amp before it."""
    settings = _settings(job, before, after)
    response = simulate([before, after], FrequencySweep(), [each for _, each in settings], [job.listen_at])
    levels = gain_at(response, job.frequencies, job.listen_at).transpose("variant", "position", "frequency").values
    with np.errstate(invalid="ignore"):
        change = np.where((levels > _SILENT).all(axis=0), levels[1] - levels[0], np.nan)
    rows = [
        {"at": words} | {in_hertz(at): _cell(float(level)) for at, level in zip(job.frequencies, row, strict=True)}
        for (words, _), row in zip(settings, change, strict=True)
    ]
    return pd.DataFrame(rows)


def _cell(level: float) -> str:
    return "–" if np.isnan(level) else in_decibels(level, sign=True).removesuffix(" dB")


def _stands(job: PublicJob, before: Amp, after: Amp) -> str:
    added = [name for name in after.controls if name not in before.controls]
    rest = {name: value for name, value in job.at.items() if name in after.controls and name not in added}
    where = f"; where it is not said otherwise, controls stand at {position_label(rest)}" if rest else ""
    place = "the speaker" if job.listen_at == SPEAKER else job.listen_at
    return f"With the mod less without it, at {place}{where}."


def _tried(choices: Sequence[PublicChoice]) -> Iterator[Block]:
    for choice in choices:
        why = f" Why: {choice.why.strip().rstrip('.')}." if choice.why.strip() else ""
        yield Words(f"Held against one another: {choice.asked}. Taken: {choice.chosen}.{why}")
        if choice.found:
            yield Bullets(tuple(_found(each, choice.chosen) for each in choice.found))


def _found(line: str, chosen: str) -> str:
    """What was found of a candidate; the one that was taken is said to be."""
    name, colon, rest = line.partition(": ")
    return f"{name} (taken): {rest}" if colon and name == chosen else line
