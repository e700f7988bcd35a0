"""Compare candidates: one sweep of all of them, what each changes and costs, as tables, picture and text."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any

import pandas as pd
import xarray as xr

from ...base.caution import CAUTION_LINE
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
from .question import Question

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
    """

    question: Question
    response: xr.Dataset = field(repr=False)
    gains: pd.DataFrame
    changes: pd.DataFrame
    costs: pd.DataFrame
    same: tuple[tuple[str, ...], ...]

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
        asked = self.question
        head = [
            f"{asked.stock.name}: {asked.title}",
            f"Signal: {describe_source(asked.stock)}; heard at {asked.listen_at}, {position_label(asked.at)}",
        ]
        tables = [(_GAINS, self.gains), (f"{_CHANGES} against {asked.base}", self.changes), (_COSTS, self.costs)]
        pieces = ["\n".join(head), *(f"{title}\n{text_table(table)}" for title, table in tables)]
        return "\n\n".join([*pieces, *(["\n".join(self.sentences)] if self.sentences else []), CAUTION_LINE])

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
    report = progress or quiet
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


def _rows(levels: xr.DataArray) -> pd.DataFrame:
    """Levels [dB], a row to each variant and a column to each frequency."""
    columns = [f"{each:g} Hz [dB]" for each in levels["frequency"].values]
    table = pd.DataFrame(levels.transpose("variant", "frequency").values, columns=columns)
    table.insert(0, "candidate", levels["variant"].values.astype(str))
    return table
