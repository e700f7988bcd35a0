"""What a figure is, how much is tried for it, and how all of them are measured."""

from __future__ import annotations

import sys
import time
import traceback
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass


@dataclass(frozen=True)
class Scale:
    """How much is tried."""

    repetitions: int
    runs: int
    amps: int
    strings: int
    moves: int


FULL = Scale(repetitions=150, runs=10_000, amps=3000, strings=10_000, moves=1000)
QUICK = Scale(repetitions=40, runs=1000, amps=150, strings=1000, moves=100)


@dataclass(frozen=True)
class Figure:
    """One line of the table."""

    name: str
    value: str
    goal: str
    fine: bool

    @property
    def row(self) -> tuple[str, str, str, str]:
        """Its cells."""
        return self.name, self.value, self.goal, "ok" if self.fine else "short"


Section = Callable[[Scale], Iterator[Figure]]


def say(text: str) -> None:
    """Show progress."""
    print(f"figures: {text}", file=sys.stderr, flush=True)


def measure_all(sections: Sequence[Section], scale: Scale) -> list[Figure]:
    """Every figure of all sections, each printed as it comes; stopped by hand, those measured until then."""
    found: list[Figure] = []
    for number, section in enumerate(sections):
        begin = time.perf_counter()
        try:
            say(_title(section))
            for figure in _to_the_end(section, scale):
                found.append(figure)
                print("  ".join(figure.row), flush=True)
        except KeyboardInterrupt:
            measured = f"{number} of {len(sections)} groups"
            return [*found, Figure("stopped by hand", f'{measured}, not "{_title(section)}"', "all", False)]
        say(f"  {time.perf_counter() - begin:.0f} s")
    return found


def _to_the_end(section: Section, scale: Scale) -> Iterator[Figure]:
    """The figures of a section; where one cannot be measured, a row that falls short says why."""
    try:
        yield from section(scale)
    except Exception as error:
        traceback.print_exc()
        why = f"{type(error).__name__}: {(str(error).splitlines() or [''])[0]}"
        yield Figure(f"not measured to its end: {_title(section)}", why, "measured", False)


def _title(section: Section) -> str:
    return str(section.__doc__).splitlines()[0]


def table(figures: list[Figure]) -> str:
    """The figures as plain text."""
    rows = [("figure", "value", "goal", ""), *(figure.row for figure in figures)]
    widths = [max(len(row[column]) for row in rows) for column in range(4)]
    return "\n".join(
        "  ".join(cell.ljust(width) for cell, width in zip(row, widths, strict=True)).rstrip() for row in rows
    )
