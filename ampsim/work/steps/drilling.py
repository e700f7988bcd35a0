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
    """Steps for what goes through the panel; none where nothing does.

    What to do stays the same whatever bodies the parts have; how says their holes and rooms.

    Parameters
    ----------
    stock, modded : Amp
    work : PanelWork
        Where the bodies are known; default: the usual ones.
    """
    work = work or panel_work(stock, modded)
    for each in work.parts:
        if not each.drilled:
            yield _reuse_step(each)
    if work.left_open:
        yield Step(
            Phase.DRILL,
            f"Close {_holes_of(work.left_open)} with a plug.",
            tool="plug of the size of the hole",
            wrong=("An open hole lets fingers and things reach lethal volts.",),
        )
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


def _reuse_step(part: PanelPart) -> Step:
    whose = "the hole that the old one leaves" if part.name == part.into else f"the hole of {part.into}"
    return Step(
        Phase.DRILL,
        f"Try {part.called} in {whose} before it goes in for good.",
        tool="calliper, reamer or shouldered washers",
        how=(
            f"{part.words}: {part.body.hole_words} is usual ({part.body.thread}); it asks for {part.body.room_words}.",
            "A wider hole takes a shouldered washer, a narrower one is opened with a reamer.",
        ),
        wrong=("A body that touches a neighbour, a wire or the cabinet: another size of the same part.",),
    )


def _new_holes(work: PanelWork) -> Iterator[Step]:
    yield Step(
        Phase.DRILL,
        "Look for room for every new hole, from inside and with the chassis in its cabinet. A hole is for good: drill "
        "what the owner agreed to.",
        tool="calliper, lamp",
        how=(
            *(f"{each.words} asks for {each.body.room_words}." for each in work.holes),
            "Nothing of the works within 5 mm of that room, no wire behind the drill.",
        ),
        wrong=("No room: another place, or a body that needs less; nothing is drilled until it is found.",),
    )
    yield Step(
        Phase.DRILL,
        "Mark every hole on tape, from the drilling sheet or from the parts themselves.",
        tool="drilling sheet printed at 100 %, its ruler measured; masking tape, scriber",
        how=("Hold each part and its knob over its mark, and look along the row.",),
    )
    yield Step(
        Phase.DRILL,
        "Cover the works with cloth and tape, and lay the chassis so that chips fall out of it.",
        tool="cloth, tape, clamps, a block of wood behind the hole",
    )
    yield Step(
        Phase.DRILL,
        f"Centre punch each mark, drill {PILOT:g} mm through, open it with a step drill, deburr both sides.",
        tool=f"centre punch, drill of {PILOT:g} mm, step drill at low speed, deburrer; eye protection, no gloves",
        how=(
            *(f"{each.name}: {each.body.hole_words}{_key_words(each.body)}." for each in work.holes),
            "Try each part in its hole.",
        ),
        wrong=("The drill wanders: punch again and begin with the small drill. It snatches: slower, panel clamped.",),
    )
    yield Step(
        Phase.DRILL,
        "Get every chip out, the cloth last and folded inwards; look into sockets, pots and switches with a lamp.",
        tool="brush, vacuum, magnet for steel; no compressed air",
        wrong=("One chip that stays is a short at the volts of the supply.",),
    )


def _key_words(body: Body) -> str:
    return f" (tab: {KEY:g} mm at {body.key:g} mm from its centre, or the tab broken off)" if body.key else ""


def _holes_of(names: Sequence[str]) -> str:
    return f"the hole{'s' * (len(names) > 1)} of {join_words(list(names))}"
