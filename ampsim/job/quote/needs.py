"""What a job needs, to be bought or from the drawer: like parts of the parts list together, each with its count."""

from __future__ import annotations

import math
import re
from collections.abc import Hashable, Mapping, Sequence
from dataclasses import dataclass, replace
from decimal import Decimal

from ...circuit.designators import body_of
from ...studies.ratings.usual import MAINS
from ...work.parts_list.lines import PartLine
from ...work.parts_list.parts_list import PartsList
from ...work.parts_list.switch_need import SwitchNeed

_POLARITY = re.compile(r", plus at [^,]+")  # how it goes in; the parts list says it
_TYPED = ("valve", "diode", "bridge rectifier", "transistor", "opto-coupler", "operational amplifier")


@dataclass(frozen=True)
class Need:
    """Like parts: what each must be, and for which places.

    `value` [SI unit] is NaN for what has a type; `tolerance` [ratio], `watts` [W] and `volts` [V] are NaN where they do
    not matter. `volts` is what the part must be rated for, `carried_volts` what it carries at worst and 10 % more.
    `room` is the space there is [mm], longest first, () where nobody said; `number` the order number that somebody
    chose. `at_hand` says what the job's own drawer holds for it, "" where nothing serves.
    """

    kind: str
    wanted: str
    parts: tuple[str, ...]
    value: float = math.nan
    tolerance: float = math.nan
    watts: float = math.nan
    volts: float = math.nan
    carried_volts: float = math.nan
    make: str = ""
    taper: str = ""
    gang: int = 1
    switch: SwitchNeed | None = None
    room: tuple[float, ...] = ()
    number: str = ""
    rated: bool = True
    at_hand: str = ""

    @property
    def count(self) -> Decimal:
        """How many are needed."""
        return Decimal(len(self.parts))

    @property
    def short(self) -> str:
        """What it is: "22n capacitor"."""
        named = self.kind == "switch" or self.switch is not None
        return self.wanted if named else f"{self.wanted} {self.kind}"

    @property
    def words(self) -> str:
        """What is asked for, in short: "22n capacitor, 400 V, film"."""
        told = [self.short]
        told += [f"{self.watts:g} W"] if math.isfinite(self.watts) else []
        told += [f"{self.volts:g} V"] if self.kind == "capacitor" and math.isfinite(self.volts) else []
        return ", ".join([*told, *([self.make] if self.make else [])])


def needs_of_list(
    parts: PartsList, rooms: Mapping[str, tuple[float, ...]] | None = None, numbers: Mapping[str, str] | None = None
) -> list[Need]:
    """The needs of a parts list, in its order.

    Parameters
    ----------
    parts : PartsList
    rooms : mapping
        The space that there is for a part [mm], longest first, by designator.
    numbers : mapping
        The order number that a part is to have, by designator.
    """
    groups: dict[Hashable, list[tuple[Need, str]]] = {}
    for line in parts.lines:
        need = replace(_need(line), room=(rooms or {}).get(line.part, ()), number=(numbers or {}).get(line.part, ""))
        name = body_of(line.part) if line.kind in _TYPED else line.part
        group = groups.setdefault(_what_is_bought(need), [])
        # The halves of one bottle or package are bought once, whichever mods ask for them.
        if line.kind not in _TYPED or all(name != other for _, other in group):
            group.append((need, name))
    return [_together(group) for group in groups.values()]


def _what_is_bought(need: Need) -> Hashable:
    """What is the same of like parts: neither what each carries below its rating, nor how each switch is wired."""
    switch = need.switch and (need.switch.kind, need.switch.poles, need.switch.throws, need.switch.sequence)
    return replace(need, carried_volts=_NAN, switch=None), switch


def _together(group: Sequence[tuple[Need, str]]) -> Need:
    hardest = max((need for need, _ in group), key=lambda need: (need.carried_volts >= 0.0, need.carried_volts))
    return replace(hardest, parts=tuple(name for _, name in group))


def _need(line: PartLine) -> Need:
    """What one line asks for; a frozen key without NaN that differs from itself."""
    rating = line.rating
    return Need(
        line.kind,
        line.wanted,
        (),
        value=line.value if line.gang else _NAN,
        tolerance=_same_nan(rating.tolerance),
        watts=_same_nan(rating.watts),
        volts=_same_nan(rating.volts),
        carried_volts=_same_nan(MAINS * line.carries_volts),
        make=_POLARITY.sub("", rating.make),
        taper=line.taper,
        gang=line.gang,
        switch=line.switch,
        rated=line.kind in _TYPED or line.kind == "switch" or not math.isnan(line.carries_volts),
        at_hand=line.at_hand if line.stocked is not None else "",
    )


_NAN = math.nan


def _same_nan(value: float) -> float:
    """The one NaN there is here: two needs that do not matter in a rating are equal."""
    return _NAN if math.isnan(value) else value
