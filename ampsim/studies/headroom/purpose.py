"""What a loss of headroom or power is to be held against: a fault, or what a setting is there for."""

from __future__ import annotations

from collections.abc import Sequence, Set
from dataclasses import replace

import xarray as xr

from ...circuit.amp import Amp
from ...circuit.output_stage import changes_output_stage
from ...circuit.positions import Position, position_label, setting_clause
from ...simulation.facts import Fact, get
from ..findings import Finding, Grade
from ..settings import Positions, positions_of

OUTPUT_CHANGED = Fact("output_changed", dict[str, list[str]])
"""To each variant the positions at which its output stage is another circuit than the first variant's."""

_Told = tuple[Finding, Sequence[float]]


def output_changed(variants: Sequence[Amp], positions: Sequence[Position]) -> dict[str, list[str]]:
    """What `OUTPUT_CHANGED` holds of some variants, the stock amp first."""
    return {
        amp.variant: [position_label(each) for each in positions if changes_output_stage(variants[0], amp, each)]
        for amp in variants
    }


def graded_by_purpose(found: Sequence[_Told], starved: Set[tuple[str, str]], response: xr.Dataset) -> list[_Told]:
    """Losses as they are to be taken: a choice that the owner can undo is milder than what stays for good.

    Where the output stage itself is another circuit and one setting away stock's figure is kept, the loss is what that
    setting is for, and fine; as is what a knob takes that can be turned back up. One of both alone makes it milder by a
    step. The circuit decides, not what anything is called. `starved`: variants and positions at which a stage before
    the output stage has come to clip first: there another output stage is no reason for the loss.
    """
    positions, changed = positions_of(response), get(response, OUTPUT_CHANGED)
    worried = {(each.variant, each.subject, each.position) for each, _ in found if each.grade.worry}
    own = {(variant, position) for variant, labels in changed.items() for position in labels} - starved
    return [
        (_milder(each, positions, (each.variant, each.position) in own, worried), figures) for each, figures in found
    ]


def _milder(finding: Finding, positions: Positions, own: bool, worried: set[tuple[str, str, str]]) -> Finding:
    if finding.grade not in (Grade.NEAR, Grade.BEYOND):
        return finding
    for control, label in positions.one_setting_away(finding.position):
        if (finding.variant, finding.subject, label) in worried:
            continue
        value = positions.setting_at(label)[control]
        keeps = f"{setting_clause(control, value)} keeps what stock has"
        if own or not isinstance(value, str):
            does = "this setting changes the output stage itself" if own else "the knob takes it"
            return replace(finding, grade=Grade.FINE, words=f"{finding.words} A choice: {does}, and {keeps}.")
        return replace(finding, grade=Grade.NEAR, words=f"{finding.words} It is a choice: {keeps}.")
    if own:
        words = f"{finding.words} The output stage itself is another circuit: is less power what is wanted?"
        return replace(finding, grade=Grade.NEAR, words=words)
    return finding
