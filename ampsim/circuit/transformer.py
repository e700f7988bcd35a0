"""An output transformer: what its windings are, and the pins they end at."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True)
class Transformer:
    """An output transformer.

    `primary` is the plate load [ohm] (plate to plate in push-pull) that the primary shows when `taps` are loaded
    with the resistances they are named after [ohm]. `inductance` [H] of the whole primary; `leakage` [H] and
    `primary_resistance` [ohm] of the whole primary; `secondary_resistance` [ohm] of the largest tap;
    `capacitance` [F] across the primary with `damping` [ohm] in series; `core_loss` [ohm] across the primary.
    The taps swing with the plate at `primary_a`; `reversed` says that the secondary is connected the other way round.
    """

    designator: str
    primary: float
    taps: tuple[float, ...]
    inductance: float
    leakage: float
    primary_resistance: float
    secondary_resistance: float
    capacitance: float
    damping: float
    core_loss: float
    reversed: bool = False
    kind: str = "transformer"


def tap_pin(ohms: float) -> str:
    """The pin of the secondary tap for a load [ohm], such as tap8."""
    return f"tap{ohms:g}".replace(".", "r")
