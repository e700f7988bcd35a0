"""What a section of the sheet is made from and made of."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field

import pandas as pd

from ..circuit.amp import Amp
from ..pictures.export import Shown
from .findings import Finding, Grade, verdict, worries_first, worst


@dataclass(frozen=True)
class Examination:
    """What is examined: the stock amp, the modded amp, and the positions of its controls to look at.

    A control that a position does not name stands as drawn; the stock amp takes what it has of each position.
    `combined` are positions in which several controls meet: what takes little time is looked at in each of them, what
    takes long in those that tell most; told is what is worse there than with fewer settings.
    """

    stock: Amp
    modded: Amp
    positions: tuple[dict[str, float | str], ...] = field(default=({},), hash=False)
    combined: tuple[dict[str, float | str], ...] = field(default=(), hash=False)

    @property
    def every(self) -> tuple[dict[str, float | str], ...]:
        """The positions, and then those in which several controls meet."""
        return (*self.positions, *self.combined)

    @property
    def variants(self) -> list[Amp]:
        """The stock amp and the modded one; one of them where they are the same."""
        return list(dict.fromkeys([self.stock, self.modded]))


@dataclass(frozen=True)
class Section:
    """One topic of the sheet: its findings, tables and pictures by name, and notes on how it was got.

    `key_tables` names the tables that a short record shows too.
    """

    title: str
    findings: tuple[Finding, ...]
    tables: dict[str, pd.DataFrame]
    pictures: Mapping[str, Shown]
    notes: tuple[str, ...] = ()
    key_tables: tuple[str, ...] = ()

    @property
    def grade(self) -> Grade:
        """The most worrying grade of its findings."""
        return worst(self.findings)

    @property
    def in_order(self) -> list[Finding]:
        """Its findings, the worries first, each sentence once."""
        return worries_first(self.findings)

    @property
    def verdict(self) -> str:
        """What to do about it, in a word."""
        return verdict(self.findings)
