"""What a figure is, and how much is tried for it."""

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


def table(figures: list[Figure]) -> str:
    """The figures as plain text."""
    rows = [("figure", "value", "goal", ""), *((f.name, f.value, f.goal, "ok" if f.fine else "short") for f in figures)]
    widths = [max(len(row[column]) for row in rows) for column in range(4)]
    return "\n".join(
        "  ".join(cell.ljust(width) for cell, width in zip(row, widths, strict=True)).rstrip() for row in rows
    )
