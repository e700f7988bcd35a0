"""Steps of drilling: room looked for first, the works covered, holes in the order of the tools, every chip out."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

from ...base.wording import join_words
from ...circuit.amp import Amp
from ..holes.bodies import KEY, Body
from ..holes.panel_parts import PanelPart, PanelWork, panel_work
from .step import Phase, Step

PILOT = 3.0
"""Diameter of the first drill [mm]: common practice, no source."""


def drilling_steps(stock: Amp, modded: Amp, work: PanelWork | None = None) -> Iterator[Step]:
    """Steps for what goes through the panel (`work`, where its bodies are known); none where nothing does."""
    work = work or panel_work(stock, modded)
    for each in work.parts:
        if not each.drilled:
            yield Step(Phase.DRILL, _reuse_words(each))
    if work.left_open:
        yield Step(Phase.DRILL, f"Close {_holes_of(work.left_open)} with a plug: nobody may reach in.")
    if work.holes:
        yield from _new_holes(work)


def plug_steps(stock: Amp, modded: Amp) -> Iterator[Step]:
    """What is done about holes on the way back."""
    work = panel_work(stock, modded)
    if work.holes:
        names = [each.name for each in work.holes]
        yield Step(Phase.FIT, f"Close {_holes_of(names)} with a plug of the size of the hole; nobody may reach in.")
    for each in work.parts:
        if not each.drilled and each.name != each.into:
            yield Step(Phase.FIT, f"The hole that {each.name} leaves is for {each.into} again.")


def _reuse_words(part: PanelPart) -> str:
    who = (
        f"{part.words} goes into its own hole"
        if part.name == part.into
        else f"{part.words} takes the hole of {part.into}"
    )
    return (
        f"{who}: measure it first, {part.body.hole_words} is usual ({part.body.thread}). It asks for "
        f"{part.body.room_words}; wider holes take a shouldered washer, narrower ones are opened with a reamer."
    )


def _new_holes(work: PanelWork) -> Iterator[Step]:
    rooms = "; ".join(f"{each.words} asks for {each.body.room_words}" for each in work.holes)
    yield Step(
        Phase.DRILL,
        f"A hole is for good: drill what the owner agreed to. Look for room before marking, from inside and with the "
        f"chassis in its cabinet: {rooms}. Nothing of the works may be within 5 mm of it, no wire behind the drill.",
    )
    yield Step(
        Phase.DRILL,
        "Mark on tape, from the drilling sheet (printed at 100 %, its ruler measured) or from the parts themselves; "
        "hold each part and its knob over its mark, and look along the row.",
    )
    yield Step(
        Phase.DRILL,
        "Lay the chassis so that chips fall out of it, and cover the works with cloth and tape. Eye protection on, no "
        "gloves, panel clamped, a block of wood behind the hole.",
    )
    holes = "; ".join(f"{each.name}, {each.body.hole_words}{_key_words(each.body)}" for each in work.holes)
    yield Step(
        Phase.DRILL,
        f"Centre punch each mark, drill {PILOT:g} mm through, open with a step drill at low speed, and deburr both "
        f"sides: {holes}. Try each part in its hole.",
    )
    yield Step(
        Phase.DRILL,
        "Chips out: brush and vacuum, the cloth taken off last and folded inwards, a magnet for steel; no compressed "
        "air. Look into every socket, pot and switch with a lamp: one chip is a short at the volts of the supply.",
    )


def _key_words(body: Body) -> str:
    return f" (tab: {KEY:g} mm at {body.key:g} mm from its centre, or the tab broken off)" if body.key else ""


def _holes_of(names: Sequence[str]) -> str:
    return f"the hole{'s' * (len(names) > 1)} of {join_words(list(names))}"
