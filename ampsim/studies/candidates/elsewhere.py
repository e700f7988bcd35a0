"""Which controls would show another difference between candidates than where they stand: asked, not left to chance."""

from __future__ import annotations

from collections.abc import Container, Iterator, Sequence

import numpy as np

from ...base.wording import in_decibels, in_hertz
from ...circuit.neighbours import knobs_beside
from ...circuit.positions import setting_clause
from ...measures.sweep import gain_at
from ...simulation.analyses import FrequencySweep
from ...simulation.response import simulate
from .question import Position, Question

_MATTERS_DB = 1.0  # a change that moves by less is the same answer
_GONE_DB = 40.0  # a loss of more is the same loss
_ROTATIONS = (0.25, 0.5, 0.75, 1.0)


def elsewhere_words(question: Question, but: Container[str] = ()) -> list[str]:
    """A sentence to each control that moves what a candidate changes by 1 dB or more, with how to ask for all of it.

    Those of `but` are not told.
    """
    ranges = {name: values for name, values in _ranges(question) if values and name not in but}
    settings = [(name, value) for name, values in ranges.items() for value in values]
    if not settings:
        return []
    positions: list[Position] = [question.at, *({**question.at, name: value} for name, value in settings)]
    swept = question.by_label(simulate(question.amps, FrequencySweep(), positions, [question.listen_at]))
    levels = gain_at(swept, question.frequencies, question.listen_at).transpose("position", "variant", "frequency")
    gains = np.where(np.isfinite(levels.values), levels.values, np.nan)
    changes = np.clip(gains[:, 1:] - gains[:, :1], -_GONE_DB, _GONE_DB)
    found = []
    for name, values in ranges.items():
        rows = [1 + settings.index((name, value)) for value in values]
        moved = np.nan_to_num(np.abs(changes[rows] - changes[0]))
        if moved.max() >= _MATTERS_DB:
            row, candidate, place = np.unravel_index(int(moved.argmax()), moved.shape)
            here, there = (float(changes[each, candidate, place]) for each in (0, rows[row]))
            label, hertz = question.labels[1 + candidate], in_hertz(question.frequencies[place])
            found.append(
                f"Where {name} stands matters: {label} changes {hertz} by {in_decibels(here, True)} here and by "
                f"{in_decibels(there, True)} with {setting_clause(name, values[row])}. Ask for all of it with "
                f'--at "{name}={" or ".join(_written(value) for value in _every(question, name))}".'
            )
    return found


def _ranges(question: Question) -> Iterator[tuple[str, list[float | str]]]:
    """To each switch, and each knob that a candidate brings or stands beside, where else it may stand."""
    own = {name for each in question.candidates for name in each.amp.controls}
    beside = {name for each in question.candidates if each.amp.mods for name in knobs_beside(each.amp)}
    for name in question.controls:
        control = question.controls[name][0]
        if control.kind == "knob" and name not in beside | (own - set(question.stock.controls)):
            continue
        if len({each.positions for each in question.controls[name]}) == 1:  # else no position is one for all
            here = question.at.get(name, control.drawn)
            yield name, [value for value in _every(question, name) if value != here]


def _every(question: Question, name: str) -> Sequence[float | str]:
    """The positions of a switch, or some rotations [ratio] of a knob."""
    control = question.controls[name][0]
    return control.positions if control.kind == "switch" else _ROTATIONS


def _written(value: float | str) -> str:
    return value if isinstance(value, str) else f"{value:g}"
