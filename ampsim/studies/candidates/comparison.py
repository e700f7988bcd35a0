"""Compare candidates: one sweep of all of them, what each changes and costs, as tables, picture and text."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace
from textwrap import wrap
from typing import Any

import pandas as pd
import xarray as xr

from ...base.caution import CAUTION_LINE
from ...base.errors import DescriptionError
from ...base.progress import Progress, quiet
from ...base.tables import text_table
from ...base.wording import in_decibels, in_hertz, join_words, minus
from ...circuit.plugging import describe_source
from ...circuit.positions import position_label
from ...measures.equal_curves import SAME_DB
from ...measures.labels import records
from ...measures.sweep import gain_at
from ...pictures.candidates import candidates_picture, same_curves
from ...pictures.canvas import Picture
from ...simulation.analyses import FrequencySweep
from ...simulation.response import simulate
from .costs import bias_words, margin_columns, noise_columns, pop_words, rest_words
from .elsewhere import elsewhere_words
from .question import Position, Question

MOST_POSITIONS = 12
_GAINS, _CHANGES, _COSTS = "Gain", "Change", "What it costs"


@dataclass(frozen=True, eq=False)
class Comparison:
    """Candidates side by side.

    Attributes
    ----------
    question
        What was compared.
    response
        The sweep, a variant to the stock amp and to each candidate by its label.
    gains
        Gain [dB] at the usual frequencies, a row to each.
    changes
        The change against stock [dB], a row to each candidate.
    costs
        Bias, margins of the feedback loop, noise, and pops where they were asked for.
    same
        Names of those whose curves are the same, together.
    elsewhere
        A sentence to each control that would show another difference, with how to ask for it.
    """

    question: Question
    response: xr.Dataset = field(repr=False)
    gains: pd.DataFrame
    changes: pd.DataFrame
    costs: pd.DataFrame
    same: tuple[tuple[str, ...], ...]
    elsewhere: tuple[str, ...] = ()

    @property
    def table(self) -> pd.DataFrame:
        """All of it, a row to each: gains [dB], changes [dB], costs, and with which others its curve is the same."""
        wide = self.gains.merge(self.changes, on="candidate", how="left", suffixes=("", " change"))
        others = {name: ", ".join(each for each in group if each != name) for group in self.same for name in group}
        return wide.merge(self.costs, on="candidate").assign(**{"the same as": wide["candidate"].map(others)})

    @property
    def sentences(self) -> list[str]:
        """Which are stock, and which are the same as others."""
        base = self.question.base
        stock = [label for label, is_stock in self.question.is_stock.items() if is_stock]
        found = [f"{join_words(stock)} {'is' if len(stock) == 1 else 'are'} {base}: nothing changes."] if stock else []
        for group in self.same:
            if len([each for each in group if each not in stock]) > 1:
                found.append(
                    f"{join_words(group)} are the same here: their gains are less than {SAME_DB:g} dB apart everywhere."
                )
        return found

    @property
    def lines(self) -> list[str]:
        """A line to each candidate: what it changes, and what it costs."""
        costs = {row["candidate"]: row for row in records(self.costs)}
        return [self._line(row, costs[row["candidate"]]) for row in records(self.changes)]

    def _line(self, change: Mapping[str, Any], cost: Mapping[str, Any]) -> str:
        levels = [
            f"{in_decibels(change[f'{each:g} Hz [dB]'], True)} at {in_hertz(each)}"
            for each in self.question.frequencies
        ]
        told = [
            f"{name.partition(' [')[0]} {value if isinstance(value, str) else minus(f'{value:.1f}')}"
            + (f" {name.partition(' [')[2].rstrip(']')}" if " [" in name else "")
            for name, value in cost.items()
            if name != "candidate"
        ]
        return f"{change['candidate']}: {', '.join(levels)}; {'; '.join(told)}"

    @property
    def text(self) -> str:
        """Everything in words and tables."""
        return comparison_text([self])

    @property
    def picture(self) -> Picture:
        """Stock, each candidate, and the change below."""
        asked = self.question
        title = f"{asked.stock.name}: {len(asked.candidates)} candidates against {asked.base}"
        drawn = candidates_picture(self.response, asked.listen_at, title=title if asked.candidates[1:] else None)
        if "at rest" in self.costs:
            restless = self.costs.loc[self.costs["at rest"] == "OSCILLATES", "candidate"]
            drawn.stamp(["OSCILLATES, not as drawn here:", *restless])
        return drawn


def compare(question: Question, pop: bool = False, progress: Progress | None = None) -> Comparison:
    """Hold candidates side by side: what each changes, and what it costs.

    Parameters
    ----------
    question : Question
        Such as `ampsim.read_candidates` gives.
    pop : bool
        Whether the pops of switches are worked out too, which takes long.
    progress : callable
        See `base.progress`; told what is looked at.

    Raises
    ------
    DescriptionError
        For controls, positions or places that are not there.
    EngineError
        When ngspice gives no trustworthy answer.
    """
    found = _compare(question, pop, progress or quiet)
    return replace(found, elsewhere=tuple(elsewhere_words(question)))


def compare_at(
    question: Question, positions: Sequence[Position], pop: bool = False, progress: Progress | None = None
) -> list[Comparison]:
    """Hold candidates side by side at several positions; see `comparison_text`.

    Parameters
    ----------
    question : Question
    positions : sequence of mapping
        Where the controls stand that matter (rotations 0 to 1 [ratio]); the others as the question says.
    pop : bool
        As in `compare`.
    progress : callable
        See `base.progress`.

    Raises
    ------
    DescriptionError
        As `compare`; and for more positions than twelve.
    EngineError
        As `compare`.
    """
    if not 1 <= len(positions) <= MOST_POSITIONS:
        raise DescriptionError(f"{len(positions)} positions; at least one, and at most {MOST_POSITIONS} can be read")
    found = [_compare(replace(question, at={**question.at, **each}), pop, progress or quiet) for each in positions]
    asked_for = {name for position in positions for name in position}
    elsewhere = elsewhere_words(found[0].question, asked_for if positions[1:] else ())
    return [replace(found[0], elsewhere=tuple(elsewhere)), *found[1:]]


def _compare(question: Question, pop: bool, report: Progress) -> Comparison:
    steps = 5 + pop
    report(0, steps, "gains")
    swept = question.by_label(simulate(question.amps, FrequencySweep(), [question.at], [question.listen_at]))
    costs: dict[str, Sequence[str] | Sequence[float]] = {"candidate": question.labels}
    report(1, steps, "whether they stay at rest")
    costs |= {"at rest": states} if (states := rest_words(question)) else {}
    report(2, steps, "bias")
    costs["bias"] = bias_words(question)
    report(3, steps, "feedback loop")
    costs |= margin_columns(question)
    report(4, steps, "noise")
    costs |= noise_columns(question)
    if pop:
        report(5, steps, "pops")
        costs["pop"] = pop_words(question)
    gains = gain_at(swept, question.frequencies, question.listen_at).isel(position=0)
    same = same_curves(swept, question.listen_at)
    return Comparison(
        question,
        swept,
        _rows(gains),
        _rows((gains - gains.isel(variant=0)).isel(variant=slice(1, None))),
        pd.DataFrame(costs),
        tuple(map(tuple, same)),
    )


def comparison_text(found: Sequence[Comparison]) -> str:
    """Candidates at one or several positions in words and tables, a row to each candidate and position."""
    asked = found[0].question
    at = [position_label(each.question.at) for each in found]
    head = [
        f"{asked.stock.name}: {asked.title}",
        f"Signal: {describe_source(asked.stock)}; heard at {asked.listen_at}, {'; '.join(at)}",
    ]
    tables = {
        _GAINS: [each.gains for each in found],
        f"{_CHANGES} against {asked.base}": [each.changes for each in found],
        _COSTS: [each.costs for each in found],
    }
    pieces = ["\n".join(head)]
    pieces += [f"{title}\n{text_table(_by_position(found, each))}" for title, each in tables.items()]
    told = [
        sentence if len(found) == 1 else f"{place}: {sentence}"
        for place, each in zip(at, found, strict=True)
        for sentence in each.sentences
    ]
    told += [sentence for each in found for sentence in each.elsewhere]
    return "\n\n".join([*pieces, *(["\n".join(line for each in told for line in wrap(each, 100))] if told else []),
                        CAUTION_LINE])  # fmt: skip


def _by_position(found: Sequence[Comparison], tables: Sequence[pd.DataFrame]) -> pd.DataFrame:
    """The same table at several positions as one: the rows of each candidate together, with where they hold.

    A candidate that does not have what is moved has one row.
    """
    if len(tables) == 1:
        return tables[0]
    placed = []
    for each, table in zip(found, tables, strict=True):
        own = [position_label(each.question.position_of(each.question.amp_of(name))) for name in table["candidate"]]
        placed.append(table.assign(position=own))
    rows = pd.concat(placed).sort_index(kind="stable").drop_duplicates(["candidate", "position"], ignore_index=True)
    return rows[["candidate", "position", *(name for name in rows if name not in ("candidate", "position"))]]


def _rows(levels: xr.DataArray) -> pd.DataFrame:
    """Levels [dB], a row to each variant and a column to each frequency."""
    columns = [f"{each:g} Hz [dB]" for each in levels["frequency"].values]
    table = pd.DataFrame(levels.transpose("variant", "frequency").values, columns=columns)
    table.insert(0, "candidate", levels["variant"].values.astype(str))
    return table
