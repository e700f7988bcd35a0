"""What is compared: the amp that the candidates are held against, the candidates, and where the controls stand."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from typing import Any, TypeVar

import xarray as xr

from ...base.errors import DescriptionError, shown
from ...base.wording import join_words
from ...circuit.amp import Amp
from ...circuit.control import Control
from ...circuit.mods import diff
from ...pictures.candidates import MOST_CANDIDATES
from ..audition_request import FREQUENCIES

Position = dict[str, float | str]
_Simulated = TypeVar("_Simulated", xr.Dataset, xr.DataArray)


@dataclass(frozen=True)
class Candidate:
    """One answer to the question: what it is called, and the amp with it.

    `made_of` is what was fitted for it: names of mods as they were given, and the entries of a mod file for what was
    said in words.
    """

    label: str
    amp: Amp
    made_of: tuple[str | Mapping[str, Any], ...] = field(default=(), hash=False, compare=False)


@dataclass(frozen=True)
class Question:
    """One question and its candidates.

    Attributes
    ----------
    stock
        What the candidates are held against.
    candidates
        At most twelve, each with a label of its own.
    at
        Where the controls stand (rotations 0 to 1 [ratio]); those not named stand as drawn.
    listen_at
        The place listened at.
    frequencies
        Those of the tables [Hz].
    """

    stock: Amp
    candidates: tuple[Candidate, ...]
    at: Position = field(default_factory=dict, hash=False)
    listen_at: str = "speaker"
    frequencies: tuple[float, ...] = FREQUENCIES

    def __post_init__(self) -> None:
        labels = self.labels
        if not 1 < len(labels) <= MOST_CANDIDATES + 1:
            raise DescriptionError(
                f"{len(labels) - 1} candidates; at least one, and at most {MOST_CANDIDATES} can be told apart"
            )
        twice = [label for label in labels if labels.count(label) > 1]
        if twice:
            raise DescriptionError(f"two candidates are called {shown(twice[0])}; give each once, by a name of its own")

    @property
    def base(self) -> str:
        """What the amp without a candidate is called."""
        return self.stock.variant

    @property
    def labels(self) -> list[str]:
        """The amp without a candidate, and every candidate."""
        return [self.base, *(each.label for each in self.candidates)]

    @property
    def title(self) -> str:
        """What is compared, in a line."""
        return f"{join_words([each.label for each in self.candidates])} against {self.base}"

    @property
    def amps(self) -> list[Amp]:
        """The amps, those that are the same once, in an order that the candidates' order does not change."""
        others = {each.amp.variant: each.amp for each in self.candidates if each.amp.variant != self.base}
        return [self.stock, *(others[name] for name in sorted(others))]

    @property
    def controls(self) -> dict[str, list[Control]]:
        """Every control that one of the amps has, as each of those has it."""
        found: dict[str, list[Control]] = {}
        for amp in self.amps:
            for name, control in amp.controls.items():
                found.setdefault(name, []).append(control)
        return found

    @property
    def is_stock(self) -> dict[str, bool]:
        """Of each candidate whether it changes nothing."""
        return {each.label: not diff(self.stock, each.amp) for each in self.candidates}

    def without_stock(self) -> Question:
        """The question without the candidates that change nothing.

        Raises
        ------
        DescriptionError
            When no other is left.
        """
        others = tuple(each for each in self.candidates if not self.is_stock[each.label])
        if not others:
            raise DescriptionError(f"nothing to compare by ear: every candidate is {self.base}")
        kept = replace(self, candidates=others)
        return replace(kept, at=kept.position_of(*kept.amps))

    def position_of(self, *amps: Amp) -> Position:
        """Where the controls stand that one of these amps has (rotations 0 to 1 [ratio])."""
        known = {name for amp in amps for name in amp.controls}
        return {name: value for name, value in self.at.items() if name in known}

    def by_label(self, simulated: _Simulated) -> _Simulated:
        """What was simulated of `amps`, a variant to each label."""
        known = [amp.variant for amp in self.amps]
        places = [known.index(amp.variant) for amp in (self.stock, *(each.amp for each in self.candidates))]
        return simulated.isel(variant=places).assign_coords(variant=self.labels)

    def variant_of(self, label: str) -> str:
        """The variant that stands for a label."""
        return self.amp_of(label).variant

    def amp_of(self, label: str) -> Amp:
        """The amp that a label stands for; the one without a candidate for its own."""
        return next((each.amp for each in self.candidates if each.label == label), self.stock)
