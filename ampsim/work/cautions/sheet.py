"""The caution sheet of an amp: what its capacitors hold, for how long, and what to do before anything is touched."""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

from ...base.caution import CAUTION
from ...base.errors import DescriptionError
from ...base.quantities import FARAD, format_value
from ...base.tables import text_of_rows
from ...base.wording import one_line
from ...circuit.amp import Amp
from ...circuit.positions import Position
from .sentences import SOURCES, UNKNOWN, caution_sentences
from .stored_charges import SAFE_VOLTS, StoredCharge, stored_charges, worst_of

if TYPE_CHECKING:
    import pandas as pd


@dataclass(frozen=True)
class CautionSheet:
    """Cautions for one amp: its charged capacitors, the sentences, what is not known, and the limits' sources."""

    amp: str
    variant: str
    charges: tuple[StoredCharge, ...]
    sentences: tuple[str, ...]
    unknown: tuple[str, ...] = UNKNOWN
    sources: tuple[str, ...] = SOURCES

    @property
    def table(self) -> pd.DataFrame:
        """One row to each reservoir and each other capacitor past both limits; "never" stands as infinite."""
        import pandas as pd

        return pd.DataFrame([_row(each) for each in self.charges], columns=list(_row(_NOTHING)))

    def text(self) -> str:
        """The sheet as plain text."""
        rows = [
            [_cell(cell) if isinstance(cell, float) else cell for cell in _row(each).values()] for each in self.charges
        ]
        told = text_of_rows(list(_row(_NOTHING)), rows)
        parts = [f"Caution sheet: {one_line(self.amp)}, {one_line(self.variant)}", CAUTION, told]
        parts += ["Before and while working", _bullets(self.sentences), "What this sheet does not know"]
        return "\n\n".join([*parts, _bullets(self.unknown), "Limits and formulas", _bullets(self.sources)]) + "\n"


def caution_sheet(amp: Amp, positions: Sequence[Position] = ({},), opened: Amp | None = None) -> CautionSheet:
    """Work out what the capacitors of an amp hold, at the worst of some positions.

    Parameters
    ----------
    amp : Amp
        Stock, or with mods fitted.
    positions : sequence of mapping
        Where controls stand; a bleeder counts only if it is there in all of them.
    opened : Amp
        As it stands when it is opened, where mods are still to be fitted: what holds a charge, or no bleeder, in either
        is told.

    Raises
    ------
    DescriptionError
        For no position at all, unknown controls or positions.
    EngineError
        When ngspice gives no trustworthy answer.
    """
    if not positions:
        raise DescriptionError("a caution sheet needs at least one position; {} is the amp as drawn")
    # Where a mod puts the supply at other volts, the amp that is opened may still have those it is drawn with.
    before = opened or (amp if amp.fitted_rails == amp.rails else replace(amp, mods=()))
    found = [each for position in positions for each in stored_charges(amp, position)]
    if before != amp:
        there = ({name: at for name, at in each.items() if name in before.controls} for each in positions)
        found += [each for position in there for each in stored_charges(before, position)]
    worst: dict[str, StoredCharge] = {}
    for each in found:
        worst[each.part] = worst_of(worst.get(each.part, each), each)
    kept = tuple(each for each in worst.values() if each.reservoir or each.hazardous)
    stings = [each for each in worst.values() if each not in kept and each.volts > SAFE_VOLTS]
    return CautionSheet(amp.name, amp.variant, kept, caution_sentences((amp, before), kept, stings))


_NOTHING = StoredCharge("", 1.0, False, 0.0, 0.0, math.inf, (), 0.0)


def _row(each: StoredCharge) -> dict[str, str | float]:
    return {
        "part": each.part,
        "value": format_value(each.farads, FARAD),
        "at rest [V]": each.rest_volts,
        "cold [V]": each.cold_volts,
        "at rest [J]": each.joules[0],
        "cold [J]": each.joules[1],
        "at rest [mC]": 1e3 * each.coulombs[0],
        "cold [mC]": 1e3 * each.coulombs[1],
        "bleeder": each.bleeder_words,
        "to 60 V as wired [s]": each.falls_s,
        "without [s]": each.without_s,
        "through 220k [s]": each.spare_s,
        "through 10k [s]": each.tool_s,
    }


def _cell(value: float) -> str:
    return "never" if math.isinf(value) else f"{value:.3g}" if value < 999.5 else f"{value:.0f}"


def _bullets(lines: Iterable[str]) -> str:
    return "\n".join(f"- {one_line(each)}" for each in lines)
