"""A wire cut in two: which of its lugs go with which side is asked for where it cannot be known."""

from __future__ import annotations

from collections.abc import Iterable, Mapping

from ..base.errors import DescriptionError, shown
from ..base.wording import join_words
from .amp import Amp, Edit
from .stages.template import Element


def staying_side(edit: Edit, amp: Amp, nets: Mapping[str, str], elements: Iterable[Element]) -> tuple[str, ...]:
    """The side of a cut that keeps the wire's name, what jacks and stages call it: the other side comes off.

    A side that names ground, a rail, the input or the speaker takes every lug that is not named, and stays. Between
    two sides of lugs that is the one of the jack, else the one nearer the beginning of the drawing.

    Parameters
    ----------
    edit : Edit
    amp : Amp
    nets : mapping
        Net of every place.
    elements : iterable of Element

    Raises
    ------
    DescriptionError
        For places that are not on one wire, and for lugs on it of which it is not said to which side they go.
    """
    named = edit.places
    where = next((mod.file or mod.name for mod in amp.mods if edit in mod.every_edit()), amp.file)
    on = {nets[place] for place in named}
    if len(on) > 1:
        raise DescriptionError(
            f"{where}: cut: {join_words(named)} are not on one wire; there is none to cut between them"
        )
    common = [side for side in edit.sides if any("." not in place for place in side)]
    if len(common) > 1:
        raise DescriptionError(
            f"{where}: cut: {join_words(named)} are one wire everywhere; name the lugs that come off"
        )
    left = [place for place, net in nets.items() if net in on and "." in place and place not in named]
    if left and not common:
        first, second = (", ".join(f'"{place}"' for place in side) for side in edit.sides)
        raise DescriptionError(
            f"{where}: cut: {join_words(left)} {'is' if len(left) == 1 else 'are'} on this wire too; say to which side "
            f"each goes: cut = [[{first}, ...], [{second}, ...]]{_bus(nets, on)}"
        )
    return common[0] if common else min(edit.sides, key=lambda side: _rank(side, amp, elements))


def _bus(nets: Mapping[str, str], on: set[str]) -> str:
    found = [place for place, net in nets.items() if net in on and "." not in place]
    return f"; what is not named stays on {found[0]} with {shown(found[0])} as a side" if found else ""


def _rank(side: tuple[str, ...], amp: Amp, elements: Iterable[Element]) -> tuple[bool, int]:
    tips = {jack.tip for jack in amp.jacks}
    order = [stage.name for stage in amp.stages]
    parts = {place.partition(".")[0] for place in side}
    stages = [each.stage for each in elements if each.designator in parts]
    return not tips & set(side), min((order.index(each) for each in stages if each in order), default=-1)
