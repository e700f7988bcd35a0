"""Which settings make a figure: a control matters for it where changing that control alone changes it."""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, replace

import xarray as xr

from ..circuit.positions import AS_DRAWN, position_label
from ..measures.labels import control_values
from ..simulation.facts import CONTROLS, DRAWN, Fact, get
from .findings import Finding, worst

COMBINED = Fact("combined", list[str])
"""The positions of a response in which several controls meet, by label."""
EVERY_POSITION = "every position"
"""Where a figure stands that none of the controls looked at changes."""

Setting = Mapping[str, float | str]
Figures = Mapping[str, Sequence[float]]
"""Position to the figures there, each in steps of which one is worth telling; a position without figures lacks it."""


@dataclass(frozen=True)
class Positions:
    """Positions that figures are known at: labels and settings, and where every control stands as drawn."""

    settings: Mapping[str, Setting]
    drawn: Setting

    def settings_that_matter(self, position: str, figures: Figures) -> dict[str, float | str]:
        """The controls that change the figures at a position when they alone are changed, with where they stand.

        What a position names and no other position changes alone is undecided, and counts.
        """
        here = self.setting_at(position)
        compared: dict[str, bool] = {}
        for control, label in self.one_setting_away(position):
            moved = not _alike(figures.get(position), figures.get(label))
            compared[control] = compared.get(control, False) or moved
        matters = dict.fromkeys(self.settings[position], True) | compared
        return {control: here[control] for control in matters if matters[control]}

    def setting_at(self, position: str) -> dict[str, float | str]:
        """Where every control stands at a position."""
        return {**self.drawn, **self.settings[position]}

    def one_setting_away(self, position: str) -> Iterator[tuple[str, str]]:
        """The positions that differ from one in a single control, each with that control."""
        here = self.setting_at(position)
        for label in self.settings:
            there = self.setting_at(label)
            changed = [control for control in here if there.get(control) != here[control]]
            if len(changed) == 1:
                yield changed[0], label

    def words(self, position: str, figures: Figures) -> str:
        """A position in words that name what matters for its figures and nothing else.

        Settings that a position does not name are as drawn; one of them is named where it alone matters. A position
        whose figures are those of the drawn one, such as a switch that fits the very part that it takes out, is called
        as that one is.
        """
        plain = next((label for label, setting in self.settings.items() if not setting), position)
        if plain != position and _alike(figures.get(position), figures.get(plain)):
            return self.words(plain, figures)
        named, matter = self.settings[position], self.settings_that_matter(position, figures)
        told = {name: value for name, value in matter.items() if name in named}
        if told:
            return position_label(told)
        if plain != position:  # together they matter, though none does alone
            return position_label(named)
        if len(matter) == 1:
            return position_label(matter)
        return AS_DRAWN if matter or len(self.settings) == 1 else EVERY_POSITION


def positions_of(response: xr.Dataset) -> Positions:
    """The positions of a response, from its coordinates."""
    drawn = get(response, DRAWN)
    labels = [str(each) for each in response["position"].values]
    settings: dict[str, dict[str, float | str]] = {label: {} for label in labels}
    values = control_values(response)
    for name in (name for name in drawn if name in values):
        for label, value in zip(labels, values[name], strict=True):
            if isinstance(value, str):
                settings[label] |= {} if value == AS_DRAWN else {name: value}
            elif not math.isnan(value):
                settings[label][name] = value
    return Positions(settings, drawn)


def own_positions(response: xr.Dataset) -> dict[str, list[str]]:
    """To each variant the positions of a response by label, without the controls that it does not have."""
    labels = [str(each) for each in response["position"].values]
    variants = [str(each) for each in response["variant"].values]
    if CONTROLS.name not in response.attrs:
        return dict.fromkeys(variants, labels)
    known, settings = get(response, CONTROLS), positions_of(response).settings
    asked = [name for name in control_values(response) if name in get(response, DRAWN)]  # in the order of the labels
    found = {}
    for variant in variants:
        lacking = set(asked) - set(known.get(variant, asked))
        own = [name for name in asked if name not in lacking]
        found[variant] = [
            position_label({name: settings[label][name] for name in own if name in settings[label]})
            if lacking else label for label in labels
        ]  # fmt: skip
    return found


def in_steps(value: float, share: float, least: float = 1e-9) -> float:
    """A figure in steps of a share of itself [ratio]; those below `least` [its own unit] are one."""
    return math.copysign(math.log(max(abs(value), least) / least) / share, value) if math.isfinite(value) else value


def once_per_setting(found: Sequence[tuple[Finding, Sequence[float]]], response: xr.Dataset) -> list[Finding]:
    """Findings at positions of a response, named by the settings that make them; those that none tells apart once.

    Parameters
    ----------
    found : sequence of (Finding, sequence of float)
        Each with the figures that its words say, in steps [1] of which one is worth telling.
    response : xarray.Dataset
        Has the positions.

    Notes
    -----
    Of findings that no setting tells apart the most worrying stays, and of equals the first. Of those at positions in
    which several controls meet (`COMBINED`) only the first of the worst grade stays, and only where that is a worse
    grade than with fewer settings.
    """
    positions = positions_of(response)
    kept: dict[tuple[str, str, str], Finding] = {}
    for finding, _ in found:
        kind = (finding.variant, finding.subject)
        figures = {one.position: steps for one, steps in found if (one.variant, one.subject) == kind}
        where = positions.words(finding.position, figures)
        if (*kind, where) not in kept or finding.grade.worry > kept[*kind, where].grade.worry:
            kept[*kind, where] = replace(finding, where=where)
    combined = get(response, COMBINED) if COMBINED.name in response.attrs else []
    return _without_lesser_combinations(list(kept.values()), combined)


def _without_lesser_combinations(kept: list[Finding], combined: Sequence[str]) -> list[Finding]:
    dropped: list[Finding] = []
    for kind in dict.fromkeys((each.variant, each.subject) for each in kept):
        own = [each for each in kept if (each.variant, each.subject) == kind]
        plain = [each for each in own if each.position not in combined]
        met = [each for each in own if each.position in combined]
        if plain and met:
            most = max(met, key=lambda each: each.grade.worry)
            tells = most.grade.worry > worst(plain).worry
            dropped += [each for each in met if each is not most or not tells]
    return [each for each in kept if each not in dropped]


def _alike(one: Sequence[float] | None, other: Sequence[float] | None) -> bool:
    if one is None or other is None:
        return one is other
    return all(a == b or (a != a and b != b) or abs(a - b) < 1.0 for a, b in zip(one, other, strict=True))
