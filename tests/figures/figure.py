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
