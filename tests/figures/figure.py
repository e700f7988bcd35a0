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
